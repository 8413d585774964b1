"""Which sampling: quality and cost of the level and spacing rules of compositor/pixels/footprint.py.

Run: python tests/studies/sampling.py. Prints, per scale and rule, PSNR against brute force (photograph-like
picture, 16 × 16 looks per output pixel), alias energy relative to brute force (zone plate) and CPU per output
megapixel (uint16, 4 channels, one busy machine: read the ratios).

Chosen: COARSEST 4, SPACING 1.0, the coarsest rule within 1.3 × the alias of brute force and above 50 dB where pixels
themselves are looked at. SPACING 1.25 and looks at halved levels from COARSEST 2.5 on fall to 47 dB at 0.3.

From SOFT_FROM 1.75 px to COARSEST (scale 0.57 to 0.25) looks go into means of 2 × 2 neighbours, spread by the rule of
compositor/pixels/shrinking.py: one up to 2 px, then two along each axis. 56 to 63 dB where 2 × 2 looks at pixels have
55 and 3 × 3 have 57 to 59, alias 1.00 to 1.13 for 1.15 to 1.29, at about 0.6 of the cost. Where the picture is squeezed
2 : 1 across its diagonal, 58 to 61 dB for 59 to 66. From 1.6 px on, as in views, the change shows more: 51 dB from one
side of it to the other, 54 dB at 1.75.

On halved levels REDUCED_SPACING 1.2, REDUCED_SPREAD 15/16: below 0.25 the rule of one spacing for all levels is
farther from brute force (too soft: halving softens, too) and takes 9 looks for 4 and 16 for 9.
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "pixels"))

from reference_sampling import aliasing, as_uint16, box_reference, photo_like, placed, psnr_db, window_of, zone_plate

from compositor.pixels import footprint
from compositor.pixels.mips import Mips
from compositor.pixels.warp import warp

SIZE_PX = 600
RULES = [(2.5, 1.25), (4.0, 1.25), (4.0, 1.0), (4.0, 0.8), (8.0, 0.7)]
REDUCED = [(1.0, 1.0), (footprint.REDUCED_SPACING, footprint.REDUCED_SPREAD)]
SMALL_SCALES = (0.24, 0.22, 0.19, 0.15, 0.14, 0.13, 0.1)


def cpu_ms_per_megapixel(mips, homography, window):
    warp(mips, homography, window)
    times = []
    for _ in range(7):
        start = time.process_time()
        warp(mips, homography, window, threads=1)
        times.append(time.process_time() - start)
    return sorted(times)[3] * 1e9 / window.width / window.height


def measured(pictures, scale, rules):
    """Prints quality and cost of rules: (text, change of the module) each."""
    photo, zone, mips, zone_mips, large = pictures
    homography, flat = placed(scale), placed(scale, 1e-6)
    window, large_window = window_of(homography, (SIZE_PX, SIZE_PX)), window_of(flat, (1400, 1400))
    truth, rings = (box_reference(a, homography, window) for a in (photo, zone))
    for rule, values in rules:
        for name, value in values.items():
            setattr(footprint, name, value)
        quality = psnr_db(warp(mips, homography, window) / 65535, truth)
        alias = aliasing(warp(zone_mips, homography, window) / 65535, homography, window, SIZE_PX)
        alias /= aliasing(rings, homography, window, SIZE_PX)
        cost = cpu_ms_per_megapixel(large, flat, large_window)
        print(f"{scale:5.2f}  {rule:18}  {quality:7.1f}   {alias:11.2f}   {cost:9.0f}")


def main():
    photo, zone = photo_like(SIZE_PX), zone_plate(SIZE_PX)
    pictures = (photo, zone, *(Mips(as_uint16(a)) for a in (photo, zone, photo_like(1400))))
    chosen = {"COARSEST": footprint.COARSEST, "SPACING": footprint.SPACING}
    rules = [(f"{c:.1f}, {s:.2f}", {"COARSEST": c, "SPACING": s}) for c, s in RULES]
    reduced = [(f"reduced {s:.2f}, {p:.2f}", {**chosen, "REDUCED_SPACING": s, "REDUCED_SPREAD": p}) for s, p in REDUCED]
    print("scale  level px, spacing   PSNR dB   alias ratio   CPU ms/MP")
    for scale in (0.3, 0.42, 0.6, 0.79):
        measured(pictures, scale, rules)
    for scale in SMALL_SCALES:
        measured(pictures, scale, reduced)


if __name__ == "__main__":
    main()
