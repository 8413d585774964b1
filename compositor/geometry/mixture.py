"""Refining a camera on its edges: a mixture of upright, level and stray edges, by expectation-maximisation.

Values are (ln focal, pitch, roll, heading of each grid ...) in radians and in the scaled frame of an EdgeSet.
Sources: as :mod:`compositor.geometry.structure`; Dempster, Laird & Rubin, Maximum Likelihood from Incomplete Data via
the EM Algorithm, J. R. Statist. Soc. B 39, 1977.
"""

from dataclasses import dataclass
from math import log, log1p, radians

import numpy as np

from compositor.base.arrays import Floats
from compositor.geometry.edgeset import EdgeSet, directions_off

# What photographs are like where nothing is known (by eye, near common practice).
USUAL_LOG_FOCAL = -0.08  # about 33 mm-equivalent: lenses of hand-held pictures centre on wide to normal
USUAL_FOCAL_SD = 0.25
PITCH_SCALE = radians(10.0)
ROLL_SCALE = radians(3.5)
PRIOR_GAIN = 3.0  # by trial: edges repeat each other, so what is usual counts more than once
DENSITY = 0.3  # share of random directions near a given one that a stray edge may claim
STRAY_START, STRAY_LEAST = 0.35, 0.10
ROUNDS = 14
LOOSENED = (3.0, 2.0, 1.5)  # deviations are widened in the first rounds, so that edges can change sides
MODEL_VARIANCE_RATIO = 1.8  # measured: what real errors exceed the formal covariance by (edges repeat each other)


@dataclass(frozen=True)
class Prior:
    """What is usual, before the edges are looked at. usual: nothing is known of the lens."""

    log_focal: float = USUAL_LOG_FOCAL
    log_focal_sd: float = USUAL_FOCAL_SD

    @property
    def usual(self) -> bool:
        """Whether the lens is any usual one."""
        return self.log_focal_sd >= USUAL_FOCAL_SD

    def log(self, log_focal: float, pitch: float, roll: float) -> float:
        """Logarithm of the prior, up to a constant: heavy tails, since steep pictures exist."""
        focal = 0.5 * ((log_focal - self.log_focal) / self.log_focal_sd) ** 2
        turned = (roll / ROLL_SCALE) ** 2
        return -PRIOR_GAIN * (focal + log1p((pitch / PITCH_SCALE) ** 2) + 0.5 * turned / (1.0 + 0.05 * turned))

    def normal_equations(self, values: Floats) -> tuple[Floats, Floats]:
        """Its curvature (diagonal) and gradient at values, for Gauss-Newton steps."""
        curve, slope = np.zeros(len(values)), np.zeros(len(values))
        curve[0] = 1.0 / self.log_focal_sd**2
        curve[1] = 2.0 / (PITCH_SCALE**2 + values[1] ** 2)
        curve[2] = 1.0 / ROLL_SCALE**2
        slope[0] = (values[0] - self.log_focal) * curve[0]
        slope[1:3] = values[1:3] * curve[1:3]
        return PRIOR_GAIN * curve, PRIOR_GAIN * slope


@dataclass(frozen=True)
class Mixture:
    """A refined camera: values, their covariance, belonging (n, directions) of each edge, and the gain in all."""

    values: Floats
    covariance: Floats
    belonging: Floats
    gain: float

    def score(self, grid_cost: float) -> float:
        """Gain less the cost of its grids."""
        return self.gain - grid_cost * (len(self.values) - 3)


