"""A delivery's camera is the plate's with its principal point moved: what it projects is what the full frame shows.

Source: cropping by (x0, y0) takes cx − x0, cy − y0 at the same focal length, scaling by k multiplies f, cx and cy by k
(Hartley & Zisserman, Multiple View Geometry, section 6.1, pixels counted from the corner).
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from compositor.base.arrays import apply_homography
from compositor.base.errors import UnusableInput
from compositor.geometry.camera import Camera
from compositor.jobs.check import check_scene
from compositor.overlay.sheet import lay_out
from compositor.overlay.style import Kind
from compositor.plan.cropped import cropped_plan, delivery_camera, delivery_matrix
from compositor.plan.model import Delivery

TOLERANCE_PX = 0.01
cameras = st.builds(
    Camera,
    st.floats(300, 5000),
    st.tuples(st.floats(-500, 3500), st.floats(-500, 2500)),
    st.just((3000, 2000)),
    st.floats(-30, 10),
    st.floats(-10, 10),
    st.floats(0.3, 30),
)
windows = st.tuples(st.floats(0, 1500), st.floats(0, 900), st.floats(100, 1500), st.floats(100, 1000))


@given(cameras, windows, st.integers(40, 2000), st.floats(-5, 5), st.floats(3, 60), st.floats(0, 4))
def test_camera_of_a_crop(
    camera: Camera,
    window: tuple[float, float, float, float],
    width: int,
    right_m: float,
    ahead_m: float,
    up_m: float,
) -> None:
    delivery = Delivery("crop", "png", 92, window, (width, max(1, round(width * window[3] / window[2]))))
    cropped = delivery_camera(camera, delivery)
    assert (cropped.pitch_deg, cropped.roll_deg, cropped.height_m) == (
        camera.pitch_deg,
        camera.roll_deg,
        camera.height_m,
    )
    scale = width / window[2]
    assert cropped.focal_px == pytest.approx(camera.focal_px * scale)
    assert cropped.principal_px[0] == pytest.approx((camera.principal_px[0] - window[0]) * scale)
    point = [(right_m, ahead_m, up_m)]
    if (camera.rotation @ (np.array(point[0]) - camera.position_m))[2] > 0.1:
        seen = apply_homography(delivery_matrix(delivery), camera.project(point))
        assert cropped.project(point) == pytest.approx(seen, abs=TOLERANCE_PX)


Words = dict[str, Any]


@pytest.fixture
def scene(tmp_path: Path) -> Callable[..., Path]:
    """Writes a small scene with two posts and these deliveries; the file's path."""
    Image.new("RGB", (1200, 800), (90, 120, 150)).save(tmp_path / "plate.png")
    post = np.zeros((200, 120, 4), np.uint8)
    post[30:190, 40:80] = 255
    Image.fromarray(post).save(tmp_path / "post.png")

    def written(deliveries: list[Words]) -> Path:
        element = {
            "image": "post.png",
            "camera": {"horizon": 60, "lens": {"pixels": 700}, "height": 1.4},
            "contact": [60, 190],
        }
        words = {
            "scene": 1,
            "plate": {
                "image": "plate.png",
                "camera": {"horizon": 350, "roll": 2, "lens": {"pixels": 1000}, "height": 1.6},
            },
            "elements": [
                {"name": "near", **element, "ground": {"distance": 5, "offset": -0.8}},
                {"name": "far", **element, "ground": {"distance": 9, "offset": 1.5}},
            ],
            "deliveries": deliveries,
        }
        path = tmp_path / "scene.yaml"
        path.write_text(json.dumps(words))
        return path

    return written


DELIVERIES: list[Words] = [
    {"name": "whole"},
    {"name": "square", "size": [300, 300], "around": ["near"], "margin": 0.1, "composition": "thirds"},
    {"name": "wide", "size": "leaderboard", "composition": {"horizon": 0.4}},
    {"name": "tall", "aspect": [3, 5], "around": ["near", "far"], "margin": 0.05},
    {"name": "box", "around": ["far"], "margin": 0.2},
    {"name": "ended", "crop": {"left": 100, "bottom": 200}},
    {"name": "ended-square", "crop": {"top": 50, "bottom": 200}, "size": [300, 300], "around": ["near"], "margin": 0.1},
    {"name": "ended-at-sea", "crop": {"right": 300}, "aspect": [2, 1], "composition": {"horizon": 0.4}},
]


