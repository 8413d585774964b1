"""The camera of a picture, as the scene file gives it: horizon, lens, height and what became of the photograph.

Every choice is tagged by the key that is there; two forms at once are refused. A bare number or a percentage becomes
the form it stands for, so that solving meets classes only.
"""

import re
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, Tag, WithJsonSchema
from pydantic_core import PydanticCustomError

from compositor.scene.part import (
    FORM,
    LARGEST_PX,
    Corner,
    Extent,
    ExtentMillimetres,
    Forms,
    Millimetres,
    Part,
    Pixel,
    Point,
    PositiveMetres,
    PositivePixels,
    Rows,
    Segment,
    Several,
    differ,
)

AUTO = "auto"


class _FormsOrAuto(Forms):
    def tag(self, value: Any) -> str | None:
        """The word `auto` is its own form."""
        return f"{FORM}auto" if value == AUTO else super().tag(value)


HORIZON_FORMS = _FormsOrAuto(
    'must be a pixel row, a percentage such as "41%", auto, or one of {row}, {points}, {between}, {lines}, {groups}, '
    "{pitch}",
    ("row", "points", "between", "lines", "groups", "pitch"),
    number=True,
    text=True,
)
LENS_FORMS = Forms(
    "must be a mapping such as {equivalent_mm: 35}, or exif", ("pixels", "equivalent_mm", "focal_mm", "fov"), text=True
)
HEIGHT_FORMS = Forms("must be metres, or {references: [...]}", ("references",), number=True)

_PERCENT = r"^-?[0-9]{1,4}(\.[0-9]{1,9})? ?%$"


class RowHorizon(Part):
    """The horizon crosses this picture's centre column at a row; a bare number is this form."""

    row: Pixel = Field(description="Pixel row of the horizon at this picture's centre column, 0 = its top edge.")
    plus_minus: PositivePixels | None = Field(
        default=None, description="One standard deviation of that row in pixels; left out = taken as exact."
    )


class ShareHorizon(Part):
    """The horizon at a share of the picture's height, written "41%" (0 % = the top edge)."""

    fraction: Annotated[float, Field(ge=-100, le=100)] = Field(description="Share of the picture's height, 0 = top.")


def _not_upright(points: tuple[Point, Point]) -> tuple[Point, Point]:
    if points[0][0] == points[1][0]:
        raise PydanticCustomError("upright_horizon", "the horizon stands upright")
    return points


class PointsHorizon(Part):
    """The horizon through two points, which gives the roll as well."""

    points: Annotated[Segment, AfterValidator(differ), AfterValidator(_not_upright)] = Field(
        description="Two points on the horizon, [[u, v], [u, v]], far apart; they give the camera's roll too."
    )


class BetweenHorizon(Part):
    """Only bounds of the horizon's row are known: the middle is used, with its uncertainty."""

    between: Annotated[Rows, AfterValidator(differ)] = Field(
        description="Two pixel rows with the horizon somewhere between them, [low, high], in either order."
    )


Edge = Annotated[Segment, AfterValidator(differ)]
_Edges = Annotated[Several[Edge], Field(min_length=2, max_length=1000)]


class LinesHorizon(Part):
    """One group of edges that are parallel and level in the world."""

    lines: _Edges = Field(
        description="Two or more edges, [[u, v], [u, v]] each, that are parallel and level in the world; three or"
        " more are better. Their vanishing point lies on the horizon."
    )

    @property
    def groups(self) -> tuple[tuple[tuple[Point, Point], ...], ...]:
        """The one group, as `groups` of the other form has it."""
        return (self.lines,)


class GroupsHorizon(Part):
    """Several groups of level edges; the edges of a group are parallel to each other in the world."""

    groups: Annotated[Several[_Edges], Field(min_length=1, max_length=100)] = Field(
        description="Groups of edges; the edges of one group are parallel and level in the world. Two groups at a right"
        " angle to each other also give the lens."
    )


class PitchHorizon(Part):
    """The camera's tilt is known instead."""

    pitch: Annotated[float, Field(ge=-89, le=89)] = Field(
        description="Degrees that the camera was aimed above (+) or below (-) the horizontal."
    )


def _row(number: Any) -> dict[str, Any]:
    return {"row": number}


def _share(text: Any) -> dict[str, Any]:
    if re.fullmatch(_PERCENT, text) is None:
        raise PydanticCustomError("percent", "no percentage")
    return {"fraction": float(text.rstrip("% ")) / 100.0}


