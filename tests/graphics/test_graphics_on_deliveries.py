"""Graphics through the whole render: exact colours, places, no change elsewhere, and every fault with its place."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.base.errors import UnusableInput
from compositor.files import typeface
from compositor.jobs.check import check_scene
from compositor.jobs.render import render_scene

FONTS = Path(__file__).parents[2] / "scenes" / "campaign" / "fonts"
LATIN, ARABIC = str(FONTS / "manrope-extrabold.ttf"), str(FONTS / "noto-kufi-arabic-bold.ttf")
Words = dict[str, Any]
Write = Callable[..., Path]
needs_shaping = pytest.mark.needs_shaping


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Writes a scene with these graphics on deliveries of 200 × 100 px; the file's path."""
    Image.new("RGB", (400, 300), (90, 120, 150)).save(tmp_path / "plate.png")
    logo = np.zeros((40, 80, 4), np.uint8)
    logo[:, :40] = (200, 30, 60, 255)
    Image.fromarray(logo).save(tmp_path / "logo.png")

    def written(*graphics: Words, **more: Any) -> Path:
        words = {
            "scene": 1,
            "plate": {"image": "plate.png", "camera": {"horizon": 100, "lens": {"pixels": 300}, "height": 1.6}},
            "deliveries": [{"name": "wide", "size": [200, 100]}, {"name": "plain", "size": [200, 100]}],
            "graphics": [{"deliveries": {"wide": {}}, **graphic} for graphic in graphics],
            **more,
        }
        path = tmp_path / "scene.yaml"
        path.write_text(json.dumps(words, indent=1, ensure_ascii=False), encoding="utf-8")
        return path

    return written


def rendered(path: Path, tmp_path: Path) -> tuple[np.ndarray, np.ndarray]:
    """The delivery with graphics and the one without."""
    render_scene(path, [], tmp_path / "out")
    folder = tmp_path / "out" / "scene" / "base"
    with Image.open(folder / "wide.png") as wide, Image.open(folder / "plain.png") as plain:
        return np.asarray(wide).astype(int), np.asarray(plain).astype(int)


def test_a_plain_area_has_its_colour_and_edges(write: Write, tmp_path: Path) -> None:
    path = write({"name": "panel", "fill": "#102030", "box": [0.25, 0.2, 0.505, 0.6]})
    wide, plain = rendered(path, tmp_path)
    assert (wide[20:60, 50:101] == (16, 32, 48)).all()
    outside = np.ones(wide.shape[:2], bool)
    outside[20:60, 50:101] = False
    assert (wide[outside] == plain[outside]).all()


def test_a_half_covered_pixel_and_a_half_open_colour_are_mixed_as_encoded(write: Write, tmp_path: Path) -> None:
    # By hand: 0.2525 · 200 = 50.5, so half of column 50; #00000080 is 128/255 black.
    path = write({"name": "panel", "fill": "#00000080", "box": [0.2525, 0.2, 0.5, 0.6]})
    wide, plain = rendered(path, tmp_path)
    for column, share in ((50, 0.5 * 128 / 255), (70, 128 / 255), (49, 0.0)):
        assert np.abs(wide[30, column] - plain[30, column] * (1 - share)).max() <= 0.51


def test_a_logo_keeps_its_shape_colour_and_corner(write: Write, tmp_path: Path) -> None:
    path = write({"name": "logo", "image": "logo.png", "box": [0.5, 0.5, 1, 1], "anchor": "bottom-right"})
    wide, plain = rendered(path, tmp_path)
    # The box is 100 × 50 px, the logo 2:1: it fills it; its left half is red.
    assert np.abs(wide[55:95, 105:145] - (200, 30, 60)).max() <= 1
    assert (wide[55:95, 155:195] == plain[55:95, 155:195]).all()
    assert (wide[:49] == plain[:49]).all() and (wide[:, :99] == plain[:, :99]).all()


