"""How well edges support a horizon: a coarse map over rolls and offsets, searched whole, so nothing is missed.

For a horizon that is given, every edge that is level in the world names one azimuth: where its line meets the
horizon. Parallel edges agree, so the true horizon is the one on which azimuths pile up; edges that are upright
in the world must meet at the zenith, which roll, offset and focal length place. An edge counts by the logarithm of
how much better it fits than an edge of random direction would (a mixture model; the robust alternative to counting
within a threshold).
"""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats
from compositor.geometry.edgeset import EdgeSet, directions_off

ODDS = 0.3 * 0.65 / 0.35  # of belonging to one given direction against being stray; by trial, not critical
ROLLS = np.radians(np.arange(-16.0, 16.01, 0.5))
OFFSETS = np.tan(np.radians(np.arange(-44.0, 44.1, 0.8)))  # of the horizon below the centre, in longer sides
SLOPES = np.linspace(-1.6, 1.6, 161)  # tan(pitch)/focal: how fast uprights converge
BINS = 180  # azimuths over a half turn
WIDTHS = np.radians([0.5, 1.2, 3.0, 8.0, 25.0])  # classes of how sure an azimuth is
WIDEST = float(np.radians(45.0))  # an azimuth less sure than this says nothing
APART_BINS = 9
PEAK_WEIGHTS = (1.0, 1.0, 0.5)


@dataclass(frozen=True)
class Azimuths:
    """Where edges' lines meet a horizon: angles_rad (n,) in ±π/2 and their standard deviations (n,)."""

    angles_rad: Floats
    deviations_rad: Floats


def gains(deviations_rad: Floats, off_rad: Floats | float) -> Floats:
    """Log-likelihood ratio of edges whose directions are off by some angle, against stray ones."""
    density = np.sqrt(np.pi / 2.0) / deviations_rad * np.exp(-0.5 * (off_rad / deviations_rad) ** 2)
    ratio: Floats = np.log1p(ODDS * density)
    return ratio


def azimuths(edges: EdgeSet, rolls_rad: Floats, offset: float, focal: float) -> Azimuths:
    """Azimuths (r, n) of the edges on horizons of r rolls at one offset (scaled frame)."""
    down = np.column_stack([np.sin(rolls_rad), np.cos(rolls_rad)])
    right = np.column_stack([np.cos(rolls_rad), -np.sin(rolls_rad)])
    steepness = right @ edges.across.T
    steepness = np.where(np.abs(steepness) < 1e-6, 1e-6, steepness)
    reach = -(edges.offsets + offset * (down @ edges.across.T)) / steepness
    depth = np.hypot(focal, offset)
    u = offset * down[:, :1] + reach * right[:, :1] - edges.middles[:, 0]
    v = offset * down[:, 1:] + reach * right[:, 1:] - edges.middles[:, 1]
    away = np.hypot(u, v)
    spread = edges.deviations_rad * away / np.abs(steepness) * depth / (depth**2 + reach**2)
    return Azimuths(np.arctan(reach / depth), spread)


def upright_support(edges: EdgeSet) -> Floats:
    """Support (rolls, slopes) of each zenith by edges that are upright in the world."""
    steep = np.abs(edges.along[:, 1]) > np.cos(np.radians(50.0))
    along, middles, deviations = edges.along[steep], edges.middles[steep], edges.deviations_rad[steep]
    slopes = SLOPES[:, np.newaxis]
    support = np.empty((len(ROLLS), len(SLOPES)))
    for index, roll in enumerate(ROLLS):
        right, down = -np.sin(roll) - slopes * middles[:, 0], -np.cos(roll) - slopes * middles[:, 1]
        reached = right * along[:, 0] + down * along[:, 1]
        off = np.arctan((right * along[:, 1] - down * along[:, 0]) / np.where(np.abs(reached) < 1e-9, 1e-9, reached))
        support[index] = gains(deviations, off) @ edges.weights[steep]
    return support


