"""A shoot brief as one sheet of A4: the points in words, a side view, what the camera sees, and the sun from above."""

from collections.abc import Callable
from math import atan2, cos, degrees, radians, sin, tan

from compositor.audit.brief import Brief
from compositor.report.brief_paper import HORIZON, INK, PALE, SOFT, SUBJECT, SUNLIGHT, Paper, Point
from compositor.report.brief_text import CAUTIONS, BriefSun, advice
from compositor.report.brief_views import foot_in_frame, outline_in_frame, side_outline, side_view

A4_MM = (297.0, 210.0)
_EDGE = 12.0
_COLUMN = 94.0  # width of the words
_LEFT = _EDGE + _COLUMN + 10.0  # where the drawings begin

_Box = tuple[float, float, float, float]
_At = Callable[[float, float], Point]
_SIDE: _Box = (_LEFT, 34.0, A4_MM[0] - _EDGE, 98.0)
_FRAME: _Box = (_LEFT, 112.0, _LEFT + 104.0, 178.0)
_ABOVE: _Box = (_LEFT + 116.0, 112.0, A4_MM[0] - _EDGE, 170.0)


def brief_sheet(found: Brief, sun: BriefSun | None) -> Paper:
    """Draw the sheet."""
    paper = Paper(*A4_MM)
    paper.text((_EDGE, 20.0), f"How to photograph: {found.spot.name}", 20.0)
    size = f"{found.spot.tall_m:.2f} m high" + ("" if found.spot.kind is None else f", {found.spot.kind}")
    paper.text((A4_MM[0] - _EDGE, 20.0), size, 11.0, SOFT, anchor="rs")
    paper.line([(_EDGE, 24.0), (A4_MM[0] - _EDGE, 24.0)], INK, 0.5)
    _words(paper, found, sun)
    _side(paper, found, sun)
    _seen(paper, found)
    _above(paper, found, sun)
    _cautions(paper)
    return paper


def _words(paper: Paper, found: Brief, sun: BriefSun | None) -> None:
    row = 28.5
    for one in advice(found, sun):
        row = paper.paragraph((_EDGE, row), one.heading, 10.0, _COLUMN, HORIZON)
        row = paper.paragraph((_EDGE, row), one.text, 9.0, _COLUMN) + 2.1


def _cautions(paper: Paper) -> None:
    top = 181.0
    paper.line([(_LEFT, top), (A4_MM[0] - _EDGE, top)], INK, 0.5)
    row = paper.paragraph((_LEFT, top + 1.0), "Take care", 10.0, A4_MM[0] - _EDGE - _LEFT, HORIZON)
    for text in CAUTIONS:
        row = paper.paragraph((_LEFT, row), text, 8.5, A4_MM[0] - _EDGE - _LEFT)


def _heading(paper: Paper, box: _Box, text: str) -> None:
    paper.text((box[0], box[1] - 3.0), text, 10.0, HORIZON)


def _side(paper: Paper, found: Brief, sun: BriefSun | None) -> None:
    """Camera and subject from the side, both axes at one scale."""
    _heading(paper, _SIDE, "From the side, to scale")
    view, (left, top, right, bottom) = side_view(found), _SIDE
    near, far, _, high = view.extent_m
    room_below, room_above = 9.0, 0.0 if sun is None else 14.0
    scale = min((right - left - 16.0) / (far - near), (bottom - room_below - top - room_above) / high)
    start = left + 16.0 + ((right - left - 16.0) - scale * (far - near)) / 2.0

    def at(forward_m: float, up_m: float) -> Point:
        return start + scale * (forward_m - near), bottom - room_below - scale * up_m

    ground_row = at(0.0, 0.0)[1]
    paper.line([(left, ground_row), (right, ground_row)], SOFT, 0.5)
    _subject_aside(paper, found, at)
    eye = at(*view.lens_m)
    _view_lines(paper, found, at)
    paper.dashed(eye, (right, eye[1]), HORIZON, 0.4)
    share = f"{found.horizon_fraction:.0%} of its height" if found.horizon_fraction <= 1.0 else "above the subject"
    paper.text(at(0.5 * found.distance_m, found.camera_height_m), f"eye level: {share}", 9.0, HORIZON, "mm", True)
    _camera(paper, eye, ground_row, found.tilt_deg)
    lens_column = left + 7.0
    paper.span((lens_column, eye[1]), (lens_column, ground_row), f"{found.camera_height_m:.2f} m")
    paper.span((eye[0], ground_row + 5.0), (at(*view.foot_m)[0], ground_row + 5.0), f"{found.distance_m:.2f} m")
    if sun is not None:
        _sun_aside(paper, sun, (left + 26.0, top))


def _subject_aside(paper: Paper, found: Brief, at: _At) -> None:
    """The subject behind its nearest touch of the ground."""
    paper.polygon([at(found.distance_m + behind, up) for behind, up in side_outline(found)], SUBJECT)


def _view_lines(paper: Paper, found: Brief, at: _At) -> None:
    """The edges of the picture and its axis, as far as the subject."""
    half = degrees(atan2(found.sensor.size_mm[1] / 2.0, found.focal_mm[1]))
    eye, top_m = at(0.0, found.camera_height_m), side_view(found).extent_m[3]
    for angle in (found.tilt_deg - half, found.tilt_deg, found.tilt_deg + half):
        reach_m = found.distance_m
        if angle < 0.0:
            reach_m = min(reach_m, found.camera_height_m / tan(radians(-angle)))
        if angle > 0.0:
            reach_m = min(reach_m, (top_m - found.camera_height_m) / tan(radians(angle)))
        paper.dashed(eye, at(reach_m, found.camera_height_m + reach_m * tan(radians(angle))), SOFT, 0.2)


