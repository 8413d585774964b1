"""The Plan: everything that drawing needs, as plain numbers. Nothing that reads a plan decides anything.

All pixel positions are in the full plate frame after extension, unless the name says otherwise.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeVar

import numpy as np

from compositor.base.arrays import Floats, fixed
from compositor.base.tolerances import HOUSE, PICTURE, PictureTolerances, Tolerances
from compositor.geometry.camera import Camera
from compositor.geometry.distortion import Distortion
from compositor.geometry.focus import Focus
from compositor.geometry.planes import Plane
from compositor.plan.effects import Air, Cutting, Look
from compositor.plan.light import Light

Point = tuple[float, float]
Matrix = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
Stance = Literal["upright", "flat", "wall"]
Fill = Literal["mirror", "stretch", "inpaint"]
Format = Literal["png", "jpeg", "tiff", "webp", "avif"]


@dataclass(frozen=True)
class Lens:
    """What is needed to take lens distortion off a picture, in that picture's own pixels."""

    distortion: Distortion
    focal_px: float
    principal_px: Point


@dataclass(frozen=True)
class Source:
    """Where pixels come from. Equal sources are opened and prepared once.

    image and matte are written as in the scene file (relative to it). outline_px: a polygon in the picture's
    own pixels that cuts the element out of it (an element taken from the plate). lens: distortion to remove.
    cutting: work on its edges.
    """

    image: str
    matte: str | None = None
    outline_px: tuple[Point, ...] | None = None
    lens: Lens | None = None
    cutting: Cutting | None = None


@dataclass(frozen=True)
class Extension:
    """Rows and columns of picture added around the plate, and how they are filled."""

    left: int = 0
    top: int = 0
    right: int = 0
    bottom: int = 0
    fill: Fill = "mirror"


@dataclass(frozen=True)
class EdgeGroup:
    """Edges that are parallel in the world, as marked, and the vanishing point they gave (homogeneous)."""

    edges_px: tuple[tuple[Point, Point], ...]
    vanishing_px: tuple[float, float, float]


@dataclass(frozen=True)
class PlatePlan:
    """The plate and its solved camera (in the full frame). plus_minus: one standard deviation per key."""

    source: Source
    extension: Extension
    camera: Camera
    horizon_px: tuple[Point, Point]  # at the left and right edge of the frame
    plus_minus: Mapping[str, float]  # pitch_deg, roll_deg, focal_px, camera_height_m, horizon_left_px, horizon_right_px
    assumed: tuple[str, ...]
    edge_groups: tuple[EdgeGroup, ...]
    air: Air | None = None
    focus: Focus | None = None

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height) of the full frame."""
        return self.camera.size_px


def positive_in_front(matrix: Floats, own_contact_px: Point) -> Floats:
    """A homography of the sign that makes the third coordinate > 0 in front of the camera, where the contact is."""
    return matrix if matrix[2] @ [*own_contact_px, 1.0] > 0.0 else -matrix


@dataclass(frozen=True)
class PlacedElement:
    """An element in its place. own_* are numbers of the picture it comes from, in that picture's pixels."""

    name: str
    source: Source
    stance: Stance
    homography: Matrix  # element pixels to plate pixels
    plane: Plane  # in the plate's world
    distance_m: float  # Y of the contact's ground point
    offset_m: float  # X of it
    raise_m: float
    contact_px: Point
    top_px: Point
    own_size_px: tuple[int, int]
    own_hull_px: tuple[Point, ...]  # convex hull of what its matte covers
    own_contact_px: Point
    own_top_px: Point
    own_camera: Camera | None  # None: artwork, which no camera took
    scale_ratio: float
    enlargement_ratio: float
    height_m: float
    camera_height_m: float
    horizon_gap_px: float | None  # None: that height lies behind a camera that looks down steeply
    view_elevation_mismatch_deg: float
    view_azimuth_mismatch_deg: float
    own_distance_m: float | None  # where this photograph fits in this plate, along the line of sight; None: anywhere
    stated_height_m: float | None  # what the scene says, for the audit
    stated_camera_height_m: float | None
    artwork_m: tuple[float, float] | None  # (width, height) of artwork
    plus_minus: Mapping[str, float]
    assumed: tuple[str, ...]
    kind: str | None = None  # what it claims to be, a kind of known size
    stands_on: str | None = None  # why it is raised
    plumb_px: tuple[Point, Point] | None = None  # an edge of its own picture that is upright in the world
    alternatives: tuple["Alternative", ...] = ()
    depth_m: float | None = None  # its stated extent front to back
    own_sun: tuple[float, float] | None = None  # (azimuth, elevation) of the light in its own photograph, degrees
    look: Look | None = None

    @cached_property
    def homography_matrix(self) -> Floats:
        """Element pixels to plate pixels, 3×3 float64, of the sign that makes the third coordinate > 0 in front.

        In front is where the contact is. `homography` itself is scaled to a 1 in its corner, which turns that sign
        where the picture's own corner goes behind the camera.
        """
        return fixed(positive_in_front(np.array(self.homography), self.own_contact_px))


