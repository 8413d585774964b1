"""The sampling of each tile, against the same rules written down plainly for one tile."""

from itertools import product
from math import ceil, log2

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from compositor.pixels.footprint import (
    COARSEST,
    MOST_SAMPLES,
    NEAR,
    REDUCED_SPACING,
    REDUCED_SPREAD,
    SOFT_FROM,
    SPACING,
    TILE_PX,
    Sampling,
    Window,
    footprints,
    plan_tiles,
)
from compositor.pixels.shrinking import ALONE_UP_TO
from compositor.pixels.shrinking import SPACING as MEANS_SPACING


def plain(back, left, top):
    """The sampling of a tile by 4 × 4 looks, all of which see something."""
    steps = np.linspace(0, TILE_PX, 4)
    looks = [jacobian(back, left + x, top + y) for y, x in product(steps, steps)]
    sides = [max(np.hypot(*look[:, axis]) for look in looks) for axis in (0, 1)]
    shortest = min(np.linalg.svd(look)[1][1] for look in looks)
    level = max(0, ceil(log2(shortest / COARSEST))) if shortest > NEAR else -1 if shortest >= 0.5 else -2
    level = max(level, ceil(log2(max(sides) / SPACING / MOST_SAMPLES)))
    softened = level == 0 and shortest >= SOFT_FROM
    along = [axis_of_means(side) if softened else axis(side, level) for side in sides]
    counts, spread = tuple(count for count, _ in along), tuple(spread for _, spread in along)
    if level > 0 and counts == (4, 4):
        return Sampling(level, (2, 2), spread, True)
    return Sampling(level, counts, spread, softened)


def axis_of_means(side):
    """Mean squares of the output pixel and of a look (1/4 of the mean, both interpolated) differ by that of looks."""
    if side <= ALONE_UP_TO:
        return 1, 0.0
    count = max(2, ceil(side / MEANS_SPACING))
    places = np.arange(count) - (count - 1) / 2
    between = np.sqrt((side**2 / 12 - 1 / 4) / np.mean(places**2))
    return count, round(32 * count * between / side) / 32


def axis(side, level):
    spread = 1.0 if level >= 0 else round(8 * min(max((side - 1) / (NEAR - 1), 0), 1)) / 8
    if spread == 0:
        return 1, 0.0
    count = ceil(side * spread / 2.0**level / (REDUCED_SPACING if level > 0 else SPACING))
    count = min(max(count, 2), MOST_SAMPLES)
    return count, REDUCED_SPREAD if level > 0 and count == 3 else spread


def jacobian(back, x, y):
    """2 × 2: source px per target px, by the quotient rule."""
    u, v, w = back @ [x, y, 1.0]
    return (back[:2, :2] - np.outer([u / w, v / w], back[2, :2])) / w


def a_way_back(scale, squeeze, turn, tilt):
    cos, sin = np.cos(turn) / scale, np.sin(turn) / scale
    return np.array([[cos, -sin * squeeze, 40.0], [sin, cos * squeeze, -30.0], [tilt, -2 * tilt, 1.0]])


ways = st.builds(
    a_way_back,
    st.floats(0.03, 3.0),
    st.floats(0.2, 1.0),
    st.floats(-3.0, 3.0),
    st.sampled_from([0.0, 1e-7, 1e-5, 3e-4]),
)


@settings(deadline=None, max_examples=60)
@given(ways, st.integers(1, 400), st.integers(1, 300))
def test_every_tile_is_sampled_by_its_own_looks(back, width, height):
    tiles = plan_tiles(back, Window(-7, 11, width, height), None)
    assert (len(tiles), len(tiles[0])) == (ceil(height / TILE_PX), ceil(width / TILE_PX))
    for row, column in product(range(len(tiles)), range(len(tiles[0]))):
        expected = plain(back, -7 + TILE_PX * column, 11 + TILE_PX * row)
        found = tiles[row][column]
        if found != expected:  # on the very edge between two choices rounding decides
            close = [plain(back * np.array([[f], [f], [1]]), -7 + TILE_PX * column, 11 + TILE_PX * row) for f in EDGES]
            assert found in close


EDGES = (1 - 1e-9, 1 + 1e-9)


@settings(deadline=None, max_examples=60)
@given(ways, st.integers(-200, 300), st.integers(-200, 300), st.integers(1, 300), st.integers(1, 300))
def test_tiles_that_see_the_content_have_a_sampling(back, left, top, width, height):
    window, content = Window(0, 0, 260, 200), (left, top, left + width, top + height)
    tiles = plan_tiles(back, window, content)
    y, x = np.mgrid[: window.height, : window.width] + 0.5
    looks = footprints(back, x, y)
    (u, v), inside = looks.source, looks.depth > 0
    inside &= (u > left) & (u < left + width) & (v > top) & (v < top + height)
    for row, column in product(range(len(tiles)), range(len(tiles[0]))):
        seen = inside[row * TILE_PX : (row + 1) * TILE_PX, column * TILE_PX : (column + 1) * TILE_PX].any()
        assert tiles[row][column] is not None or not seen
