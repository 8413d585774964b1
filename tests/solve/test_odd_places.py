"""Odd but legal scenes: what lies partly behind the camera, is seen edge on, or is looked at steeply from above."""

from typing import Any

import numpy as np
import pytest

from compositor.base.arrays import apply_homography
from compositor.measure.facts import PictureFacts, frame_hull
from compositor.plan.model import Plan
from compositor.scene.models import Scene
from compositor.solve.planning import SceneFacts, solve

PLATE_PX, OWN_PX = (300, 200), (300, 200)


def solved(element: dict[str, Any], camera: dict[str, Any] | None = None, **more: Any) -> Plan:
    """The plan of a scene with one element, `it`."""
    words = {
        "scene": 1,
        "plate": {"image": "p", "camera": camera or {"horizon": 80.0, "lens": {"pixels": 300.0}, "height": 1.6}},
        "elements": [
            {
                "name": "it",
                "image": "i",
                "camera": {"horizon": -20.0, "lens": {"pixels": 300.0}, "height": 2.2},
                "contact": [150.0, 190.0],
                **element,
            }
        ],
        **more,
    }
    facts = SceneFacts(PictureFacts(PLATE_PX, frame_hull(PLATE_PX)), {"it": PictureFacts(OWN_PX, frame_hull(OWN_PX))})
    return solve(Scene.model_validate(words), facts)


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 200.0, 270.0])
def test_a_delivery_around_what_lies_partly_behind_the_camera_holds_its_contact(turn: float) -> None:
    element = {"stance": "flat", "turn": turn, "ground": {"distance": 5.0}}
    plan = solved(element, deliveries=[{"name": "near", "around": ["it"]}])
    (left, top, width, height), (u, v) = plan.deliveries[0].window_px, plan.element("it").contact_px
    assert left <= u <= left + width
    assert top <= v <= top + height


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 200.0, 270.0])
def test_what_is_in_front_has_a_positive_third_coordinate(turn: float) -> None:
    plan = solved({"stance": "flat", "turn": turn, "ground": {"distance": 5.0}})
    element = plan.element("it")
    # A ground point half a metre behind the contact, along the line of sight, is in front as well.
    beyond = plan.plate.camera.project([[0.0, 5.5, 0.0]])[0]
    own = apply_homography(np.linalg.inv(element.homography_matrix), beyond)[0]
    for pixel in (element.own_contact_px, own):
        assert element.homography_matrix[2] @ [*pixel, 1.0] > 0.0
