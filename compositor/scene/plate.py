"""The plate: the picture that everything is placed in."""

from typing import Annotated, Literal

from pydantic import Field

from compositor.scene.air import Air
from compositor.scene.camera import Camera
from compositor.scene.focus import Focus
from compositor.scene.light import Light
from compositor.scene.part import FileName, Name, Part, PositiveMetres, Several, WholePixels


class Extend(Part):
    """More picture around the plate; the camera follows by itself."""

    left: WholePixels = Field(default=0, description="Columns added at the left, in whole pixels.")
    top: WholePixels = Field(default=0, description="Rows added above, in whole pixels.")
    right: WholePixels = Field(default=0, description="Columns added at the right, in whole pixels.")
    bottom: WholePixels = Field(default=0, description="Rows added below, in whole pixels.")
    fill: Literal["mirror", "stretch", "inpaint"] = Field(
        default="mirror",
        description="How the new area is filled: mirror = the picture mirrored at its edge; stretch = the ground goes"
        " on below, towards the camera, the other sides are mirrored; inpaint = grown from patches of what is near.",
    )


class Holdout(Part):
    """A part of the plate that stands in front of what is farther away."""

    name: Name = Field(description="Its name, which is its layer's; no element may have the same.")
    matte: FileName = Field(description="A picture of the plate's size, white where this part is.")
    distance: PositiveMetres = Field(description="Metres from the camera along the ground to this part.")


class Plate(Part):
    """The photograph that elements are placed in, and its camera."""

    image: FileName = Field(description="The plate's picture file, relative to the scene file.")
    camera: Camera = Field(description="The camera that took the plate.")
    light: Light | None = Field(
        default=None,
        description="The sun and its share of the light, for shadows; left out = nothing throws a shadow.",
    )
    air: Air | None = Field(
        default=None,
        description="Haze: {visibility} or {optical_range} in metres, and a colour if need be; left out = clear.",
    )
    focus: Focus | None = Field(
        default=None, description="What the lens was focused on; left out = everything is sharp."
    )
    holdouts: Annotated[Several[Holdout], Field(max_length=1000)] = Field(
        default=(), description="Parts of the plate that stand in front of elements farther away."
    )
    extend: Extend | None = Field(default=None, description="More picture around the plate; left out = none.")
