"""From what the scene says about a camera to a solved one, with its uncertainty and what had to be assumed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import sqrt

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import Fault, FaultyScene
from compositor.geometry import distortion as optics
from compositor.geometry.camera import Camera, line_through, pitch_from_horizon
from compositor.geometry.heights import HeightReference, camera_height, camera_height_deviation
from compositor.geometry.lens import (
    NORMAL_EQUIVALENT_MM,
    focal_from_equivalent,
    focal_from_sensor,
    focal_from_view,
)
from compositor.geometry.structure import Structure
from compositor.geometry.vanishing import (
    ENDPOINT_SD_PX,
    HorizonFit,
    VanishingPoint,
    focal_from_perpendicular,
    horizon_through,
    vanishing_point,
)
from compositor.measure.facts import PictureFacts
from compositor.plan.model import EdgeGroup, Lens, Point
from compositor.scene import camera as words
from compositor.solve import automatic
from compositor.solve.faults import about
from compositor.solve.uncertainty import NONE, Nudge


@dataclass(frozen=True)
class CameraModel:
    """A camera in its own picture's pixels, ready to be looked at under small changes.

    row_px: the horizon's row at the principal point's column. height_m: None where only references (or nothing)
    tell it. uncertain: one nudge of one standard deviation for every independent quantity.
    """

    size_px: tuple[int, int]
    focal_px: float
    principal_px: Point
    row_px: float
    roll_deg: float
    height_m: float | None
    references: tuple[HeightReference, ...]
    lens: Lens | None
    uncertain: tuple[Nudge, ...]
    assumed: tuple[str, ...]
    edge_groups: tuple[EdgeGroup, ...]

    @property
    def height_known(self) -> bool:
        """Whether the scene tells the height of this camera."""
        return self.height_m is not None or bool(self.references)

    def camera(self, nudge: Nudge = NONE) -> Camera:
        """The solved camera, changed by a nudge. Its height is 1 where nothing tells it."""
        line = line_through((self.principal_px[0], self.row_px + nudge.horizon_px), self.roll_deg + nudge.roll_deg)
        focal_px = self.focal_px * (1.0 + nudge.focal_fraction)
        pitch, roll = pitch_from_horizon(line, focal_px, self.principal_px)
        camera = Camera(focal_px, self.principal_px, self.size_px, pitch, roll, 1.0)
        if self.height_m is not None:
            height_m = self.height_m
        else:
            height_m = camera_height(camera, self.references) if self.references else 1.0
        return camera.at_height(height_m * (1.0 + nudge.height_fraction))

    @cached_property
    def steps(self) -> tuple[tuple[Camera, Camera], ...]:
        """The camera with a share of each uncertain quantity put on and taken off."""
        return tuple((self.camera(more), self.camera(less)) for more, less in (n.steps for n in self.uncertain))

    def straight(self, points_px: Sequence[Point]) -> list[Point]:
        """Points of the picture with the lens's distortion taken off."""
        return straightened(points_px, self.lens)


def straightened(points_px: Sequence[Point], lens: Lens | None) -> list[Point]:
    """Points with distortion taken off; the same points where there is none."""
    if lens is None or not points_px:
        return list(points_px)
    found = optics.undistort(np.array(points_px), lens.distortion, lens.focal_px, lens.principal_px)
    return [(float(u), float(v)) for u, v in found]