def _camera(paper: Paper, eye: Point, ground_row: float, tilt_deg: float) -> None:
    """A camera on a stand, its lens at a point, tilted."""
    u, v = eye
    for foot in (-3.5, 0.0, 3.5):
        paper.line([(u - 2.5, min(v + 2.5, ground_row)), (u - 2.5 + foot, ground_row)], SOFT, 0.4)
    c, s = cos(radians(tilt_deg)), -sin(radians(tilt_deg))

    def turned(x: float, y: float) -> Point:
        return u + c * x - s * y, v + s * x + c * y

    paper.polygon([turned(-6.5, -2.2), turned(-1.8, -2.2), turned(-1.8, 2.2), turned(-6.5, 2.2)], INK)
    paper.polygon([turned(-1.8, -1.3), turned(0.0, -1.6), turned(0.0, 1.6), turned(-1.8, 1.3)], INK)


def _sun_aside(paper: Paper, sun: BriefSun, place: Point) -> None:
    """The sun's height as an angle over the level."""
    u, v = place[0], place[1] + 12.0
    reach = 13.0
    angle = radians(sun.elevation_deg)
    paper.line([(u, v), (u + reach, v)], SOFT, 0.25)
    tip = (u + reach * cos(angle), v - reach * sin(angle))
    paper.line([(u, v), tip], SUNLIGHT, 0.5)
    paper.disc(tip, 2.0, SUNLIGHT)
    paper.text((u - 1.5, v), f"sun {sun.elevation_deg:.0f}° high", 9.0, anchor="rm", ground=True)


def _seen(paper: Paper, found: Brief) -> None:
    """The frame as the camera shows it, with the longest lens."""
    _heading(paper, _FRAME, f"In the camera, at {found.focal_mm[1]:.0f} mm")
    left, top, right, bottom = _FRAME
    width, height = found.sensor.size_px
    scale = min((right - left - 24.0) / width, (bottom - top) / height)
    wide, high = width * scale, height * scale

    def at(across: float, down: float) -> Point:
        return left + across * wide, top + down * high

    paper.polygon([at(0, 0), at(1, 0), at(1, 1), at(0, 1)], PALE)
    paper.polygon([at(*point) for point in outline_in_frame(found)], SUBJECT)
    for share in (1.0 / 3.0, 2.0 / 3.0):
        paper.line([at(share, 0), at(share, 1)], (255, 255, 255), 0.2)
        paper.line([at(0, share), at(1, share)], (255, 255, 255), 0.2)
    paper.frame(at(0, 0), at(1, 1))
    row = found.horizon_row_fraction
    beyond = at(1.0, min(max(row, 0.0), 1.0))
    if 0.0 <= row <= 1.0:
        paper.dashed(at(0, row), (beyond[0] + 2.0, beyond[1]), HORIZON, 0.5)
    told = ("horizon", f"{row:.0%} from the top")
    if row < 0.0 or row > 1.0:
        beyond_share = -row if row < 0.0 else row - 1.0
        told = (f"horizon {'above' if row < 0.0 else 'below'} it", f"by {beyond_share:.0%} of its height")
    for index, text in enumerate(told):
        paper.text((beyond[0] + 3.0, beyond[1] + 4.2 * index), text, 9.0, HORIZON, anchor="lm")
    foot = at(*foot_in_frame(found))
    paper.disc(foot, 0.9, INK)
    if abs(foot[1] - beyond[1]) > 8.0:
        paper.text((left + wide + 3.0, foot[1]), "foot", 9.0, anchor="lm")
        paper.line([(foot[0] + 1.5, foot[1]), (left + wide + 2.0, foot[1])], SOFT, 0.2)


def _above(paper: Paper, found: Brief, sun: BriefSun | None) -> None:
    """Camera, subject and sun from above."""
    _heading(paper, _ABOVE, "From above")
    left, top, right, bottom = _ABOVE
    middle, radius = ((left + right) / 2.0, (top + bottom) / 2.0), min(right - left, bottom - top) / 2.0 - 6.0
    subject, camera = (middle[0], middle[1]), (middle[0], middle[1] + 0.7 * radius)  # a sun behind it is seen, too
    paper.disc(subject, 2.6, SUBJECT)
    turned = radians(found.aside_deg)
    for half in (0.0, -0.35, 0.35):  # the axis, and a fan for the picture
        reach = radius * (0.62 if half == 0.0 else 0.36)
        tip = (camera[0] - reach * sin(turned + half), camera[1] - reach * cos(turned + half))
        paper.dashed(camera, tip, SOFT, 0.25)
    paper.polygon([(camera[0] - 3.0, camera[1] + 4.0), (camera[0] + 3.0, camera[1] + 4.0), camera], INK)
    captions = []
    if found.aside_deg != 0.0:
        captions.append(f"aim {abs(found.aside_deg):.0f}° {'left' if found.aside_deg > 0 else 'right'} of it")
    if sun is None:
        captions.append("sun: as in the plate")
    else:
        angle = radians(sun.beside_deg)
        place = (subject[0] + radius * sin(angle), subject[1] - radius * cos(angle))
        paper.line([place, (subject[0] + 4.0 * sin(angle), subject[1] - 4.0 * cos(angle))], SUNLIGHT, 0.6)
        paper.disc(place, 2.6, SUNLIGHT)
        turned_deg = (sun.beside_deg + 180.0) % 360.0 - 180.0
        captions.append(f"sun {abs(turned_deg):.0f}° to the {'right' if turned_deg > 0 else 'left'} of it")
    for index, text in enumerate(captions):
        paper.text((middle[0], bottom + 3.0 + 4.2 * index), text, 9.0, anchor="ms")
