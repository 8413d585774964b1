"""Shadows in haze: the ground's own light goes, the air's stays; against Koschmieder's formula."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.colour.curves import linear_to_srgb, srgb_to_linear
from compositor.jobs.render import render_scene

HORIZON, FOCAL_PX, HEIGHT_M = 80, 400.0, 1.5
GROUND, AIR = np.array([0.30, 0.26, 0.20]), np.array([0.60, 0.66, 0.72])


def light_of(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return srgb_to_linear(np.asarray(picture.convert("RGB"), np.float64) / 255)


def hazy_plate(beta_per_m: float) -> np.ndarray:
    """Even ground under air, L = J·t + A·(1 − t) with t by the length of the ray to the ground; a sky of air."""
    y, x = np.mgrid[:240, :360] + 0.5
    down, across = np.maximum(y - HORIZON, 1e-6) / FOCAL_PX, (x - 180) / FOCAL_PX
    along_m = HEIGHT_M / down * np.sqrt(1 + down**2 + across**2)
    share = np.where(y > HORIZON, np.exp(-beta_per_m * along_m), 0.0)[..., None]
    return GROUND * share + AIR * (1 - share)


@pytest.mark.parametrize("beta_per_m", [0.0005, 0.03, 0.1])
def test_only_the_grounds_own_light_is_taken(beta_per_m: float, tmp_path: Path) -> None:
    """The darkening seen is that of the clear scene, times what the air lets through."""
    box = np.zeros((120, 60, 4), np.uint8)
    box[10:110, 10:50] = (90, 80, 70, 255)
    Image.fromarray(box).save(tmp_path / "box.png")
    camera: dict[str, Any] = {"horizon": HORIZON, "lens": {"pixels": FOCAL_PX}, "height": HEIGHT_M}
    element = {
        "name": "box", "image": "box.png", "camera": {"horizon": 30, "lens": {"pixels": 300}}, "contact": [30, 110],
        "height": 1.2, "ground": {"distance": 8, "offset": -1}, "shadow": {"contact": False},
    }  # fmt: skip
    found = {}
    for name, beta in (("clear", 0.0), ("hazy", beta_per_m)):
        plate = np.rint(linear_to_srgb(hazy_plate(beta) if beta else np.tile(GROUND, (240, 360, 1))) * 255)
        Image.fromarray(plate.astype(np.uint8)).save(tmp_path / f"{name}.png")
        words: dict[str, Any] = {
            "image": f"{name}.png", "camera": camera, "light": {"azimuth": -80, "elevation": 30, "sun": 0.8}
        }  # fmt: skip
        if beta:
            words["air"] = {"visibility": math.log(50) / beta}
        (tmp_path / f"{name}-scene.json").write_text(json.dumps({"scene": 1, "plate": words, "elements": [element]}))
        render_scene(tmp_path / f"{name}-scene.json", [], tmp_path)
        seen = light_of(tmp_path / f"{name}-scene" / "base" / "composite.png")
        found[name] = seen - light_of(tmp_path / f"{name}.png")
    ground = np.zeros((240, 360), bool)
    ground[145:175, 150:250] = True  # beside the box, where its shadow lies
    y, x = np.mgrid[:240, :360] + 0.5
    down, across = np.maximum(y - HORIZON, 1e-6) / FOCAL_PX, (x - 180) / FOCAL_PX
    share = np.exp(-beta_per_m * HEIGHT_M / down * np.sqrt(1 + down**2 + across**2))[..., None]
    assert found["clear"][ground].min() < -0.1, "a case without a shadow shows nothing"
    assert found["hazy"][ground] == pytest.approx((found["clear"] * share)[ground], abs=0.012)