def solve_camera(camera: words.Camera, facts: PictureFacts) -> CameraModel:
    """Solve a camera. Raises FaultyScene with keys relative to the camera (horizon, lens, height, …)."""
    original_px, principal_px = _original(camera, facts)
    stated_px = _stated_focal(camera, facts, original_px)
    lens = _distortion(camera, stated_px, principal_px, facts.size_px)
    groups = _groups(camera, lens, facts, principal_px)
    if camera.horizon == words.AUTO:
        return _automatic(camera, facts, stated_px)
    focal_px, focal_nudges, assumed = _focal(stated_px, groups, facts, original_px, principal_px)
    row_px, roll_deg, horizon_nudges, roll_assumed = _horizon(camera, lens, groups, facts, focal_px, principal_px)
    model = CameraModel(
        size_px=facts.size_px,
        focal_px=focal_px,
        principal_px=principal_px,
        row_px=row_px,
        roll_deg=roll_deg,
        height_m=camera.height if isinstance(camera.height, float) else None,
        references=_references(camera, lens),
        lens=lens,
        uncertain=horizon_nudges + focal_nudges,
        assumed=assumed + roll_assumed,
        edge_groups=tuple(EdgeGroup(_edges(edges), _vector(point.homogeneous)) for edges, point in groups),
    )
    return _with_reference_uncertainty(model)


def search_basis(camera: words.Camera, facts: PictureFacts) -> tuple[Point, float | None]:
    """What a search in the picture may rely on: the principal point, and the focal length in px that the scene or
    the file states, if any. Raises FaultyScene as `solve_camera`."""
    original_px, principal_px = _original(camera, facts)
    stated_px = _stated_focal(camera, facts, original_px)
    if stated_px is None and facts.equivalent_mm is not None:
        stated_px = focal_from_equivalent(facts.equivalent_mm, original_px)
    return principal_px, stated_px


def _original(camera: words.Camera, facts: PictureFacts) -> tuple[Point, Point]:
    """(size of the original photograph, its centre in this picture's pixels)."""
    width, height = facts.size_px
    original_px = (float(width), float(height)) if camera.crop is None else camera.crop.of
    offset_px = (0.0, 0.0) if camera.crop is None else camera.crop.offset
    return original_px, (original_px[0] / 2.0 - offset_px[0], original_px[1] / 2.0 - offset_px[1])


def _automatic(camera: words.Camera, facts: PictureFacts, stated_px: float | None) -> CameraModel:
    """A camera whose horizon was found in the picture; its lens too, unless the scene states one."""
    if facts.found is None:
        raise ValueError("nobody looked for the camera in the picture")
    if camera.distortion is not None:
        what = "straight edges are looked for, and distortion bends them: mark edges by hand, or take it off first"
        raise FaultyScene([Fault(("horizon",), what, words.AUTO)])
    original_px, principal_px = _original(camera, facts)
    found = automatic.found_in(facts.found)
    row_px, roll_deg = automatic.row_and_roll(found, facts.size_px, principal_px)
    uncertain, assumed = automatic.nudges(found), automatic.told(facts.found)
    if stated_px is not None:
        focal_px, uncertain = stated_px, tuple(replace(nudge, focal_fraction=0.0) for nudge in uncertain)
    elif isinstance(found, Structure):
        focal_px = found.focal_px
    else:
        focal_px, _, lens_assumed = _focal(None, [], facts, original_px, principal_px)
        assumed = (*assumed, *lens_assumed)
    height_m = camera.height if isinstance(camera.height, float) else None
    model = CameraModel(
        facts.size_px, focal_px, principal_px, row_px, roll_deg, height_m, _references(camera, None), None,
        uncertain, assumed, automatic.edge_groups(facts.found),
    )  # fmt: skip
    return _with_reference_uncertainty(model)


Groups = list[tuple[Floats, VanishingPoint]]


def focal_of(
    lens: words.PixelsLens | words.EquivalentLens | words.FocalLens | words.FovLens, original_px: Point
) -> float:
    """Focal length in px of a lens in the words of a scene, for an original photograph of that size."""
    if isinstance(lens, words.PixelsLens):
        return lens.pixels
    if isinstance(lens, words.EquivalentLens):
        return focal_from_equivalent(lens.equivalent_mm, original_px)
    if isinstance(lens, words.FocalLens):
        return focal_from_sensor(lens.focal_mm, lens.sensor_mm, original_px)
    return focal_from_view(lens.fov, original_px[0])


