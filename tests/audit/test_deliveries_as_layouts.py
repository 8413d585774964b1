"""Findings about deliveries: each rule with a scene that sets it off and one that does not."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.jobs.check import check_scene

Words = dict[str, Any]


@pytest.fixture
def codes(tmp_path: Path) -> Callable[[Words, list[Words]], dict[str, str]]:
    """The findings, by code with their sentences, of one delivery around a post in the middle of a wide plate."""
    Image.new("RGB", (1200, 800), (90, 120, 150)).save(tmp_path / "plate.png")
    post = np.zeros((200, 120, 4), np.uint8)
    post[20:190, 40:80] = 255
    Image.fromarray(post).save(tmp_path / "post.png")
    Image.new("RGB", (20, 10), (200, 0, 0)).save(tmp_path / "logo.png")

    def found(delivery: Words, graphics: list[Words]) -> dict[str, str]:
        element = {
            "name": "post",
            "image": "post.png",
            "camera": {"horizon": 60, "lens": {"pixels": 700}, "height": 1.4},
            "contact": [60, 190],
            "ground": {"distance": 6},
        }
        words = {
            "scene": 1,
            "plate": {"image": "plate.png", "camera": {"horizon": 350, "lens": {"pixels": 1000}, "height": 1.6}},
            "elements": [element],
            "deliveries": [{"name": "wide", "around": ["post"], **delivery}],
            "graphics": graphics,
        }
        path = tmp_path / "scene.yaml"
        path.write_text(json.dumps(words))
        return {finding.code: finding.message for finding in check_scene(path, []).variants[0].findings}

    return found


RULES = {"margin-short", "composition-missed", "copy-covered", "copy-over-element", "artwork-enlarged"}


def test_a_good_layout_has_none(codes: Callable[[Words, list[Words]], dict[str, str]]) -> None:
    logo = {"name": "logo", "image": "logo.png", "box": [0.05, 0.1, 0.1, 0.15]}
    assert not RULES & set(codes({"size": [400, 400], "margin": 0.1}, [logo]))


def test_margins_that_the_frame_does_not_have(codes: Callable[[Words, list[Words]], dict[str, str]]) -> None:
    found = codes({"size": [400, 400], "margin": [0, 0.8, 0, 0.1]}, [])
    assert "the room about post is" in found["margin-short"]


def test_a_composition_that_would_leave_the_frame(codes: Callable[[Words, list[Words]], dict[str, str]]) -> None:
    found = codes({"size": [400, 400], "composition": {"horizon": 0.95}}, [])
    assert "px of the frame off" in found["composition-missed"]


def test_a_logo_in_a_covered_band(codes: Callable[[Words, list[Words]], dict[str, str]]) -> None:
    logo = {"name": "logo", "image": "logo.png", "box": [0, 0, 0.05, 0.05], "anchor": "top-left"}
    found = codes({"size": [400, 400], "safe": {"top": 30}}, [logo])
    assert "graphic logo reaches 30 px into the band at the top" in found["copy-covered"]
    panel = {"name": "panel", "fill": "#ffffff", "box": [0, 0, 1, 0.05]}
    assert "copy-covered" not in codes({"size": [400, 400], "safe": {"top": 30}}, [panel])


def test_a_logo_over_what_it_is_about_and_too_large(codes: Callable[[Words, list[Words]], dict[str, str]]) -> None:
    logo = {"name": "logo", "image": "logo.png", "box": [0.3, 0.3, 0.7, 0.7]}
    found = codes({"size": [400, 400], "margin": 0.1}, [logo])
    assert "graphic logo lies over" in found["copy-over-element"]
    # By hand: 160 px of box for 20 px of logo.
    assert "shown at 800% of its own size" in found["artwork-enlarged"]
