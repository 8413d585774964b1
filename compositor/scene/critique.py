"""Marks: things that are in the plate already, to be judged against each other and against the plate's camera."""

from pydantic import Field

from compositor.scene.element import Kind
from compositor.scene.part import Name, Part, Pixel, Point, PositiveMetres


class MarkWords(Part):
    """A thing in the finished picture: where it stands, its top, and how high it is or what it is."""

    name: Name = Field(description="Its unique name, for people.")
    contact: Point = Field(description="Where it touches the ground, [u, v] in the plate.")
    top: Point = Field(description="Its highest point straight above, [u, v] in the plate.")
    height: PositiveMetres | None = Field(default=None, description="Its real height in metres, where it is known.")
    kind: Kind | None = Field(
        default=None, description="What it is, by a kind of published height such as person or door."
    )
    horizon: Pixel | None = Field(
        default=None,
        description="Pixel row of its own horizon in the plate, at its contact's column: where its own level edges"
        " vanish, where that is known.",
    )
