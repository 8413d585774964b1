"""Depth of field: how large a point becomes that lies before or behind the distance in focus.

Thin lens. Source: A. R. Greenleaf, Photographic Optics, Macmillan 1950, pp. 25-27.
"""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError


@dataclass(frozen=True)
class Focus:
    """What a lens is set to. distance_m: in focus, from the lens along its axis. focal_mm: the lens's own, not an
    equivalent; with it the sensor's size follows from the camera's focal length in pixels."""

    distance_m: float
    f_number: float
    focal_mm: float

    def __post_init__(self) -> None:
        if self.distance_m * 1000.0 <= self.focal_mm:
            raise GeometryError(f"a lens of {self.focal_mm:g} mm cannot focus at {self.distance_m:g} m")

    def blur_disc_mm(self, distance_m: Floats | float) -> Floats:
        """Diameter on the sensor of the blur disc of points at distances along the axis (any shape, inf allowed).

        c = A·f·|d − s| / (d·(s − f)) with A = f / N.
        """
        d, s, f = np.asarray(distance_m, dtype=np.float64) * 1000.0, self.distance_m * 1000.0, self.focal_mm
        apart = np.abs(1.0 - s / d)  # |d − s| / d, also at infinity
        result: Floats = f * f / self.f_number * apart / (s - f)
        return result

    def blur_disc_px(self, distance_m: Floats | float, focal_px: float) -> Floats:
        """The same in pixels of a picture whose focal length in pixels is known: focal_px / focal_mm px per mm."""
        result: Floats = self.blur_disc_mm(distance_m) * (focal_px / self.focal_mm)
        return result
