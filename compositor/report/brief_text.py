"""A shoot brief in words and as plain data."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from compositor.audit.brief import Brief, usual_lenses_mm
from compositor.audit.sunlight import WITHIN_DEG, Window


@dataclass(frozen=True)
class BriefSun:
    """The sun of a brief: degrees to the right of the line from the camera to the subject, degrees above the horizon;
    where and when it was looked for, and when it stands so."""

    beside_deg: float
    elevation_deg: float
    where: str = ""
    windows: tuple[Window, ...] = ()


@dataclass(frozen=True)
class Advice:
    """One point of the brief: a heading and its sentences."""

    heading: str
    text: str


_REACH_M = 2.0  # by eye: higher than this one no longer looks through a camera from the ground
_AGAINST_DEG = 60.0  # by eye: a sun so far ahead shines into the lens

CAUTIONS = (
    "Stay off roads, tracks and private ground, and away from water's edge, tides, drops and power lines.",
    "Secure stands and ladders against wind and passers-by; let somebody hold them.",
    "Never look or aim a long lens at the sun.",
    "Local rules, permits and the word of people on the spot come before this sheet.",
)


def advice(found: Brief, sun: BriefSun | None) -> tuple[Advice, ...]:
    """The points of a brief, in the order in which somebody sets up."""
    return tuple(_points(found, sun))


def _points(found: Brief, sun: BriefSun | None) -> Iterator[Advice]:
    low_m, high_m = found.camera_height_range_m
    over = "" if found.spot.raise_m == 0.0 else " that it stands on"
    yield Advice(
        "Camera height",
        f"{found.camera_height_m:.2f} m from the ground{over} to the lens; {low_m:.2f} to {high_m:.2f} m is near "
        f"enough.{_above_reach(found)}",
    )
    yield Advice(
        "Distance",
        f"{found.distance_m:.2f} m, measured level along the ground, from below the lens to the nearest point where it "
        "touches the ground.",
    )
    yield Advice("Aim", _aim(found))
    yield Advice("Horizon", _horizon(found))
    yield Advice("Lens", _lens(found))
    yield Advice("Pixels", f"At least {found.subject_px:.0f} px from its foot to its top, sharp from front to back.")
    yield Advice("Light", _light(sun))
    yield Advice(
        "Background",
        "Plain, even, at least two metres behind it, not in one of its own colours; about as bright as the place in "
        "the plate, so that its edges fit. Let its whole foot and some ground around it be seen.",
    )
    yield Advice(
        "Write down",
        "Camera height, distance and focal length as they were. Photograph a stick of known height where it stood.",
    )


def _above_reach(found: Brief) -> str:
    if found.camera_height_m <= _REACH_M:
        return ""
    return " That is above reach: use a tall stand with a cable or a safe platform with a railing, and never lean out."


def _aim(found: Brief) -> str:
    tilt = found.tilt_deg
    way = "level" if abs(tilt) < 0.05 else f"{abs(tilt):.1f}° {'up' if tilt > 0 else 'down'}"
    held = "portrait" if found.sensor.size_px[0] < found.sensor.size_px[1] else "landscape"
    middle = (
        "At its middle"
        if found.aside_deg == 0.0
        else f"So that it stands {abs(found.aside_deg):.1f}° to the {'right' if found.aside_deg > 0 else 'left'} of "
        "the picture's middle, as in the plate"
    )
    return (
        f"{middle}, tilted {way}, level from side to side, {held} format. Another tilt does no harm if the horizon is "
        "noted."
    )


def _horizon(found: Brief) -> str:
    share, row = found.horizon_fraction, found.horizon_row_fraction
    if share <= 1.0:
        part = "" if found.body_part is None else f", near the {found.body_part}"
        cut = f"It cuts the subject at {share:.0%} of its height, {found.camera_height_m:.2f} m up{part}"
    else:
        cut = f"It passes above the subject, at {share:.2f} times its height"
    if 0.0 <= row <= 1.0:
        return f"{cut}; in the frame it lies {row:.0%} from the top."
    return f"{cut}; it lies outside the frame, {'above' if row < 0 else 'below'} it."


def _lens(found: Brief) -> str:
    (low, high), (wide, tall) = found.focal_mm, sorted(found.sensor.size_mm, reverse=True)
    if not found.feasible:
        return (
            f"No lens gives enough pixels and leaves room: {high:.0f} mm fills the frame, {low:.0f} mm would be "
            f"needed. Use a camera with {low / high:.1f} times as many pixels per side, or join several photographs "
            "taken from the same spot."
        )
    usual = usual_lenses_mm(found)
    named = f", such as {' or '.join(str(lens) for lens in usual[-2:])} mm" if usual else ""
    return (
        f"{low:.0f} to {high:.0f} mm on {wide:g} × {tall:g} mm{named}. The longest fills the frame; perspective comes "
        "from the place alone."
    )


def _light(sun: BriefSun | None) -> str:
    if sun is None:
        return "As in the plate; --sun AZIMUTH,ELEVATION tells it here from where the sun stood."
    text = f"Sun {direction(sun.beside_deg)}, {sun.elevation_deg:.0f}° high."
    if abs((sun.beside_deg + 180.0) % 360.0 - 180.0) < _AGAINST_DEG:
        text += " Shade the lens."
    if not sun.where:
        return text
    if not sun.windows:
        return f"{text} {sun.where}: it never stands within {WITHIN_DEG:.0f}° of that height."
    told = "; ".join(
        f"{one.start:%H:%M} to {one.end:%H:%M}, aim at compass {one.heading_start_deg:.0f}° to "
        f"{one.heading_end_deg:.0f}°"
        for one in sun.windows
    )
    return f"{text} {sun.where}: {told}."


def direction(beside_deg: float) -> str:
    """Where a sun stands that is some degrees to the right of the way one looks."""
    turned = (beside_deg + 180.0) % 360.0 - 180.0
    side = "right" if turned > 0 else "left"
    if abs(turned) < 10.0:
        return "straight ahead, behind the subject"
    if abs(turned) > 170.0:
        return "straight behind the camera"
    if abs(turned) <= 60.0:
        return f"ahead, {abs(turned):.0f}° to the {side} of the subject"
    if abs(turned) <= 120.0:
        where = "a little behind the subject" if abs(turned) < 85.0 else "a little behind the camera"
        where = "square to the view" if 85.0 <= abs(turned) <= 95.0 else where
        return f"from the {side}, {where}: {abs(turned):.0f}° to the {side} of the subject as the camera sees it"
    return f"behind the camera, over the {side} shoulder ({abs(turned):.0f}° to the {side} of the subject)"


def brief_text(found: Brief, sun: BriefSun | None, sheet: str | None) -> str:
    """The brief as a person reads it in a terminal."""
    lines = [f"How to photograph {found.spot.name} ({found.spot.tall_m:.2f} m high)"]
    lines += [f"  {one.heading + ':':<15}{one.text}" for one in advice(found, sun)]
    lines += ["Take care", *(f"  {text}" for text in CAUTIONS)]
    return "\n".join([*lines, *([] if sheet is None else [f"wrote {sheet}"])]) + "\n"


def brief_record(found: Brief, sun: BriefSun | None, sheet: str | None) -> dict[str, Any]:
    """The brief's numbers."""
    record: dict[str, Any] = {
        "name": found.spot.name,
        "height_m": found.spot.tall_m,
        "kind": found.spot.kind,
        "camera_height_m": found.camera_height_m,
        "camera_height_range_m": list(found.camera_height_range_m),
        "distance_m": found.distance_m,
        "tilt_deg": found.tilt_deg,
        "aside_deg": found.aside_deg,
        "plate_azimuth_deg": found.plate_azimuth_deg,
        "depression_deg": found.depression_deg,
        "horizon_fraction": found.horizon_fraction,
        "horizon_body_part": found.body_part,
        "horizon_row_fraction": found.horizon_row_fraction,
        "sensor_mm": list(found.sensor.size_mm),
        "sensor_px": list(found.sensor.size_px),
        "focal_mm": list(found.focal_mm),
        "feasible": found.feasible,
        "subject_px": found.subject_px,
        "sun": None if sun is None else _sun_record(sun),
        "advice": {one.heading: one.text for one in advice(found, sun)},
        "cautions": list(CAUTIONS),
        "sheet": sheet,
    }
    return record


def _sun_record(sun: BriefSun) -> dict[str, Any]:
    return {
        "beside_deg": sun.beside_deg,
        "elevation_deg": sun.elevation_deg,
        "where": sun.where,
        "windows": [
            {
                "start": one.start.isoformat(),
                "end": one.end.isoformat(),
                "heading_deg": [one.heading_start_deg, one.heading_end_deg],
            }
            for one in sun.windows
        ],
    }
