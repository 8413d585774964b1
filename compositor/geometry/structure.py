"""The camera behind the straight edges of a built scene: tilt, roll and focal length with honest uncertainty.

The world is taken as upright edges plus up to GRIDS right-angled grids of level edges at any heading (streets that
meet at odd angles, rooms with turned furniture), plus stray edges. The horizon is searched whole on a coarse map
(:mod:`compositor.geometry.support`), the best places are refined by expectation-maximisation with Gauss-Newton
steps, and what remains of rival answers widens the uncertainty.

Sources: Coughlan & Yuille, Manhattan World, ICCV 1999 (mixture of upright, level and stray edges); Schindler &
Dellaert, Atlanta World, CVPR 2004 (several grids that share the vertical, solved by expectation-maximisation);
Zhai, Workman & Jacobs, Detecting Vanishing Points using Global Image Context in a Non-Manhattan World, CVPR 2016
(candidate horizons first, vanishing points on each).
"""

from dataclasses import dataclass
from math import degrees, exp, log, radians, tan
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from compositor.base.arrays import Floats
from compositor.geometry.camera import Camera
from compositor.geometry.edgeset import EdgeSet, edge_set
from compositor.geometry.mixture import Mixture, Prior, fit_mixture, vanishing_directions
from compositor.geometry.support import (
    OFFSETS,
    ROLLS,
    SLOPES,
    azimuths,
    level_support,
    right_angled,
    upright_support,
)

GRIDS = 3
GRID_COST = 6.0  # support that a further grid must bring; by trial on rendered scenes
PLACES = 30  # coarse places looked at closer
REFINED = 10
FOCALS = np.exp(np.linspace(np.log(0.45), np.log(3.2), 24))  # in longer sides
TELLING_DEG = 8.0
# When to say "cannot tell": limits between rendered open country and rendered built scenes, which they part cleanly
# (tests/studies/horizon_accuracy.py).
FEWEST_EDGES = 8
LEAST_SUPPORT = 0.4
FEWEST_UPRIGHT = 4.0
LEVEL_SUPPORT = 3.5
LEVEL_SPREAD_FRACTION = 0.03
WIDEST_SPREAD_FRACTION = 0.12
CLEAR_SUPPORT = 3.0  # below it trunks and ridges may pass for walls, so the horizon must be surer
DOUBTED_SPREAD_FRACTION = 0.07
RIVAL_RATE = 0.1  # by trial: how fast a rival answer loses belief per unit of support (edges are not independent)


@dataclass(frozen=True)
class EdgeBundle:
    """Edges of one world direction: rows of the input, and their vanishing point (homogeneous pixels, unit, w >= 0).

    heading_deg: azimuth of a level direction, clockwise from the camera's own; None for uprights.
    """

    kind: Literal["upright", "level"]
    edges: NDArray[np.int64]
    vanishing_px: tuple[float, float, float]
    heading_deg: float | None


@dataclass(frozen=True)
class Structure:
    """What the edges say. Angles in degrees, focal length in px.

    covariance (3, 3) in (ln focal, pitch_deg, roll_deg). row_sd_px: standard deviations of the horizon's row at the
    left and right edge. support: mean gain per unit of edge weight (stray edges: about 0). edge_count: edges that
    were of use. explained_fraction: share of their weight that belongs to a bundle. level_count and upright_count:
    edges that tell something about the horizon, namely level ones whose azimuth is sure to TELLING_DEG (an edge
    beside the horizon agrees with every azimuth), and upright ones.
    """

    focal_px: float
    pitch_deg: float
    roll_deg: float
    covariance: Floats
    row_sd_px: tuple[float, float]
    bundles: tuple[EdgeBundle, ...]
    support: float
    edge_count: int
    explained_fraction: float
    level_count: float
    upright_count: float

    def camera(self, size_px: tuple[int, int], principal_px: tuple[float, float], height_m: float = 1.0) -> Camera:
        """A camera of this lens and these angles."""
        return Camera(self.focal_px, principal_px, size_px, self.pitch_deg, self.roll_deg, height_m)

    def doubt(self, size_px: tuple[int, int]) -> str | None:
        """Why this answer should not be relied on, or None. See the limits at the top of this file."""
        spread = max(self.row_sd_px) / size_px[1]
        if self.edge_count < FEWEST_EDGES:
            return "there are hardly any straight edges"
        if self.support < LEAST_SUPPORT:
            return "its edges follow no common directions"
        if self.upright_count < FEWEST_UPRIGHT and (self.support < LEVEL_SUPPORT or spread > LEVEL_SPREAD_FRACTION):
            return "no upright edges were found, and the level ones do not agree well enough"
        limit = WIDEST_SPREAD_FRACTION if self.support >= CLEAR_SUPPORT else DOUBTED_SPREAD_FRACTION
        if spread > limit:
            return f"its edges leave the horizon open to ±{100 * spread:.0f} % of the picture's height"
        return None


