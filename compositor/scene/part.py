"""What every part of a scene file is built from: the strict base, numbers with their ranges, points, names.

Nothing is coerced: a yes is not a true, a text is not a number, a true is not a 1, infinity is not a distance. Every
field has a description, which is what an editor shows while somebody types.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any, Generic, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Strict, WithJsonSchema
from pydantic_core import PydanticCustomError

from compositor.base.sameness import MOST_KEPT, Itself
from compositor.scene.names import LONGEST_NAME, name_fault

LARGEST_PX = 1_000_000
"""No picture is larger; farther away a marked point is a slip of the keyboard."""

LARGEST_SIDE_PX = 65_500
"""The longest side of a JPEG picture as the common encoders write it (JPEG_MAX_DIMENSION of libjpeg)."""

FORM = "form:"
"""Begins the tag of a union's branch; such parts of an error's place are no keys of the file."""


class Part(BaseModel):
    """A mapping of the scene file: unknown keys and values of another kind are refused; frozen once read."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


Words = TypeVar("Words", bound=Part)


class Exactly(Generic[Words]):
    """A part of a scene as a key: equal to another that says the same in the same words, or under some of its keys. By
    value alone a nought would be minus nought, and a key that is left out one that states what is taken for granted."""

    __slots__ = ("_text", "words")

    def __init__(self, words: Words, keys: frozenset[str] | None = None) -> None:
        self.words, self._text = words, _text(Itself(words), keys)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Exactly) and type(other.words) is type(self.words) and other._text == self._text

    def __hash__(self) -> int:
        return hash(self._text)


@lru_cache(MOST_KEPT)
def _text(words: Itself[Part], keys: frozenset[str] | None) -> str:
    return words.value.model_dump_json(include=None if keys is None else set(keys), exclude_unset=True)


Item = TypeVar("Item")
Several = Annotated[tuple[Item, ...], Strict(False)]
"""A list of the file, kept as a tuple."""

Pixel = Annotated[float, Field(ge=-LARGEST_PX, le=LARGEST_PX)]
PositivePixels = Annotated[float, Field(gt=0, le=LARGEST_PX)]
WholePixels = Annotated[int, Field(ge=0, le=LARGEST_SIDE_PX)]
SidePixels = Annotated[int, Field(ge=1, le=LARGEST_SIDE_PX)]
Metres = Annotated[float, Field(ge=-100_000, le=100_000)]
PositiveMetres = Annotated[float, Field(gt=0, le=100_000)]
Millimetres = Annotated[float, Field(gt=0, le=10_000)]
Degrees = Annotated[float, Field(ge=-360, le=360)]


def _two(wanted: str) -> Callable[[Any], tuple[Any, Any]]:
    """A validator that takes a list of exactly two for a tuple."""

    def check(value: Any) -> tuple[Any, Any]:
        if not isinstance(value, list | tuple) or len(value) != 2:
            raise PydanticCustomError("two", "{wanted}", {"wanted": wanted})
        return (value[0], value[1])

    return check


def _pair_schema(items: dict[str, Any]) -> WithJsonSchema:
    """Two alike, without the keyword `prefixItems`, which editors handle badly."""
    return WithJsonSchema({"type": "array", "items": items, "minItems": 2, "maxItems": 2})


_NUMBER: dict[str, Any] = {"type": "number", "minimum": -LARGEST_PX, "maximum": LARGEST_PX}
_LENGTH = {"type": "number", "exclusiveMinimum": 0}
_POINT = {"type": "array", "items": _NUMBER, "minItems": 2, "maxItems": 2}

Point = Annotated[tuple[Pixel, Pixel], BeforeValidator(_two("two numbers, [u, v]")), _pair_schema(_NUMBER)]
"""(u, v) in continuous pixels."""

Rows = Annotated[tuple[Pixel, Pixel], BeforeValidator(_two("two rows, [low, high]")), _pair_schema(_NUMBER)]
Corner = Annotated[
    tuple[Annotated[float, Field(ge=0, le=LARGEST_PX)], Annotated[float, Field(ge=0, le=LARGEST_PX)]],
    BeforeValidator(_two("two numbers, [u, v]")),
    _pair_schema({"type": "number", "minimum": 0, "maximum": LARGEST_PX}),
]
Extent = Annotated[
    tuple[PositivePixels, PositivePixels],
    BeforeValidator(_two("two lengths in pixels, [width, height]")),
    _pair_schema(_LENGTH),
]
WholeExtent = Annotated[
    tuple[SidePixels, SidePixels],
    BeforeValidator(_two("two whole numbers of pixels, [width, height]")),
    _pair_schema({"type": "integer", "minimum": 1, "maximum": LARGEST_SIDE_PX}),
]
ExtentMetres = Annotated[
    tuple[PositiveMetres, PositiveMetres],
    BeforeValidator(_two("two lengths in metres, [width, height]")),
    _pair_schema(_LENGTH),
]
ExtentMillimetres = Annotated[
    tuple[Millimetres, Millimetres],
    BeforeValidator(_two("two lengths in millimetres, [width, height]")),
    _pair_schema(_LENGTH),
]


def differ(points: tuple[Any, Any]) -> tuple[Any, Any]:
    """Refuses a segment without length."""
    if points[0] == points[1]:
        raise PydanticCustomError("coincide", "the two coincide")
    return points


def _segment(value: Any) -> tuple[Any, Any]:
    return _two("two points, [[u, v], [u, v]]")(value)


Segment = Annotated[tuple[Point, Point], BeforeValidator(_segment), _pair_schema(_POINT)]
"""Two points of a picture; add AfterValidator(differ) where they may not coincide."""


def _name(value: Any) -> Any:
    if isinstance(value, str):
        fault = name_fault(value)
        if fault is not None:
            raise PydanticCustomError("name", "{fault}", {"fault": fault})
    return value


Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME), BeforeValidator(_name)]
"""A name that can be a layer, a file and a part of a dotted key."""


def _line(value: Any) -> Any:
    if isinstance(value, str) and any(ord(character) < 0x20 or ord(character) == 0x7F for character in value):
        raise PydanticCustomError("control", "control characters")
    return value


Text = Annotated[str, Field(max_length=300), BeforeValidator(_line)]
FileName = Annotated[str, Field(min_length=1, max_length=4000), BeforeValidator(_line)]
"""A path as written in the scene file, relative to it unless absolute."""


@dataclass(frozen=True)
class Forms:
    """The forms that one key may have. wanted: the sentence for a value of no known kind; keys: one per mapping."""

    wanted: str
    keys: tuple[str, ...]
    number: bool = False
    text: bool = False

    def tag(self, value: Any) -> str | None:
        """The branch by the one key that is there: ``form:KEY``, or ``form:number``, ``form:text``; else None."""
        if isinstance(value, dict | BaseModel):
            given = value if isinstance(value, dict) else type(value).model_fields
            present = [key for key in self.keys if key in given]
            return FORM + present[0] if len(present) == 1 else None
        if self.number and isinstance(value, int | float) and not isinstance(value, bool):
            return FORM + "number"
        return FORM + "text" if self.text and isinstance(value, str) else None

    def chooser(self) -> Discriminator:
        """The discriminator of a union of these forms."""
        return Discriminator(self.tag, custom_error_type="forms", custom_error_message="one form wanted")
