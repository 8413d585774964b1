"""Every fault of variants, axes, tables, deliveries and graphics is told at its line and column, or row and column."""

from pathlib import Path

import pytest

from compositor.base.errors import UnusableInput
from compositor.scene.batch import load_batch

HEAD = """\
scene: 1
plate: {image: terrace.jpg, camera: {horizon: 812, lens: {equivalent_mm: 35}, height: 1.55}}
elements:
  - {name: chair, image: chair.png, camera: {horizon: 300}, contact: [812, 1490], ground: {distance: 6}}
"""
WIDE = "deliveries: [{name: wide}]\n"

# What follows the head (its first line is line 5), the table, and each fault: place, key, words of the sentence.
Case = tuple[str, str | None, list[tuple[str, str, str]]]
CASES: dict[str, Case] = {
    "variant without name": ("variants: [{set: {title: x}}]", None, [("5:12", "variants.0.name", "missing")]),
    "variant without set": ("variants: [{name: far}]", None, [("5:12", "variants.far.set", "missing")]),
    "variant that changes nothing": (
        "variants: [{name: far, set: {}}]",
        None,
        [("5:29", "variants.far.set", "at least 1 key")],
    ),
    "variant with an unknown key": (
        "variants: [{name: far, sett: {title: x}, set: {title: x}}]",
        None,
        [("5:24", "variants.far.sett", "did you mean `set`")],
    ),
    "variants as a mapping": ("variants: {far: {title: x}}", None, [("5:11", "variants", "must be a list")]),
    "variant in another folder": (
        "variants: [{name: ../far, set: {title: x}}]",
        None,
        [("5:19", "variants.../far.name", "must not hold /")],
    ),
    "two variants of one name": (
        "variants:\n  - {name: far, set: {title: x}}\n  - {name: Far, set: {title: y}}",
        None,
        [("7:12", "variants.1.name", "same folder")],
    ),
    "variant called base": (
        "variants: [{name: Base, set: {title: x}}]",
        None,
        [("5:19", "variants.0.name", "the scene itself")],
    ),
    "variant of an unknown element": (
        "variants: [{name: far, set: {elements.chiar.visible: false}}]",
        None,
        [("5:39", "elements.chiar", "did you mean `chair`")],
    ),
    "variant of an unknown key": (
        "variants: [{name: far, set: {elements.chair.grund: 3}}]",
        None,
        [("5:45", "elements.chair.grund", "did you mean `ground`")],
    ),
    "variant with a bad value": (
        "variants:\n  - name: far\n    set: {elements.chair.ground.distance: -9}",
        None,
        [("7:43", "elements.chair.ground.distance", "greater than 0")],
    ),
    "variant that removes what is needed": (
        "variants: [{name: far, set: {elements.chair.contact: null}}]",
        None,
        [("4:5", "elements.chair.contact", "missing")],
    ),
    "variant of variants": (
        "variants: [{name: far, set: {variants: []}}]",
        None,
        [("5:30", "variants", "no variant can change")],
    ),
    "variant of the version": (
        "variants: [{name: far, set: {scene: 1}}]",
        None,
        [("5:30", "scene", "no variant can change")],
    ),
    "axes as a list": ("axes: [chair]", None, [("5:7", "axes", "must be a mapping")]),
    "axis without options": ("axes: {chair: {}}", None, [("5:15", "axes.chair", "at least 1")]),
    "axis with an option without value": (
        "axes: {chair: {oak: }}",
        None,
        [("5:21", "axes.chair.oak", "has no value")],
    ),
    "two axes set one key": (
        "axes:\n  chair: {oak: {title: a}}\n  sky: {dusk: {title: b}}",
        None,
        [("7:16", "axes.sky.dusk.title", "axis `chair` sets this key too")],
    ),
    "axes that collide with the list": (
        "variants: [{name: chair-oak, set: {title: x}}]\naxes: {chair: {oak: {title: y}}}",
        None,
        [("6:7", "axes", "same folder")],
    ),
    "option's name with a slash": (
        "axes: {chair: {oak/ash: {title: y}}}",
        None,
        [("5:7", "axes", "must not hold /"), ("5:25", "axes.chair.oak/ash", "must not hold /")],
    ),
    "axes without end": (
        "axes:\n" + "\n".join(f"  a{n}: {{{', '.join(f'o{k}: {{}}' for k in range(8))}}}" for n in range(4)),
        None,
        [("5:1", "axes", "8 × 8 × 8 × 8 makes 4096 variants; 2000 at most")],
    ),
    "table that is not there": ("table: nowhere.csv", None, [("5:8", "table", "no such file")]),
    "table as a number": ("table: 3", None, [("5:8", "table", "must be a text")]),
    "empty table": ("table: t.csv", "", [("t.csv:1:1", "", "the table is empty")]),
    "table of a heading": ("table: t.csv", "name,title\n", [("t.csv:1:1", "", "no rows")]),
    "table without names": (
        "table: t.csv",
        "Name,title\na,b\n",
        [("t.csv:1:1", "name", "did you mean `Name`")],
    ),
    "column twice": ("table: t.csv", "name,title,title\na,b,c\n", [("t.csv:1:3", "title", "same column twice")]),
    "row without name": ("table: t.csv", "name,title\na,b\n,c\n", [("t.csv:3:1", "name", "a row without a name")]),
    "row too long": (
        "table: t.csv",
        "name,title\na,b,c\n",
        [("t.csv:2:3", "", "a cell in a column without a heading")],
    ),
    "rows of one name": (
        "table: t.csv",
        "name,title\nuk,b\nUK,c\n",
        [("t.csv:3:1", "name", "same folder")],
    ),
    "unknown column, said once": (
        "table: t.csv",
        "name;elements.chair.colour\na;1\nb;2\n",
        [("t.csv:1:2", "elements.chair.colour", "unknown key")],
    ),
    "column of an unknown element": (
        "table: t.csv",
        "name\telements.chiar.visible\na\tfalse\n",
        [("t.csv:1:2", "elements.chiar", "did you mean `chair`")],
    ),
    "bad cell": (
        "table: t.csv",
        "name;elements.chair.ground.distance\na;1,5\nb;far\n",
        [("t.csv:3:2", "elements.chair.ground.distance", "must be a number")],
    ),
    "cell that is no YAML": (
        "table: t.csv",
        'name,elements.chair.contact\na,"[1, 2"\n',
        [("t.csv:2:2", "elements.chair.contact", "not closed with ]")],
    ),
    "quotation mark that is not closed": ("table: t.csv", 'name,title\na,"b\nc,d\n', [("t.csv:2:1", "", "not closed")]),
    "row's name in another folder": (
        "table: t.csv",
        "name,title\n../a,b\n",
        [("t.csv:2:1", "name", "must not hold /")],
    ),
    "unknown published size": (
        "deliveries: [{name: wide, size: bilboard}]",
        None,
        [("5:33", "deliveries.wide.size", "did you mean `billboard`")],
    ),
    "sixteen bits of JPEG": (
        "deliveries: [{name: wide, format: jpeg, depth: 16}]",
        None,
        [("5:48", "deliveries.wide.depth", "jpeg holds 8 bits")],
    ),
    "twelve bits": ("deliveries: [{name: wide, depth: 12}]", None, [("5:34", "deliveries.wide.depth", "8 or 16")]),
    "size and aspect": (
        "deliveries: [{name: wide, size: [10, 10], aspect: [1, 1]}]",
        None,
        [("5:51", "deliveries.wide.aspect", "keep one")],
    ),
    "margins that leave nothing": (
        "deliveries: [{name: wide, around: [chair], margin: [0.5, 0, 0.5, 0]}]",
        None,
        [("5:52", "deliveries.wide.margin", "leave something free")],
    ),
    "margin as a text": (
        "deliveries: [{name: wide, around: [chair], margin: wide}]",
        None,
        [("5:52", "deliveries.wide.margin", "must be a share such as 0.1")],
    ),
    "thirds of nothing": (
        "deliveries: [{name: wide, composition: thirds}]",
        None,
        [("5:40", "deliveries.wide.composition", "go with `around`")],
    ),
    "unknown composition": (
        "deliveries: [{name: wide, composition: golden}]",
        None,
        [("5:40", "deliveries.wide.composition", "centre, thirds")],
    ),
    "horizon outside": (
        "deliveries: [{name: wide, composition: {horizon: 1}}]",
        None,
        [("5:50", "deliveries.wide.composition.horizon", "less than 1")],
    ),
    "safe without size": (
        "deliveries: [{name: wide, safe: {top: 3}}]",
        None,
        [("5:33", "deliveries.wide.safe", "goes with `size` only")],
    ),
    "all covered": (
        "deliveries: [{name: wide, size: [90, 10], safe: {top: 6, bottom: 4}}]",
        None,
        [("5:49", "deliveries.wide.safe", "leave nothing free")],
    ),
    "crop of a camera": (
        "deliveries: [{name: wide, crop: {offset: [0, 0], of: [9, 9]}}]",
        None,
        [("5:34", "deliveries.wide.crop.offset", "unknown key"), ("5:50", "deliveries.wide.crop.of", "unknown key")],
    ),
    "crop with a slip": (
        "deliveries: [{name: wide, crop: {botom: 3}}]",
        None,
        [("5:34", "deliveries.wide.crop.botom", "did you mean `bottom`")],
    ),
    "crop outwards": (
        "deliveries: [{name: wide, crop: {bottom: -3}}]",
        None,
        [("5:42", "deliveries.wide.crop.bottom", "at least 0")],
    ),
    "no resolution": ("deliveries: [{name: wide, dpi: 0}]", None, [("5:32", "deliveries.wide.dpi", "at least 1")]),
    "unknown profile": (
        "deliveries: [{name: wide, profile: sRGB}]",
        None,
        [("5:36", "deliveries.wide.profile", "did you mean `srgb`")],
    ),
    "delivery over a layered file": (
        "deliveries: [{name: layers, format: tiff}]",
        None,
        [("5:21", "deliveries.layers.name", "every render writes itself")],
    ),
    "delivery over an overlay": (
        "deliveries: [{name: wide, overlay: true}, {name: wide-overlay}]",
        None,
        [("5:50", "deliveries.wide-overlay.name", "the overlay of wide")],
    ),
    "graphics without deliveries": (
        'graphics: [{name: a, fill: "#123456"}]',
        None,
        [("5:11", "graphics", "pinned to deliveries")],
    ),
    "graphic of nothing": (WIDE + "graphics: [{name: a}]", None, [("6:12", "graphics.a", "needs one of")]),
    "graphic of two kinds": (
        WIDE + 'graphics: [{name: a, image: a.png, fill: "#123456"}]',
        None,
        [("6:42", "graphics.a.fill", "two forms at once")],
    ),
    "copy without font and colour": (
        WIDE + "graphics: [{name: a, text: x}]",
        None,
        [("6:12", "graphics.a.font", "missing"), ("6:12", "graphics.a.colour", "missing")],
    ),
    "copy of nothing": (
        WIDE + 'graphics: [{name: a, text: " ", font: a.ttf, colour: "#123456"}]',
        None,
        [("6:28", "graphics.a.text", "is empty")],
    ),
    "unknown colour": (
        WIDE + "graphics: [{name: a, fill: red}]",
        None,
        [("6:28", "graphics.a.fill", "#rrggbb")],
    ),
    "type size of a logo": (
        WIDE + "graphics: [{name: a, image: a.png, size: 3}]",
        None,
        [("6:42", "graphics.a.size", "goes with `text` only")],
    ),
    "box outside": (
        WIDE + 'graphics: [{name: a, fill: "#123456", box: [0, 0, 1.2, 1]}]',
        None,
        [("6:44", "graphics.a.box", "four shares from 0 to 1")],
    ),
    "graphic on an unknown delivery": (
        WIDE + 'graphics: [{name: a, fill: "#123456", deliveries: {wode: {}}}]',
        None,
        [("6:58", "graphics.a.deliveries.wode", "did you mean `wide`")],
    ),
    "unknown key of a place": (
        WIDE + 'graphics: [{name: a, fill: "#123456", deliveries: {wide: {bocks: 1}}}]',
        None,
        [("6:59", "graphics.a.deliveries.wide.bocks", "unknown key")],
    ),
    "graphics of one name": (
        WIDE + 'graphics: [{name: a, fill: "#123456"}, {name: a, fill: "#123457"}]',
        None,
        [("6:47", "graphics.a.name", "same name twice")],
    ),
    "unknown layered format": ("layers: [pdf]", None, [("5:10", "layers.0", "tiff or exr")]),
}