def find_structure(
    edges_px: Floats,
    size_px: tuple[int, int],
    principal_px: tuple[float, float],
    lens: tuple[float, float] | None = None,
) -> Structure | None:
    """The most plausible camera for detected edges (n, 2, 2); None for fewer than four useful edges.

    lens: (focal_px, standard deviation of its logarithm) where something is known of it; None = any usual lens.
    """
    edges = edge_set(edges_px, size_px, principal_px)
    if len(edges) < 4:
        return None
    prior = Prior() if lens is None else Prior(log(lens[0] / edges.scale_px), max(lens[1], 1e-4))
    fits = [fit_mixture(edges, start, prior) for start in _starts(edges, prior)]
    fits.sort(key=lambda fit: -fit.score(GRID_COST))
    return _structure(edges, fits, prior, size_px)


def _starts(edges: EdgeSet, prior: Prior) -> list[Floats]:
    """Places worth refining: (ln focal, pitch, roll, headings ...) in the scaled frame, best first."""
    focals = FOCALS if prior.usual else np.array([exp(prior.log_focal)])
    uprights = upright_support(edges)
    levels = level_support(edges, 1.0 if prior.usual else float(focals[0]))
    best = np.full(levels.shape, -np.inf)
    for focal in focals:
        pitches = np.arctan(OFFSETS / focal)
        belief = np.array([[prior.log(log(focal), pitch, roll) for pitch in pitches] for roll in ROLLS])
        best = np.maximum(best, _along_slopes(uprights, OFFSETS / focal**2) + belief)
    ranked = []
    for row, column in _peaks(best + levels, PLACES):
        roll, offset = float(ROLLS[row]), float(OFFSETS[column])
        choices = []
        for focal in (float(value) for value in focals):
            headings, support = right_angled(edges, roll, offset, focal, GRIDS, GRID_COST)
            pitch = float(np.arctan(offset / focal))
            upright = float(np.interp(offset / focal**2, SLOPES, uprights[row]))
            value = upright + support - GRID_COST * len(headings) + prior.log(log(focal), pitch, roll)
            choices.append((value, np.array([log(focal), pitch, roll, *headings])))
        choices.sort(key=lambda choice: -choice[0])
        ranked += choices[:2]
    ranked.sort(key=lambda choice: -choice[0])
    return [start for _, start in ranked[:REFINED]]


def _along_slopes(uprights: Floats, slopes: Floats) -> Floats:
    """Upright support (rolls, m) read off at m slopes."""
    place = np.clip((slopes - SLOPES[0]) / (SLOPES[1] - SLOPES[0]), 0.0, len(SLOPES) - 1.001)
    low = place.astype(np.int64)
    share = place - low
    read: Floats = uprights[:, low] * (1.0 - share) + uprights[:, low + 1] * share
    return read


def _peaks(scores: Floats, count: int) -> list[tuple[int, int]]:
    """The best places of a map, no two within two cells of each other."""
    left, places = scores.copy(), []
    for _ in range(count):
        row, column = (int(value) for value in np.unravel_index(int(np.argmax(left)), left.shape))
        if not np.isfinite(left[row, column]):
            break
        places.append((row, column))
        left[max(row - 2, 0) : row + 3, max(column - 2, 0) : column + 3] = -np.inf
    return places


