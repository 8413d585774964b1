"""RGB spaces: primaries, white and transfer curves, and the profile that tells others about them."""

from dataclasses import dataclass, field, replace

import numpy as np

from compositor.base.arrays import Floats
from compositor.colour.curves import SRGB_CURVE, Curve, Parametric
from compositor.colour.icc import Matrix, build_profile

D50_XYZ = (0.9642, 1.0, 0.8249)
"""The white of the profile connection space, ICC.1:2010 section 7.2.16."""

BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""Cone response matrix of the Bradford adaptation, ICC.1:2010 annex E.3."""

XY = tuple[float, float]


@dataclass(frozen=True)
class Space:
    """An RGB space.

    to_xyz: linear R G B to X Y Z relative to D50, 3×3. curves: red, green, blue. icc: the profile to embed in
    pictures of this space; None where none is known.
    """

    name: str
    to_xyz: Matrix
    curves: tuple[Curve, Curve, Curve] = field(hash=False)  # may be thousands of values, and is asked for often
    icc: bytes | None = None

    @property
    def luminance(self) -> Floats:
        """The weights (3,) of linear R, G and B in luminance, which sum to 1."""
        result: Floats = np.array(self.to_xyz)[1] / np.sum(self.to_xyz[1])
        return result


def rgb_to_xyz_d50(red: XY, green: XY, blue: XY, white: XY) -> Matrix:
    """The matrix of a space with these chromaticities (x, y), its white adapted to D50 (Bradford).

    Source: SMPTE RP 177-1993 for the matrix, ICC.1:2010 annex E for the adaptation.
    """
    primaries = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in (red, green, blue)]).T
    white_xyz = np.array([white[0] / white[1], 1.0, (1 - white[0] - white[1]) / white[1]])
    native: Floats = primaries * np.linalg.solve(primaries, white_xyz)
    gain = (BRADFORD @ np.array(D50_XYZ)) / (BRADFORD @ white_xyz)
    return as_matrix(np.linalg.inv(BRADFORD) @ np.diag(gain) @ BRADFORD @ native)


def as_matrix(values: Floats) -> Matrix:
    """A 3×3 array as nested tuples of plain numbers."""
    red, green, blue = (tuple(float(value) for value in row) for row in values)
    return red, green, blue  # type: ignore[return-value]


def with_own_profile(space: Space) -> Space:
    """The same space with a profile built from its own numbers: same space, same bytes."""
    return replace(space, icc=build_profile(space.name, space.to_xyz, space.curves))


SRGB = with_own_profile(
    Space(
        name="sRGB",
        to_xyz=rgb_to_xyz_d50((0.64, 0.33), (0.30, 0.60), (0.15, 0.06), (0.3127, 0.3290)),
        curves=(SRGB_CURVE, SRGB_CURVE, SRGB_CURVE),
    )
)
"""IEC 61966-2-1:1999 (primaries of ITU-R BT.709, white D65), with a small profile of its own."""

DCF_OPTIONAL = with_own_profile(
    Space(
        name="DCF optional colour space",
        to_xyz=rgb_to_xyz_d50((0.64, 0.33), (0.21, 0.71), (0.15, 0.06), (0.3127, 0.3290)),
        curves=(Parametric(2.2), Parametric(2.2), Parametric(2.2)),
    )
)
"""What a camera means by the Exif interoperability index R03 (DCF 2.0), usually without embedding a profile."""