@dataclass(frozen=True)
class Alternative:
    """Another photograph that may take an element's place: the angles from which it was seen, and the settings
    (key under the element, value) that put it in."""

    name: str
    depression_deg: float  # how far its camera looked down on the contact
    azimuth_deg: float  # how far to the right of its camera's axis the contact stood
    settings: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Mark:
    """A thing that is in the plate already, judged instead of placed. claimed_m: (low, likely, high) of its real
    height, None where nothing is claimed; claim: in words. own_horizon_row_px: of a horizon of its own, at its
    contact's column. free: the plate's camera height is not known, so that heights are only told against each other."""

    name: str
    contact_px: Point
    top_px: Point
    ground_m: Point
    height_m: float
    claimed_m: tuple[float, float, float] | None = None
    claim: str = ""
    own_horizon_row_px: float | None = None
    free: bool = False


@dataclass(frozen=True)
class Holdout:
    """A part of the plate that stands in front of what is farther away than it."""

    name: str
    matte: str
    distance_m: float


@dataclass(frozen=True)
class TypeLine:
    """One line of copy: where its pen starts on the base line, in px of the delivery."""

    text: str
    left_px: float
    base_px: float


@dataclass(frozen=True)
class PlacedGraphic:
    """Copy, flat artwork or a plain area on a delivery.

    box_px: left, top, right, bottom of its ink in px of the delivery. file: its font or picture, as the scene writes
    it. colour: sRGB, straight alpha, 0..1. type_px: type size. rightwards: whether its lines run from left to right.
    """

    name: str
    kind: Literal["text", "image", "fill"]
    box_px: tuple[float, float, float, float]
    file: str | None = None
    colour: tuple[float, float, float, float] | None = None
    lines: tuple[TypeLine, ...] = ()
    type_px: float = 0.0
    rightwards: bool = True
    enlargement_ratio: float = 1.0


@dataclass(frozen=True)
class Delivery:
    """One file to write: a window of the full frame (left, top, width, height; px, fractions allowed) at a size.

    margin_short_px, rule_short_px: by how many px of the frame margin and rule of composition could not be kept.
    cropped_px: what is left out of the frame before all else, left, top, right, bottom. kept: the elements it is laid
    around. safe_px: bands that will be covered, left, top, right, bottom, in px of the delivery. depth_bits, dpi None:
    as the plate. likeness: what it may differ from its approved picture.
    """

    name: str
    format: Format
    quality: int
    window_px: tuple[float, float, float, float]
    size_px: tuple[int, int]
    margin_short_px: float = 0.0
    rule_short_px: float = 0.0
    cropped_px: tuple[int, int, int, int] = (0, 0, 0, 0)
    kept: tuple[str, ...] = ()
    safe_px: tuple[int, int, int, int] = (0, 0, 0, 0)
    depth_bits: Literal[8, 16] | None = None
    dpi: float | None = None
    profile: Literal["keep", "srgb"] = "keep"
    overlay: bool = False
    graphics: tuple[PlacedGraphic, ...] = ()
    likeness: PictureTolerances = PICTURE


@dataclass(frozen=True)
class StackItem:
    """One storey of the picture, from far to near: a placed element or a holdout, by name."""

    kind: Literal["element", "holdout"]
    name: str


@dataclass(frozen=True)
class Plan:
    """A complete plan of one variant. `stack` holds the draw order, far to near, elements and holdouts."""

    title: str
    plate: PlatePlan
    elements: tuple[PlacedElement, ...]
    holdouts: tuple[Holdout, ...]
    stack: tuple[StackItem, ...]
    deliveries: tuple[Delivery, ...]
    tolerances: Tolerances = HOUSE
    marks: tuple[Mark, ...] = ()
    layered: tuple[Literal["tiff", "exr"], ...] = ()  # layered files besides layers.ora
    light: Light | None = None  # None: nothing throws a shadow
    deliveries_listed: bool = True  # False: the scene names none, and the whole frame is written

    def element(self, name: str) -> PlacedElement:
        """The placed element of that name. Raises KeyError."""
        return _named(self.elements, name)

    def holdout(self, name: str) -> Holdout:
        """The holdout of that name. Raises KeyError."""
        return _named(self.holdouts, name)


Named = TypeVar("Named", PlacedElement, Holdout)


def _named(items: tuple[Named, ...], name: str) -> Named:
    """The item of that name. Raises KeyError."""
    for item in items:
        if item.name == name:
            return item
    raise KeyError(name)
