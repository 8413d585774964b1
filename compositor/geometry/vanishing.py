"""Vanishing points of straight edges, the horizon through them and the focal length between them.

A vanishing point may lie anywhere in the picture's plane or at infinity, so it is kept homogeneous and estimated
on the unit sphere, in coordinates centred on the picture and divided by a length of about its focal length.

Sources: Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, sections 8.6 (maximum-likelihood vanishing
points and lines) and 8.8 (calibration from perpendicular directions); Caprile & Torre, Using vanishing points for
camera calibration, IJCV 4, 1990 (the focal length).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import atan2, degrees, hypot, radians, sqrt

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.geometry.camera import line_through

ENDPOINT_SD_PX = 1.0  # how far off an edge's end is when marked by hand (GEOMETRY.md's measured working figure)
FOCAL_SD_LIMIT_RATIO = 0.5  # by eye: beyond this share of itself a focal length is not an answer


@dataclass(frozen=True)
class VanishingPoint:
    """Where edges that are parallel in the world meet in the picture.

    homogeneous: unit vector (3,) in pixel coordinates, w >= 0; w = 0 at infinity. covariance: (3, 3) of it, one
    standard deviation, rank 2. misfits_px (n,): signed distance of each edge's ends from its best line through the
    point. centre_px, scale_px: the frame in which it was estimated.
    """

    homogeneous: Floats
    covariance: Floats
    misfits_px: Floats
    centre_px: tuple[float, float]
    scale_px: float

    @property
    def pixel(self) -> tuple[float, float] | None:
        """(u, v), or None for a point at infinity (farther than 1e9 frames away)."""
        x, y, w = (float(value) for value in self.homogeneous)
        if abs(w) * self.scale_px * 1e9 < hypot(x, y):
            return None
        return x / w, y / w

    def from_point(self, origin_px: tuple[float, float]) -> Floats:
        """Homogeneous vector (3,), unscaled, with the picture's origin moved to a pixel."""
        x, y, w = self.homogeneous
        return np.array([x - w * origin_px[0], y - w * origin_px[1], w])


@dataclass(frozen=True)
class HorizonFit:
    """A horizon with its uncertainty.

    line: (a, b, c) of a·u + b·v + c = 0 in pixels, unit (a, b), b > 0 (signed distance, positive on the ground's
    side). row_px: at column_px, the frame's centre. covariance (2, 2) in (row_px, roll_deg). roll_assumed: no roll
    was given and one vanishing point alone cannot tell it. misfits_sd: each point's distance from the line in its
    own standard deviations.
    """

    line: Floats
    column_px: float
    row_px: float
    roll_deg: float
    covariance: Floats
    roll_assumed: bool
    misfits_sd: tuple[float, ...]


@dataclass(frozen=True)
class FocalFit:
    """A focal length in pixels and its standard deviation."""

    focal_px: float
    focal_sd_px: float


def vanishing_point(
    edges_px: Floats,
    scale_px: float,
    centre_px: tuple[float, float],
    endpoint_sd_px: float = ENDPOINT_SD_PX,
) -> VanishingPoint:
    """The vanishing point of edges (n, 2, 2) [edge, end, (u, v)], n >= 2, that are parallel in the world.

    scale_px: about the focal length (the picture's longer side will do). Minimises the squared distances of the
    ends to lines through the point. Raises GeometryError for fewer than two edges, an edge without length, and
    edges that lie on one line to within endpoint_sd_px.
    """
    edges = np.asarray(edges_px, dtype=np.float64)
    if edges.ndim != 3 or edges.shape[1:] != (2, 2) or len(edges) < 2:
        raise GeometryError("a vanishing point takes two or more edges of two ends each")
    if np.any(np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1) < 1e-6):
        raise GeometryError("an edge has no length")
    if _thickness(edges.reshape(-1, 2)) < endpoint_sd_px:
        raise GeometryError("all edges lie on one line, as far as they can be told apart")
    scaled = (edges - np.array(centre_px)) / scale_px
    lines = edge_lines(scaled)
    start = np.linalg.svd(lines)[2][2]
    point, covariance = refine_unit(lambda v: misfits(scaled, v), start, endpoint_sd_px / scale_px)
    return _in_pixels(point, covariance, misfits(scaled, point) * scale_px, centre_px, scale_px)


def edge_lines(edges: Floats) -> Floats:
    """Homogeneous lines (n, 3) through edges (n, 2, 2), with unit normals."""
    step = edges[:, 1] - edges[:, 0]
    normal = np.column_stack([step[:, 1], -step[:, 0]])
    normal /= np.linalg.norm(normal, axis=1)[:, np.newaxis]
    middle = edges.mean(axis=1)
    lines: Floats = np.column_stack([normal, -np.sum(normal * middle, axis=1)])
    return lines