def vanishing_directions(values: Floats) -> Floats:
    """Homogeneous points (1 + 2·grids, 3), scaled frame: zenith, then both level directions of each grid."""
    focal, (pitch, roll) = np.exp(values[0]), values[1:3]
    tilt = np.array([[1, 0, 0], [0, np.sin(pitch), -np.cos(pitch)], [0, np.cos(pitch), np.sin(pitch)]])
    turn = np.array([[np.cos(roll), np.sin(roll), 0], [-np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    axes = turn @ tilt
    directions = [axes[:, 2]]
    for heading in values[3:]:
        directions.append(axes[:, 0] * np.sin(heading) + axes[:, 1] * np.cos(heading))
        directions.append(axes[:, 0] * np.cos(heading) - axes[:, 1] * np.sin(heading))
    points: Floats = np.array(directions) * np.array([focal, focal, 1.0])
    return points


def fit_mixture(edges: EdgeSet, start: Floats, prior: Prior) -> Mixture:
    """The nearest best camera for the edges, from starting values."""
    values = start.copy()
    count = 1 + 2 * (len(values) - 3)
    shares = np.concatenate([[STRAY_START], np.full(count, (1.0 - STRAY_START) / count)])
    for step_index in range(ROUNDS):
        loosened = LOOSENED[step_index] if step_index < len(LOOSENED) else 1.0
        off = directions_off(edges, vanishing_directions(values))
        belonging, _ = _belonging(edges, off, shares, loosened)
        shares = _shares(edges, belonging)
        weights = belonging * edges.weights[:, np.newaxis] / (loosened * edges.deviations_rad[:, np.newaxis]) ** 2
        matrix, right, _ = _normal_equations(edges, values, off, weights, prior)
        step = np.linalg.solve(matrix, right)
        most = np.array([0.15, 0.08, 0.05, *([0.1] * (len(values) - 3))])
        values += step * min(1.0, float(np.min(most / np.maximum(np.abs(step), 1e-12))))
        values[:3] = np.clip(values[:3], [log(0.35), -1.2, -0.6], [log(6.0), 1.2, 0.6])
        if step_index > len(LOOSENED) + 1 and float(np.abs(step).max()) < 1e-7:
            break
    off = directions_off(edges, vanishing_directions(values))
    belonging, ratio = _belonging(edges, off, shares, 1.0)
    gain = float(ratio @ edges.weights) + prior.log(*(float(value) for value in values[:3]))
    return Mixture(values, _covariance(edges, values, off, belonging, prior), belonging, gain)


def _belonging(edges: EdgeSet, off: Floats, shares: Floats, loosened: float) -> tuple[Floats, Floats]:
    """Probability (n, k) that an edge is of a direction, and its log ratio (n,) against being stray."""
    spread = loosened * edges.deviations_rad[:, np.newaxis]
    likely = shares[1:] * DENSITY * np.sqrt(np.pi / 2.0) / spread * np.exp(-0.5 * (off / spread) ** 2)
    total = shares[0] + likely.sum(axis=1)
    return likely / total[:, np.newaxis], np.log(total / shares[0])


def _shares(edges: EdgeSet, belonging: Floats) -> Floats:
    """Shares of stray edges and of each direction, kept off zero."""
    weights = edges.weights @ belonging
    shares = np.concatenate([[float(edges.weights.sum() - weights.sum()) + 2.0], weights + 0.5])
    shares /= shares.sum()
    shares[0] = max(float(shares[0]), STRAY_LEAST)
    return shares


def _normal_equations(
    edges: EdgeSet, values: Floats, off: Floats, weights: Floats, prior: Prior
) -> tuple[Floats, Floats, Floats]:
    """Gauss-Newton matrix, right-hand side and the Jacobian (n, k, values), central differences."""
    step = 1e-5
    jacobian = np.empty((*off.shape, len(values)))
    for axis in range(len(values)):
        more, less = values.copy(), values.copy()
        more[axis] += step
        less[axis] -= step
        change = directions_off(edges, vanishing_directions(more)) - directions_off(edges, vanishing_directions(less))
        jacobian[:, :, axis] = ((change + np.pi / 2) % np.pi - np.pi / 2) / (2 * step)
    flat = jacobian.reshape(-1, len(values))
    weighted = flat * weights.reshape(-1, 1)
    curve, slope = prior.normal_equations(values)
    matrix = weighted.T @ flat + np.diag(curve + 1e-6)
    return matrix, -weighted.T @ off.ravel() - slope, jacobian


def _covariance(edges: EdgeSet, values: Floats, off: Floats, belonging: Floats, prior: Prior) -> Floats:
    """Covariance of the values: formal, with real residuals in the middle, widened by a measured ratio.

    Source: P. J. Huber, The behavior of maximum likelihood estimates under nonstandard conditions, 1967.
    """
    weights = belonging * (edges.weights / edges.deviations_rad**2)[:, np.newaxis]
    matrix, _, jacobian = _normal_equations(edges, values, off, weights, prior)
    slopes = np.einsum("nk,nk,nkp->np", weights, off, jacobian)
    inverse = np.linalg.inv(matrix)
    curve, _ = prior.normal_equations(values)
    middle = MODEL_VARIANCE_RATIO * slopes.T @ slopes + np.diag(curve)
    covariance: Floats = inverse @ middle @ inverse
    return covariance
