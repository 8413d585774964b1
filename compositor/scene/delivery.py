"""Deliveries: the files that are written, each a window of the full frame at a size."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, Tag, WithJsonSchema
from pydantic_core import PydanticCustomError

from compositor.scene.likeness import LikenessWords
from compositor.scene.part import (
    FORM,
    LARGEST_SIDE_PX,
    Extent,
    Forms,
    Name,
    Part,
    Several,
    WholeExtent,
    WholePixels,
)
from compositor.scene.sizes import SIZES
from compositor.scene.suggestions import suggestion

QUALITY = 92
"""Quality of JPEG, WebP and AVIF where none is given; by eye: no blocks seen at 200 %."""

LOSSY = ("jpeg", "webp", "avif")
"""Formats that take a quality."""

DEEP = ("png", "tiff")
"""Formats that can hold 16 bits."""


class _ShareOrSides(Forms):
    def tag(self, value: Any) -> str | None:
        """A list is its own form."""
        return f"{FORM}sides" if isinstance(value, list | tuple) else super().tag(value)


MARGIN_FORMS = _ShareOrSides(
    "must be a share such as 0.1, or four of them, [left, top, right, bottom]", (), number=True
)
COMPOSITION_FORMS = Forms("must be centre, thirds, or a mapping such as {horizon: 0.4}", ("horizon",), text=True)


def _named_size(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    if value not in SIZES:
        raise PydanticCustomError("size_name", "no size {near}", {"near": suggestion(value, SIZES)})
    return SIZES[value]


Size = Annotated[
    WholeExtent,
    BeforeValidator(_named_size),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": list(SIZES)},
                {
                    "type": "array",
                    "items": {"type": "integer", "minimum": 1, "maximum": LARGEST_SIDE_PX},
                    "minItems": 2,
                    "maxItems": 2,
                },
            ]
        }
    ),
]


def _sides(value: Any) -> Any:
    numbers = all(type(item) in (int, float) for item in value)
    if len(value) != 4 or not numbers or min(value) < 0 or value[0] + value[2] >= 1 or value[1] + value[3] >= 1:
        raise PydanticCustomError("sides", "four shares")
    return tuple(float(item) for item in value)


Margin = Annotated[
    Annotated[float, Field(ge=0, lt=0.5), Tag(f"{FORM}number")]
    | Annotated[
        tuple[float, float, float, float],
        BeforeValidator(_sides),
        WithJsonSchema(
            {"type": "array", "items": {"type": "number", "minimum": 0, "maximum": 1}, "minItems": 4, "maxItems": 4}
        ),
        Tag(f"{FORM}sides"),
    ],
    MARGIN_FORMS.chooser(),
]


class HorizonAt(Part):
    """The plate's horizon at a height of the delivery."""

    horizon: Annotated[float, Field(gt=0, lt=1)] = Field(
        description="Where the plate's horizon goes, as a share of the delivery's height from its top edge."
    )


Composition = Annotated[
    Annotated[Literal["centre", "thirds"], Tag("form:text")] | Annotated[HorizonAt, Tag("form:horizon")],
    COMPOSITION_FORMS.chooser(),
]


class Safe(Part):
    """Bands along the edges that other things will cover (controls of a phone, a fold, a bleed)."""

    left: WholePixels = Field(default=0, description="Width of the band at the left, in pixels of the delivery.")
    top: WholePixels = Field(default=0, description="Height of the band at the top, in pixels of the delivery.")
    right: WholePixels = Field(default=0, description="Width of the band at the right, in pixels of the delivery.")
    bottom: WholePixels = Field(default=0, description="Height of the band at the bottom, in pixels of the delivery.")


class DeliveryCrop(Part):
    """What a delivery leaves out of the full frame at its edges."""

    left: WholePixels = Field(default=0, description="Columns of the full frame left out at the left.")
    top: WholePixels = Field(default=0, description="Rows of the full frame left out at the top.")
    right: WholePixels = Field(default=0, description="Columns of the full frame left out at the right.")
    bottom: WholePixels = Field(default=0, description="Rows of the full frame left out at the bottom.")


class Delivery(Part):
    """One file to write."""

    name: Name = Field(description="The file's name without its ending; unique.")
    format: Literal["png", "jpeg", "tiff", "webp", "avif"] = Field(
        default="png", description="png or tiff (lossless), jpeg, webp or avif."
    )
    quality: Annotated[int, Field(ge=1, le=100)] = Field(
        default=QUALITY, description=f"Quality from 1 to 100, with format jpeg, webp or avif; left out = {QUALITY}."
    )
    depth: Literal[8, 16] | None = Field(
        default=None, description="Bits per colour, 8 or 16, with format png or tiff; left out = as deep as the plate."
    )
    size: Size | None = Field(
        default=None,
        description="[width, height] of the file in whole pixels, or the name of a published size such as billboard;"
        " left out = that of its window.",
    )
    aspect: Extent | None = Field(
        default=None, description="Instead of size: the shape alone, [16, 9]; the file is as large as its window."
    )
    crop: DeliveryCrop | None = Field(
        default=None,
        description="Rows and columns of the full frame that are cropped away at its edges before all else, such as"
        " {bottom: 300}: the window is laid in what is left.",
    )
    around: Annotated[Several[Name], Field(min_length=1, max_length=1000)] | None = Field(
        default=None, description="Names of elements that the window keeps whole; left out = the whole frame."
    )
    margin: Margin = Field(
        default=0.0,
        description="With around: free space on every side, as a share of the window, from 0 to below 0.5; or four"
        " shares, [left, top, right, bottom], where copy needs more room on one side.",
    )
    composition: Composition = Field(
        default="centre",
        description="Where the window lies: centre = what it is laid around in its middle; thirds = that on the"
        " nearest crossing of thirds; {horizon: 0.4} = the horizon at that share of the height.",
    )
    safe: Safe | None = Field(
        default=None,
        description="Bands that others will cover, in pixels of the delivery; what `around` names is kept out of them,"
        " and copy in them is a finding. Drawn in the overlay.",
    )
    dpi: Annotated[float, Field(ge=1, le=10_000)] | None = Field(
        default=None, description="Pixels per inch written into the file; left out = the plate's."
    )
    profile: Literal["keep", "srgb"] = Field(
        default="keep", description="keep = the plate's colour profile; srgb = converted to sRGB."
    )
    likeness: LikenessWords = Field(
        default=LikenessWords(),
        description="What this picture may differ from its approved one; a tolerance left out = the scene's.",
    )
    overlay: bool = Field(
        default=False,
        description="true = the debug overlay of this delivery is written beside it, as NAME-overlay.png.",
    )
