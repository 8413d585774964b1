"""`horizon: auto`: found in the picture, carried into report and overlay, refused where the picture tells nothing."""

import json
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
CASE = Path(__file__).parent.parent / "truth" / "cases" / "c01"


def scene(image: str, **camera: Any) -> dict[str, Any]:
    return {"scene": 1, "plate": {"image": image, "camera": {"horizon": "auto", "height": 1.6, **camera}}}


@pytest.mark.parametrize("lens", [{}, {"lens": {"pixels": 933.33}}])
def test_path_traced_street(write: Write, lens: dict[str, Any]) -> None:
    # c01 of the path-traced truth: exact camera in case.json.
    true = json.loads((CASE / "case.json").read_text())["plate"]["camera"]
    record = json.loads(check_scene(write(scene(str(CASE / "plate.png"), **lens)), []).as_json())["plate"]
    off = max(abs(found[1] - is_[1]) for found, is_ in zip(record["horizon"], true["horizon_px"], strict=True))
    assert off < 0.02 * 640
    assert 0 < record["plus_minus"]["horizon_left_px"] < 0.05 * 640
    assert any("found in the picture" in text for text in record["assumed"])
    if lens:
        assert record["focal_px"] == pytest.approx(933.33)
        assert record["pitch_deg"] == pytest.approx(true["pitch_deg"], abs=0.8)


def test_overlay_shows_the_edges(write: Write, tmp_path: Path) -> None:
    solved = render_scene(write(scene(str(CASE / "plate.png"))), [], tmp_path / "out").variants[0]
    assert len(solved.plan.plate.edge_groups) >= 2
    assert all(2 <= len(group.edges_px) <= 6 for group in solved.plan.plate.edge_groups)


def test_crop_moves_nothing_but_the_numbers(write: Write, folder: Path) -> None:
    with Image.open(CASE / "plate.png") as picture:
        picture.crop((40, 30, 960, 640)).save(folder / "cropped.png")
    lens = {"lens": {"pixels": 933.33}}
    whole = check_scene(write(scene(str(CASE / "plate.png"), **lens)), []).variants[0].plan.plate.camera
    words = scene("cropped.png", **lens, crop={"offset": [40, 30], "of": [960, 640]})
    cropped = check_scene(write(words), []).variants[0].plan.plate.camera
    assert cropped.principal_px == (440.0, 290.0)
    assert cropped.pitch_deg == pytest.approx(whole.pitch_deg, abs=0.5)


def test_a_picture_without_structure_is_refused(write: Write, folder: Path) -> None:
    noise = np.random.default_rng(3).normal(128, 20, (320, 480, 3))
    Image.fromarray(np.clip(noise, 0, 255).astype(np.uint8)).save(folder / "noise.png")
    with pytest.raises(UnusableInput) as caught:
        check_scene(write(scene("noise.png")), [])
    (fault,) = caught.value.faults
    assert fault.key == "plate.camera.horizon" and "cannot tell" in fault.what and "edges" in fault.what


def test_distortion_is_refused_beside_it(write: Write) -> None:
    words = scene(str(CASE / "plate.png"), lens={"pixels": 933.33}, distortion={"k1": -0.1})
    with pytest.raises(UnusableInput, match="distortion bends them"):
        check_scene(write(words), [])


def test_an_element_may_ask_too(words: dict[str, Any], write: Write) -> None:
    words["elements"][0]["camera"] = {"horizon": "auto"}
    with pytest.raises(UnusableInput) as caught:
        check_scene(write(words), [])
    assert caught.value.faults[0].key == "elements.post.camera.horizon"
