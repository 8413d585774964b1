"""Reading scene files: what a good one becomes, and what the file itself may have wrong."""

import codecs
import json
import os
from pathlib import Path
from typing import Any

import pytest

from compositor.base.errors import Fault, LocatedFault, UnusableInput
from compositor.scene.camera import (
    BetweenHorizon,
    EquivalentLens,
    FocalLens,
    FovLens,
    GroupsHorizon,
    LinesHorizon,
    PitchHorizon,
    PixelsLens,
    PointsHorizon,
    References,
    RowHorizon,
    ShareHorizon,
)
from compositor.scene.element import GroundPixel, GroundPosition
from compositor.scene.loader import load_scene

EXAMPLE = Path(__file__).with_name("example.yaml")


def refused(path: Path | str, *settings: tuple[str, str]) -> tuple[LocatedFault, ...]:
    with pytest.raises(UnusableInput) as caught:
        load_scene(path, settings)
    return caught.value.faults


def camera(tmp_path: Path, text: str) -> Any:
    path = tmp_path / "scene.yaml"
    path.write_text(f"scene: 1\nplate: {{image: a.jpg, camera: {text}}}\n", encoding="utf-8")
    return load_scene(path).scene.plate.camera


def test_example_says_what_it_says() -> None:
    scene = load_scene(EXAMPLE).scene
    assert scene.title == "Terrace, late afternoon"
    assert scene.plate.camera.horizon == RowHorizon(row=812)
    assert scene.plate.camera.lens == EquivalentLens(equivalent_mm=35)
    assert scene.plate.camera.height == 1.55
    assert scene.plate.extend is not None
    assert (scene.plate.extend.bottom, scene.plate.extend.left) == (300, 0)
    chair, second, crate, poster = scene.elements
    assert chair.contact == (812, 1490)
    assert chair.ground == GroundPosition(distance=6.2, offset=-1.1)
    assert second.name == "second-chair"
    assert second.ground == GroundPosition(distance=9, offset=1.4)
    assert (second.image, second.height, second.camera) == (chair.image, 0.92, chair.camera)
    assert crate.from_plate is not None
    assert crate.from_plate[2] == (300, 1100)
    assert poster.ground == GroundPixel(pixel=(2400, 1100))
    assert [element.form for element in scene.elements] == ["photograph", "photograph", "part of the plate", "artwork"]
    assert [(delivery.name, delivery.format) for delivery in scene.deliveries] == [("wide", "jpeg"), ("square", "png")]


@pytest.mark.parametrize(
    ("text", "horizon"),
    [
        ("812", RowHorizon(row=812)),
        ("-3.5e2", RowHorizon(row=-350)),
        ("{row: 812, plus_minus: 10}", RowHorizon(row=812, plus_minus=10)),
        ('"41%"', ShareHorizon(fraction=0.41)),
        ("-12.5 %", ShareHorizon(fraction=-0.125)),
        ("{points: [[0, 820], [3000, 800.5]]}", PointsHorizon(points=((0, 820), (3000, 800.5)))),
        ("{between: [900, 700]}", BetweenHorizon(between=(900, 700))),
        ("{pitch: -4}", PitchHorizon(pitch=-4)),
    ],
)
def test_horizon_forms(tmp_path: Path, text: str, horizon: object) -> None:
    assert camera(tmp_path, f"{{horizon: {text}}}").horizon == horizon


def test_horizon_from_edges(tmp_path: Path) -> None:
    edges = "[[[0, 900], [500, 850]], [[0, 1000], [500, 880]]]"
    lines = camera(tmp_path, f"{{horizon: {{lines: {edges}}}}}").horizon
    groups = camera(tmp_path, f"{{horizon: {{groups: [{edges}, {edges}]}}}}").horizon
    assert isinstance(lines, LinesHorizon)
    assert isinstance(groups, GroupsHorizon)
    assert lines.lines == (((0, 900), (500, 850)), ((0, 1000), (500, 880)))
    assert lines.groups == (lines.lines,)
    assert groups.groups == (lines.lines, lines.lines)


