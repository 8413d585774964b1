"""Where the sun stands at a time and place.

Source: J. Meeus, Astronomical Algorithms, 2nd ed. 1998, chapters 12 (sidereal time), 13 (horizontal coordinates), 16
(refraction after Saemundsson), 22 (obliquity, short nutation) and 25 (the sun to 0.01°); coefficients from memory,
checked against the worked example of NREL/TP-560-34302 (Reda & Andreas) and its implementation in pvlib.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from math import asin, atan2, cos, degrees, radians, sin, tan

_J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)
_PARALLAX_DEG = 8.794 / 3600.0
# Terrestrial time runs ahead of universal time by 64 to 69 s in all years from 2000 to 2030: the sun moves 0.00005°.
_DELTA_T_DAYS = 67.0 / 86400.0


@dataclass(frozen=True)
class Air:
    """What bends the light: the pressure in hPa and the temperature in °C at the place."""

    pressure_hpa: float = 1013.25
    temperature_c: float = 12.0


@dataclass(frozen=True)
class SunPosition:
    """The middle of the sun's disc. azimuth_deg: clockwise from true north. elevation_deg: as seen, refraction
    included. true_elevation_deg: without it."""

    azimuth_deg: float
    elevation_deg: float
    true_elevation_deg: float


_STANDARD_AIR = Air()


def sun_position(time: datetime, latitude_deg: float, longitude_deg: float, air: Air = _STANDARD_AIR) -> SunPosition:
    """The sun at a time (with its offset from UTC) and a place (degrees north and east), to 0.01° near our time."""
    days = (time - _J2000).total_seconds() / 86400.0
    century = (days + _DELTA_T_DAYS) / 36525.0
    node = radians(125.04 - 1934.136 * century)
    longitude = radians(_ecliptic_longitude(century) - 0.00569 - 0.00478 * sin(node))
    mean_obliquity_deg = 23.4392911 - 0.0130042 * century
    obliquity = radians(mean_obliquity_deg + 0.00256 * cos(node))
    ascension_deg = degrees(atan2(cos(obliquity) * sin(longitude), cos(longitude)))
    declination = asin(sin(obliquity) * sin(longitude))
    sidereal_deg = 280.46061837 + 360.98564736629 * days - 0.00478 * sin(node) * cos(obliquity)
    hour = radians(sidereal_deg + longitude_deg - ascension_deg)
    north = radians(latitude_deg)
    azimuth = atan2(sin(hour), cos(hour) * sin(north) - tan(declination) * cos(north))
    elevation = asin(sin(north) * sin(declination) + cos(north) * cos(declination) * cos(hour))
    true_deg = degrees(elevation) - _PARALLAX_DEG * cos(elevation)
    return SunPosition((degrees(azimuth) + 180.0) % 360.0, true_deg + _refraction_deg(true_deg, air), true_deg)


def _ecliptic_longitude(century: float) -> float:
    """True longitude in degrees, without perturbations by the moon and the planets (0.003° each at most)."""
    t = century
    mean = radians(357.52911 + 35999.05029 * t - 0.0001537 * t * t)
    centre = (1.914602 - 0.004817 * t - 0.000014 * t * t) * sin(mean)
    centre += (0.019993 - 0.000101 * t) * sin(2 * mean) + 0.000289 * sin(3 * mean)
    return 280.46646 + 36000.76983 * t + 0.0003032 * t * t + centre


def _refraction_deg(true_elevation_deg: float, air: Air) -> float:
    """How much the air lifts the sun; none once it has set."""
    if true_elevation_deg < -0.85:  # the upper limb's own refraction and radius: below it nothing is seen
        return 0.0
    lift = 1.02 / tan(radians(true_elevation_deg + 10.3 / (true_elevation_deg + 5.11))) / 60.0
    return lift * air.pressure_hpa / 1010.0 * 283.0 / (273.0 + air.temperature_c)
