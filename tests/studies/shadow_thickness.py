"""What a cut-out's thickness should be like: overlap of shadows with path-traced truth and mean error of the darkening.

Run: python tests/studies/shadow_thickness.py (takes two minutes). Chosen by the median and by what no case loses:

                                c01          c02          c03          c05          c07          median
    one flat silhouette         0.437        0.606        0.648        0.241        0.125          0.437
    as chosen                   0.801 0.131  0.841 0.146  0.883 0.099  0.603 0.241  0.524 0.331    0.801 0.146
    as chosen, depth stated     0.789 0.144  0.846 0.143  0.883 0.099  0.605 0.241  0.536 0.335    0.789 0.144
    equally thick               0.728 0.201  0.743 0.222  0.874 0.106  0.371 0.389  0.552 0.316    0.728 0.222
    balls, thin parts too       0.797 0.144  0.821 0.157  0.882 0.100  0.476 0.323  0.528 0.328    0.797 0.157
    0.8 as deep                 0.728 0.187  0.841 0.146  0.883 0.099  0.539 0.250  0.533 0.316    0.728 0.187
    1.25 as deep                0.693 0.219  0.841 0.146  0.883 0.099  0.603 0.241  0.488 0.356    0.693 0.219
    feet 0.5 before the middle  0.634 0.257  0.841 0.146  0.883 0.099  0.397 0.288  0.591 0.295    0.634 0.257
    feet 0.65 before the middle 0.794 0.146  0.841 0.146  0.883 0.099  0.586 0.241  0.547 0.318    0.794 0.146
    feet 0.85 before the middle 0.744 0.173  0.841 0.146  0.883 0.099  0.514 0.267  0.502 0.346    0.744 0.173
    an even sky                 0.801 0.131  0.840 0.179  0.882 0.114  0.602 0.219  0.522 0.329    0.801 0.179

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
    print(f"    {name:28s}{text}    {middles[0]:.3f} {middles[1]:.3f}", flush=True)


def main() -> None:
    print(" " * 32 + "          ".join(case.name for case in truth.SUNLIT) + "          median")
    with tempfile.TemporaryDirectory() as folder:
        flat = [truth.measured(case, Path(folder)).flat_overlap for case in truth.SUNLIT]
    print(
        "    one flat silhouette         "
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
