"""Brown–Conrady lens distortion: pairs that put it on points and take it off again.

Sources: D. C. Brown, Close-range camera calibration, Photogrammetric Engineering 37(8), 1971; coefficient order
and normalisation as OpenCV documents them (k1, k2, p1, p2, k3 on coordinates divided by the focal length).
"""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, as_points
from compositor.base.errors import GeometryError

_FOLDED = 1e-6  # a lens that shrinks area more than this has turned it inside out, or is about to
_LOOKS = 33  # along each side of the picture


@dataclass(frozen=True)
class Distortion:
    """Radial k1, k2, k3 and tangential p1, p2, without unit."""

    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    k3: float = 0.0


def distort(points_px: Floats, lens: Distortion, focal_px: float, principal_px: tuple[float, float]) -> Floats:
    """Pixels (n, 2) of a perfect lens to pixels of this lens."""
    centre = np.array(principal_px)
    bent: Floats = _bend((as_points(points_px) - centre) / focal_px, lens) * focal_px + centre
    return bent


def undistort(points_px: Floats, lens: Distortion, focal_px: float, principal_px: tuple[float, float]) -> Floats:
    """Pixels (n, 2) of this lens to pixels of a perfect lens (Newton's method, to 1e-9 px).

    Raises GeometryError where the distortion folds the picture so that a point has no origin.
    """
    centre = np.array(principal_px)
    wanted = (as_points(points_px) - centre) / focal_px
    straight = wanted.copy()
    for _ in range(50):
        error = _bend(straight, lens) - wanted
        if float(np.max(np.abs(error), initial=0.0)) * focal_px < 1e-10:
            break
        jacobian = _slopes(straight, lens)
        if np.any(np.linalg.det(jacobian) <= _FOLDED):
            raise GeometryError("the distortion folds the picture over itself")
        straight = straight - np.linalg.solve(jacobian, error[..., np.newaxis])[..., 0]
    if float(np.max(np.abs(_bend(straight, lens) - wanted), initial=0.0)) * focal_px > 1e-6:
        raise GeometryError("the distortion has no inverse at a point of the picture")
    result: Floats = straight * focal_px + centre
    return result


def folds(lens: Distortion, focal_px: float, principal_px: tuple[float, float], size_px: tuple[int, int]) -> bool:
    """Whether the lens shows two places of a straight picture of this size (width, height) at one, mirrored."""
    u, v = np.meshgrid(np.linspace(0.0, size_px[0], _LOOKS), np.linspace(0.0, size_px[1], _LOOKS))
    straight = (np.column_stack([u.ravel(), v.ravel()]) - np.array(principal_px)) / focal_px
    return bool(np.any(np.linalg.det(_slopes(straight, lens)) <= _FOLDED))


def _slopes(xy: Floats, lens: Distortion) -> Floats:
    """Derivative (n, 2, 2) of the bend at normalised coordinates (central differences)."""
    step = 1e-7
    along_x = (_bend(xy + [step, 0.0], lens) - _bend(xy - [step, 0.0], lens)) / (2 * step)
    along_y = (_bend(xy + [0.0, step], lens) - _bend(xy - [0.0, step], lens)) / (2 * step)
    slopes: Floats = np.stack([along_x, along_y], axis=-1)
    return slopes


def _bend(xy: Floats, lens: Distortion) -> Floats:
    """Normalised coordinates (n, 2) through the lens."""
    x, y = xy[:, 0], xy[:, 1]
    r2 = x * x + y * y
    radial = 1.0 + r2 * (lens.k1 + r2 * (lens.k2 + r2 * lens.k3))
    return np.column_stack(
        [
            x * radial + 2 * lens.p1 * x * y + lens.p2 * (r2 + 2 * x * x),
            y * radial + lens.p1 * (r2 + 2 * y * y) + 2 * lens.p2 * x * y,
        ]
    )
