"""Extension, re-use of a part of the plate, and distortion, through the render job."""

import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from compositor.base.opencv import cv2
from compositor.jobs.render import render_scene

Write = Callable[[dict[str, Any]], Path]
Words = dict[str, Any]


def composite(folder: Path) -> np.ndarray:
    with Image.open(folder / "scene" / "base" / "composite.png") as picture:
        return np.asarray(picture.convert("RGB"))


def opened(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"))


@pytest.mark.parametrize("fill", ["mirror", "stretch", "inpaint"])
def test_extension_moves_the_camera_along(words: Words, write: Write, folder: Path, tmp_path: Path, fill: str) -> None:
    plain = render_scene(write(words), [], tmp_path / "plain").variants[0].record
    words["plate"]["extend"] = {"left": 30, "top": 20, "right": 10, "bottom": 50, "fill": fill}
    wide = render_scene(write(words), [], tmp_path / "wide").variants[0].record
    assert wide["plate"]["size"] == [520, 390]
    for key in ("contact", "top"):
        assert np.subtract(wide["elements"][0][key], plain["elements"][0][key]) == pytest.approx([30, 20], abs=1e-9)
    assert wide["plate"]["horizon"][0][1] == pytest.approx(plain["plate"]["horizon"][0][1] + 20)
    assert wide["elements"][0]["scale_ratio"] == pytest.approx(plain["elements"][0]["scale_ratio"])
    inside = composite(tmp_path / "wide")[20:340, 30:510]
    # The added rows change nothing inside: the plate and the placed element are the same pixels.
    assert np.array_equal(inside, composite(tmp_path / "plain"))


def test_elements_reach_into_the_added_picture(words: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    words["plate"]["extend"] = {"bottom": 120, "fill": "mirror"}
    words["elements"][0]["ground"] = {"distance": 3.0, "offset": 0}
    record = render_scene(write(words), [], tmp_path / "out").variants[0].record
    (u, v) = record["elements"][0]["contact"]
    assert v > 320
    assert tuple(composite(tmp_path / "out")[int(v) - 3, int(u)]) == (200, 60, 40)


def test_part_of_the_plate_unmoved_changes_nothing(words: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    outline = [[100, 150], [180, 150], [180, 260], [100, 260]]
    words["elements"] = [
        {"name": "copy", "from_plate": outline, "contact": [140, 260], "ground": {"pixel": [140, 260]}}
    ]
    render_scene(write(words), [], tmp_path / "out")
    assert np.array_equal(composite(tmp_path / "out"), opened(folder / "plate.png"))


def test_part_of_the_plate_is_reused_smaller_and_higher(
    words: Words, write: Write, folder: Path, tmp_path: Path
) -> None:
    marked = opened(folder / "plate.png").copy()
    marked[200:260, 120:160] = (250, 20, 20)
    Image.fromarray(marked).save(folder / "plate.png")
    outline = [[120, 200], [160, 200], [160, 260], [120, 260]]
    words["elements"] = [
        {"name": "copy", "from_plate": outline, "contact": [140, 260], "ground": {"distance": 8, "offset": 1}}
    ]
    record = render_scene(write(words), [], tmp_path / "out").variants[0].record
    scale, (u, v) = record["elements"][0]["scale_ratio"], record["elements"][0]["contact"]
    assert scale < 0.9 and v < 260
    with zipfile.ZipFile(tmp_path / "out" / "scene" / "base" / "layers.ora") as archive:
        data, stack = archive.read("data/001.png"), ElementTree.fromstring(archive.read("stack.xml"))
    layer = next(entry for entry in stack.iter("layer") if entry.get("name") == "copy")
    with Image.open(io.BytesIO(data)) as picture:
        alpha = np.asarray(picture)[..., 3] / 255.0
    # Widths of equal uprights go as their contacts' rows below the horizon, at any tilt (perspective drawing, common
    # practice, no source); the coverage says so to a part of a pixel.
    horizon = record["plate"]["horizon"][0][1]
    assert alpha.sum(axis=1)[-4:-1].max() == pytest.approx(40 * (v - horizon) / (260 - horizon), abs=0.1)
    columns, rows = np.arange(alpha.shape[1]) + 0.5, alpha.sum(axis=0).max()
    foot = alpha[-3:-1].sum(axis=0)
    middle = float((foot * columns).sum() / foot.sum()) + int(layer.attrib["x"])
    assert middle == pytest.approx(u, abs=0.1)
    assert int(layer.attrib["y"]) + alpha.shape[0] == pytest.approx(v, abs=1.0)
    assert rows == pytest.approx(60 * scale, abs=1.5)  # a tilted camera sees it from slightly elsewhere


def test_distortion_is_taken_off_plate_element_and_matte(
    words: Words, write: Write, folder: Path, tmp_path: Path
) -> None:
    """A scene whose pictures went through a bent lens renders as the straight one, up to resampling."""
    straight = render_scene(write(words), [], tmp_path / "straight").variants[0].record
    reference = composite(tmp_path / "straight").astype(int)
    for name, focal, key in (("plate.png", 400.0, "plate"), ("post.png", 700.0, "elements")):
        picture = cv2.imread(str(folder / name), cv2.IMREAD_UNCHANGED)
        bent, lens = bend(picture, focal)
        cv2.imwrite(str(folder / name), bent)
        target = words["plate"] if key == "plate" else words["elements"][0]
        target["camera"]["distortion"] = lens
    camera = words["elements"][0]["camera"]
    words["elements"][0]["contact"] = bent_point([60.0, 190.0], 700.0, (60.0, 100.0))
    camera["horizon"] = bent_point([60.0, camera["horizon"]], 700.0, (60.0, 100.0))[1]
    plate = words["plate"]["camera"]
    plate["horizon"] = bent_point([240.0, plate["horizon"]], 400.0, (240.0, 160.0))[1]
    record = render_scene(write(words), [], tmp_path / "bent").variants[0].record
    assert record["elements"][0]["contact"] == pytest.approx(straight["elements"][0]["contact"], abs=0.01)
    inner = np.s_[60:260, 60:420]  # the bent picture lacks the straight one's corners
    found = composite(tmp_path / "bent").astype(int)
    # The post has straight edges: its outline agrees to a pixel, colours inside to a few steps.
    ours, theirs = (frame[inner][..., 0] - frame[inner][..., 1] > 80 for frame in (found, reference))
    assert np.count_nonzero(ours ^ theirs) < 0.04 * np.count_nonzero(theirs)


K1 = -0.08


def bent_point(point: list[float], focal: float, centre: tuple[float, float]) -> list[float]:
    xy = (np.array(point) - centre) / focal
    return [float(x) for x in xy * (1 + K1 * float(xy @ xy)) * focal + centre]


def bend(picture: np.ndarray, focal: float) -> tuple[np.ndarray, dict[str, float]]:
    """The picture as a lens with k1 would have taken it, by OpenCV's own inverse (undistortPoints)."""
    height, width = picture.shape[:2]
    matrix = np.array([[focal, 0, width / 2 - 0.5], [0, focal, height / 2 - 0.5], [0, 0, 1]])
    grid = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).astype(np.float64).reshape(-1, 1, 2)
    source = cv2.undistortPoints(grid, matrix, np.array([K1, 0, 0, 0, 0]), P=matrix).reshape(height, width, 2)
    maps = source.astype(np.float32)
    return cv2.remap(picture, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), {"k1": K1}
