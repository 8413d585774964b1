"""Tolerances: from where on a difference is worth a finding. Left out = the house's own."""

from typing import Annotated

from pydantic import Field

from compositor.base.tolerances import HOUSE, Assumable
from compositor.scene.part import Part, Several

_Angle = Annotated[float, Field(gt=0, le=180)]
_Share = Annotated[float, Field(gt=0, le=10)]
_Length = Annotated[float, Field(ge=0, le=1000)]


class TolerancesWords(Part):
    """What may differ before a finding says so."""

    view_elevation_deg: _Angle = Field(
        default=HOUSE.view_elevation_deg,
        alias="view_elevation",
        description="Degrees that an element may be seen more or less from above than its place asks for; beyond it"
        " a warning.",
    )
    view_elevation_error_deg: _Angle = Field(
        default=HOUSE.view_elevation_error_deg,
        alias="view_elevation_error",
        description="The same; beyond it an error.",
    )
    view_azimuth_deg: _Angle = Field(
        default=HOUSE.view_azimuth_deg,
        alias="view_azimuth",
        description="Degrees that an element may be seen from another side.",
    )
    horizon_gap_fraction: _Share = Field(
        default=HOUSE.horizon_gap_fraction,
        alias="horizon_gap",
        description="Distance of an element's own horizon from the plate's, as a share of the picture's height.",
    )
    roll_deg: _Angle = Field(
        default=HOUSE.roll_deg, alias="roll", description="Degrees that an edge given as `plumb` may lean."
    )
    height_fraction: _Share = Field(
        default=HOUSE.height_fraction,
        alias="height",
        description="Share by which heights may contradict each other, or the published sizes of a kind.",
    )
    enlargement_ratio: Annotated[float, Field(ge=1, le=100)] = Field(
        default=HOUSE.enlargement_ratio,
        alias="enlargement",
        description="How much larger than its own pixels an element may be delivered; 1 = not at all.",
    )
    stretch_fraction: _Share = Field(
        default=HOUSE.stretch_fraction, alias="stretch", description="Share by which artwork may be stretched."
    )
    cut_fraction: _Share = Field(
        default=HOUSE.cut_fraction, alias="cut", description="Share of an element that a delivery may cut off."
    )
    raise_m: _Length = Field(
        default=HOUSE.raise_m,
        alias="raise",
        description="Metres above or below the ground without a word on what it stands on (`stands_on`).",
    )
    hidden_fraction: Annotated[float, Field(ge=0, lt=1)] = Field(
        default=HOUSE.hidden_fraction,
        alias="hidden",
        description="Share by which a holdout may cover the width on which an element stands before its foot counts"
        " as hidden.",
    )
    outside_fraction: Annotated[float, Field(ge=0, le=10)] = Field(
        default=HOUSE.outside_fraction,
        alias="outside",
        description="How far outside the frame an element may touch the ground, as a share of the picture's height.",
    )
    shadow_m: _Length = Field(
        default=HOUSE.shadow_m,
        alias="shadow",
        description="Metres by which a shadow may reach beyond the foot of a holdout.",
    )
    overlap_m: _Length = Field(
        default=HOUSE.overlap_m, alias="overlap", description="Metres by which two footprints may overlap."
    )
    light_azimuth_deg: _Angle = Field(
        default=HOUSE.light_azimuth_deg,
        alias="light_azimuth",
        description="Degrees that the light on an element may come from another side than the plate's.",
    )
    light_elevation_deg: _Angle = Field(
        default=HOUSE.light_elevation_deg,
        alias="light_elevation",
        description="Degrees that the light on an element may come from higher or lower than the plate's.",
    )
    scale_uncertainty_fraction: _Share = Field(
        default=HOUSE.scale_uncertainty_fraction,
        alias="scale_uncertainty",
        description="Share of uncertainty of the scale (two standard deviations) up to which a height can be judged.",
    )
    assumed: Several[Assumable] = Field(
        default=HOUSE.assumed, description="What may be assumed without a word, such as [lens]."
    )
