"""From which side the light falls: the plate's sun, and how far it stands off an element's own."""

from compositor.audit.sight import azimuth_deg, is_flipped
from compositor.geometry.sun import Sun
from compositor.plan.model import PlacedElement, Plan

_OVERHEAD_DEG = 75.0  # by eye: of a sun higher than this one no longer sees from which side it comes


def plate_sun(plan: Plan) -> Sun | None:
    """The plate's sun; None where none is told or the sky is overcast."""
    return None if plan.light is None else plan.light.sun


def light_off_deg(plan: Plan, element: PlacedElement) -> tuple[float, float] | None:
    """(degrees to the right, degrees up) by which the plate's light stands off the element's own, each seen from the
    line between camera and subject; None where either is not told."""
    sun, own_sun, own = plate_sun(plan), element.own_sun, element.own_camera
    if sun is None or own_sun is None or own is None or element.stance == "flat":
        return None
    own_side = own_sun[0] - azimuth_deg(own, element.own_contact_px)
    side = sun.azimuth_deg - azimuth_deg(plan.plate.camera, element.contact_px)
    off = (side - (-own_side if is_flipped(element) else own_side) + 180.0) % 360.0 - 180.0
    overhead = min(sun.elevation_deg, own_sun[1]) > _OVERHEAD_DEG
    return (0.0 if overhead else off), sun.elevation_deg - own_sun[1]
