"""What the scene says of air, focus, look and edges, as numbers of the plan."""

from compositor.base.errors import Fault, FaultyScene, GeometryError
from compositor.base.sameness import once_for_each
from compositor.geometry.air import attenuation_from_optical_range, attenuation_from_visibility
from compositor.geometry.focus import Focus
from compositor.plan.effects import Air, Cutting, Look, Rgb
from compositor.scene import air as air_words
from compositor.scene import focus as focus_words
from compositor.scene.element import Element
from compositor.scene.look import Look as LookWords


def air_of(words: air_words.Air | None) -> Air | None:
    """The plate's air; None = clear."""
    if words is None:
        return None
    if isinstance(words, air_words.VisibleAir):
        attenuation_per_m = attenuation_from_visibility(words.visibility)
    else:
        attenuation_per_m = attenuation_from_optical_range(words.optical_range)
    return Air(attenuation_per_m, None if words.colour is None else rgb(words.colour))


def focus_of(words: focus_words.Focus | None) -> Focus | None:
    """The plate's focus; None = everything sharp. Raises FaultyScene with keys from the top of the scene."""
    if words is None:
        return None
    try:
        return Focus(words.distance, words.f_number, words.focal_mm)
    except GeometryError as error:
        raise FaultyScene([Fault(("plate", "focus", "distance"), str(error), f"{words.distance:g}")]) from error


@once_for_each
def look_of(element: Element) -> Look | None:
    """An element's corrections; None where nothing is to be changed."""
    words = LookWords() if element.look is None else element.look
    edges = element.edges
    look = Look(
        match_fraction=words.match,
        exposure_stops=words.exposure,
        temperature_mired=words.temperature,
        tint_cc=words.tint,
        contrast_fraction=words.contrast,
        saturation_fraction=words.saturation,
        grain=words.grain,
        sharpness=words.sharpness,
        choke_px=0.0 if edges is None else edges.choke,
        soften_px=0.0 if edges is None else edges.soften,
        protects_chroma=words.match > 0.0 and words.protect_chroma,
    )
    return None if look == Look() else look


def cutting_of(element: Element) -> Cutting | None:
    """How the element is cut out of its picture; None = as its alpha and matte say."""
    clean = element.edges is not None and element.edges.clean and element.from_plate is None
    if element.backdrop is not None:
        backdrop = element.backdrop
        return Cutting(rgb(backdrop.colour), backdrop.tolerance, backdrop.spill)
    return Cutting() if clean else None


def rgb(colour: str) -> Rgb:
    """ "#rrggbb" as values 0..1."""
    red, green, blue = (int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5))
    return red, green, blue
