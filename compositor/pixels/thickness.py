"""How thick a silhouette may be taken to be at each of its pixels, and the half-shadow of what is far from a plane."""

from itertools import pairwise

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2

COVERED = 0.1
"""From this coverage on a pixel belongs to a thing's outline here: glass is as thick as what is not seen through."""

_SIGMA_PX = 2.5
_COARSE_PX = 256
"""On this longer side one sees how broad the broad parts of a thing are."""


def half_thickness(coverage: Pixels, most_px: float) -> Pixels:
    """Half the thickness in px, (h, w) float32, of a coverage (h, w) float32 0..1; never more than most_px.

    A part is as thick at a pixel as a ball of the greatest thickness would be that touches the outline where it is
    nearest: thin at the outline, and from most_px inside it on as thick as may be. But no part is thicker than it is
    broad: legs and rails stay thin. Measured against other profiles in tests/studies/shadow_thickness.py.
    """
    inwards = _inwards(coverage)
    share = np.minimum(inwards / np.float32(max(most_px, 1e-6)), np.float32(1.0))
    ball = np.float32(most_px) * np.sqrt(share * (2.0 - share))
    shrink = -(-max(coverage.shape) // _COARSE_PX)
    if shrink < 2:
        broad = local_radius(inwards, most_px)
    else:
        size = (max(1, coverage.shape[1] // shrink), max(1, coverage.shape[0] // shrink))
        small = cv2.resize(coverage, size, interpolation=cv2.INTER_AREA)
        broad = local_radius(_inwards(small), most_px / shrink) * np.float32(shrink)
        broad = np.maximum(inwards, cv2.resize(broad, coverage.shape[::-1], interpolation=cv2.INTER_LINEAR))
    half: Pixels = np.minimum(ball, broad).astype(np.float32)
    return half


def round_thickness(coverage: Pixels, most_px: float) -> Pixels:
    """The same of what is round about an upright axis: half the chord of a circle across each run of a row."""
    inside = coverage >= np.float32(COVERED)
    changes = np.ones(inside.shape, np.bool_)
    np.not_equal(inside[:, 1:], inside[:, :-1], out=changes[:, 1:])
    first = np.flatnonzero(changes)
    length = np.diff(first, append=inside.size)
    middle = (first % inside.shape[1] + (length - 1) / 2.0).astype(np.float32)
    radius = np.where(inside.ravel()[first], length / 2.0, 0.0).astype(np.float32)
    away = np.repeat(middle, length).reshape(inside.shape)
    away -= np.arange(inside.shape[1], dtype=np.float32)
    away *= away
    square = np.repeat(radius * radius, length).reshape(inside.shape)
    square -= away
    half: Pixels = np.minimum(np.sqrt(np.maximum(square, 0.0, out=square)), np.float32(most_px))
    return half


def local_radius(inwards: Pixels, most_px: float) -> Pixels:
    """Radius in px, (h, w) float32, of the largest ball inside a shape that holds each of its pixels, up to most_px.

    inwards: distance to the outline. The local thickness of Hildebrand and Rueegsegger (Journal of Microscopy 185,
    1997), by radii that grow by a quarter.
    """
    most = min(float(inwards.max(initial=0.0)), most_px)
    result, radius = inwards.copy(), 1.0
    while radius <= most:
        away = cv2.distanceTransform((inwards < radius).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
        result[(away <= radius) & (inwards > 0.0) & (result < radius)] = radius
        radius *= 1.25
    return result


def _inwards(coverage: Pixels) -> Pixels:
    """Distance of covered pixels' middles from the outline, which runs half a pixel before the next pixel's middle.

    Nothing lies beyond the frame: a cut-out that is trimmed to its content is as thick as one with room around it.
    """
    inside = cv2.copyMakeBorder((coverage >= COVERED).view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    outline = cv2.distanceTransform(inside, cv2.DIST_L2, cv2.DIST_MASK_5)[1:-1, 1:-1]
    result: Pixels = np.maximum(outline - np.float32(0.5), np.float32(0.0))
    return result


def softened(mask: Pixels, towards: Pixels, radii_px: tuple[float, float]) -> Pixels:
    """Shadows' masks (h, w[, c]) float32 with the half-shadow of a round light.

    towards (h, w[, c]) float32: how far from each place what throws the shadow there is. radii_px: half-shadow's radius
    across x and y per unit of it. A disc's shadow edge has a standard deviation of half its radius; each height is
    blurred by its own, mixed from two of a few that are blurred as a whole.
    """
    most = float(towards.max(initial=0.0))
    if most * max(radii_px) < 0.5:
        return mask
    steps = _steps(most, max(radii_px))
    result, share = mask.copy(), np.empty_like(mask)
    for below, step in pairwise(steps):
        np.subtract(towards, np.float32(below), out=share)
        share *= np.float32(1.0 / (step - below))
        np.minimum(np.maximum(share, np.float32(0.0), out=share), np.float32(1.0), out=share)
        change = blurred(mask, step * radii_px[0] / 2.0, step * radii_px[1] / 2.0)
        change -= result
        change *= share
        result += change
    return result


def _steps(most: float, radius_px: float) -> list[float]:
    """Distances whose half-shadows are made, up to the greatest: 0, then each twice as wide as the last."""
    steps, radius = [0.0], 0.7
    while radius < most * radius_px:
        steps.append(radius / radius_px)
        radius *= 2.0
    return [*steps, most]


def blurred(mask: Pixels, sigma_x: float, sigma_y: float) -> Pixels:
    """Samples (h, w[, c]) float32, with nothing around them, blurred by standard deviations in px.

    A wide blur is made on a smaller picture."""
    if max(sigma_x, sigma_y) < 0.2:
        return mask.copy()
    height, width = mask.shape[:2]
    size = [max(1, round(n / max(1.0, s / _SIGMA_PX))) for n, s in ((width, sigma_x), (height, sigma_y))]
    x, y = max(sigma_x * size[0] / width, 0.05), max(sigma_y * size[1] / height, 0.05)
    smaller = size != [width, height]
    shrunk = cv2.resize(mask, (size[0], size[1]), interpolation=cv2.INTER_AREA) if smaller else mask
    result: Pixels = cv2.GaussianBlur(shrunk, (0, 0), x, sigmaY=y, borderType=cv2.BORDER_CONSTANT)
    return cv2.resize(result, (width, height), interpolation=cv2.INTER_LINEAR) if smaller else result
