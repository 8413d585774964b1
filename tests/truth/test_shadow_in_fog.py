"""A shadow in fog against path-traced truth: with the plate's air it is as faint as the true one, near enough."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from test_truth import CASES, coverage, scene_of

from compositor.colour.curves import srgb_to_linear
from compositor.jobs.render import render_scene

LUMINANCE = [0.2126, 0.7152, 0.0722]  # ITU-R BT.709
FOGGY = [folder for folder in CASES if json.loads((folder / "case.json").read_text())["plate"]["haze"] is not None]
MARGIN_PX = 40


def light_of(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return srgb_to_linear(np.asarray(picture.convert("RGB"), np.float64) / 255) @ LUMINANCE


@pytest.mark.skipif(not FOGGY, reason="no case in fog is here")
@pytest.mark.parametrize("folder", FOGGY, ids=lambda folder: folder.name)
def test_fog_lies_over_shadows_too(folder: Path, tmp_path: Path) -> None:
    """Mean absolute error of the darkening where ours or the true shadow lies, around the subject's foot."""
    case = json.loads((folder / "case.json").read_text())
    with Image.open(folder / "shadow_ratio.png") as picture:
        truth = np.asarray(picture, np.float64) / 32767.5
    sun, (u, v) = case["plate"]["sun"], (int(value) for value in case["placement"]["contact_px"])
    around = np.zeros(truth.shape, bool)
    around[v - MARGIN_PX // 2 : v + MARGIN_PX // 2, u - 2 * MARGIN_PX : u + 2 * MARGIN_PX] = True
    around &= coverage(folder / "truth_matte.png") < 0.01
    errors = []
    for air in ({}, {"air": {"visibility": math.log(50) / case["plate"]["haze"]["beta_per_m"]}}):
        words = scene_of(folder, case)
        words["plate"] |= {"light": {"azimuth": sun["azimuth_deg"], "elevation": sun["elevation_deg"]}, **air}
        scene = tmp_path / "scene.json"
        scene.write_text(json.dumps(words))
        render_scene(scene, [], tmp_path)
        ours = light_of(tmp_path / "scene" / "base" / "composite.png") / light_of(folder / "plate.png")
        union = around & (np.minimum(ours, truth) < 0.95)
        errors.append(float(np.abs(ours - truth)[union].mean()))
    print(f"{folder.name}: error of the darkening {errors[0]:.3f} as in clear air, {errors[1]:.3f} in its own")
    assert errors[1] < 0.15
    assert errors[1] < 0.5 * errors[0]
