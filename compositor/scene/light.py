"""The light of the plate: where the sun stands, how much of the light is its own, and where its shadows lie already."""

from datetime import datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, Tag, WithJsonSchema
from pydantic_core import PydanticCustomError

from compositor.scene.part import (
    Degrees,
    FileName,
    Forms,
    Part,
    Point,
    Segment,
    Several,
    differ,
)
from compositor.scene.polygon import Polygon

SUN_FORMS = Forms("must be a share from 0 to 1, or {lit, shaded}: two polygons in the plate", ("lit",), number=True)

_TIME = r"^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:?\d\d)$"


class SunShadow(Part):
    """A shadow in the plate that shows where the sun stands."""

    base: Point = Field(description="Where an upright thing touches the ground, [u, v] in the plate.")
    top: Point = Field(description="Its highest point, straight above the base in the world, [u, v].")
    tip: Point = Field(description="Where the shadow of that point lies on the ground, [u, v].")


class LightPatches(Part):
    """Two patches of the same ground, one in the sun and one in shadow."""

    lit: Polygon = Field(description="A polygon [[u, v], ...] in the plate around ground that lies in the sun.")
    shaded: Polygon = Field(
        description="A polygon [[u, v], ...] in the plate around the same ground that lies in shadow."
    )


def _moment(value: Any) -> Any:
    """A time with its offset from UTC."""
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise PydanticCustomError("moment", "no time")
    return value


Moment = Annotated[str, BeforeValidator(_moment), WithJsonSchema({"type": "string", "pattern": _TIME})]

_Share = Annotated[float, Field(ge=0, le=1)]
SunShare = Annotated[
    Annotated[_Share, Tag("form:number")] | Annotated[LightPatches, Tag("form:lit")],
    SUN_FORMS.chooser(),
]


def _two(value: Any) -> Any:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise PydanticCustomError("two", "{wanted}", {"wanted": "two numbers, [latitude, longitude]"})
    return (value[0], value[1])


Place = Annotated[
    tuple[Annotated[float, Field(ge=-90, le=90)], Annotated[float, Field(ge=-180, le=180)]],
    BeforeValidator(_two),
    WithJsonSchema({"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}),
]


class Light(Part):
    """The sun's direction in one of four forms, or none under an overcast sky."""

    azimuth: Degrees | None = Field(
        default=None,
        description="The sun's direction seen from above, degrees clockwise from straight ahead of the camera:"
        " 90 = from the right, 180 = from behind the camera.",
    )
    elevation: Annotated[float, Field(ge=0.5, le=90)] | None = Field(
        default=None, description="The sun's height above the horizon in degrees."
    )
    pixel: Point | None = Field(default=None, description="Instead: the plate's pixel [u, v] where the sun stands.")
    shadow: SunShadow | None = Field(
        default=None, description="Instead: base, top and shadow's tip of one upright thing in the plate."
    )
    time: Moment | None = Field(
        default=None,
        description="Instead: when the plate was taken, with the offset from UTC, 2026-06-21T18:30:00+02:00; goes with"
        " place and heading.",
    )
    place: Place | None = Field(
        default=None, description="Where the plate was taken: [latitude, longitude] in degrees north and east."
    )
    heading: Degrees | None = Field(
        default=None, description="The compass direction that the camera looked to, degrees clockwise from true north."
    )
    sun: SunShare | None = Field(
        default=None,
        description="The sun's share of the light on the ground, 0 (overcast) to 1, or {lit, shaded}: patches of the"
        " same ground to measure it by; left out = a clear sky's at this height of the sun.",
    )
    shade: FileName | None = Field(
        default=None,
        description="A picture of the plate's size, white where the ground lies in shadow already: it gets no second"
        " one.",
    )
    walls: Annotated[Several[Annotated[Segment, AfterValidator(differ)]], Field(max_length=100)] = Field(
        default=(),
        description="Walls in the plate that shadows fall on: two plate pixels [[u, v], [u, v]] each, where the wall"
        " meets the ground, from one of its ends to the other.",
    )


class Shadow(Part):
    """Which shadows an element throws. `false` stands for none, `true` for both."""

    cast: bool = Field(default=True, description="false = the sun throws no shadow of it.")
    contact: bool = Field(default=True, description="false = the ground does not get darker close to where it stands.")


def _switch(value: Any) -> Any:
    """False and true, which stand for none and both."""
    return {"cast": value, "contact": value} if isinstance(value, bool) else value


_KEYS = {
    name: {"type": "boolean", "default": True, "description": field.description}
    for name, field in Shadow.model_fields.items()
}
ShadowSwitch = Annotated[
    Shadow,
    BeforeValidator(_switch),
    WithJsonSchema(
        {"anyOf": [{"type": "boolean"}, {"type": "object", "properties": _KEYS, "additionalProperties": False}]}
    ),
]
