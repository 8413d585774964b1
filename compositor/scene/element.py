"""Elements: pictures placed in the plate. One class for its three kinds: photograph, artwork, part of the plate."""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, Tag, WithJsonSchema
from pydantic_core import PydanticCustomError

from compositor.base.known_sizes import KINDS
from compositor.scene.camera import Camera
from compositor.scene.light import ShadowSwitch
from compositor.scene.look import Backdrop, Edges, Look
from compositor.scene.part import (
    Degrees,
    ExtentMetres,
    FileName,
    Forms,
    Metres,
    Name,
    Part,
    Point,
    PositiveMetres,
    Segment,
    Several,
    Text,
    differ,
)
from compositor.scene.polygon import Polygon
from compositor.scene.suggestions import suggestion

GROUND_FORMS = Forms("must be a mapping: {distance, offset} or {pixel}", ("distance", "pixel"))

Stance = Literal["upright", "flat", "wall"]


class GroundPosition(Part):
    """A place on the ground in metres."""

    distance: PositiveMetres = Field(description="Metres from the plate's camera straight ahead along the ground.")
    offset: Metres = Field(default=0.0, description="Metres to the right (+) or left (-); left out = 0.")


class GroundPixel(Part):
    """A place on the ground by its pixel in the plate."""

    pixel: Point = Field(description="The plate's pixel [u, v] where the contact goes; below the horizon.")


Ground = Annotated[
    Annotated[GroundPosition, Tag("form:distance")] | Annotated[GroundPixel, Tag("form:pixel")],
    GROUND_FORMS.chooser(),
]


def _known_kind(value: Any) -> Any:
    if isinstance(value, str) and value not in KINDS:
        raise PydanticCustomError("kind", "no kind {near}", {"near": suggestion(value, KINDS)})
    return value


Kind = Annotated[str, BeforeValidator(_known_kind), WithJsonSchema({"enum": list(KINDS)})]
"""A kind of known height."""


class OwnLight(Part):
    """From where the light fell on it in its own photograph."""

    azimuth: Degrees = Field(
        description="Seen from above, degrees clockwise from straight ahead of its camera: 90 = from the right, 180 ="
        " from behind the camera."
    )
    elevation: Annotated[float, Field(ge=0, le=90)] = Field(description="Degrees above the horizon.")


class Alternative(Part):
    """Another photograph of the same subject."""

    image: FileName = Field(description="Its picture file, relative to the scene file.")
    matte: FileName | None = Field(default=None, description="Its matte; left out = alpha.")
    camera: Camera = Field(description="The camera that took it.")
    contact: Point = Field(description="The nearest point where it touches the ground, [u, v] in its own pixels.")
    top: Point | None = Field(default=None, description="Its highest point; left out = the top of its matte.")
    height: PositiveMetres | None = Field(default=None, description="Its real height in metres, from contact to top.")


class Element(Part):
    """A picture placed in the plate.

    In a scene that was loaded, `like` has been resolved already and the keys are complete.

    Which keys go together is checked by :mod:`compositor.scene.combinations`.
    """

    name: Name = Field(description="Its unique name, which is its layer's.")
    like: Name | None = Field(
        default=None,
        description="Another element's name: all its keys except the name are taken over; a key written here replaces"
        " that whole key, and null drops it.",
    )
    image: FileName | None = Field(
        default=None, description="Its picture file, relative to the scene file; with alpha, or together with a matte."
    )
    matte: FileName | None = Field(
        default=None, description="A picture of the same size, white where the element is; left out = alpha."
    )
    from_plate: Polygon | None = Field(
        default=None,
        description="Instead of an image: a polygon [[u, v], ...] in plate pixels that cuts it out.",
    )
    size: ExtentMetres | None = Field(
        default=None,
        description="Real [width, height] in metres of artwork (poster, floor graphic); it then has no camera.",
    )
    camera: Camera | None = Field(default=None, description="The camera that took this element's picture.")
    contact: Point | None = Field(
        default=None,
        description="The nearest point where it touches the ground, [u, v] in its own pixels.",
    )
    top: Point | None = Field(
        default=None, description="Its highest point, [u, v] in its own pixels; left out = the top of its matte."
    )
    height: PositiveMetres | None = Field(default=None, description="Its real height in metres, from contact to top.")
    depth: PositiveMetres | None = Field(
        default=None,
        description="Its real extent from front to back in metres, for its shadows; left out = what the sides of its"
        " footprint show, else half of its width.",
    )
    ground: Ground = Field(description="Where its contact goes: {distance, offset} in metres, or {pixel: [u, v]}.")
    stance: Stance = Field(
        default="upright", description="upright = stands; flat = lies on the ground; wall = in the plane of a wall."
    )
    wall: Annotated[Segment, AfterValidator(differ)] | None = Field(
        default=None,
        description="With stance wall: two plate pixels [[u, v], [u, v]] where that wall meets the ground.",
    )
    turn: Degrees = Field(
        default=0.0, description="Degrees clockwise that a flat element or artwork is turned in its plane."
    )
    raise_: Metres = Field(
        default=0.0, alias="raise", description="Metres that its contact is above the ground (a kerb, hanging, flying)."
    )
    flip: bool = Field(default=False, description="true = mirrored left to right.")
    shadow: ShadowSwitch | None = Field(
        default=None,
        description="{cast, contact}: which shadows it throws; false = none. Left out = both where the plate has a"
        " light, else none; given without a light, only the contact shadow of an overcast sky.",
    )
    look: Look | None = Field(
        default=None,
        description="How it is brought to the plate's light, grain and sharpness; left out = as it is.",
    )
    edges: Edges | None = Field(default=None, description="Corrections of its outline; left out = as it was cut out.")
    backdrop: Backdrop | None = Field(
        default=None, description="A flat studio backdrop to be keyed out of its picture; left out = none."
    )
    visible: bool = Field(default=True, description="false = left out of the picture, as if it were not in the file.")
    kind: Kind | None = Field(
        default=None,
        description="What it is, by a kind of published height such as person or door; its height is held against it.",
    )
    stands_on: Text | None = Field(
        default=None, description="With raise: what it stands on or hangs from, in words, so that it counts as meant."
    )
    plumb: Annotated[Segment, AfterValidator(differ)] | None = Field(
        default=None,
        description="An edge of its picture, [[u, v], [u, v]], that is upright in the world; it tells what roll is"
        " left over.",
    )
    light: OwnLight | None = Field(
        default=None, description="The light in its own photograph, to be held against the plate's."
    )
    alternatives: Annotated[Several[Alternative], Field(max_length=100)] = Field(
        default=(), description="Other photographs of it that could be used; check ranks them by fit."
    )
    alternatives_in: FileName | None = Field(
        default=None,
        description="A folder of more of them: beside each picture a file NAME.camera.yaml with the keys camera,"
        " contact and, if needed, matte, top and height.",
    )

    @property
    def form(self) -> Literal["photograph", "artwork", "part of the plate"]:
        """What the element is, by the keys that are there."""
        if self.from_plate is not None:
            return "part of the plate"
        return "photograph" if self.size is None else "artwork"
