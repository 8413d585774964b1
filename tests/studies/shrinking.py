"""How many looks a shrunk picture needs: quality and cost of compositor/pixels/shrinking.py beside the general warp.

Run: python tests/studies/shrinking.py. Prints, per step, PSNR against brute force (photograph-like picture, 16 × 16
looks per output pixel), alias energy relative to brute force (zone plate) and CPU per output megapixel (uint16, 4
channels, one busy machine: read the ratios), of the general warp and of what is chosen; then of what is not.

Chosen: one look into the means of neighbours between 1.6 and 2.0 px (52.4 dB at 1.6; alias 1.18 × at 2.0); beyond, a
look every 2.15 level px, spread as far as the pixel in the mean of squares; nearer, two by two looks at the pixels.
Not chosen, all of them below the 52 dB that are wanted: one look into the means at 1.5 px (50.3 dB) or at 2.1 px (51.2
dB, alias 1.45 ×); one look at pixels mixed unevenly with the next, for a third of the cost (49.0 dB and alias 1.48 ×
at 1.3 px, 51.2 dB at 1.5 px); looks spread evenly (50.5 instead of 58.3 dB at 2.25 px); halving a level as soon as
more than two looks would be needed, not four, for a third of the cost (51.1 instead of 61.0 dB at 5 px).
"""

import sys
import time
from pathlib import Path
from unittest.mock import patch

sys.path.insert(0, str(Path(__file__).parents[1] / "pixels"))

import numpy as np
from reference_sampling import aliasing, as_uint16, box_reference, photo_like, psnr_db, zone_plate

from compositor.base.opencv import cv2
from compositor.pixels import shrinking
from compositor.pixels.footprint import Window
from compositor.pixels.mips import Mips
from compositor.pixels.shrinking import Grid, Looks, Shrunk
from compositor.pixels.softened import Softened
from compositor.pixels.warp import warp

SIZE_PX, LARGE_PX = 600, 2000
CORNER_PX = (13.37, 11.81)


def placed(step, size_px):
    left, top = CORNER_PX
    homography = np.array([[1 / step, 0, -left / step], [0, 1 / step, -top / step], [0, 0, 1.0]])
    count = int((size_px - 26) / step)
    return homography, Window(0, 0, count, count)


def warped(samples, step):
    homography, window = placed(step, len(samples))
    mips = Mips(samples, "replicate")
    return lambda: warp(mips, homography, window, threads=1)


def shrunk(samples, step):
    count = placed(step, len(samples))[1].width
    picture = Softened(samples.shape[1::-1], lambda box: samples[box[1] : box[3], box[0] : box[2]], kept=True)
    rows = Shrunk(picture, Grid(*CORNER_PX, step, count))
    tops = range(0, count, rows.rows_at_once)
    return lambda: np.concatenate([rows.rows(top, min(top + rows.rows_at_once, count)) for top in tops])


def by(looks):
    """As `shrunk` with a rule that was not chosen: looks, made of the step."""

    def way(samples, step):
        with patch.object(shrinking, "looks_for", looks):
            return shrunk(samples, step)

    return way


def alone(step):
    return Looks(0, True, (0.0,))


def evenly(step):
    return Looks(0, True, (-step / 4, step / 4))


def halved_sooner(step):
    with patch.object(shrinking, "MOST_LOOKS", 2):
        return LOOKS_FOR(step)


LOOKS_FOR = shrinking.looks_for


def mixed(samples, step):
    """One look where each pixel was mixed with its next one, along both axes, as far as the pixel spreads."""
    count = placed(step, len(samples))[1].width
    share = (1 - np.sqrt(1 - step**2 / 3)) / 2  # share · (1 − share) = step² / 12
    x, y = np.meshgrid(*((corner + (np.arange(count) + 0.5) * step - 0.5 - share) for corner in CORNER_PX))
    x, y = x.astype(np.float32), y.astype(np.float32)

    def make():
        rows = cv2.addWeighted(samples[:-1], 1 - share, samples[1:], share, 0.0)
        both = cv2.addWeighted(rows[:, :-1], 1 - share, rows[:, 1:], share, 0.0)
        return cv2.remap(both, x, y, cv2.INTER_LINEAR)

    return make


def cpu_ms_per_megapixel(make):
    make()
    times = []
    for _ in range(7):
        start = time.thread_time()
        result = make()
        times.append(time.thread_time() - start)
    return sorted(times)[3] * 1e9 / (result.shape[0] * result.shape[1])


STEPS = (1.3, 1.6, 1.8, 2.0, 2.02, 2.25, 2.5, 3.0, 4.0, 5.0, 6.4, 7.5, 8.7, 11.0, 17.0)
CHOSEN = [(step, name, way) for step in STEPS for name, way in (("warp", warped), ("shrunk", shrunk))]
OTHERS = [
    (1.3, "mixed", mixed),
    (1.5, "mixed", mixed),
    (1.5, "alone", by(alone)),
    (2.1, "alone", by(alone)),
    (2.25, "evenly", by(evenly)),
    (5.0, "halved sooner", by(halved_sooner)),
    (6.4, "halved sooner", by(halved_sooner)),
]


def main():
    photo, zone, large = photo_like(SIZE_PX), zone_plate(SIZE_PX), as_uint16(photo_like(LARGE_PX))
    print(" step  way             PSNR dB   alias ratio   CPU ms/MP")
    for step, name, way in CHOSEN + OTHERS:
        homography, window = placed(step, SIZE_PX)
        truth = box_reference(photo, homography, window)
        rings = aliasing(box_reference(zone, homography, window), homography, window, SIZE_PX)
        quality = psnr_db(way(as_uint16(photo), step)() / 65535, truth)
        alias = aliasing(way(as_uint16(zone), step)() / 65535, homography, window, SIZE_PX) / rings
        cost = cpu_ms_per_megapixel(way(large, step))
        print(f"{step:5.2f}  {name:13}  {quality:7.1f}   {alias:11.2f}   {cost:9.0f}", flush=True)


if __name__ == "__main__":
    main()
