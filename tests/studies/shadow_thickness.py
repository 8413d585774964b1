"""What a cut-out's thickness should be like: overlap of shadows with path-traced truth and mean error of the darkening.

Run: python tests/studies/shadow_thickness.py (takes two minutes). Chosen by the median and by what no case loses:

                                c01          c02          c03          c05          c07          median
    one flat silhouette        0.437        0.607        0.649        0.243        0.124          0.437
    as chosen                  0.793 0.139  0.846 0.143  0.881 0.100  0.580 0.260  0.491 0.352    0.793 0.143
    as chosen, depth stated    0.789 0.148  0.850 0.140  0.881 0.100  0.582 0.259  0.518 0.360    0.789 0.148
    equally thick              0.735 0.198  0.743 0.222  0.873 0.106  0.374 0.391  0.513 0.344    0.735 0.222
    balls, thin parts too      0.799 0.147  0.820 0.159  0.880 0.100  0.475 0.328  0.499 0.350    0.799 0.159
    0.8 as deep                0.722 0.187  0.846 0.143  0.881 0.100  0.546 0.262  0.499 0.334    0.722 0.187
    1.25 as deep               0.690 0.218  0.846 0.143  0.881 0.100  0.580 0.260  0.467 0.379    0.690 0.218
    feet 0.5 before the middle 0.629 0.258  0.846 0.143  0.881 0.100  0.401 0.300  0.568 0.315    0.629 0.258
    feet 0.65 before the middle0.791 0.149  0.846 0.143  0.881 0.100  0.577 0.257  0.521 0.337    0.791 0.149
    feet 0.85 before the middle0.744 0.181  0.846 0.143  0.881 0.100  0.496 0.283  0.462 0.365    0.744 0.181
    an even sky                0.792 0.138  0.845 0.175  0.880 0.114  0.579 0.236  0.491 0.350    0.792 0.175

c01 and c05 are people, who stand on feet; c02 (a chair) and c03 (a folding sign) show a side that tells how deep they
are; c07 is a bicycle, whose parts are thin.
"""

import sys
import tempfile
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from unittest.mock import patch

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "truth"))

import test_shadows as truth

from compositor.geometry import shadow, solid
from compositor.measure import facts
from compositor.pixels import thickness
from compositor.render import silhouette


def equally_thick(coverage: np.ndarray, most_px: float) -> np.ndarray:
    return np.where(coverage >= thickness.COVERED, most_px, 0.0).astype(np.float32)


def balls(coverage: np.ndarray, most_px: float) -> np.ndarray:
    """Balls of the greatest thickness that touch the outline: thin parts are too thick."""
    with patch.object(thickness, "local_radius", lambda inwards, most: np.full_like(inwards, most)):
        return thickness.half_thickness(coverage, most_px)


def as_broad(factor: float) -> Callable[..., solid.Build]:
    whole = facts.build_of

    def build(alpha: np.ndarray, full: float) -> solid.Build:
        found = whole(alpha, full)
        return solid.Build(found.breadth_px * factor, found.apart_ratio)

    return build


def shown(name: str, changed: AbstractContextManager[object], depth_given: bool = False) -> None:
    truth.measured.cache_clear()
    with tempfile.TemporaryDirectory() as folder, changed:
        rows = [truth.measured(case, Path(folder), depth_given) for case in truth.SUNLIT]
    middles = np.median([row.overlap for row in rows]), np.median([row.error for row in rows])
    text = "  ".join(f"{row.overlap:.3f} {row.error:.3f}" for row in rows)
    print(f"    {name:27s}{text}    {middles[0]:.3f} {middles[1]:.3f}", flush=True)


def main() -> None:
    print(" " * 31 + "          ".join(case.name for case in truth.SUNLIT) + "          median")
    with tempfile.TemporaryDirectory() as folder:
        flat = [truth.measured(case, Path(folder)).flat_overlap for case in truth.SUNLIT]
    print(
        "    one flat silhouette        "
        + "        ".join(f"{one:.3f}" for one in flat)
        + f"          {np.median(flat):.3f}"
    )
    shown("as chosen", nullcontext())
    shown("as chosen, depth stated", nullcontext(), True)
    shown("equally thick", patch.object(silhouette, "half_thickness", equally_thick))
    shown("balls, thin parts too", patch.object(silhouette, "half_thickness", balls))
    for factor in (0.8, 1.25):
        shown(f"{factor} as deep", patch("compositor.jobs.cut_outs.build_of", as_broad(factor)))
    for ratio in (0.5, 0.65, 0.85):
        shown(f"feet {ratio} before the middle", patch.object(solid, "FEET_RATIO", ratio))
    shown("an even sky", patch.object(shadow, "sky_luminance", lambda direction, sun: 1.0))


if __name__ == "__main__":
    main()