def _structure(edges: EdgeSet, fits: list[Mixture], prior: Prior, size_px: tuple[int, int]) -> Structure:
    """The best fit in pixels and degrees, its uncertainty widened by its rivals."""
    best = fits[0]
    log_focal, pitch, roll = (float(value) for value in best.values[:3])
    unit = np.diag([1.0, degrees(1.0), degrees(1.0)])
    beliefs = np.array([exp(RIVAL_RATE * (fit.score(GRID_COST) - best.score(GRID_COST))) for fit in fits])
    beliefs /= beliefs.sum()
    apart = np.array([fit.values[:3] - best.values[:3] for fit in fits])
    spread = best.covariance[:3, :3] + np.einsum("k,ki,kj->ij", beliefs, apart, apart)
    sides = tuple(column - edges.origin_px[0] for column in (0.0, float(size_px[0])))
    rows = np.array([[_row(fit.values, side / edges.scale_px) for side in sides] for fit in fits]) * edges.scale_px
    jacobian = _row_jacobian(best.values, np.array(sides) / edges.scale_px) * edges.scale_px
    variance = np.diag(jacobian @ best.covariance[:3, :3] @ jacobian.T) + beliefs @ (rows - rows[0]) ** 2
    left_sd, right_sd = (float(value) for value in np.sqrt(variance))
    return Structure(
        exp(log_focal) * edges.scale_px,
        degrees(pitch),
        degrees(roll),
        unit @ spread @ unit,
        (left_sd, right_sd),
        _bundles(edges, best),
        best.score(GRID_COST) / float(edges.weights.sum()),
        len(edges),
        float(best.belonging.sum(axis=1) @ edges.weights / edges.weights.sum()),
        _telling_count(edges, best),
        float(best.belonging[:, 0].sum()),
    )


def _telling_count(edges: EdgeSet, fit: Mixture) -> float:
    """How many level edges name an azimuth surely."""
    focal, pitch, roll = exp(fit.values[0]), float(fit.values[1]), float(fit.values[2])
    found = azimuths(edges, np.array([roll]), focal * tan(pitch), focal)
    telling = found.deviations_rad[0] < radians(TELLING_DEG)
    return float(fit.belonging[telling, 1:].sum())


def _row(values: Floats, side: float) -> float:
    """Row of the horizon at a distance to the right of the principal point, scaled frame."""
    focal, pitch, roll = exp(values[0]), float(values[1]), float(values[2])
    return float((focal * tan(pitch) - np.sin(roll) * side) / np.cos(roll))


def _row_jacobian(values: Floats, sides: Floats) -> Floats:
    """d row / d (ln focal, pitch, roll) at distances from the principal point, central differences."""
    step = 1e-5
    columns = []
    for axis in range(3):
        more, less = values.copy(), values.copy()
        more[axis] += step
        less[axis] -= step
        columns.append([(_row(more, side) - _row(less, side)) / (2 * step) for side in sides])
    return np.array(columns).T


def _bundles(edges: EdgeSet, fit: Mixture) -> tuple[EdgeBundle, ...]:
    """Edges by the direction they belong to, directions with fewer than two left out, largest first."""
    points = vanishing_directions(fit.values)
    owner = np.where(fit.belonging.max(axis=1) > 0.5, fit.belonging.argmax(axis=1), -1)
    frame = np.array(
        [[edges.scale_px, 0.0, edges.origin_px[0]], [0.0, edges.scale_px, edges.origin_px[1]], [0.0, 0.0, 1.0]]
    )
    found = []
    for index, point in enumerate(points):
        members = np.flatnonzero(owner == index)
        if len(members) < 2:
            continue
        vector = frame @ point
        vector = vector / (np.linalg.norm(vector) * (-1.0 if vector[2] < 0 else 1.0))
        u, v, w = (float(value) for value in vector)
        heading = None if index == 0 else degrees(fit.values[3 + (index - 1) // 2]) + (90.0 if index % 2 == 0 else 0.0)
        kind: Literal["upright", "level"] = "upright" if index == 0 else "level"
        weight = float(edges.weights[members].sum())
        found.append((weight, EdgeBundle(kind, edges.sources[members], (u, v, w), heading)))
    return tuple(bundle for _, bundle in sorted(found, key=lambda pair: -pair[0]))
