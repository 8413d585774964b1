"""What a cut-out's thickness should be like: overlap of shadows with path-traced truth, by depth, roundness and slices.

Run: python tests/studies/shadow_slices.py (takes a minute). Chosen by the median and by what no case loses:

    depth left out            c01    c02    c03    c05    c07    median
    one flat silhouette      .432   .607   .645   .252   .129   .432
    equally thick, 0.6       .578   .605   .772   .335   .452   .578
    balls, 0.4 of the width  .636   .749   .870   .348   .427   .636
    balls, 0.5 (chosen)      .759   .749   .870   .477   .427   .749
    balls, 0.6               .717   .749   .870   .479   .427   .717
    balls, 0.8               .664   .749   .870   .440   .427   .664
    balls, 0.6, 16 slices    .585   .723   .819   .452   .402   .585
    balls, 0.6, 32 slices    .655   .735   .845   .461   .431   .655
    balls, 0.6, 64 slices    .692   .744   .861   .478   .432   .692
    balls, 0.6, 128 slices   .717   .749   .870   .479   .427   .717

The share of the width matters for c01 and c05 alone (people): the sides of a footprint tell the depth of c02 and c03,
the breadth of its parts that of c07. With few slices the side of a subject that is lit from beside is stepped.
"""

import sys
import tempfile
from pathlib import Path
from unittest.mock import patch

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "truth"))

import test_shadows as truth

from compositor.geometry import solid
from compositor.pixels.thickness import half_thickness
from compositor.render import throwing


def equally_thick(coverage: np.ndarray, most_px: float) -> np.ndarray:
    return np.where(coverage >= 0.5, most_px, 0.0).astype(np.float32)


def overlaps() -> list[float]:
    truth.measured.cache_clear()
    with tempfile.TemporaryDirectory() as folder:
        return [truth.measured(case, Path(folder)).overlap for case in truth.SUNLIT]


def shown(name: str, values: list[float]) -> None:
    print(f"{name:24s}" + "  ".join(f"{value:.3f}" for value in values), f"  {np.median(values):.3f}")


def main() -> None:
    print(" " * 24 + "    ".join(case.name for case in truth.SUNLIT) + "    median")
    with tempfile.TemporaryDirectory() as folder:
        shown("one flat silhouette", [truth.measured(case, Path(folder)).flat_overlap for case in truth.SUNLIT])
    for name, thickness in (("equally thick", equally_thick), ("balls", half_thickness)):
        with patch.object(throwing, "half_thickness", thickness):
            shown(name, overlaps())
    for ratio in (0.4, 0.6, 0.8):
        with patch.object(solid, "DEPTH_RATIO", ratio):
            shown(f"balls, {ratio} of the width", overlaps())
    for count in (16, 32, 64):
        whole = throwing.thrown

        def fewer(silhouette, throw, grid, half_angle_deg, most=count, whole=whole):  # type: ignore[no-untyped-def]
            return whole(silhouette, throw, grid, half_angle_deg, most)

        with patch("compositor.render.shadows.thrown", fewer):
            shown(f"balls, {count} slices", overlaps())


if __name__ == "__main__":
    main()
