"""Deliveries: the files that are written, each a window of the full frame at a size."""

from typing import Annotated, Literal

from pydantic import Field

from compositor.scene.part import Name, Part, Several, WholeExtent

QUALITY = 92
"""JPEG quality where none is given (common practice, no source)."""


class Delivery(Part):
    """One file to write."""

    name: Name = Field(description="The file's name without its ending; unique.")
    format: Literal["png", "jpeg"] = Field(default="png", description="png (lossless) or jpeg.")
    quality: Annotated[int, Field(ge=1, le=100)] = Field(
        default=QUALITY, description=f"JPEG quality from 1 to 100, only with format jpeg; left out = {QUALITY}."
    )
    size: WholeExtent | None = Field(
        default=None, description="[width, height] of the file in whole pixels; left out = that of its window."
    )
    around: Annotated[Several[Name], Field(min_length=1, max_length=1000)] | None = Field(
        default=None, description="Names of elements that the window is laid around; left out = the whole frame."
    )
    margin: Annotated[float, Field(ge=0, lt=0.5)] = Field(
        default=0.0,
        description="With around: free space on every side, as a share of the window, from 0 to below 0.5.",
    )
