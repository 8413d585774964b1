"""Odd but legal scenes: what lies partly behind the camera, is seen edge on, or is looked at steeply from above."""

from typing import Any

import numpy as np
import pytest

from compositor.base.arrays import apply_homography
from compositor.base.errors import FaultyScene
from compositor.measure.facts import PictureFacts, frame_hull
from compositor.plan.model import Plan
from compositor.scene.models import Scene
from compositor.solve.planning import SceneFacts, solve

PLATE_PX, OWN_PX = (300, 200), (300, 200)
NEAR = {"ground": {"distance": 1.0}}


def solved(
    element: dict[str, Any], camera: dict[str, Any] | None = None, extend: dict[str, int] | None = None, **more: Any
) -> Plan:
    """The plan of a scene with one element, `it`."""
    words = {
        "scene": 1,
        "plate": {
            "image": "p",
            "camera": camera or {"horizon": 80.0, "lens": {"pixels": 300.0}, "height": 1.6},
            "extend": extend,
        },
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


STEEP = {"horizon": {"pitch": -70.0}, "lens": {"pixels": 300.0}, "height": 1.5}


def test_a_steep_camera_has_the_height_of_a_taller_one_behind_it() -> None:
    plan = solved({"camera": {"horizon": 60.0, "lens": {"pixels": 300.0}, "height": 4.0}, **NEAR}, STEEP)
    assert plan.element("it").horizon_gap_px is None
    # The element itself is placed as ever: its contact is where the plate's camera sees the ground point.
    assert plan.element("it").contact_px == pytest.approx(plan.plate.camera.project([[0.0, 1.0, 0.0]])[0])


def test_what_one_side_of_a_step_cannot_tell_has_no_uncertainty() -> None:
    # The camera's height is known to within a few centimetres, and the thing hangs at just that height: whether
    # there is a distance at which its photograph fits depends on which side of the height it is.
    references = [{"base": [100.0, 180.0], "top": [100.0, 60.0], "height": 1.8}]
    camera = {"horizon": 80.0, "lens": {"pixels": 300.0}, "height": {"references": references}}
    height_m = solved(NEAR, camera).plate.camera.height_m
    element = solved({**NEAR, "raise": height_m}, camera).element("it")
    assert element.own_distance_m is None
    assert "own_distance_m" not in element.plus_minus
    assert element.plus_minus["contact_v_px"] > 0.0


def test_what_lies_level_with_the_camera_is_refused_by_its_key() -> None:
    with pytest.raises(FaultyScene) as caught:
        solved({"stance": "flat", "raise": 1.6, **NEAR})
    (fault,) = caught.value.faults
    assert fault.key == ("elements", 0, "raise")
    assert "edge on" in fault.what


def test_a_delivery_beyond_the_pixel_limit_is_refused() -> None:
    with pytest.raises(FaultyScene) as caught:
        solved({"ground": {"distance": 5.0}}, deliveries=[{"name": "wall", "size": [65500, 65500]}])
    (fault,) = caught.value.faults
    assert fault.key == ("deliveries", 0, "size")
    assert "more than the limit" in fault.what


def test_a_frame_extended_beyond_the_pixel_limit_is_refused() -> None:
    sides = dict.fromkeys(("left", "top", "right", "bottom"), 20_000)
    with pytest.raises(FaultyScene) as caught:
        solved({"ground": {"distance": 5.0}}, extend=sides)
    (fault,) = caught.value.faults
    assert fault.key == ("plate", "extend")
    assert "more than the limit" in fault.what
