"""The drawings of a shoot brief, in metres and shares: what stands where, before any pixel is chosen."""

from collections.abc import Sequence
from dataclasses import dataclass

from compositor.audit.brief import Brief
from compositor.base.known_sizes import is_person
from compositor.geometry.planes import facing
from compositor.geometry.solid import DEPTH_RATIO

Outline = Sequence[tuple[float, float]]

# A standing person from the front, right half: (share of stature sideways, share of stature up). Levels after
# R. Drillis, R. Contini 1966 as D. A. Winter gives them (ankle .039, knee .285, crotch .485, shoulder .818, chin .870;
# shoulder breadth .259, hip breadth .191); what lies between, by eye.
_BODY = (
    (0.015, 0.485), (0.022, 0.285), (0.020, 0.039), (0.018, 0.0), (0.070, 0.0), (0.062, 0.039), (0.080, 0.285),
    (0.095, 0.485), (0.088, 0.600), (0.100, 0.720), (0.108, 0.640), (0.104, 0.485), (0.106, 0.377), (0.130, 0.377),
    (0.134, 0.485), (0.140, 0.640), (0.130, 0.790), (0.095, 0.818), (0.036, 0.838), (0.034, 0.870), (0.050, 0.900),
    (0.052, 0.945), (0.040, 0.985), (0.0, 1.0),
)  # fmt: skip


@dataclass(frozen=True)
class SideView:
    """Seen from the right of the camera: metres from below the lens (forward) and up from the ground."""

    lens_m: tuple[float, float]
    foot_m: tuple[float, float]
    top_m: tuple[float, float]
    extent_m: tuple[float, float, float, float]  # from, to; low, high


def side_view(found: Brief) -> SideView:
    """What the side view shows."""
    away_m, high_m, tall_m = found.distance_m, found.camera_height_m, found.spot.tall_m
    room_m = 0.08 * max(away_m, tall_m, high_m)
    behind_m = max(across for across, _ in side_outline(found)) + room_m
    return SideView(
        (0.0, high_m), (away_m, 0.0), (away_m, tall_m), (-room_m, away_m + behind_m, 0.0, max(tall_m, high_m) + room_m)
    )


def subject_outline(found: Brief) -> Outline:
    """The subject from the front as a polygon: metres to the right of its middle, and up."""
    tall_m, half_m = found.spot.tall_m, found.spot.wide_m / 2.0
    if is_person(found.spot.kind):
        right = [(tall_m * across, tall_m * up) for across, up in _BODY]
        return [*right, *((-across, up) for across, up in reversed(right[:-1]))]
    return [(-half_m, 0.0), (half_m, 0.0), (half_m, tall_m), (-half_m, tall_m)]


def side_outline(found: Brief) -> Outline:
    """The subject in the side view: metres behind its nearest touch of the ground, and up; a person from the front."""
    if is_person(found.spot.kind):
        return subject_outline(found)
    tall_m, deep_m = found.spot.tall_m, DEPTH_RATIO * found.spot.wide_m
    return [(0.0, 0.0), (deep_m, 0.0), (deep_m, tall_m), (0.0, tall_m)]


def outline_in_frame(found: Brief) -> Outline:
    """The same as the camera sees it, in shares of the frame's width and height from its top left corner."""
    plane, (width, height) = facing(found.stands_m), found.sensor.size_px
    seen = found.camera.project([plane.point_m(s_m, z_m) for s_m, z_m in subject_outline(found)])
    return [(float(u) / width, float(v) / height) for u, v in seen]


def foot_in_frame(found: Brief) -> tuple[float, float]:
    """The contact, in shares of the frame."""
    (u, v), (width, height) = found.camera.project([(*found.stands_m, 0.0)])[0], found.sensor.size_px
    return float(u) / width, float(v) / height
