"""When the sun stands so that its light falls on a subject as in the plate."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

WITHIN_DEG = 3.0
"""By eye: a sun this much higher or lower lengthens shadows by less than one notices."""


@dataclass(frozen=True)
class Window:
    """From when until when the sun is as high as wanted, and the compass headings to aim the camera at then."""

    start: datetime
    end: datetime
    heading_start_deg: float
    heading_end_deg: float


@dataclass(frozen=True)
class SunSeen:
    """The sun at a time: degrees clockwise from north, degrees above the horizon."""

    time: datetime
    azimuth_deg: float
    elevation_deg: float


def windows(course: Sequence[SunSeen], elevation_deg: float, beside_deg: float) -> tuple[Window, ...]:
    """The windows of a day's course, in order of time, in which the sun is within tolerance of an elevation.

    beside_deg: how far to the right of the camera's aim it has to stand.
    """
    found: list[Window] = []
    run: list[SunSeen] = []
    for seen in (*course, None):
        if seen is not None and abs(seen.elevation_deg - elevation_deg) <= WITHIN_DEG:
            run.append(seen)
        elif run:
            headings = [(one.azimuth_deg - beside_deg) % 360.0 for one in (run[0], run[-1])]
            found.append(Window(run[0].time, run[-1].time, headings[0], headings[1]))
            run = []
    return tuple(found)