def level_support(edges: EdgeSet, focal: float) -> Floats:
    """Support (rolls, offsets) of each horizon by level edges: the highest piles of azimuths on it."""
    worth = gains(edges.deviations_rad, 0.0) * edges.weights
    limits = np.sqrt(WIDTHS[1:] * WIDTHS[:-1])
    kernels = np.stack([_kernel(width) for width in WIDTHS])
    shape = (len(WIDTHS), len(ROLLS), BINS)
    rows = np.arange(len(ROLLS))[:, np.newaxis]
    support = np.empty((len(ROLLS), len(OFFSETS)))
    for index, offset in enumerate(OFFSETS):
        found = azimuths(edges, ROLLS, float(offset), focal)
        bins = np.minimum(((found.angles_rad / np.pi + 0.5) * BINS).astype(np.int64), BINS - 1)
        where = (np.searchsorted(limits, found.deviations_rad) * len(ROLLS) + rows) * BINS + bins
        counted = np.where(found.deviations_rad > WIDEST, 0.0, worth)
        piles = np.bincount(where.ravel(), weights=counted.ravel(), minlength=int(np.prod(shape))).reshape(shape)
        smooth = np.fft.irfft(np.einsum("wrf,wf->rf", np.fft.rfft(piles, axis=2), kernels), n=BINS, axis=1)
        support[:, index] = _highest(smooth)
    return support


def zenith(roll_rad: float, slope: float) -> Floats:
    """Homogeneous point (1, 3) where uprights meet."""
    return np.array([[-np.sin(roll_rad), -np.cos(roll_rad), slope]])


def right_angled(
    edges: EdgeSet, roll_rad: float, offset: float, focal: float, most: int, least: float
) -> tuple[list[float], float]:
    """Headings (radians in [0, π/2)) of the right-angled grids that the level edges form, and their support.

    Each grid holds two level directions at a right angle. At most `most`, the first whatever its support, others
    with at least `least`. Edges that point at the zenith are left out.
    """
    found = azimuths(edges, np.array([roll_rad]), offset, focal)
    spread = found.deviations_rad[0]
    upright = directions_off(edges, zenith(roll_rad, offset / focal**2))[:, 0] / (2.5 * edges.deviations_rad)
    worth = gains(edges.deviations_rad, 0.0) * edges.weights * (1.0 - np.exp(-0.5 * upright**2))
    worth = np.where(spread > np.radians(30.0), 0.0, worth)
    grid = np.radians(np.arange(90.0))
    off = found.angles_rad[0][:, np.newaxis] - grid
    off = (off + np.pi / 4) % (np.pi / 2) - np.pi / 4
    width = 1.2 * np.hypot(spread, np.radians(0.5))[:, np.newaxis]
    votes = worth[:, np.newaxis] * np.exp(-0.5 * (off / width) ** 2)
    headings: list[float] = []
    total = 0.0
    left = np.ones(len(edges))
    for _ in range(most):
        piles = left @ votes
        best = int(np.argmax(piles))
        if headings and piles[best] < least:
            break
        headings.append(float(grid[best]))
        total += float(piles[best])
        left *= 1.0 - np.exp(-0.5 * (off[:, best] / (2.0 * width[:, 0])) ** 2)
    return headings, total


def _kernel(width_rad: float) -> Floats:
    """Spectrum of a bell of unit height over the circle of bins."""
    step = np.pi / BINS
    spread = max(1.3 * width_rad, 0.6 * step) / step
    place = np.minimum(np.arange(BINS), BINS - np.arange(BINS))
    spectrum: Floats = np.fft.rfft(np.exp(-0.5 * (place / spread) ** 2)).real
    return spectrum


def _highest(piles: Floats) -> Floats:
    """Weighted sum (r,) of the highest separate piles of (r, bins)."""
    left, total = piles.copy(), np.zeros(len(piles))
    place = np.arange(BINS)
    for weight in PEAK_WEIGHTS:
        best = np.argmax(left, axis=1)
        total += weight * np.maximum(np.max(left, axis=1) - 1.0, 0.0)
        apart = np.abs((place - best[:, np.newaxis] + BINS // 2) % BINS - BINS // 2)
        left[apart <= APART_BINS] = 0.0
    return total