@pytest.mark.parametrize(
    ("text", "lens"),
    [
        ("{pixels: 2890}", PixelsLens(pixels=2890)),
        ("{focal_mm: 24, sensor_mm: [23.5, 15.6]}", FocalLens(focal_mm=24, sensor_mm=(23.5, 15.6))),
        ("{fov: 54}", FovLens(fov=54)),
        ("exif", "exif"),
    ],
)
def test_lens_forms(tmp_path: Path, text: str, lens: object) -> None:
    assert camera(tmp_path, f"{{horizon: 1, lens: {text}}}").lens == lens


def test_lens_and_height_left_out_are_none_and_not_a_guess(tmp_path: Path) -> None:
    bare = camera(tmp_path, "{horizon: 1}")
    assert (bare.lens, bare.height, bare.crop, bare.distortion, bare.roll) == (None, None, None, None, 0)


def test_height_from_references(tmp_path: Path) -> None:
    height = camera(tmp_path, "{horizon: 1, height: {references: [{base: [1, 9], top: [1, 2], height: 1.8}]}}").height
    assert isinstance(height, References)
    assert height.references[0].base == (1, 9)


def write_elements(tmp_path: Path, elements: str) -> Path:
    path = tmp_path / "scene.yaml"
    path.write_text(f"scene: 1\nplate: {{image: a.jpg, camera: {{horizon: 3}}}}\nelements:\n{elements}", "utf-8")
    return path


BASE = """\
  - name: base
    image: b.png
    camera: {horizon: 300}
    contact: [1, 2]
    height: 0.9
    visible: false
    ground: {pixel: [5, 6]}
"""


def test_like_replaces_whole_keys_through_a_chain_in_any_order(tmp_path: Path) -> None:
    chain = "  - {name: far, like: near, ground: {distance: 9}}\n  - {name: near, like: base, height: 1.1}\n"
    far, near, base = load_scene(write_elements(tmp_path, chain + BASE)).scene.elements
    assert (far.name, near.name, base.name) == ("far", "near", "base")
    assert far.ground == GroundPosition(distance=9)
    assert near.ground == base.ground
    assert (far.height, near.height, base.height) == (1.1, 1.1, 0.9)
    assert [element.visible for element in (far, near, base)] == [False] * 3


def test_null_drops_a_key_taken_over_by_like_and_nothing_else(tmp_path: Path) -> None:
    path = write_elements(tmp_path, BASE + "  - {name: b, like: base, height: null}\n")
    assert load_scene(path).scene.elements[1].height is None
    (fault,) = refused(write_elements(tmp_path, BASE + "    top: null\n"))
    assert (fault.key, fault.line) == ("elements.base.top", 11)


def test_a_fault_in_a_key_taken_over_is_told_once_and_of_its_owner(tmp_path: Path) -> None:
    path = write_elements(tmp_path, "  - {name: b, like: base}\n" + BASE.replace("[1, 2]", "[1, x]"))
    (fault,) = refused(path)
    assert (fault.line, fault.column, fault.key) == (8, 18, "elements.base.contact.1")


def test_what_solving_finds_is_located_where_it_is_written(tmp_path: Path) -> None:
    loaded = load_scene(write_elements(tmp_path, BASE + "  - {name: b, like: base}\n"))
    inherited = loaded.locate(Fault(("elements", 1, "contact"), "above the horizon"))
    assert str(inherited) == f"{loaded.path}:7:14: elements.b.contact: above the horizon ([1, 2])"
    unwritten = loaded.locate(Fault(("elements", 1, "top"), "cannot be found", "an empty matte"))
    assert str(unwritten) == f"{loaded.path}:11:5: elements.b.top: cannot be found (an empty matte)"
    deep = loaded.locate(Fault(("plate", "camera", "lens", "fov"), "no Exif data"))
    assert (deep.line, deep.column, deep.key, deep.given) == (2, 31, "plate.camera.lens.fov", None)
    error = loaded.unusable([Fault(("elements", 1, "contact"), "x"), Fault(("scene",), "y")])
    assert [fault.line for fault in error.faults] == [1, 7]


