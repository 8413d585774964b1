"""The air of the plate: haze that takes contrast from what stands far away."""

import re
from typing import Annotated

from pydantic import AfterValidator, Field, Tag, WithJsonSchema
from pydantic_core import PydanticCustomError

from compositor.scene.part import Forms, Part, PositiveMetres

AIR_FORMS = Forms("must be a mapping: {visibility} or {optical_range}", ("visibility", "optical_range"))

_OPAQUE = "^#[0-9a-fA-F]{6}$"


def _opaque(value: str) -> str:
    if re.fullmatch(_OPAQUE, value) is None:
        raise PydanticCustomError("opaque_colour", "no colour")
    return value.lower()


OpaqueColour = Annotated[str, AfterValidator(_opaque), WithJsonSchema({"type": "string", "pattern": _OPAQUE})]
"""A colour by its values in the picture it belongs to, "#rrggbb"."""


class _Air(Part):
    colour: OpaqueColour | None = Field(
        default=None,
        description="The colour that the air itself has, by the plate's own values, \"#rrggbb\"; left out = the plate's"
        " colour at the horizon.",
    )


class VisibleAir(_Air):
    """Air by how far one sees."""

    visibility: PositiveMetres = Field(
        description="Metres at which 2 % of the contrast is left, so that one can just tell dark things from the sky."
    )


class MeasuredAir(_Air):
    """Air by its meteorological optical range."""

    optical_range: PositiveMetres = Field(
        description="Meteorological optical range: metres after which 5 % of a beam of light is left."
    )


Air = Annotated[
    Annotated[VisibleAir, Tag("form:visibility")] | Annotated[MeasuredAir, Tag("form:optical_range")],
    AIR_FORMS.chooser(),
]