def misfits(edges: Floats, point: Floats) -> Floats:
    """Signed root (n,) of the least sum of squared distances of both ends to a line through a homogeneous point.

    That least sum is the smaller eigenvalue of the ends' scatter about the point; written without dividing by w
    it holds at infinity too. For ends with independent errors of standard deviation s it has variance s².
    """
    x, y, w = point
    first, second = edges[:, 0], edges[:, 1]
    volume = (
        x * (first[:, 1] - second[:, 1])
        + y * (second[:, 0] - first[:, 0])
        + w * (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])
    )
    trace = np.sum((w * edges - np.array([x, y])) ** 2, axis=(1, 2))
    root = np.sqrt(np.maximum(trace**2 - 4 * (w * volume) ** 2, 0.0))
    least: Floats = volume * np.sqrt(2.0 / np.maximum(trace + root, 1e-300))
    return least


def refine_unit(
    residuals: Callable[[Floats], Floats], start: Floats, sd: float, rounds: int = 60
) -> tuple[Floats, Floats]:
    """Least squares over a unit 3-vector: (best vector, its (3, 3) covariance for residuals of this sd).

    Levenberg's damped steps in the tangent plane of the sphere.
    """
    vector, damping = start / np.linalg.norm(start), 1e-6
    error = residuals(vector)
    for _ in range(rounds):
        basis, jacobian = _tangent(residuals, vector)
        normal = jacobian.T @ jacobian
        step = np.linalg.lstsq(normal + damping * np.trace(normal) * np.eye(2), -jacobian.T @ error, rcond=None)[0]
        moved = vector + basis @ step
        moved /= np.linalg.norm(moved)
        tried = residuals(moved)
        if float(tried @ tried) <= float(error @ error):
            vector, error, damping = moved, tried, damping / 10
        else:
            damping = max(damping, 1e-9) * 10
        if float(np.linalg.norm(step)) < 1e-14:
            break
    basis, jacobian = _tangent(residuals, vector)
    return vector, sd**2 * basis @ np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-18) @ basis.T


def horizon_through(points: Sequence[VanishingPoint], roll_deg: float | None) -> HorizonFit:
    """The horizon through vanishing points of level directions.

    roll_deg given: held fixed. None: two or more points tell it; for one point it is taken as 0 and flagged.
    Raises GeometryError without points, for two that coincide, for a single one at infinity, and for an upright
    horizon.
    """
    if not points:
        raise GeometryError("a horizon takes at least one vanishing point")
    (cx, cy), scale = points[0].centre_px, points[0].scale_px
    vectors, covariances = zip(*(_rescaled(point, (cx, cy), scale) for point in points), strict=True)
    if roll_deg is not None or len(points) == 1:
        line, spread = _at_roll(vectors, covariances, 0.0 if roll_deg is None else roll_deg)
    else:
        line, spread = _free(vectors, covariances)
    if line[1] < 0:
        line = -line
    if abs(float(line[1])) < 1e-6 * hypot(float(line[0]), float(line[1])) or hypot(line[0], line[1]) < 1e-9:
        raise GeometryError("the horizon would stand upright or lie at infinity")
    off = tuple(
        float(abs(line @ v) / sqrt(max(line @ c @ line, 1e-300))) for v, c in zip(vectors, covariances, strict=True)
    )
    jacobian = _row_and_roll_jacobian(line, scale)
    a, b, c = (float(value) for value in line)
    roll = degrees(atan2(a, b))
    row = cy - scale * c / b
    return HorizonFit(
        np.array(line_through((cx, row), roll)),
        cx,
        row,
        roll,
        jacobian @ spread @ jacobian.T,
        roll_deg is None and len(points) == 1,
        off,
    )


def focal_from_perpendicular(
    first: VanishingPoint, second: VanishingPoint, principal_px: tuple[float, float]
) -> FocalFit | None:
    """The focal length that makes two vanishing points perpendicular: f² = −(v1 − p)·(v2 − p).

    None where f² is not positive or the answer is not stable: a point near infinity, or a standard deviation
    above FOCAL_SD_LIMIT_RATIO of the length. First-order error propagation.
    """
    one, two = first.from_point(principal_px), second.from_point(principal_px)
    depth = float(one[2] * two[2])
    across = float(one[0] * two[0] + one[1] * two[1])
    if depth <= 0.0 or across >= 0.0 or -across > 1e16 * depth * first.scale_px**2:
        return None
    square = -across / depth
    shift = np.array([[1.0, 0.0, -principal_px[0]], [0.0, 1.0, -principal_px[1]], [0.0, 0.0, 1.0]])
    variance = 0.0
    for own, other, point in ((one, two, first), (two, one, second)):
        gradient = np.array([-other[0] / depth, -other[1] / depth, -square / own[2]]) @ shift
        variance += float(gradient @ point.covariance @ gradient)
    focal = sqrt(square)
    focal_sd = sqrt(variance) / (2 * focal)
    return FocalFit(focal, focal_sd) if focal_sd < FOCAL_SD_LIMIT_RATIO * focal else None


