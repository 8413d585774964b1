"""Graphics: flat artwork, plain areas and copy pinned to deliveries, outside the world of the plate."""

import re
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from compositor.scene.part import FileName, Name, Part

LONGEST_COPY = 2000
SMALLEST_PX = 8.0
"""Type smaller than this is not read on a screen; by eye."""
LEADING = 1.2
"""Distance of base lines as a multiple of the type size (common practice, no source)."""

_COLOUR = r"^#([0-9a-fA-F]{6}|[0-9a-fA-F]{8})$"
_SHARE = {"type": "number", "minimum": 0, "maximum": 1}
BoxShares = tuple[float, float, float, float]

Anchor = Literal["top-left", "top", "top-right", "left", "centre", "right", "bottom-left", "bottom", "bottom-right"]
Align = Literal["left", "centre", "right"]


def _copy(value: Any) -> Any:
    if isinstance(value, str):
        value = value.replace("\r\n", "\n").rstrip("\n")
        if any((ord(character) < 0x20 and character != "\n") or ord(character) == 0x7F for character in value):
            raise PydanticCustomError("copy_control", "control characters")
        if not value.strip():
            raise PydanticCustomError("copy_empty", "no copy")
    return value


def _colour(value: str) -> str:
    if re.fullmatch(_COLOUR, value) is None:
        raise PydanticCustomError("colour", "no colour")
    return value.lower()


def _four(value: Any) -> Any:
    numbers = isinstance(value, list | tuple) and all(type(item) in (int, float) for item in value)
    if not numbers or len(value) != 4:
        raise PydanticCustomError("box", "four numbers")
    left, top, right, bottom = (float(item) for item in value)
    if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
        raise PydanticCustomError("box", "four numbers")
    return (left, top, right, bottom)


Copy = Annotated[str, Field(max_length=LONGEST_COPY), BeforeValidator(_copy)]
Colour = Annotated[str, AfterValidator(_colour), WithJsonSchema({"type": "string", "pattern": _COLOUR})]
Box = Annotated[
    BoxShares,
    BeforeValidator(_four),
    WithJsonSchema({"type": "array", "items": _SHARE, "minItems": 4, "maxItems": 4}),
]
TypePixels = Annotated[float, Field(gt=0, le=10_000)]
MostLines = Annotated[int, Field(ge=1, le=200)]


class GraphicPlace(Part):
    """What is different about a graphic in one delivery; what is left out is as in the graphic itself."""

    box: Box | None = Field(default=None, description="The box in this delivery, shares [left, top, right, bottom].")
    anchor: Anchor | None = Field(default=None, description="Where in its box it sits in this delivery.")
    align: Align | None = Field(default=None, description="How lines of copy are aligned in this delivery.")
    size: TypePixels | None = Field(default=None, description="Type size in pixels in this delivery.")
    lines: MostLines | None = Field(default=None, description="Most lines of copy in this delivery.")


class Graphic(Part):
    """Flat artwork, a plain area or copy, pinned to deliveries; later ones lie over earlier ones.

    Which keys go together is checked by :mod:`compositor.scene.combinations`.
    """

    name: Name = Field(description="Its unique name.")
    text: Copy | None = Field(default=None, description="Copy, wrapped and fitted into the box.")
    image: FileName | None = Field(
        default=None, description="Instead of text: a picture file with alpha (a logo), fitted into the box."
    )
    fill: Colour | None = Field(default=None, description='Instead of text: a plain area in this colour, "#rrggbbaa".')
    font: FileName | None = Field(
        default=None, description="With text: the font file, relative to the scene file. Never another one."
    )
    colour: Colour | None = Field(default=None, description='With text: its colour in sRGB, "#rrggbb" or "#rrggbbaa".')
    box: Box = Field(
        default=(0.0, 0.0, 1.0, 1.0),
        description="Where it may be, [left, top, right, bottom] as shares of the delivery; left out = everywhere.",
    )
    anchor: Anchor = Field(default="centre", description="Where in its box it sits; left out = centre.")
    align: Align | None = Field(
        default=None, description="With text: how its lines are aligned; left out = as the anchor says."
    )
    size: TypePixels | None = Field(
        default=None, description="With text: type size in pixels; left out = as large as fits the box."
    )
    smallest: TypePixels = Field(
        default=SMALLEST_PX,
        description=f"With text: no smaller than this is fitted; left out = {SMALLEST_PX:g} pixels.",
    )
    lines: MostLines | None = Field(default=None, description="With text: most lines; left out = as many as fit.")
    leading: Annotated[float, Field(ge=0.5, le=5)] = Field(
        default=LEADING,
        description="With text: distance of base lines in type sizes, more where lines would touch;"
        f" left out = {LEADING:g}.",
    )
    visible: bool = Field(default=True, description="false = left out, as if it were not in the file.")
    deliveries: dict[Name, GraphicPlace] | None = Field(
        default=None,
        description="The deliveries that show it, each with what is different there, {} for nothing; left out = all.",
    )
