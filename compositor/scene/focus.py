"""What the plate's lens was focused on."""

from typing import Annotated

from pydantic import Field

from compositor.scene.part import Millimetres, Part, PositiveMetres


class Focus(Part):
    """The setting of the plate's lens, from which the blur of every distance follows."""

    distance: PositiveMetres = Field(description="Metres from the camera to what is in focus.")
    f_number: Annotated[float, Field(gt=0, le=1000)] = Field(description="The aperture, 4 for f/4.")
    focal_mm: Millimetres = Field(
        description="The lens's own focal length in millimetres, not an equivalent; the sensor's size follows from it."
    )
