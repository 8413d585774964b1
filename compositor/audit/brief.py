"""How to photograph a subject so that it fits a place in a plate.

Perspective depends on where the camera stands and on nothing else: so as high over the ground that the subject stands
on as the plate's camera, and as far from it. The lens only decides how large it is drawn.
"""

from dataclasses import dataclass, replace
from math import atan2, degrees, hypot, radians, tan

import numpy as np

from compositor.audit.sight import azimuth_deg, delivery_scale, largest_scale
from compositor.base.errors import GeometryError
from compositor.base.known_sizes import body_part_at, is_person
from compositor.geometry.camera import Camera
from compositor.geometry.planes import facing
from compositor.plan.model import Plan, Point

FILLED = 0.84
"""By eye: the share of the frame that the subject may fill, so that there is room around it for the matte."""

USUAL_LENSES_MM = (14, 18, 20, 24, 28, 35, 50, 70, 85, 100, 135, 200, 300, 400)
"""Focal lengths that lenses are sold with. Common practice, no source."""

_AIM_SHARE = 0.9  # of the tolerance: farther off the plate's axis the subject is to be kept off the picture's middle


@dataclass(frozen=True)
class Sensor:
    """The camera at hand: its sensor's (long, short) side in mm and in px."""

    size_mm: tuple[float, float] = (36.0, 24.0)
    size_px: tuple[int, int] = (6000, 4000)

    def upright(self) -> "Sensor":
        """The same camera turned to stand upright."""
        return Sensor((self.size_mm[1], self.size_mm[0]), (self.size_px[1], self.size_px[0]))


FULL_FRAME = Sensor()
"""36 × 24 mm with 24 megapixels. Common practice, no source."""


@dataclass(frozen=True)
class Spot:
    """What shall stand where in the plate: ground (X, Y), how high above it, and the subject's height and width."""

    name: str
    ground_m: Point
    tall_m: float
    wide_m: float
    raise_m: float = 0.0
    kind: str | None = None


@dataclass(frozen=True)
class Brief:
    """Where the camera stands and what it must hold.

    camera_height_m: over the ground the subject stands on, with its range inside the tolerance. distance_m: level, to
    the subject's nearest touch of the ground. aside_deg: how far to the right of the picture's middle the subject
    stands, 0 = aim at it. tilt_deg: aimed above (+) the horizontal. horizon_fraction: of the subject's height, where
    the horizon cuts it. horizon_row_fraction: of the frame's height from its top. focal_mm: (shortest that gives the
    pixels, longest that leaves room). subject_px: its height in the photograph at the shortest of these.
    """

    spot: Spot
    sensor: Sensor
    camera_height_m: float
    camera_height_range_m: tuple[float, float]
    distance_m: float
    aside_deg: float
    plate_azimuth_deg: float
    depression_deg: float
    tilt_deg: float
    horizon_fraction: float
    body_part: str | None
    horizon_row_fraction: float
    focal_mm: tuple[float, float]
    subject_px: float

    @property
    def feasible(self) -> bool:
        """Whether a lens exists that gives enough pixels and leaves room."""
        return self.focal_mm[0] <= self.focal_mm[1]

    @property
    def focal_px(self) -> float:
        """Of the longest lens, on this sensor."""
        return self.focal_mm[1] * self.sensor.size_px[0] / self.sensor.size_mm[0]

    @property
    def camera(self) -> Camera:
        """The camera that follows this brief with the longest lens."""
        width, height = self.sensor.size_px
        return Camera(
            self.focal_px, (width / 2.0, height / 2.0), (width, height), self.tilt_deg, 0.0, self.camera_height_m
        )

    @property
    def stands_m(self) -> Point:
        """Where the subject stands before that camera, (X, Y)."""
        angle = radians(self.aside_deg)
        return self.distance_m * float(np.sin(angle)), self.distance_m * float(np.cos(angle))