Horizon = Annotated[
    Annotated[
        RowHorizon,
        BeforeValidator(_row),
        WithJsonSchema({"type": "number", "minimum": -LARGEST_PX, "maximum": LARGEST_PX}),
        Tag("form:number"),
    ]
    | Annotated[
        ShareHorizon, BeforeValidator(_share), WithJsonSchema({"type": "string", "pattern": _PERCENT}), Tag("form:text")
    ]
    | Annotated[RowHorizon, Tag("form:row")]
    | Annotated[PointsHorizon, Tag("form:points")]
    | Annotated[BetweenHorizon, Tag("form:between")]
    | Annotated[LinesHorizon, Tag("form:lines")]
    | Annotated[GroupsHorizon, Tag("form:groups")]
    | Annotated[PitchHorizon, Tag("form:pitch")]
    | Annotated[Literal["auto"], Tag("form:auto")],
    HORIZON_FORMS.chooser(),
]


class PixelsLens(Part):
    """Focal length in pixels of this picture."""

    pixels: PositivePixels = Field(description="Focal length in pixels of this picture.")


class EquivalentLens(Part):
    """Focal length as the 35 mm equivalent (Exif 2.32, FocalLengthIn35mmFilm)."""

    equivalent_mm: Millimetres = Field(description="Focal length in millimetres as on 36 × 24 mm (35 mm equivalent).")


class FocalLens(Part):
    """Focal length and sensor in millimetres."""

    focal_mm: Millimetres = Field(description="The lens's focal length in millimetres, as engraved.")
    sensor_mm: ExtentMillimetres = Field(
        description="The sensor's [width, height] in millimetres, for example [36, 24]."
    )


class FovLens(Part):
    """Horizontal field of view."""

    fov: Annotated[float, Field(gt=0, lt=180)] = Field(
        description="Horizontal field of view in degrees, of the original photograph."
    )


Lens = Annotated[
    Annotated[Literal["exif"], Tag("form:text")]
    | Annotated[PixelsLens, Tag("form:pixels")]
    | Annotated[EquivalentLens, Tag("form:equivalent_mm")]
    | Annotated[FocalLens, Tag("form:focal_mm")]
    | Annotated[FovLens, Tag("form:fov")],
    LENS_FORMS.chooser(),
]


def _stands(reference: "Reference") -> "Reference":
    if reference.base == reference.top:
        raise PydanticCustomError("no_extent", "base and top coincide")
    return reference


class Reference(Part):
    """An upright object of known height in the picture."""

    base: Point = Field(description="Where it touches the ground, [u, v] in this picture.")
    top: Point = Field(description="Its highest point, straight above the base in the world, [u, v].")
    height: PositiveMetres = Field(description="Its real height from base to top in metres.")


class References(Part):
    """The camera's height from objects of known size."""

    references: Annotated[
        Several[Annotated[Reference, AfterValidator(_stands)]], Field(min_length=1, max_length=1000)
    ] = Field(description="Upright objects of known height that stand on the ground in this picture.")


Height = Annotated[
    Annotated[PositiveMetres, Tag("form:number")] | Annotated[References, Tag("form:references")],
    HEIGHT_FORMS.chooser(),
]


class Crop(Part):
    """Where this picture sat in the original photograph, whose centre is the lens's axis."""

    offset: Corner = Field(description="The original photograph's pixel at this picture's top left corner, [u, v].")
    of: Extent = Field(description="The original photograph's [width, height] in pixels.")


_Coefficient = Annotated[float, Field(ge=-1000, le=1000)]


class Distortion(Part):
    """Brown-Conrady coefficients on coordinates divided by the focal length."""

    k1: _Coefficient = Field(default=0.0, description="First radial coefficient (barrel < 0 < pincushion).")
    k2: _Coefficient = Field(default=0.0, description="Second radial coefficient.")
    p1: _Coefficient = Field(default=0.0, description="First tangential coefficient.")
    p2: _Coefficient = Field(default=0.0, description="Second tangential coefficient.")
    k3: _Coefficient = Field(default=0.0, description="Third radial coefficient.")


class Camera(Part):
    """The camera that took a picture."""

    horizon: Horizon = Field(
        description='The horizon: a row at the centre column of this picture, a percentage of the height such as "41%",'
        " or one of {row, plus_minus}, {points}, {between}, {lines}, {groups}, {pitch}; or auto: found in the picture."
    )
    lens: Lens | None = Field(
        default=None,
        description="The lens: one of {pixels}, {equivalent_mm}, {focal_mm, sensor_mm}, {fov}, or exif. Left out = from"
        " vanishing points or the picture's Exif data, else a normal lens, reported as assumed.",
    )
    height: Height | None = Field(
        default=None,
        description="Its height over the ground in metres, or {references: [...]}: objects of known height.",
    )
    roll: Annotated[float, Field(ge=-45, le=45)] = Field(
        default=0.0,
        description="Degrees that the camera was turned clockwise, as seen from behind it (the horizon then rises"
        " toward the right).",
    )
    crop: Crop | None = Field(
        default=None, description="Where this picture sat in the original photograph; left out = not cropped."
    )
    distortion: Distortion | None = Field(
        default=None, description="Lens distortion (Brown-Conrady) to be removed; left out = none."
    )
