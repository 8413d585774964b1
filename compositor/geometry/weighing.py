"""All evidence about a camera weighed together: the most likely camera, how sure it is, and what contradicts.

Nonlinear least squares over everything sought, from several starting tilts (Levenberg's damped steps); one standard
deviation of each result by first-order propagation (JCGM 100:2008, section 5). Evidence contradicts where leaving it
out makes the rest agree far better than chance would (squared errors against degrees of freedom).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import exp, log, pi, sqrt

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError
from compositor.geometry.camera import Camera
from compositor.geometry.evidence import HEADING, HEIGHT, Evidence, FoundStructure, LevelEdges, Sought

# Hardly any picture lies outside two of these; they decide only what no evidence tells (by eye, common practice).
USUAL_FOCAL_RATIO = 1.0  # of the longer side: 36 mm-equivalent
USUAL_FOCAL_SD = 0.4  # of its logarithm
USUAL_PITCH_SD_DEG = 30.0
USUAL_ROLL_SD_DEG = 2.0
STARTS_DEG = (0.0, -18.0, 18.0)
CONTRADICTION_SD = 3.0
USUAL_COUNT = 3
LARGEST_LOG_RATIO = 4.0  # of heights; keeps wild steps from overflowing


@dataclass(frozen=True)
class Frame:
    """The picture that the evidence lies in: (width, height) px and its principal point."""

    size_px: tuple[int, int]
    principal_px: tuple[float, float]


@dataclass(frozen=True)
class Weighed:
    """The camera that all evidence together makes most likely.

    plus_minus: one standard deviation of pitch_deg, roll_deg, focal_px, horizon_left_px, horizon_right_px and, where
    known, camera_height_m. height_known: metres were told; otherwise the camera's height is 1. heights: by name, what
    sets of equal objects came out with (metres, or camera heights). covariance (3, 3) in (ln focal, pitch_deg,
    roll_deg). contradicting: names. unity_ratio: root mean square error in deviations, about 1 where all agree.
    """

    camera: Camera
    height_known: bool
    covariance: Floats
    plus_minus: dict[str, float]
    heights: dict[str, float]
    headings_rad: dict[str, float]
    contradicting: tuple[str, ...]
    unity_ratio: float


def weigh(evidence: Sequence[Evidence], frame: Frame) -> Weighed:
    """Weigh evidence of any kinds. Raises GeometryError without evidence, or where no camera fits at all."""
    if not evidence:
        raise GeometryError("there is no evidence about the camera")
    problem = _Problem(tuple(evidence), frame)
    values, errors = problem.best()
    freedom = max(problem.error_count - len(values), 0)
    cost = float(errors @ errors)
    sought = problem.sought(values)
    contradicting = _contradicting(evidence, frame, sought, cost) if len(evidence) > 1 else ()
    # Evidence that disagrees more than by chance is less sure than each piece says (Birge's ratio).
    widening = cost / freedom if freedom > 0 and cost > _chance_limit(freedom) else 1.0
    covariance: Floats = np.asarray(widening * np.linalg.pinv(problem.information(values), rcond=1e-12), np.float64)
    return Weighed(
        sought.camera,
        any(item.metric for item in evidence),
        covariance[:3, :3],
        problem.deviations(values, covariance),
        {name: sought.own[name] for name in problem.heights},
        {name: sought.own[name] for name in (*problem.headings, *problem.partners)},
        contradicting,
        sqrt(cost / freedom) if freedom > 0 else 0.0,
    )


def _contradicting(evidence: Sequence[Evidence], frame: Frame, sought: Sought, cost: float) -> tuple[str, ...]:
    """Names whose absence makes the rest agree far better, worst first; both of two that cannot be told apart."""
    gains: list[tuple[float, str]] = []
    for index, item in enumerate(evidence):
        rest, alone = _Problem((*evidence[:index], *evidence[index + 1 :]), frame), _Problem((item,), frame)
        freedom = max(alone.error_count - USUAL_COUNT - (item.own is not None), 1)
        # What a piece is off even when alone is its inner scatter, no contradiction.
        gain = cost - rest.cost_from(sought) - alone.cost_from(sought)
        limit = _chance_limit(freedom)
        if gain > limit:
            gains.append((gain / limit, item.name))
    gains.sort(reverse=True)
    return tuple(name for gain, name in gains if gain > 0.7 * gains[0][0])


def _chance_limit(freedom: int) -> float:
    """What a sum of squares of so many standard deviations exceeds about once in 700 times.

    Source: E. B. Wilson & M. M. Hilferty, The distribution of chi-square, PNAS 17, 1931.
    """
    share = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - share + CONTRADICTION_SD * sqrt(share)) ** 3)


class _Problem:
    """Values are ln focal, pitch, roll (degrees), then ln camera height where needed, headings, ln heights."""

    def __init__(self, evidence: tuple[Evidence, ...], frame: Frame) -> None:
        names = {item.name for item in evidence}
        self.evidence: tuple[Evidence, ...] = tuple(
            replace(item, right_angle_to=None)
            if isinstance(item, LevelEdges) and item.right_angle_to not in names
            else item
            for item in evidence
        )
        self.frame = frame
        self.partners = {
            item.name: item.right_angle_to
            for item in self.evidence
            if isinstance(item, LevelEdges) and item.right_angle_to is not None
        }
        self.headings = [item.name for item in evidence if item.own == HEADING and item.name not in self.partners]
        self.heights = [item.name for item in evidence if item.own == HEIGHT]
        # Without a length in metres the camera's height is the unit and not sought.
        self.free_height = any(item.needs_height for item in evidence) and any(item.metric for item in evidence)
        # The automatic answer has weighed what is usual already; it must not count twice.
        self.usual_weight = 0.01 if any(isinstance(item, FoundStructure) for item in evidence) else 1.0
        self.usual_log_focal = log(USUAL_FOCAL_RATIO * max(frame.size_px))
        self.error_count = len(self.errors(self.start(0.0)))

    def start(self, pitch_deg: float) -> Floats:
        """Starting values at a tilt; headings where their edges fit best."""
        values = [self.usual_log_focal, pitch_deg, 0.0, *([log(1.6)] if self.free_height else [])]
        values += [0.0] * len(self.headings) + [values[3] if self.free_height else 0.0] * len(self.heights)
        start = np.array(values)
        first = len(values) - len(self.heights) - len(self.headings)
        groups = [item for item in self.evidence if item.name in self.headings]
        tries = np.radians(np.arange(-90.0, 90.0, 4.0))
        for index in range(len(groups)):
            costs = []
            for heading in tries:
                start[first + index] = heading
                # Far misfits say little about where the right heading is: count them by their root.
                costs.append(float(np.sum(np.sqrt(np.abs(groups[index].errors(self.sought(start)))))))
            start[first + index] = tries[int(np.argmin(costs))]
        return start

    def sought(self, values: Floats) -> Sought:
        """The candidate that values stand for."""
        height_m = exp(_within(float(values[3]))) if self.free_height else 1.0
        rest = [float(value) for value in values[4 if self.free_height else 3 :]]
        own = dict(zip(self.headings, rest, strict=False))
        own |= {name: exp(_within(value)) for name, value in zip(self.heights, rest[len(self.headings) :], strict=True)}
        camera = Camera(
            exp(float(values[0])),
            self.frame.principal_px,
            self.frame.size_px,
            float(values[1]),
            float(values[2]),
            height_m,
        )
        return Sought(camera, own | {name: own[other] + pi / 2 for name, other in self.partners.items()})

    def errors(self, values: Floats) -> Floats:
        """All errors in deviations: what is usual first, then the evidence in order."""
        usual = np.array(
            [
                (values[0] - self.usual_log_focal) / USUAL_FOCAL_SD,
                values[1] / USUAL_PITCH_SD_DEG,
                values[2] / USUAL_ROLL_SD_DEG,
            ]
        )
        sought = self.sought(values)
        return np.concatenate([self.usual_weight * usual, *(item.errors(sought) for item in self.evidence)])

    def best(self) -> tuple[Floats, Floats]:
        """(values, errors) of the best of several starts."""
        tried = [_least_squares(self.errors, self.start(pitch)) for pitch in STARTS_DEG]
        values = min(tried, key=lambda found: float(np.sum(self.errors(found) ** 2)))
        return values, self.errors(values)

    def cost_from(self, sought: Sought) -> float:
        """Least squared errors, searched from a camera that is known already (a part of its evidence is here)."""
        camera = sought.camera
        values = [log(camera.focal_px), camera.pitch_deg, camera.roll_deg]
        values += [log(camera.height_m)] if self.free_height else []
        values += [sought.own[name] for name in self.headings] + [log(sought.own[name]) for name in self.heights]
        found = _least_squares(self.errors, np.array(values))
        return float(np.sum(self.errors(found) ** 2))

    def information(self, values: Floats) -> Floats:
        """Inverse covariance of the values."""
        jacobian = _jacobian(self.errors, values)
        matrix: Floats = jacobian.T @ jacobian
        return matrix

    def deviations(self, values: Floats, covariance: Floats) -> dict[str, float]:
        """One standard deviation of what is reported."""

        def reported(tried: Floats) -> Floats:
            camera = self.sought(tried).camera
            rows = [camera.horizon_row(0.0), camera.horizon_row(float(self.frame.size_px[0]))]
            return np.array([camera.pitch_deg, camera.roll_deg, camera.focal_px, *rows, camera.height_m])

        jacobian = _jacobian(reported, values)
        spread = np.sqrt(np.maximum(np.diag(jacobian @ covariance @ jacobian.T), 0.0))
        names = ["pitch_deg", "roll_deg", "focal_px", "horizon_left_px", "horizon_right_px"]
        names += ["camera_height_m"] if self.free_height else []
        return {name: float(value) for name, value in zip(names, spread, strict=False)}


def _least_squares(errors: Callable[[Floats], Floats], start: Floats, rounds: int = 80) -> Floats:
    """Values that make the squared errors least, by Levenberg's damped steps."""
    values, damping = start.copy(), 1e-3
    now = errors(values)
    for _ in range(rounds):
        jacobian = _jacobian(errors, values)
        matrix, slope = jacobian.T @ jacobian, jacobian.T @ now
        step = np.linalg.solve(matrix + damping * np.diag(np.diag(matrix) + 1e-9), -slope)
        tried = values + step
        tried[1:3] = np.clip(tried[1:3], -80.0, 80.0)
        tried[0] = float(np.clip(tried[0], start[0] - 3.0, start[0] + 3.0))
        then = errors(tried)
        if float(then @ then) <= float(now @ now):
            values, now, damping = tried, then, max(damping / 10, 1e-12)
            if float(np.max(np.abs(step))) < 1e-8:
                break
        else:
            damping *= 10
            if damping > 1e8:
                break
    return values


def _within(log_ratio: float) -> float:
    """The logarithm of a height, kept within reason."""
    return max(-LARGEST_LOG_RATIO, min(LARGEST_LOG_RATIO, log_ratio))


def _jacobian(function: Callable[[Floats], Floats], values: Floats) -> Floats:
    """Central differences, (results, values)."""
    columns = []
    for axis in range(len(values)):
        step = 1e-5 * max(1.0, abs(float(values[axis])))
        more, less = values.copy(), values.copy()
        more[axis] += step
        less[axis] -= step
        columns.append((function(more) - function(less)) / (2 * step))
    return np.column_stack(columns)
