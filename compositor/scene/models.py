"""The scene as the user wrote it, complete and checked. Read one with :func:`compositor.scene.loader.load_scene`."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from compositor.scene.critique import MarkWords
from compositor.scene.delivery import Delivery
from compositor.scene.element import Element
from compositor.scene.graphic import Graphic
from compositor.scene.likeness import LikenessWords
from compositor.scene.part import FileName, Part, Several, Text
from compositor.scene.plate import Plate
from compositor.scene.tolerances import TolerancesWords
from compositor.scene.variants import Axes, Variant


def _version(value: Any) -> Any:
    """Refuses true and 1.0, which are equal to 1."""
    if type(value) is not int or value != 1:
        raise PydanticCustomError("version", "another version")
    return value


class Scene(Part):
    """One scene file: a plate, the elements placed in it, and what is written."""

    scene: Annotated[Literal[1], BeforeValidator(_version)] = Field(description="Version of this format; always 1.")
    title: Text = Field(default="", description="A title for people; left out = none.")
    plate: Plate = Field(description="The photograph that elements are placed in, and its camera.")
    elements: Annotated[Several[Element], Field(max_length=10_000)] = Field(
        default=(),
        description="What is placed in the plate; drawn far to near by distance, the order here breaks ties.",
    )
    marks: Annotated[Several[MarkWords], Field(max_length=1000)] = Field(
        default=(), description="Things that are in the plate already, to be judged: which disagree with the rest."
    )
    tolerances: TolerancesWords = Field(
        default=TolerancesWords(), description="From where on a difference is worth a finding; left out = house rules."
    )
    likeness: LikenessWords = Field(
        default=LikenessWords(), description="What pictures may differ from approved ones; left out = house rules."
    )
    deliveries: Annotated[Several[Delivery], Field(max_length=1000)] = Field(
        default=(), description="The files to write; left out = the whole frame as composite.png."
    )
    graphics: Annotated[Several[Graphic], Field(max_length=1000)] = Field(
        default=(), description="Copy, logos and plain areas pinned to the deliveries, in the order they are laid."
    )
    layers: Annotated[Several[Literal["tiff", "exr"]], Field(max_length=2)] = Field(
        default=(), description="Layered files besides layers.ora: tiff (16-bit pages), exr (half float, linear)."
    )
    variants: Annotated[Several[Variant], Field(max_length=10_000)] = Field(
        default=(),
        description="Variants by list. Those of variants, axes and table add up; the scene itself is variant base.",
    )
    axes: Axes = Field(
        default={},
        description="Variants by combination: axes with options with settings; every combination is a variant, named"
        " axis-option_axis-option.",
    )
    table: FileName | None = Field(
        default=None,
        description="Variants by a CSV file: a row each, column name, the other columns dotted keys; an empty cell"
        " leaves the scene's value.",
    )