def test_report_and_overlay_of_a_crop_agree_with_the_full_frame(scene: Callable[..., Path]) -> None:
    solved = check_scene(scene(DELIVERIES), []).variants[0]
    full = {element["name"]: element for element in solved.record["elements"]}
    seen = 0
    for told, delivery in zip(solved.record["deliveries"], solved.plan.deliveries, strict=True):
        matrix, plan = delivery_matrix(delivery), cropped_plan(solved.plan, delivery)
        camera = plan.plate.camera
        for element in told["elements"]:
            for key in ("contact", "top"):
                moved = apply_homography(matrix, [full[element["name"]][key]])[0]
                assert element[key] == pytest.approx(moved, abs=TOLERANCE_PX)
            placed = plan.element(element["name"])
            by_camera = placed.plane.homography(camera) @ np.array([0.0, placed.raise_m, 1.0])
            assert by_camera[:2] / by_camera[2] == pytest.approx(np.array(element["contact"]), abs=TOLERANCE_PX)
            seen += 1
        (_, left), (width, right) = told["horizon"]
        ends = apply_homography(np.linalg.inv(matrix), [(0.0, left), (width, right)])
        for u, v in ends:
            assert solved.plan.plate.camera.horizon_row(float(u)) == pytest.approx(v, abs=TOLERANCE_PX)
        drawn = [mark for mark in lay_out(plan, []).marks if mark.kind is Kind.HORIZON]
        if 0 < left < delivery.size_px[1] and 0 < right < delivery.size_px[1]:
            assert drawn[-1].start_px == pytest.approx((0.0, left), abs=TOLERANCE_PX)  # type: ignore[union-attr]
    assert seen >= 7


def test_thirds_and_horizon_lie_where_they_should(scene: Callable[..., Path]) -> None:
    record = {d["name"]: d for d in check_scene(scene(DELIVERIES), []).variants[0].record["deliveries"]}
    wide = record["wide"]
    (_, left), (_, right) = wide["horizon"]
    assert (left + right) / 2 == pytest.approx(0.4 * 90, abs=0.2)
    assert wide["rule_short_px"] == 0.0
    assert record["square"]["rule_short_px"] == 0.0


def test_windows_lie_in_what_a_crop_leaves(scene: Callable[..., Path]) -> None:
    windows = {d.name: d.window_px for d in check_scene(scene(DELIVERIES), []).variants[0].plan.deliveries}
    assert windows["ended"] == (100.0, 0.0, 1100.0, 600.0)
    left, top, width, height = windows["ended-square"]
    assert left >= 0 and top >= 50 and top + height <= 600 and width == height
    left, _, width, _ = windows["ended-at-sea"]
    assert left >= 0 and left + width <= 900
    record = {d["name"]: d for d in check_scene(scene(DELIVERIES), []).variants[0].record["deliveries"]}
    (_, first), (_, last) = record["ended-at-sea"]["horizon"]
    assert (first + last) / 2 == pytest.approx(0.4 * record["ended-at-sea"]["size"][1], abs=1.5)


def test_a_crop_of_all_there_is_is_told_at_its_line(scene: Callable[..., Path]) -> None:
    with pytest.raises(UnusableInput) as caught:
        check_scene(scene([{"name": "none", "crop": {"left": 700, "right": 500}}]), [])
    (fault,) = caught.value.faults
    assert fault.key == "deliveries.none.crop" and "1200 × 800 px" in fault.what and fault.column > 1


def test_what_cannot_be_kept_is_told_at_its_line(scene: Callable[..., Path]) -> None:
    path = scene([{"name": "strip", "size": [728, 90], "around": ["near", "far"]}])
    with pytest.raises(UnusableInput) as caught:
        check_scene(path, [])
    (fault,) = caught.value.faults
    assert fault.key == "deliveries.strip.size"
    assert "near" in fault.what and "px short down" in fault.what and fault.column > 1