def _stated_focal(camera: words.Camera, facts: PictureFacts, original_px: Point) -> float | None:
    """Focal length in px where the scene states one; None where it is left to other evidence."""
    if camera.lens is None:
        return None
    if camera.lens != "exif":
        return focal_of(camera.lens, original_px)
    if facts.equivalent_mm is not None:
        return focal_from_equivalent(facts.equivalent_mm, original_px)
    what = "the picture's Exif data states no lens"
    if facts.focal_mm is not None:
        what = (
            f"the picture's Exif data states {facts.focal_mm:g} mm but no 35 mm equivalent; give the sensor too, "
            f"as in {{focal_mm: {facts.focal_mm:g}, sensor_mm: [36, 24]}}"
        )
    raise FaultyScene([Fault(("lens",), what, "exif")])


def _distortion(
    camera: words.Camera, focal_px: float | None, principal_px: Point, size_px: tuple[int, int]
) -> Lens | None:
    if camera.distortion is None:
        return None
    if focal_px is None:
        what = "distortion is measured in focal lengths: state the lens too"
        raise FaultyScene([Fault(("distortion",), what)])
    given = camera.distortion
    coefficients = optics.Distortion(given.k1, given.k2, given.p1, given.p2, given.k3)
    if optics.folds(coefficients, focal_px, principal_px, size_px):
        what = "folds the picture over itself before its corner; check coefficients, lens and crop"
        raise FaultyScene([Fault(("distortion",), what)])
    return Lens(coefficients, focal_px, principal_px)


def _groups(camera: words.Camera, lens: Lens | None, facts: PictureFacts, principal_px: Point) -> Groups:
    """Each group of marked edges, straightened, with its vanishing point."""
    horizon = camera.horizon
    if not isinstance(horizon, words.LinesHorizon | words.GroupsHorizon):
        return []
    found: Groups = []
    for index, group in enumerate(horizon.groups):
        key = ("horizon", "lines") if isinstance(horizon, words.LinesHorizon) else ("horizon", "groups", index)
        with about(key):
            ends = straightened([end for edge in group for end in edge], lens)
            edges = np.array(ends).reshape(-1, 2, 2)
            found.append((edges, vanishing_point(edges, float(max(facts.size_px)), principal_px)))
    return found


def _focal(
    stated_px: float | None, groups: Groups, facts: PictureFacts, original_px: Point, principal_px: Point
) -> tuple[float, tuple[Nudge, ...], tuple[str, ...]]:
    """Focal length: stated; from two groups taken as perpendicular; from Exif; else a normal lens, assumed."""
    if stated_px is not None:
        return stated_px, (), ()
    for one, (_, first) in enumerate(groups):
        for two, (_, second) in enumerate(groups[one + 1 :], one + 1):
            fit = focal_from_perpendicular(first, second, principal_px)
            if fit is not None:
                text = f"lens of {fit.focal_px:.0f} px: edge groups {one + 1} and {two + 1} taken as perpendicular"
                return fit.focal_px, (Nudge(focal_fraction=fit.focal_sd_px / fit.focal_px),), (text,)
    if facts.equivalent_mm is not None:
        return focal_from_equivalent(facts.equivalent_mm, original_px), (), ()
    text = f"lens of {NORMAL_EQUIVALENT_MM:g} mm equivalent: a normal lens, since nothing states another"
    return focal_from_equivalent(NORMAL_EQUIVALENT_MM, original_px), (), (text,)


