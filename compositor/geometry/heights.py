"""Heights from a single view.

For an upright object with contact b and top t the horizon and the vertical vanishing point give its height as a
share of the camera's: the cross-ratio of A. Criminisi, I. Reid, A. Zisserman, Single View Metrology, IJCV 40(2),
2000. Here the same is computed by meeting the top's ray with the upright plane through the contact, which is the
plane the picture is later carried by, so that contact and top are exact for every tilt and roll.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, hypot, sin

import numpy as np

from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera
from compositor.geometry.ground import ground_point

Pixel = tuple[float, float]


@dataclass(frozen=True)
class HeightReference:
    """An upright object of known height (metres) with the pixels of its base on the ground and of its top."""

    base_px: Pixel
    top_px: Pixel
    height_m: float


def upright_height(camera: Camera, contact_px: Pixel, top_px: Pixel) -> float:
    """Height in metres of a point above its contact, in the upright plane that faces the camera there.

    It scales with the camera's height. Raises GeometryError where the contact shows no ground or the top is not
    above it.
    """
    x, y = ground_point(camera, contact_px)
    azimuth = atan2(x, y)
    right, ahead, up = camera.ray(top_px)
    forward = right * sin(azimuth) + ahead * cos(azimuth)
    if forward <= 1e-9:
        raise GeometryError("the top cannot be seen above that contact: its line of sight runs backwards")
    height_m = camera.height_m + up * hypot(x, y) / forward
    if height_m <= 0.0:
        raise GeometryError("the top does not lie above the contact")
    return height_m


def camera_height(camera: Camera, references: Sequence[HeightReference]) -> float:
    """Camera height in metres from objects of known height, least squares of their tops in pixels.

    The camera's own height is ignored; its tilt and roll count exactly. One reference is met exactly.
    Raises GeometryError as `upright_height`.
    """
    unit = camera.at_height(1.0)
    heights = np.array([upright_height(unit, ref.base_px, ref.top_px) for ref in references])
    known = np.array([ref.height_m for ref in references])
    # A top's error in px is its error in height times the pixels that one camera height takes there.
    px_per_height = np.array([_pixels_per_metre(unit, ref) for ref in references])
    # known/H = heights + error/px: linear in 1/H, so the least squares solution is closed.
    weights = px_per_height**2
    inverse = float(np.sum(weights * known * heights) / np.sum(weights * known**2))
    return 1.0 / inverse


def camera_height_deviation(camera: Camera, references: Sequence[HeightReference], marking_px: float) -> float:
    """One standard deviation (metres) of `camera_height` when each marked row is off by marking_px."""
    nominal = camera_height(camera, references)
    variance = 0.0
    for index, reference in enumerate(references):
        (bu, bv), (tu, tv) = reference.base_px, reference.top_px
        for moved in (
            HeightReference((bu, bv + marking_px), reference.top_px, reference.height_m),
            HeightReference(reference.base_px, (tu, tv + marking_px), reference.height_m),
        ):
            changed = [*references[:index], moved, *references[index + 1 :]]
            variance += (camera_height(camera, changed) - nominal) ** 2
    return float(np.sqrt(variance))


def _pixels_per_metre(camera: Camera, reference: HeightReference) -> float:
    """Pixels that a metre of height takes at the reference's top."""
    x, y = ground_point(camera, reference.base_px)
    top_m = upright_height(camera, reference.base_px, reference.top_px)
    step = 1e-4
    low, high = camera.project([[x, y, top_m], [x, y, top_m + step]])
    return float(np.hypot(*(high - low)) / step)
