"""Straight edges of a picture, to a fraction of a pixel."""

from math import hypot

import numpy as np
from numpy.typing import NDArray

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2

# Edges that matter for a camera are long; on a smaller picture they come out in one piece and free of grain.
WORKING_SIDE_PX = 1000


def line_segments(gray: Pixels) -> NDArray[np.float32]:
    """Straight edges (n, 4) [u1, v1, u2, v2], continuous pixels, of an 8-bit grey picture (h, w).

    The one place that calls OpenCV's detector, whose result changed shape between versions and which is absent
    from some builds; there Hough segments on its edge map stand in.
    """
    grey = np.ascontiguousarray(gray, dtype=np.uint8)
    if hasattr(cv2, "createLineSegmentDetector"):
        found = cv2.createLineSegmentDetector().detect(grey)[0]
    else:
        found = hough_segments(grey)
    if found is None:
        return np.empty((0, 4), np.float32)
    return np.asarray(found, dtype=np.float32).reshape(-1, 4) + np.float32(0.5)


def hough_segments(gray: Pixels) -> NDArray[np.float32]:
    """Stand-in for the detector: probabilistic Hough segments, pixel centres at whole numbers, (n, 4)."""
    diagonal = hypot(*gray.shape)
    marked = cv2.Canny(gray, 50, 150)
    found = cv2.HoughLinesP(marked, 1.0, np.pi / 720, 30, minLineLength=diagonal / 40, maxLineGap=diagonal / 400)
    return np.empty((0, 4), np.float32) if found is None else np.asarray(found, dtype=np.float32).reshape(-1, 4)


def picture_edges(rgb: Pixels) -> Floats:
    """Edges (n, 2, 2) [edge, end, (u, v)] of an 8-bit RGB picture (h, w, 3), found at a working size."""
    height, width = rgb.shape[:2]
    grey = cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2GRAY)
    shrink = min(1.0, WORKING_SIDE_PX / max(height, width))
    if shrink < 1.0:
        small = (max(round(width * shrink), 1), max(round(height * shrink), 1))
        grey = cv2.resize(grey, small, interpolation=cv2.INTER_AREA)
    back = np.array([width / grey.shape[1], height / grey.shape[0]])
    edges: Floats = line_segments(grey).astype(np.float64).reshape(-1, 2, 2) * back
    return edges
