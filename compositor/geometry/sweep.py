"""A solid's shadow in one sweep: planes through the light and the eye that took the picture.

Every plane through the eye that holds the light's direction cuts the picture in a line and the receiving plane in a
line too, and all of these lines run through one point each: the light's vanishing point in the picture, the eye's own
shadow on the receiving plane. What stands at one place of such a line in the picture throws its shadow on one stretch
of its partner. So the whole shadow is made line by line, each place of the picture once.

A ray from the eye runs along u(angle) + lean · light, u in the receiving plane; it lands as far from the eye's shadow
as it is long.
"""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.geometry.shadow import Throw

Box = tuple[float, float, float, float]
"""Left, top, right and bottom of a part of a picture, in px."""

Integers = np.ndarray[tuple[int, ...], np.dtype[np.int64]]

_MOST_LEAN = 1e3
_LEAST = 1e-9
_AROUND = np.pi - 1e-6


@dataclass(frozen=True)
class Fan:
    """The lines of one throw on its receiving plane.

    centre_m: the eye's shadow on the plane. middle_rad: direction from there to the middle of the shadow. angles_rad:
    least and greatest angle from that direction, run_m: least and greatest distance, that the shadow can reach.
    """

    centre_m: Floats
    middle_rad: float
    angles_rad: tuple[float, float]
    run_m: tuple[float, float]


@dataclass(frozen=True)
class Lines:
    """Lines through a picture, between two ends each: (2, n, ...) arrays.

    points_px: the ends. scale, lean, back: of the ends' rays, whose third homogeneous coordinate is one: how often they
    hold a ray of the receiving plane, how much of the light, and how far they run backwards; all change evenly along
    the picture between the ends. Rays land scale / back metres from the eye's shadow for each metre behind the eye.
    """

    points_px: Floats
    scale: Floats
    lean: Floats
    back: Floats


class Sweep:
    """The numbers of one throw, seen from the eye that took its picture (one very far away for orthographic ones)."""

    def __init__(self, throw: Throw) -> None:
        solid, plane = throw.solid, throw.to_subject
        self.throw = throw
        self.pixels, eye = solid.eye
        self.right, self.up, origin = plane.T
        facing = throw.frame.rotation @ throw.facing
        self.height_m = float(facing @ (eye - origin))
        """How far the eye is from the receiving plane."""
        self.depth_m = (self.height_m or _LEAST) / throw.slant
        """How far the light runs from the eye to the receiving plane."""
        landed = eye - origin - self.depth_m * throw.light
        self.centre_m = np.array([landed @ self.right, landed @ self.up])
        self.to_front_m = float(solid.normal[:2] @ np.array(solid.front_m) - solid.normal @ eye)
        """How far the solid's front line is behind the eye."""

    @property
    def outwards(self) -> bool:
        """Whether rays of one line that hold more of the light run backwards less, and so land farther away."""
        return float(self.throw.solid.normal @ self.throw.light) <= 0.0

    def fan(self, low_m: Floats, high_m: Floats) -> Fan:
        """The lines through the shadow in a rectangle of the receiving plane."""
        towards = (low_m + high_m) / 2.0 - self.centre_m
        middle = float(np.arctan2(towards[1], towards[0]))
        c, s = np.cos(middle), np.sin(middle)
        corners = np.array([[x, y] for x in (low_m[0], high_m[0]) for y in (low_m[1], high_m[1])])
        both = [(points - self.centre_m) @ np.array([[c, -s], [s, c]]) for points in (corners, self.throw.landed_m())]
        far = min(float(np.hypot(points[:, 0], points[:, 1]).max()) for points in both)
        if np.all(low_m <= self.centre_m) and np.all(self.centre_m <= high_m):
            return Fan(self.centre_m, middle, (-_AROUND, _AROUND), (0.0, far))
        near = float(np.hypot(*(np.clip(self.centre_m, low_m, high_m) - self.centre_m)))
        widest, shadow = (np.arctan2(points[:, 1], points[:, 0]) for points in both)
        first, last = max(widest.min(), shadow.min()), min(widest.max(), shadow.max())
        return Fan(self.centre_m, middle, (float(first), float(max(first, last))), (near, max(near, far)))

    def lines_in(self, angles_rad: Floats, box_px: Box) -> tuple[Lines, Integers]:
        """Those of the lines at angles (n,) from the plane's right whose rays show a box of the picture and meet the
        solid's front, and their indices."""
        along = np.outer(np.cos(angles_rad), self.right) + np.outer(np.sin(angles_rad), self.up)
        at, back = along @ self.pixels.T, along @ self.throw.solid.normal
        per_lean, back_per_lean = self.pixels @ self.throw.light, float(self.throw.solid.normal @ self.throw.light)
        low, high = self._leans(at, per_lean, (back, back_per_lean), box_px)
        rows = np.flatnonzero(high > low)
        leans = np.stack([low[rows], high[rows]])
        pixels = at[rows] + leans[..., np.newaxis] * per_lean
        scale = 1.0 / pixels[..., 2]
        backs = (back[rows] + leans * back_per_lean) * scale
        return Lines(pixels[..., :2] * scale[..., np.newaxis], scale, leans * scale, backs), rows

    def _leans(self, at: Floats, per_lean: Floats, backs: tuple[Floats, float], box_px: Box) -> tuple[Floats, Floats]:
        """Least and greatest lean (n,) of the rays of each line that show a box; a line that shows none of it has no
        extent. at (n, 3): homogeneous pixels of the rays without lean; backs: how far those run backwards."""
        left, top, right, bottom = box_px
        least = _LEAST * float(np.abs(self.pixels[2]).max())
        sides = [(0, left, 1.0), (0, right, -1.0), (1, top, 1.0), (1, bottom, -1.0)]
        conditions = [(s * (at[:, i] - p * at[:, 2]), s * (per_lean[i] - p * per_lean[2])) for i, p, s in sides]
        conditions += [(at[:, 2] - least, per_lean[2]), (backs[0] - _LEAST, backs[1])]
        low, high = np.full(len(at), -_MOST_LEAN), np.full(len(at), _MOST_LEAN)
        for start, slope in conditions:
            if slope == 0.0:
                high = np.where(start < 0.0, low, high)
            elif slope > 0.0:
                low = np.maximum(low, -start / slope)
            else:
                high = np.minimum(high, -start / slope)
        return low, high


def above(near_m: Pixels, far_m: Pixels, lean: Pixels, depth_m: Pixels) -> tuple[Pixels, Pixels]:
    """From where to where (metres behind the eye) each ray is on the lit side of the receiving plane, too.

    lean: how much of the light each ray holds per metre that it runs backwards. depth_m: metres that the light runs
    from the eye to the plane, for all rays with one sign."""
    meets_m = lean * (np.float32(-1.0) / depth_m)
    np.divide(np.float32(1.0), np.maximum(meets_m, np.float32(_LEAST), out=meets_m), out=meets_m)
    if float(depth_m[0, 0]) > 0.0:
        return near_m, np.minimum(far_m, meets_m, out=meets_m)
    return np.maximum(near_m, meets_m, out=meets_m), far_m


def towards(behind_m: Pixels, lean: Pixels, depth_m: Pixels) -> Pixels:
    """Metres from the receiving plane towards the light, for what rays of such leans meet so far behind the eye.

    depth_m: metres that the light runs from the eye to the plane."""
    result: Pixels = lean * behind_m + depth_m
    return result