@needs_shaping
@pytest.mark.parametrize(
    ("anchor", "where"),
    [("top-left", (0, 0)), ("bottom-right", (1, 1)), ("centre", (0.5, 0.5)), ("top-right", (1, 0))],
)
def test_copy_touches_the_edges_that_it_is_anchored_to(
    anchor: str, where: tuple[float, float], write: Write, tmp_path: Path
) -> None:
    copy = {"name": "copy", "text": "High", "font": LATIN, "colour": "#ffffff", "anchor": anchor, "size": 30}
    wide, plain = rendered(write({**copy, "box": [0.1, 0.1, 0.9, 0.9]}), tmp_path)
    changed = np.argwhere((wide != plain).any(axis=2))
    (top, left), (bottom, right) = changed.min(axis=0), changed.max(axis=0) + 1
    for low, high, share, start, end in ((left, right, where[0], 20, 180), (top, bottom, where[1], 10, 90)):
        wanted = start + share * (end - start - (high - low))
        assert abs(low - wanted) <= 1.5
    assert wide.max() == 255


@needs_shaping
def test_later_graphics_lie_over_earlier_ones(write: Write, tmp_path: Path) -> None:
    path = write({"name": "red", "fill": "#ff0000"}, {"name": "blue", "fill": "#0000ff", "box": [0, 0, 0.5, 1]})
    wide, _ = rendered(path, tmp_path)
    assert (wide[:, :100] == (0, 0, 255)).all() and (wide[:, 100:] == (255, 0, 0)).all()


def faults(path: Path) -> list[str]:
    with pytest.raises(UnusableInput) as caught:
        check_scene(path, [])
    return [f"{fault.line}:{fault.key}: {fault.what}" for fault in caught.value.faults]


COPY = {"name": "copy", "text": "Afternoon", "font": LATIN, "colour": "#ffffff"}


@needs_shaping
def test_a_missing_glyph_has_its_place(write: Write) -> None:
    (fault,) = faults(write({**COPY, "text": "午後 5 €"}))
    assert "graphics.copy.text" in fault and "no glyph for 午 (U+5348), 後 (U+5F8C)" in fault
    (fault,) = faults(write({**COPY, "text": "Afternoon", "font": ARABIC}))
    assert "A (U+0041)" in fault


@needs_shaping
def test_a_missing_font_has_its_place(write: Write) -> None:
    path = write({**COPY, "font": "nowhere.ttf"})
    (fault,) = faults(path)
    line = next(n for n, text in enumerate(path.read_text().splitlines(), 1) if "nowhere.ttf" in text)
    assert fault == f"{line}:graphics.copy.font: no such font file"


def test_a_missing_shaping_library_has_its_place(write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(typeface.features, "check", lambda name: name not in ("raqm", "fribidi"))
    (fault,) = faults(write(COPY))
    assert "graphics.copy.font" in fault and "FriBiDi" in fault and "apt-get install libfribidi0" in fault


def test_a_missing_logo_has_its_place(write: Write) -> None:
    (fault,) = faults(write({"name": "logo", "image": "nowhere.png"}))
    assert "graphics.logo.image: no such file" in fault


@needs_shaping
def test_copy_without_room_is_told_with_its_lack(write: Write) -> None:
    (fault,) = faults(write({**COPY, "text": "Afternoon " * 40, "box": [0, 0, 0.2, 0.2]}))
    assert "graphics.copy.text" in fault and "does not fit its box in wide" in fault and "px too high" in fault
    (fault,) = faults(write({**COPY, "size": 90, "lines": 1}))
    assert "in one line" in fault and "px too wide" in fault


@needs_shaping
def test_a_graphic_differs_where_a_delivery_says_so(write: Write) -> None:
    path = write(
        {**COPY, "deliveries": {"wide": {"size": 20}, "plain": {"box": [0, 0, 0.3, 1], "lines": 1}}},
        {**COPY, "name": "nowhere", "visible": False},
    )
    deliveries = {d["name"]: d["graphics"] for d in check_scene(path, []).variants[0].record["deliveries"]}
    assert [g["type_px"] for g in deliveries["wide"]] == [20.0]
    (plain,) = deliveries["plain"]
    assert plain["lines"] == ["Afternoon"] and plain["box"][2] <= 60.0


@needs_shaping
def test_copy_is_the_same_bytes_again(write: Write, tmp_path: Path) -> None:
    path = write({**COPY, "box": [0.1, 0.1, 0.9, 0.9]})
    first, _ = rendered(path, tmp_path)
    second, _ = rendered(path, tmp_path / "again")
    assert (first == second).all()
