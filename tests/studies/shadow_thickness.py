"""What a cut-out's thickness should be like: overlap of shadows with path-traced truth and mean error of the darkening.

Run: python tests/studies/shadow_thickness.py (takes two minutes). Chosen by the median and by what no case loses:

                                c01          c02          c03          c05          c07          median
    one flat silhouette         0.437        0.606        0.642        0.241        0.125          0.437
    as chosen                   0.802 0.133  0.841 0.146  0.885 0.102  0.602 0.242  0.517 0.328    0.802 0.146
    as chosen, depth stated     0.786 0.147  0.846 0.143  0.884 0.102  0.609 0.242  0.533 0.329    0.786 0.147
    equally thick               0.732 0.199  0.743 0.219  0.876 0.105  0.372 0.381  0.543 0.311    0.732 0.219
    balls, thin parts too       0.805 0.143  0.821 0.157  0.883 0.102  0.479 0.319  0.516 0.324    0.805 0.157
    0.75 as deep as broad       0.766 0.166  0.841 0.146  0.885 0.102  0.571 0.245  0.505 0.322    0.766 0.166
    1.0 as deep as broad        0.767 0.162  0.841 0.146  0.885 0.102  0.602 0.242  0.502 0.344    0.767 0.162
    1.15 as deep as broad       0.693 0.221  0.841 0.146  0.885 0.102  0.602 0.242  0.483 0.357    0.693 0.221
    feet 0.5 before the middle  0.630 0.263  0.841 0.146  0.885 0.102  0.392 0.290  0.578 0.291    0.630 0.263
    feet 0.65 before the middle 0.791 0.151  0.841 0.146  0.885 0.102  0.587 0.242  0.536 0.315    0.791 0.151
    feet 0.85 before the middle 0.752 0.172  0.841 0.146  0.885 0.102  0.512 0.267  0.495 0.343    0.752 0.172
    an even sky                 0.800 0.131  0.840 0.174  0.883 0.117  0.602 0.224  0.517 0.327    0.800 0.174

c01 and c05 are people, who stand on feet; c02 (a chair) and c03 (a folding sign) show a side that tells how deep they
are; c07 is a bicycle, whose parts are thin.
"""

import sys
import tempfile
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from unittest.mock import patch

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "truth"))

import test_shadows as truth

from compositor.geometry import shadow, solid
from compositor.pixels import thickness
from compositor.render import silhouette


def equally_thick(coverage: np.ndarray, most_px: float) -> np.ndarray:
    return np.where(coverage >= thickness.COVERED, most_px, 0.0).astype(np.float32)


def balls(coverage: np.ndarray, most_px: float) -> np.ndarray:
    """Balls of the greatest thickness that touch the outline: thin parts are too thick."""
    with patch.object(thickness, "local_radius", lambda inwards, most: np.full_like(inwards, most)):
        return thickness.half_thickness(coverage, most_px)


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
    for ratio in (0.75, 1.0, 1.15):
        shown(f"{ratio} as deep as broad", patch.object(solid, "PART_DEPTH_RATIO", ratio))
    for ratio in (0.5, 0.65, 0.85):
        shown(f"feet {ratio} before the middle", patch.object(solid, "FEET_RATIO", ratio))
    shown("an even sky", patch.object(shadow, "sky_luminance", lambda directions, sun: np.ones(directions.shape[:-1])))


if __name__ == "__main__":
    main()