def _tangent(residuals: Callable[[Floats], Floats], vector: Floats) -> tuple[Floats, Floats]:
    """Basis (3, 2) of the sphere's tangent plane and the residuals' Jacobian (n, 2) in it (central differences)."""
    basis = np.linalg.svd(vector[np.newaxis, :])[2][1:].T
    step = 1e-6
    columns = [(residuals(vector + step * axis) - residuals(vector - step * axis)) / (2 * step) for axis in basis.T]
    return basis, np.column_stack(columns)


def _thickness(points: Floats) -> float:
    """Root mean square distance of points (n, 2) from their common line."""
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return float(spread[1]) / sqrt(len(points))


def _in_pixels(
    vector: Floats, covariance: Floats, misfits_px: Floats, centre_px: tuple[float, float], scale_px: float
) -> VanishingPoint:
    """From the centred and scaled frame to a unit vector in pixel coordinates."""
    frame = np.array([[scale_px, 0.0, centre_px[0]], [0.0, scale_px, centre_px[1]], [0.0, 0.0, 1.0]])
    unit, spread = _normalised(frame @ vector, frame @ covariance @ frame.T)
    if unit[2] < 0 or (unit[2] == 0 and unit[np.argmax(np.abs(unit))] < 0):
        unit = -unit
    return VanishingPoint(unit, spread, misfits_px, centre_px, scale_px)


def _rescaled(point: VanishingPoint, centre_px: tuple[float, float], scale_px: float) -> tuple[Floats, Floats]:
    """A vanishing point as a unit vector with covariance in the centred and scaled frame."""
    frame = np.array(
        [[1 / scale_px, 0.0, -centre_px[0] / scale_px], [0.0, 1 / scale_px, -centre_px[1] / scale_px], [0.0, 0.0, 1.0]]
    )
    return _normalised(frame @ point.homogeneous, frame @ point.covariance @ frame.T)


def _normalised(vector: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """A vector made unit, its covariance with it."""
    length = float(np.linalg.norm(vector))
    unit = vector / length
    project = (np.eye(3) - np.outer(unit, unit)) / length
    spread: Floats = project @ covariance @ project.T
    return unit, spread


def _free(vectors: Sequence[Floats], covariances: Sequence[Floats]) -> tuple[Floats, Floats]:
    """Line and covariance by weighted least squares of the points' distances in their standard deviations."""
    stacked = np.array(vectors)
    sines = np.linalg.svd(stacked, compute_uv=False)
    if sines[1] < 1e-9 * sines[0]:
        raise GeometryError("the vanishing points coincide")

    def residuals(line: Floats) -> Floats:
        spreads = np.array([line @ covariance @ line for covariance in covariances])
        distances: Floats = (stacked @ line) / np.sqrt(np.maximum(spreads, 1e-24))
        return distances

    start = np.cross(stacked[0], stacked[1]) if len(stacked) == 2 else np.linalg.svd(stacked)[2][2]
    return refine_unit(residuals, start, 1.0)


def _at_roll(vectors: Sequence[Floats], covariances: Sequence[Floats], roll_deg: float) -> tuple[Floats, Floats]:
    """The line of fixed roll at the weighted mean offset of the points, with the offset's covariance."""
    a, b, _ = line_through((0.0, 0.0), roll_deg)
    weights, offsets = [], []
    for vector, covariance in zip(vectors, covariances, strict=True):
        if abs(vector[2]) < 1e-9:
            continue  # at infinity: it tells the roll, not the row
        offset = -(a * vector[0] + b * vector[1]) / vector[2]
        gradient = -np.array([a, b, offset]) / vector[2]
        weights.append(1.0 / max(float(gradient @ covariance @ gradient), 1e-24))
        offsets.append(offset)
    if not weights:
        raise GeometryError("edges that run parallel in the picture tell the roll, not the horizon's row")
    offset = float(np.average(offsets, weights=weights))
    spread = np.zeros((3, 3))
    spread[2, 2] = 1.0 / sum(weights)
    return np.array([a, b, offset]), spread


def _row_and_roll_jacobian(line: Floats, scale_px: float) -> Floats:
    """d(row at the centre column in px, roll in degrees) / d(a, b, c) of a line in the scaled frame, (2, 3)."""
    a, b, c = (float(value) for value in line)
    square = a * a + b * b
    per_degree = radians(1.0)
    row = [0.0, scale_px * c / b**2, -scale_px / b]
    return np.array([row, [b / square / per_degree, -a / square / per_degree, 0.0]])
