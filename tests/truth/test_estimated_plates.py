"""The automatic horizon on path-traced plates, whose cameras are exact.

The error is the largest vertical distance to the true horizon within the picture, in picture heights.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from test_truth import CASES

from compositor.geometry.camera import Camera
from compositor.measure.camera import find_camera

MEDIAN_LIMIT_FRACTION = 0.02


def error_fraction(folder: Path) -> float:
    true = json.loads((folder / "case.json").read_text())["plate"]["camera"]
    with Image.open(folder / "plate.png") as picture:
        rgb = np.asarray(picture.convert("RGB"))
    height, width = rgb.shape[:2]
    centre = (width / 2.0, height / 2.0)
    found = find_camera(rgb, centre, None).structure
    assert found is not None, f"{folder.name}: refused"
    seen = found.camera((width, height), centre)
    exact = Camera(
        true["focal_px"],
        (true["principal_point_px"][0], true["principal_point_px"][1]),
        (width, height),
        true["pitch_deg"],
        true["roll_deg"],
        true["height_m"],
    )
    error = max(abs(seen.horizon_row(u) - exact.horizon_row(u)) for u in (0.0, float(width))) / height
    print(f"{folder.name}: {error:.4f} of the height, lens {found.focal_px:.0f} px (true {exact.focal_px:.0f})")
    return error


def test_horizon_of_every_plate() -> None:
    errors = [error_fraction(folder) for folder in CASES]
    assert len(errors) >= 3
    assert float(np.median(errors)) < MEDIAN_LIMIT_FRACTION
    assert max(errors) < 2 * MEDIAN_LIMIT_FRACTION


def test_it_fails_on_another_plates_camera() -> None:
    """The check can fail: plates have cameras of their own."""
    by_name = {folder.name: folder for folder in CASES}
    wrong = json.loads((by_name["c03"] / "case.json").read_text())["plate"]["camera"]
    with Image.open(by_name["c01"] / "plate.png") as picture:
        found = find_camera(np.asarray(picture.convert("RGB")), (480.0, 320.0), None).structure
    assert found is not None
    assert found.pitch_deg != pytest.approx(wrong["pitch_deg"], abs=3.0)
