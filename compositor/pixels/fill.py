"""More picture around a plate: what its new rows and columns are filled with."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.pixels.footprint import Window
from compositor.pixels.mips import Mips
from compositor.pixels.warp import warp


@dataclass(frozen=True)
class Border:
    """Rows and columns added on each side, px."""

    left: int = 0
    top: int = 0
    right: int = 0
    bottom: int = 0


def mirrored(samples: Pixels, border: Border) -> Pixels:
    """The picture reflected about its edge pixels, which are not repeated; again and again where more is asked.

    Copies samples of any kind; the picture itself stays as it is.
    """
    result: Pixels = cv2.copyMakeBorder(
        samples, border.top, border.bottom, border.left, border.right, cv2.BORDER_REFLECT_101
    )
    return result


def ground_below(linear: Pixels, rows: int, vanishing_px: tuple[float, float]) -> Pixels | None:
    """New rows (rows, w, 4) below a plate that go on with its ground, nearer to the camera and larger.

    The ground is mirrored in the world, along its depth, about the line that the old lower edge shows: a harmonic
    homology of the picture with that edge as its axis and the vanishing point of the depth as its centre (Hartley
    & Zisserman 2004, appendix A7.2). Every line that runs in depth goes on straight, scale grows as it does with
    nearness, and nothing above the old edge moves.

    linear: (h, w, 4), opaque. vanishing_px: where level lines in depth meet, in the plate's px. None where the
    plate's lower edge shows no ground (it lies at or above the horizon).
    """
    height, width = linear.shape[:2]
    if vanishing_px[1] >= height - 1:
        return None
    axis, centre = np.array([0.0, 1.0, -(height - 0.5)]), np.array([*vanishing_px, 1.0])
    mirror: Floats = np.eye(3) - 2.0 * np.outer(centre, axis) / float(centre @ axis)
    forward = mirror if mirror[2] @ [vanishing_px[0], height, 1.0] > 0 else -mirror
    return warp(Mips(linear, "replicate"), forward, Window(0, height, width, rows))