def brief(plan: Plan, spot: Spot, sensor: Sensor) -> Brief:
    """The brief for a spot. Raises GeometryError where the plate's camera is not above the subject's foot."""
    camera = plan.plate.camera
    high_m, away_m = camera.height_m - spot.raise_m, hypot(*spot.ground_m)
    if high_m <= 0.02:
        raise GeometryError(
            f"its foot would be {-high_m:.2f} m above the plate's camera: no camera above the ground that it stands on "
            "sees it so"
        )
    pixel = camera.project([(*spot.ground_m, spot.raise_m)])[0]
    azimuth = azimuth_deg(camera, (float(pixel[0]), float(pixel[1])))
    aside = azimuth if abs(azimuth) > _AIM_SHARE * plan.tolerances.view_azimuth_deg else 0.0
    down = degrees(atan2(high_m, away_m))
    spare = plan.tolerances.view_elevation_deg / 2.0  # the other half is for all else
    fraction = high_m / spot.tall_m
    near = body_part_at(fraction)[0] if is_person(spot.kind) and fraction <= 1.05 else None
    found = Brief(
        spot=spot,
        sensor=sensor,
        camera_height_m=high_m,
        camera_height_range_m=(
            away_m * tan(radians(max(down - spare, 0.1))),
            away_m * tan(radians(min(down + spare, 89.0))),
        ),
        distance_m=away_m,
        aside_deg=aside,
        plate_azimuth_deg=azimuth,
        depression_deg=down,
        tilt_deg=0.0,
        horizon_fraction=fraction,
        body_part=near,
        horizon_row_fraction=0.0,
        focal_mm=(0.0, 1.0),
        subject_px=0.0,
    )
    found = replace(found, tilt_deg=_tilt_deg(found))
    framed = [_framed(plan, replace(found, sensor=held)) for held in (sensor, sensor.upright())]
    return max(framed, key=lambda one: one.focal_mm[1])


def _tilt_deg(found: Brief) -> float:
    """The tilt that puts the subject's middle in the picture's, by the angles of its top and foot."""
    _, ahead_m = found.stands_m
    top = degrees(atan2(found.spot.tall_m - found.camera_height_m, ahead_m))
    return (top - degrees(atan2(found.camera_height_m, ahead_m))) / 2.0


def _framed(plan: Plan, found: Brief) -> Brief:
    """The brief with its lenses, for one way of holding the camera."""
    (wide_mm, high_mm), (wide_px, high_px) = found.sensor.size_mm, found.sensor.size_px
    unit = Camera(1.0, (0.0, 0.0), (wide_px, high_px), found.tilt_deg, 0.0, found.camera_height_m)
    outline = outline_m(found)
    seen = unit.project(outline)
    across, down = float(np.abs(seen[:, 0]).max()), float(np.abs(seen[:, 1]).max())
    longest_mm = FILLED * min(wide_mm / 2.0 / across, high_mm / 2.0 / down)
    # At another lens the picture is the same, only larger: one lens tells the pixels that all of them give.
    trial = replace(found, focal_mm=(0.0, longest_mm))
    shortest_mm = longest_mm * _enlargement(plan, trial) * delivery_scale(plan)
    height_px = float(seen[:, 1].max() - seen[:, 1].min()) * shortest_mm * wide_px / wide_mm
    row = trial.camera.horizon_row(wide_px / 2.0) / high_px
    return replace(trial, focal_mm=(shortest_mm, longest_mm), subject_px=height_px, horizon_row_fraction=row)


def outline_m(found: Brief) -> list[tuple[float, float, float]]:
    """The subject's box before the brief's camera: world points (X, Y, Z), foot left and right, top right and left."""
    plane, half_m, tall_m = facing(found.stands_m), found.spot.wide_m / 2.0, found.spot.tall_m
    corners = ((-half_m, 0.0), (half_m, 0.0), (half_m, tall_m), (-half_m, tall_m))
    points = [plane.point_m(s_m, z_m) for s_m, z_m in corners]
    return [(float(x), float(y), float(z)) for x, y, z in points]


def _enlargement(plan: Plan, found: Brief) -> float:
    """How much the plate would enlarge the pixels of that photograph."""
    own, place = facing(found.stands_m), facing(found.spot.ground_m, found.spot.raise_m)
    matrix = place.homography(plan.plate.camera) @ np.linalg.inv(own.homography(found.camera))
    pixels = [(float(u), float(v)) for u, v in found.camera.project(outline_m(found))]
    return largest_scale(matrix, pixels)


def usual_lenses_mm(found: Brief) -> tuple[int, ...]:
    """Focal lengths on sale inside the range, for this sensor."""
    low, high = found.focal_mm
    return tuple(lens for lens in USUAL_LENSES_MM if low <= lens <= high)
