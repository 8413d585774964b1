"""An element whose lens bent it: straightened with all that was in its frame, not with what stays in it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.jobs.render import render_scene

Words = dict[str, Any]


@pytest.mark.parametrize("k1", [0.0, -0.2, -0.3, 0.2])
def test_it_stands_on_its_contact_and_keeps_its_top_where_they_lie_at_its_frame(
    k1: float, folder: Path, words: Words, write: Callable[[Words], Path], tmp_path: Path
) -> None:
    # Barrel distortion draws the frame inwards, so straightening moves what lies at the frame out of it.
    picture = np.zeros((240, 120, 4), np.uint8)
    picture[2:238, 40:80] = (230, 0, 0, 255)
    Image.fromarray(picture).save(folder / "bent.png")
    camera = {"horizon": 100.0, "lens": {"pixels": 260}, "height": 1.4, "distortion": {"k1": k1}}
    words["elements"][0] = {
        "name": "post",
        "image": "bent.png",
        "camera": camera,
        "contact": [60, 238],
        "top": [60, 2],
        "ground": {"distance": 5},
    }
    plan = render_scene(write(words), [], tmp_path / "out").variants[0].plan
    composite = np.asarray(Image.open(tmp_path / "out" / "scene" / "base" / "composite.png")).astype(int)
    red = np.flatnonzero(((composite[..., 0] > 200) & (composite[..., 1] < 60)).any(axis=1))
    element = plan.element("post")
    assert red[0] == pytest.approx(element.top_px[1], abs=1.5)
    assert red[-1] + 1 == pytest.approx(element.contact_px[1], abs=1.5)