@pytest.mark.parametrize("case", CASES)
def test_fault_and_its_place(case: str, tmp_path: Path) -> None:
    words, table, expected = CASES[case]
    scene = tmp_path / "scene.yaml"
    scene.write_text(HEAD + words + "\n", encoding="utf-8")
    if table is not None:
        (tmp_path / "t.csv").write_text(table, encoding="utf-8")
    with pytest.raises(UnusableInput) as caught:
        load_batch(scene)
    found = [
        (f"{'' if Path(f.file) == scene else Path(f.file).name + ':'}{f.line}:{f.column}", f.key, f.what)
        for f in caught.value.faults
    ]
    assert [(place, key) for place, key, _ in found] == [(place, key) for place, key, _ in expected]
    for (*_, what), (*_, words) in zip(found, expected, strict=True):
        assert words in what
        assert "Input should" not in what and "not usable" not in what


def test_there_are_forty_and_more() -> None:
    assert len(CASES) >= 40


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        ("näme,title\n".encode("latin-1"), "not a text in UTF-8"),
        ("name,title\na,b\n".encode("utf-16"), "UTF-16"),
        (b"name,title\na,b\x00\n", "must not hold control characters"),
    ],
)
def test_a_table_that_is_no_utf8(raw: bytes, words: str, tmp_path: Path) -> None:
    (tmp_path / "scene.yaml").write_text(HEAD + "table: t.csv\n")
    (tmp_path / "t.csv").write_bytes(raw)
    with pytest.raises(UnusableInput) as caught:
        load_batch(tmp_path / "scene.yaml")
    assert words in str(caught.value)
    assert "t.csv:" in str(caught.value)


def test_every_fault_of_every_variant_in_one_run(tmp_path: Path) -> None:
    (tmp_path / "scene.yaml").write_text(
        HEAD + "title: 3\nvariants:\n  - {name: a, set: {elements.chair.height: -1}}\ntable: t.csv\n"
    )
    (tmp_path / "t.csv").write_text("name,elements.chair.visible\nb,perhaps\nc,maybe\n")
    with pytest.raises(UnusableInput) as caught:
        load_batch(tmp_path / "scene.yaml")
    assert [fault.key for fault in caught.value.faults] == [
        "title",
        "elements.chair.height",
        "elements.chair.visible",
        "elements.chair.visible",
    ]
