"""How near the automatic horizon comes on rendered streets and rooms, and when it refuses.

    python tests/studies/horizon_accuracy.py [first] [last] [--lens] [--open-country]

Prints a line per photograph that is off by more than 0.02 of the picture's height, then the area under the curve of
the error up to 0.25 of the height, its median, and how often the 68 % interval covers the truth. Seeds 0 to 119 and
open country 0 to 39 were used to choose the constants of geometry/edgeset.py, support.py, structure.py and mixture.py;
seeds 120 to 239 and open country 40 to 69 were looked at once, at the end.
"""

import argparse
from collections.abc import Iterator

import numpy as np
from photographs import photograph

from compositor.geometry.structure import find_structure
from compositor.measure.edges import picture_edges

LIMIT_FRACTION = 0.25


def judged(first: int, last: int, lens: bool, open_country: bool) -> Iterator[tuple[float, float, float, bool]]:
    """Of each photograph: error and standard deviation as shares of the height, error in deviations, refused."""
    for seed in range(first, last):
        taken = photograph(seed, "landscape" if open_country else None)
        height, width = taken.picture.shape[:2]
        centre = (width / 2, height / 2)
        stated = (taken.camera.focal_px, 0.02) if lens else None
        found = find_structure(picture_edges(taken.picture), (width, height), centre, stated)
        if found is None:
            yield 1.0, 1.0, 0.0, True
            continue
        seen = found.camera((width, height), centre)
        off = [seen.horizon_row(u) - taken.camera.horizon_row(u) for u in (0.0, width)]
        error, refused = max(abs(value) for value in off) / height, found.doubt((width, height))
        if error > 0.02 or refused:
            print(
                f"{taken.kind} {seed}: error {error:.3f} ± {max(found.row_sd_px) / height:.3f}, {refused or 'answered'}"
            )
        deviations = [abs(value) / sd for value, sd in zip(off, found.row_sd_px, strict=True)]
        yield error, max(found.row_sd_px) / height, float(np.mean(deviations)), refused is not None


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("first", type=int, nargs="?", default=0)
    parser.add_argument("last", type=int, nargs="?", default=120)
    parser.add_argument("--lens", action="store_true")
    parser.add_argument("--open-country", action="store_true")
    chosen = parser.parse_args()
    rows = list(judged(chosen.first, chosen.last, chosen.lens, chosen.open_country))
    errors, _, deviations, refused = (np.array(column) for column in zip(*rows, strict=True))
    area = float(np.mean(np.clip(1.0 - errors / LIMIT_FRACTION, 0.0, None)))
    print(f"{len(rows)} photographs: area {100 * area:.1f} %, median error {np.median(errors):.4f}")
    print(f"refused {int(refused.sum())}, covered by one deviation {np.mean(deviations < 1.0):.2f}")


if __name__ == "__main__":
    main()
