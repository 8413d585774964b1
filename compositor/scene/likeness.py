"""Likeness: what a picture may differ from its approved one, where the house's own tolerances do not fit."""

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from compositor.base.errors import Fault, Key
from compositor.base.tolerances import PICTURE
from compositor.scene.part import Part, Text
from compositor.scene.tree import Node

_Positive = Annotated[float, Field(gt=0, le=100_000)]


class LikenessWords(Part):
    """What a picture may differ by and still pass for the approved one. Left out = the scene's, or the house's own."""

    moved: Annotated[float, Field(gt=0, le=100)] | None = Field(
        default=None, description=f"Pixels that anything may have moved; left out = {PICTURE.moved_px}."
    )
    lightness: Annotated[float, Field(gt=0, le=100)] | None = Field(
        default=None,
        description="Levels of 255 that an element as a whole may be lighter or darker;"
        f" left out = {PICTURE.region_lightness}. What a small part of the picture may be changes by the same factor.",
    )
    colour: Annotated[float, Field(gt=0, le=100)] | None = Field(
        default=None,
        description=f"a*b* distance of an element's colour as a whole; left out = {PICTURE.region_colour}."
        " What a small part of the picture may be changes by the same factor.",
    )
    patch: _Positive | None = Field(
        default=None,
        description="Pixels times CIEDE2000 beyond what is seen, of one connected patch;"
        f" left out = {PICTURE.patch:.0f}.",
    )
    similarity: Annotated[float, Field(gt=0, le=1)] | None = Field(
        default=None,
        description=f"Structural similarity that every small part must have; left out = {PICTURE.tile_similarity}.",
    )
    reason: Text | None = Field(
        default=None, description="Why; needed where a tolerance is wider than the house's own."
    )


_HOUSE = {
    "moved": PICTURE.moved_px,
    "lightness": PICTURE.region_lightness,
    "colour": PICTURE.region_colour,
    "patch": PICTURE.patch,
}


def likeness_faults(node: Node, key: Key) -> Iterator[Fault]:
    """A wider tolerance without a reason: nobody would know later whether it may be taken back."""
    if not isinstance(node.value, dict) or "reason" in node.mapping:
        return
    for name, entry in node.mapping.items():
        value = entry.value
        if isinstance(value, int | float) and not isinstance(value, bool):
            wider = value < PICTURE.tile_similarity if name == "similarity" else value > _HOUSE.get(name, value)
            if wider:
                yield Fault((*key, name), "wider than the house's own tolerance; say why in `reason` beside it")
