"""Focal length in pixels from the ways in which photographers state a lens.

Sources: angle of view 2·atan(d / 2f) (any handbook of photographic optics, e.g. S. Ray, Applied Photographic
Optics); 35 mm-equivalent focal length by equal DIAGONAL angle of view on 36 × 24 mm: CIPA DCG-001, and the Exif
tag FocalLengthIn35mmFilm.
"""

from math import hypot, radians, tan

FULL_FRAME_MM = (36.0, 24.0)
# A normal lens: 50 mm on the full frame. Common practice, no source.
NORMAL_EQUIVALENT_MM = 50.0


def focal_from_equivalent(equivalent_mm: float, original_size_px: tuple[float, float]) -> float:
    """Focal length in px from a 35 mm-equivalent, for a photograph of (width, height) px before cropping."""
    return equivalent_mm * hypot(*original_size_px) / hypot(*FULL_FRAME_MM)


def focal_from_sensor(focal_mm: float, sensor_mm: tuple[float, float], original_size_px: tuple[float, float]) -> float:
    """Focal length in px from millimetres, the sensor's sides given in either order."""
    return focal_mm * max(original_size_px) / max(sensor_mm)


def focal_from_view(fov_deg: float, original_width_px: float) -> float:
    """Focal length in px from the horizontal angle of view in degrees."""
    return original_width_px / 2.0 / tan(radians(fov_deg) / 2.0)