def test_file_name_is_shown_as_it_was_given(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(EXAMPLE.parent)
    assert str(refused("nowhere/../none.yaml")[0]) == "nowhere/../none.yaml:1:1: there is no such file"


def test_folder_special_file_and_no_path_at_all(tmp_path: Path) -> None:
    assert "folder" in refused(tmp_path)[0].what
    assert "no such file" in refused("a\0b")[0].what
    assert "cannot be opened" in refused("a" * 5000)[0].what
    os.mkfifo(tmp_path / "pipe")
    assert "regular file" in refused(tmp_path / "pipe")[0].what


@pytest.mark.parametrize(
    ("raw", "place", "fragment"),
    [
        (b"", (1, 1), "empty"),
        (b"\n\n", (1, 1), "empty"),
        (codecs.BOM_UTF16_LE + "scene: 1".encode("utf-16-le"), (1, 1), "UTF-16"),
        (b"scene: 1\ntitle: caf\xe9\n", (2, 11), "UTF-8"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", (1, 1), "UTF-8"),
        (b"scene: 1\ntitle: a\x00b\n", (2, 9), "no text file holds"),
        (b"scene: 1\r\ntitle: [\r\n", (2, 8), "not closed"),
        (b"scene: 1\n" + b"#" * 2**22, (1, 1), "larger than 4 MiB"),
        (b"scene: 1\n" + b"{" * 100_000, (2, 1000), "nested"),
        (b"- " * 100_000, (1, 201), "nested"),
    ],
)
def test_bytes_that_are_no_scene(tmp_path: Path, raw: bytes, place: tuple[int, int], fragment: str) -> None:
    path = tmp_path / "scene.yaml"
    path.write_bytes(raw)
    faults = refused(path)
    assert len(faults) == 1
    assert (faults[0].line, faults[0].column) == place
    assert fragment in faults[0].what


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", codecs.BOM_UTF8])
def test_line_endings_and_a_byte_order_mark_change_nothing(tmp_path: Path, ending: str, mark: bytes) -> None:
    path = tmp_path / "scene.yaml"
    path.write_bytes(mark + EXAMPLE.read_text("utf-8").replace("\n", ending).encode())
    loaded = load_scene(path)
    assert loaded.scene == load_scene(EXAMPLE).scene
    assert loaded.locate(Fault(("elements", 0, "contact"), "x")).line == 17


def test_json_is_a_subset(tmp_path: Path) -> None:
    """RFC 8259, section 7: a character beyond the basic plane is written as two escapes."""
    scene = {
        "scene": 1,
        "title": "Terrace \U0001f305 \\ud83c",
        "plate": {"image": "a/b.jpg", "camera": {"horizon": 8e2}},
    }
    path = tmp_path / "scene.json"
    path.write_text(json.dumps(scene, indent="\t"))
    assert load_scene(path).scene.title == scene["title"]


def test_a_flood_of_faults_is_cut_short(tmp_path: Path) -> None:
    path = tmp_path / "scene.yaml"
    path.write_text("scene: 1\nplate: {image: a, camera: {horizon: 1}}\n" + "x: 1\n" * 30_000)
    faults = refused(path)
    assert len(faults) == 101
    assert faults[-1].what.startswith("and at least 29")


def test_what_like_multiplies_is_counted(tmp_path: Path) -> None:
    polygon = "  - {name: p, from_plate: [" + "[1, 2], " * 9_000 + "[3, 5]], contact: [1, 2], ground: {distance: 1}}\n"
    (fault,) = refused(write_elements(tmp_path, polygon + "".join(f"  - {{name: e{i}, like: p}}\n" for i in range(9))))
    assert fault.key == "elements"
    assert "`like` counted each time" in fault.what


def test_names_with_unprintable_characters_stay_on_one_line(tmp_path: Path) -> None:
    path = write_elements(tmp_path, BASE.replace("name: base", 'name: "a\\nb"') + '  - {name: c, like: "a\\nc"}\n')
    for fault in refused(path):
        assert len(str(fault).splitlines()) == 1
