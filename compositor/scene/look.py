"""How an element is brought to the plate's look: light and colour, grain, sharpness, edges."""

from typing import Annotated

from pydantic import Field

from compositor.scene.air import OpaqueColour
from compositor.scene.part import Part

_Share = Annotated[float, Field(ge=0, le=1)]
_Balance = Annotated[float, Field(ge=-1, le=1)]
_EdgePixels = Annotated[float, Field(ge=0, le=50)]


class Look(Part):
    """Corrections of an element's picture; left out or 0 = none. Hand corrections come after the match."""

    match: _Share = Field(
        default=0.0,
        description="How far the element is brought toward the plate's light where it stands; 0 = not, 1 = wholly.",
    )
    protect_chroma: bool = Field(
        default=False,
        description="true = the match makes it lighter or darker only; a product keeps its hues and their strength.",
    )
    exposure: Annotated[float, Field(ge=-10, le=10)] = Field(
        default=0.0, description="Stops brighter (+) or darker (-)."
    )
    temperature: Annotated[float, Field(ge=-300, le=300)] = Field(
        default=0.0,
        description="Mired, as light-balancing filters are marked: + = warmer (18 = filter 81A), - = cooler.",
    )
    tint: Annotated[float, Field(ge=-100, le=100)] = Field(
        default=0.0,
        description="Hundredths of density, as colour-compensating filters are marked: + = magenta, - = green.",
    )
    contrast: _Balance = Field(
        default=0.0,
        description="How much farther (+) or less far (-) tones lie from middle grey: 0.1 = a tenth farther.",
    )
    saturation: _Balance = Field(
        default=0.0, description="How much stronger (+) or weaker (-) colours are, as a share; -1 = grey."
    )
    grain: bool = Field(
        default=False,
        description="true = the grain of the plate at this brightness is added as far as it lacks.",
    )
    sharpness: bool = Field(
        default=False,
        description="true = edges that are sharper than those of the plate around become as soft as they are.",
    )


class Edges(Part):
    """Corrections of an element's outline."""

    clean: bool = Field(
        default=True,
        description="true = the colour of the old background is taken out of half-transparent pixels.",
    )
    choke: _EdgePixels = Field(default=0.0, description="Pixels of the plate by which the outline moves inwards.")
    soften: _EdgePixels = Field(default=0.0, description="Pixels of the plate over which the outline is softened.")


class Backdrop(Part):
    """A flat studio backdrop that the element's picture still has; it is keyed out, and so is whatever else has its
    colour. A picture without halved colour (PNG, TIFF; most JPEG halve it) gives far cleaner edges."""

    colour: OpaqueColour = Field(description='Its colour by the picture\'s own values, "#rrggbb".')
    tolerance: Annotated[float, Field(gt=0, le=1)] = Field(
        default=0.06,
        description="How far the backdrop strays from its colour (uneven light, noise), as a share of full scale.",
    )
    spill: _Share = Field(
        default=0.0,
        description="How much of a coloured backdrop's light on the element itself is taken away, 0 to 1: what its"
        " leading channel has beyond the others.",
    )