def _horizon(
    camera: words.Camera,
    lens: Lens | None,
    groups: Groups,
    facts: PictureFacts,
    focal_px: float,
    principal_px: Point,
) -> tuple[float, float, tuple[Nudge, ...], tuple[str, ...]]:
    """(row at the principal point's column, roll, nudges, assumptions)."""
    horizon, roll_deg = camera.horizon, camera.roll
    if groups:
        with about(("horizon",)):
            roll = roll_deg if "roll" in camera.model_fields_set else None
            fit = horizon_through([point for _, point in groups], roll)
        assumed = ("roll of 0°: one group of edges cannot tell it",) if fit.roll_assumed else ()
        return fit.row_px, fit.roll_deg, _principal_nudges(fit), assumed
    if isinstance(horizon, words.PitchHorizon):
        upright = Camera(focal_px, principal_px, facts.size_px, horizon.pitch, roll_deg, 1.0)
        return upright.horizon_row(principal_px[0]), roll_deg, (), ()
    if isinstance(horizon, words.PointsHorizon):
        with about(("horizon", "points")):
            first, second = straightened(horizon.points, lens)
        if "roll" in camera.model_fields_set:
            what = "the two points of the horizon tell the roll already; keep one of them"
            raise FaultyScene([Fault(("roll",), what, f"{roll_deg:g}")])
        line = np.cross([*first, 1.0], [*second, 1.0])
        with about(("horizon", "points")):
            _, roll_deg = pitch_from_horizon(line, focal_px, principal_px)
        return float(-(line[0] * principal_px[0] + line[2]) / line[1]), roll_deg, (), ()
    row_px, sd_px = _row(horizon, facts)
    with about(("horizon",), f"row {row_px:g}"):
        centre = straightened([(facts.size_px[0] / 2.0, row_px)], lens)[0]
    a, b, c = line_through(centre, roll_deg)
    at_principal_px = float(-(a * principal_px[0] + c) / b)
    return at_principal_px, roll_deg, (Nudge(horizon_px=sd_px),) if sd_px > 0.0 else (), ()


def _row(horizon: words.Horizon, facts: PictureFacts) -> tuple[float, float]:
    """A horizon stated by a row at the picture's centre column: (row, one standard deviation), px."""
    if isinstance(horizon, words.RowHorizon):
        return horizon.row, 0.0 if horizon.plus_minus is None else horizon.plus_minus
    if isinstance(horizon, words.ShareHorizon):
        return horizon.fraction * facts.size_px[1], 0.0
    if isinstance(horizon, words.BetweenHorizon):
        low, high = horizon.between
        # Anywhere between the bounds alike: a uniform distribution's deviation (JCGM 100:2008, section 4.3.7).
        return (low + high) / 2.0, abs(high - low) / sqrt(12.0)
    raise TypeError(f"a horizon of an unknown form: {type(horizon).__name__}")


def _principal_nudges(fit: HorizonFit) -> tuple[Nudge, ...]:
    """The fit's covariance of row and roll as independent nudges (its principal axes)."""
    values, axes = np.linalg.eigh(fit.covariance)
    return tuple(
        Nudge(horizon_px=float(axis[0]) * sqrt(value), roll_deg=float(axis[1]) * sqrt(value))
        for value, axis in zip(np.maximum(values, 0.0), axes.T, strict=True)
        if value > 0.0
    )


def _references(camera: words.Camera, lens: Lens | None) -> tuple[HeightReference, ...]:
    if not isinstance(camera.height, words.References):
        return ()
    found = []
    for index, item in enumerate(camera.height.references):
        with about(("height", "references", index)):
            base, top = straightened([item.base, item.top], lens)
        found.append(HeightReference(base, top, item.height))
    return tuple(found)


def _with_reference_uncertainty(model: CameraModel) -> CameraModel:
    """Adds what marking the references by hand leaves uncertain; checks each of them."""
    if not model.references:
        return model
    for index, reference in enumerate(model.references):
        with about(("height", "references", index)):
            camera_height(replace(model, references=(), height_m=1.0).camera(), [reference])
    with about(("height",)):
        camera = model.camera()
        deviation_m = camera_height_deviation(camera, model.references, ENDPOINT_SD_PX)
    nudge = Nudge(height_fraction=deviation_m / camera.height_m)
    return replace(model, uncertain=(*model.uncertain, nudge))


def _edges(edges: Floats) -> tuple[tuple[Point, Point], ...]:
    return tuple(((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))) for a, b in edges)


def _vector(values: Floats) -> tuple[float, float, float]:
    x, y, w = (float(value) for value in values)
    return (x, y, w)
