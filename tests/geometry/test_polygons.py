"""What a rectangle leaves of a convex polygon, against OpenCV's intersection of convex polygons."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.opencv import cv2
from compositor.geometry.polygons import polygon_area, within_box

points = st.tuples(st.integers(-400, 400), st.integers(-400, 400))


@given(st.lists(points, min_size=3, max_size=40), points, points)
def test_area_within_a_box(corners: list[tuple[int, int]], one: tuple[int, int], other: tuple[int, int]) -> None:
    hull = cv2.convexHull(np.array(corners, np.float32)).reshape(-1, 2)
    (left, right), (top, bottom) = (sorted(pair) for pair in zip(one, other, strict=True))
    box = (float(left), float(top), float(right), float(bottom))
    found = within_box(hull.astype(np.float64), box)
    if len(found):
        assert found.min(axis=0) == pytest.approx(np.maximum(found.min(axis=0), box[:2]), abs=1e-9)
        assert found.max(axis=0) == pytest.approx(np.minimum(found.max(axis=0), box[2:]), abs=1e-9)
    corners_of_box = np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)
    if polygon_area(hull.astype(np.float64)) > 1.0 and right > left and bottom > top:
        area, _ = cv2.intersectConvexConvex(hull, corners_of_box)
        assert polygon_area(found) == pytest.approx(area, rel=1e-3, abs=1.0)
