"""The scene as the user wrote it, complete and checked. Read one with :func:`compositor.scene.loader.load_scene`."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from compositor.scene.delivery import Delivery
from compositor.scene.element import Element
from compositor.scene.part import Part, Several, Text
from compositor.scene.plate import Plate


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
    deliveries: Annotated[Several[Delivery], Field(max_length=1000)] = Field(
        default=(), description="The files to write; left out = the whole frame as composite.png."
    )
