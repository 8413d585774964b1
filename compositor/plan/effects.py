"""The numbers of the effects that make an element belong: air, focus, look and outline."""

from dataclasses import dataclass

Rgb = tuple[float, float, float]
"""Values 0..1 as a picture's own coding has them."""


@dataclass(frozen=True)
class Air:
    """Haze. attenuation_per_m: β along the ray. colour: coded as the plate is; None = the plate's at the horizon."""

    attenuation_per_m: float
    colour: Rgb | None = None


@dataclass(frozen=True)
class Look:
    """How an element is brought to the plate's look; the defaults change nothing. Lengths in px of the full frame."""

    match_fraction: float = 0.0
    exposure_stops: float = 0.0
    temperature_mired: float = 0.0
    tint_cc: float = 0.0
    contrast_fraction: float = 0.0
    saturation_fraction: float = 0.0
    grain: bool = False
    sharpness: bool = False
    choke_px: float = 0.0
    soften_px: float = 0.0
    protects_chroma: bool = False  # the match changes brightness alone


@dataclass(frozen=True)
class Cutting:
    """How an element is cut out of its picture. backdrop: a flat colour to be keyed out, coded as the picture is;
    tolerance_fraction: how far it strays; spill_fraction: how much of its light on the element goes. The old
    background's colour is taken out of half-covered pixels."""

    backdrop: Rgb | None = None
    tolerance_fraction: float = 0.0
    spill_fraction: float = 0.0
