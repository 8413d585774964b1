"""The brief job: how to photograph a subject so that it fits its place in the plate."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import NoReturn
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from compositor.audit.brief import FULL_FRAME, Brief, Sensor, Spot, brief
from compositor.audit.sight import seen_hull
from compositor.audit.sunlight import SunSeen, windows
from compositor.audit.sunside import plate_sun
from compositor.base.arrays import apply_homography
from compositor.base.errors import GeometryError, LocatedFault, UnusableInput
from compositor.base.known_sizes import KINDS, is_person, known_size
from compositor.files.atomic import write_whole
from compositor.geometry.solar import sun_position
from compositor.geometry.sun import Sun
from compositor.jobs.solving import solved
from compositor.plan.model import PlacedElement, Plan, Point
from compositor.report.brief_paper import DPI
from compositor.report.brief_sheet import brief_sheet
from compositor.report.brief_text import BriefSun, brief_record, brief_text
from compositor.report.record import as_json
from compositor.scene.names import name_fault
from compositor.scene.suggestions import suggestion

_STEP = timedelta(minutes=5)
_WIDTH_OF_HEIGHT = 0.6  # by eye: of a subject of which only the height is known
_PERSON_WIDTH = 0.28  # of the stature: arms hanging beside shoulders of .259 (Drillis & Contini 1966)


@dataclass(frozen=True)
class Wanted:
    """What a brief is asked for: an element by name, or a place (distance, offset) with a height or a kind.

    sun: (azimuth, elevation) in the plate's world, degrees; None = the plate's own. site: latitude and longitude, with
    a day and a time zone.
    """

    element: str | None = None
    place_m: Point | None = None
    tall_m: float | None = None
    kind: str | None = None
    sensor: Sensor = FULL_FRAME
    sun: Point | None = None
    site: Point | None = None
    day: date | None = None
    zone: str = "UTC"


@dataclass(frozen=True)
class BriefDone:
    """A brief with its sun, and the sheet's path."""

    found: Brief
    sun: BriefSun | None
    sheet: str

    def as_json(self) -> str:
        """The brief's numbers."""
        return as_json(brief_record(self.found, self.sun, self.sheet))

    def as_text(self) -> str:
        """The brief in words."""
        return brief_text(self.found, self.sun, self.sheet)


def brief_scene(path: Path, settings: Sequence[tuple[str, str]], wanted: Wanted, out: Path) -> BriefDone:
    """Solve a scene and write the sheet into out/<file's stem>. Raises UnusableInput."""
    plan = solved(path, list(settings)).plan
    spot = _element_spot(path, plan, wanted) if wanted.element is not None else _free_spot(path, plan, wanted)
    try:
        found = brief(plan, spot, wanted.sensor)
    except GeometryError as error:
        _refuse(path, spot.name, str(error))
    sun = _sun(path, plan, found, wanted)
    sheet = out / path.stem / f"brief-{spot.name}.png"
    content = BytesIO()
    brief_sheet(found, sun).image.save(content, "PNG", dpi=(DPI, DPI), optimize=False)
    sheet.parent.mkdir(parents=True, exist_ok=True)
    write_whole(sheet, content.getvalue())
    return BriefDone(found, sun, str(sheet))


def _element_spot(path: Path, plan: Plan, wanted: Wanted) -> Spot:
    names = [element.name for element in plan.elements]
    if wanted.element not in names:
        _refuse(path, "elements", "no element of that name" + suggestion(wanted.element or "", names), wanted.element)
    element = plan.element(wanted.element or "")
    if element.stance != "upright" or element.artwork_m is not None:
        _refuse(path, element.name, "what lies flat, hangs on a wall or is artwork can be taken from anywhere")
    x, y = (element.offset_m, element.distance_m) if wanted.place_m is None else wanted.place_m[::-1]
    tall_m = element.height_m if wanted.tall_m is None else wanted.tall_m
    kind = element.kind if wanted.kind is None else wanted.kind
    wide_m = _width_m(plan, element) * tall_m / element.height_m
    return _checked(path, Spot(element.name, (x, y), tall_m, wide_m, element.raise_m, kind))


def _width_m(plan: Plan, element: PlacedElement) -> float:
    """Width of its outline in its plane, twice the wider side of its contact."""
    to_plane = element.plane.homography(plan.plate.camera)
    hull = seen_hull(element)
    if len(hull) == 0:
        return _WIDTH_OF_HEIGHT * element.height_m
    across = apply_homography(np.linalg.inv(to_plane), hull)[:, 0]
    return 2.0 * float(abs(across).max())


def _free_spot(path: Path, plan: Plan, wanted: Wanted) -> Spot:
    if wanted.place_m is None:
        _refuse(path, "", "name an element, or give a place with --at and a height with --height or --kind")
    tall_m = wanted.tall_m
    if tall_m is None and wanted.kind is not None:
        _known_kind(path, wanted.kind)
        tall_m = known_size(wanted.kind).typical_m
    if tall_m is None:
        _refuse(path, "", "give the subject's height in metres with --height, or a kind of known height with --kind")
    wide_m = tall_m * (_PERSON_WIDTH if is_person(wanted.kind) else _WIDTH_OF_HEIGHT)
    distance_m, offset_m = wanted.place_m
    return _checked(path, Spot(wanted.kind or "subject", (offset_m, distance_m), tall_m, wide_m, 0.0, wanted.kind))


def _known_kind(path: Path, kind: str) -> None:
    """Raises UnusableInput for a kind of which no height was published."""
    if kind not in KINDS:
        near = suggestion(kind, KINDS) or f"; known here: {', '.join(KINDS)}"
        _refuse(path, "--kind", "no kind of known height, so say --height" + near, kind)


def _checked(path: Path, spot: Spot) -> Spot:
    if spot.kind is not None:
        _known_kind(path, spot.kind)
    if spot.tall_m <= 0.0 or spot.ground_m[1] <= 0.0:
        _refuse(path, spot.name, "height and distance must be greater than 0")
    fault = name_fault(spot.name)
    return spot if fault is None else replace(spot, name="subject")


def _sun(path: Path, plan: Plan, found: Brief, wanted: Wanted) -> BriefSun | None:
    told = plate_sun(plan)
    if wanted.sun is not None:
        told = Sun(*wanted.sun)
    if told is None:
        return None
    elevation_deg = told.elevation_deg
    sun = BriefSun(told.azimuth_deg - found.plate_azimuth_deg, elevation_deg)
    if wanted.site is None or wanted.day is None:
        return sun
    try:
        zone = ZoneInfo(wanted.zone)
    except (ZoneInfoNotFoundError, ValueError):
        _refuse(path, "--zone", "no time zone of that name; write one such as Europe/Rome, or UTC", wanted.zone)
    latitude, longitude = wanted.site
    start = datetime.combine(wanted.day, datetime.min.time(), zone)
    course = []
    for step in range(timedelta(days=1) // _STEP):
        time = start + step * _STEP
        seen = sun_position(time, latitude, longitude)
        course.append(SunSeen(time, seen.azimuth_deg, seen.elevation_deg))
    where = f"{wanted.day:%d %B %Y} at {latitude:.2f}, {longitude:.2f} ({wanted.zone})"
    return replace(sun, where=where, windows=windows(course, elevation_deg, sun.beside_deg + found.aside_deg))


def _refuse(path: Path, key: str, what: str, given: str | None = None) -> NoReturn:
    raise UnusableInput([LocatedFault(str(path), 1, 1, key, what, given)])
