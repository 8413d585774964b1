"""What a render leaves: whole files, the right pixels, the same bytes again."""

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.base.errors import UnusableInput
from compositor.jobs.check import check_scene
from compositor.jobs.render import render_scene

Write = Callable[[dict[str, Any]], Path]
Words = dict[str, Any]


def pixels(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return np.asarray(picture)


def test_files_of_a_render(words: Words, write: Write, tmp_path: Path) -> None:
    outcome = render_scene(write(words), [], tmp_path / "out")
    base = tmp_path / "out" / "scene" / "base"
    assert {path.name for path in base.iterdir()} == {"composite.png", "overlay.png", "layers.ora", "report.json"}
    assert outcome.exit_status("error") == 0
    report = json.loads((base / "report.json").read_text())
    assert report["elements"][0]["name"] == "post"
    assert report["plate"]["size"] == [480, 320]
    assert report["inputs"][0]["path"] == "plate.png" and report["inputs"][0]["hash"].startswith("sha256:")
    keys = {"title", "plate", "elements", "findings", "timings_s", "inputs", "versions"}
    assert keys <= set(report)


def test_report_equals_what_check_says(words: Words, write: Write, tmp_path: Path) -> None:
    path = write(words)
    render_scene(path, [], tmp_path / "out")
    report = json.loads((tmp_path / "out" / "scene" / "base" / "report.json").read_text())
    checked = json.loads(check_scene(path, []).as_json())
    assert {**checked, "timings_s": {}} == report


def test_two_renders_give_the_same_bytes(words: Words, write: Write, tmp_path: Path) -> None:
    path = write(words)
    for name in ("one", "two"):
        render_scene(path, [], tmp_path / name)
    for file in (tmp_path / "one" / "scene" / "base").iterdir():
        assert file.read_bytes() == (tmp_path / "two" / "scene" / "base" / file.name).read_bytes(), file.name


def test_the_merged_picture_is_the_frame_whoever_wrote_it(words: Words, write: Write, tmp_path: Path) -> None:
    """Written already as a delivery, or only for the layered file."""
    merged = []
    for name, kind in (("one", "png"), ("two", "jpeg")):
        words["deliveries"] = [{"name": "frame", "format": kind}]
        render_scene(write(words), [], tmp_path / name)
        with zipfile.ZipFile(tmp_path / name / "scene" / "base" / "layers.ora") as archive:
            merged.append(archive.read("mergedimage.png"))
    assert merged[0] == merged[1] == (tmp_path / "one" / "scene" / "base" / "frame.png").read_bytes()


def test_pixels_outside_the_elements_are_the_plate(words: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    render_scene(write(words), [], tmp_path / "out")
    composite, plate = pixels(tmp_path / "out" / "scene" / "base" / "composite.png"), pixels(folder / "plate.png")
    changed = np.argwhere((composite != plate).any(axis=2))
    assert len(changed) > 500
    with zipfile.ZipFile(tmp_path / "out" / "scene" / "base" / "layers.ora") as archive:
        layer = archive.read("data/001.png")
    with Image.open(io.BytesIO(layer)) as picture:
        width, height = picture.size
    span = changed.max(axis=0) - changed.min(axis=0) + 1
    assert span[0] <= height and span[1] <= width


def test_deliveries_show_the_element_whole(words: Words, write: Write, tmp_path: Path) -> None:
    words["deliveries"] = [
        {"name": "whole"},
        {"name": "square", "size": [120, 120], "around": ["post"], "margin": 0.1, "format": "png"},
        {"name": "small", "size": [240, 160], "format": "jpeg", "quality": 90},
        {"name": "ended", "crop": {"left": 30, "bottom": 70}},
    ]
    outcome = render_scene(write(words), [], tmp_path / "out")
    base = tmp_path / "out" / "scene" / "base"
    names = {path.name for path in base.iterdir()}
    assert names == {"whole.png", "square.png", "small.jpg", "ended.png", "overlay.png", "layers.ora", "report.json"}
    square = pixels(base / "square.png")
    assert square.shape == (120, 120, 3)
    red = square[..., 0].astype(int) - square[..., 1] > 60
    assert red.any() and not red[0].any() and not red[-1].any() and not red[:, 0].any() and not red[:, -1].any()
    crop = next(d for d in outcome.variants[0].record["deliveries"] if d["name"] == "square")["crop"]
    left, top = int(crop["left"]), int(crop["top"])
    whole = pixels(base / "whole.png")
    if crop["width"] == 120:
        assert np.array_equal(square, whole[top : top + 120, left : left + 120])
    assert pixels(base / "small.jpg").shape == (160, 240, 3)
    assert np.array_equal(pixels(base / "ended.png"), whole[:250, 30:])


def test_16_bit_plate_gives_16_bit_outputs(words: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    import cv2

    ramp = np.linspace(3000, 62000, 480).astype(np.uint16)
    plate = np.repeat(np.repeat(ramp[None, :, None], 320, axis=0), 3, axis=2)
    cv2.imwrite(str(folder / "deep.png"), plate)
    words["plate"]["image"] = "deep.png"
    render_scene(write(words), [], tmp_path / "out")
    base = tmp_path / "out" / "scene" / "base"
    composite = cv2.imread(str(base / "composite.png"), cv2.IMREAD_UNCHANGED)
    assert composite.dtype == np.uint16
    assert np.array_equal(composite[0], plate[0])
    assert len(np.unique(composite[0, :, 0])) > 400
    with zipfile.ZipFile(base / "layers.ora") as archive:
        layer = cv2.imdecode(np.frombuffer(archive.read("data/000.png"), np.uint8), cv2.IMREAD_UNCHANGED)
    assert layer.dtype == np.uint16


def test_invisible_elements_are_as_if_not_there(words: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    words["elements"].append({"name": "gone", "like": "post", "image": "missing.png", "visible": False})
    render_scene(write(words), [("elements.post.visible", "false")], tmp_path / "out")
    composite = pixels(tmp_path / "out" / "scene" / "base" / "composite.png")
    assert np.array_equal(composite, pixels(folder / "plate.png"))


def test_nearer_elements_are_drawn_over_farther_ones(words: Words, write: Write, tmp_path: Path) -> None:
    words["elements"].append({"name": "behind", "like": "post", "ground": {"distance": 9, "offset": -0.75}})
    record = render_scene(write(words), [], tmp_path / "out").variants[0].record
    assert [element["name"] for element in record["elements"]] == ["behind", "post"]


@pytest.mark.parametrize("fault", ["contact", "image"])
def test_nothing_is_written_for_unusable_input(words: Words, write: Write, tmp_path: Path, fault: str) -> None:
    words["elements"][0][fault] = [60, -900] if fault == "contact" else "truncated.png"
    with pytest.raises(UnusableInput):
        render_scene(write(words), [], tmp_path / "out")
    assert not (tmp_path / "out").exists()
