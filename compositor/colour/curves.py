"""Transfer curves: encoded values (0..1, as stored) to linear light (0..1) and back.

Every curve is a pair ``to_linear`` / ``to_encoded`` of pure functions on float arrays of any shape. They keep the
dtype they are given (float32 or float64), expect values of 0..1 and do not clip.
"""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Pixels


@dataclass(frozen=True)
class Parametric:
    """linear = (a·x + b)^gamma + e from `d` on, c·x + f below it.

    Source: ICC.1:2010 (profile version 4.3) section 10.15, function type 4, of which types 0 to 3 are special cases.
    """

    gamma: float
    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0

    def to_linear(self, encoded: Pixels) -> Pixels:
        """Encoded values to linear light."""
        power = np.maximum(encoded * self.a + self.b, 0.0) ** self.gamma + self.e
        if self.d <= 0:
            return power
        return np.where(encoded >= self.d, power, encoded * self.c + self.f)

    def to_encoded(self, linear: Pixels) -> Pixels:
        """Linear light to encoded values."""
        power = (np.maximum(linear - self.e, 0.0) ** (1 / self.gamma) - self.b) / self.a
        if self.d <= 0:
            return power
        joint = (self.a * self.d + self.b) ** self.gamma + self.e
        straight = (linear - self.f) / self.c if self.c > 0 else np.zeros_like(linear)
        return np.where(linear >= joint, power, straight)


@dataclass(frozen=True)
class Sampled:
    """A curve known at evenly spaced encoded values, straight lines between; `values` never fall (0..1)."""

    values: tuple[float, ...]

    def to_linear(self, encoded: Pixels) -> Pixels:
        """Encoded values to linear light."""
        return np.interp(encoded, self._grid(), self.values).astype(encoded.dtype)

    def to_encoded(self, linear: Pixels) -> Pixels:
        """Linear light to encoded values."""
        return np.interp(linear, self.values, self._grid()).astype(linear.dtype)

    def _grid(self) -> Pixels:
        return np.linspace(0.0, 1.0, len(self.values))


Curve = Parametric | Sampled

SRGB_CURVE = Parametric(gamma=2.4, a=1 / 1.055, b=0.055 / 1.055, c=1 / 12.92, d=0.04045)
"""IEC 61966-2-1:1999."""


def srgb_to_linear(encoded: Pixels) -> Pixels:
    """sRGB values 0..1 to linear light 0..1 (IEC 61966-2-1), any shape, dtype kept."""
    return SRGB_CURVE.to_linear(encoded)


def linear_to_srgb(linear: Pixels) -> Pixels:
    """Linear light 0..1 to sRGB values 0..1 (IEC 61966-2-1), any shape, dtype kept."""
    return SRGB_CURVE.to_encoded(linear)
