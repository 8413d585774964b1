"""House tolerances: every threshold that separates fine from worth a word, with its source or "by eye".

A scene changes them under `tolerances`.
"""

from dataclasses import dataclass
from typing import Literal

Assumable = Literal["lens", "height", "roll", "horizon", "light"]
"""What can be assumed where a scene does not state it."""


@dataclass(frozen=True)
class Tolerances:
    """What may differ before the audit says so."""

    # By eye, on path-traced pairs: at 3° of other view a flat cut-out still overlaps the truth by .99, at 5° a chair's
    # seat shows; beyond 10° it is another photograph.
    view_elevation_deg: float = 3.0
    view_elevation_error_deg: float = 10.0
    view_azimuth_deg: float = 15.0

    # By eye: a share of the picture's height.
    horizon_gap_fraction: float = 0.05

    # By eye: a post or a door leaning by one degree is seen beside upright lines of the plate.
    roll_deg: float = 1.0

    # Single-view heights of judged, not measured, objects are good to 3.7 % in the median and 9.9 % at the 90th
    # percentile (measured on people in public driving data); half the way between is worth a word.
    height_fraction: float = 0.05

    # By eye: one fifth larger than its own pixels a photograph looks softer than a sharp plate.
    enlargement_ratio: float = 1.2

    # By eye: lettering and circles show a stretch of 2 %.
    stretch_fraction: float = 0.02

    # By eye: a share of the element that a delivery may cut off before it looks like a slip.
    cut_fraction: float = 0.02

    # A foot stands up to 0.22 m over the ground that fits a street (95th percentile on public driving data: kerbs,
    # slopes); what is higher needs a reason.
    raise_m: float = 0.22

    # By eye: what a holdout covers by more than half is not seen.
    hidden_fraction: float = 0.5

    # A share of the picture's height; a contact on the frame's edge is in it.
    outside_fraction: float = 0.0

    # By eye: what of a shadow lies on the first 5 cm of a holdout's foot passes for lying before it.
    shadow_m: float = 0.05

    # By eye: two things whose footprints share less than this may touch.
    overlap_m: float = 0.05

    # By eye, on heads and boxes lit by one lamp: a light turned by less passes for the same.
    light_azimuth_deg: float = 30.0
    light_elevation_deg: float = 15.0

    # Two standard deviations (19 of 20 cases) of the scale that still let one judge a height.
    scale_uncertainty_fraction: float = 0.10

    # Whatever is assumed is told.
    assumed: tuple[Assumable, ...] = ()


HOUSE = Tolerances()


@dataclass(frozen=True)
class PlanTolerances:
    """What two plans may differ by before they count as different."""

    # By eye: a quarter of a pixel is no move; libraries differ by 1e-9.
    moved_px: float = 0.25

    # Half a pixel, which another version of the library that draws letters may move them, and a half of that.
    lettering_px: float = 0.75

    # By eye: of 1000 px it makes one.
    scale_fraction: float = 0.001

    # By eye: larger than the first two together can make at the far end of an element of 500 px.
    reshaped_px: float = 0.75

    # By eye: what an outline may change beyond moving and scaling, as a share of its extent, where it does both.
    reshaped_fraction: float = 0.01

    # Light that is left in a shadow, measured in the plate: coded anew (JPEG 92 to 85) the same plate gives 0.8 % more.
    # As much light as pixels are judged by.
    light_fraction: float = 0.02

    # By eye: any other number of a plan.
    value_fraction: float = 0.001


PLAN = PlanTolerances()


@dataclass(frozen=True)
class PictureTolerances:
    """What two pictures may differ by and still pass for the same.

    By trial (tests/studies/picture_tolerances.py): each number lies between what another JPEG quality (92 to 75, with
    other colour subsampling), a level of noise and half a pixel of lettering do, and what a fault does.
    """

    # Half a pixel of lettering measures up to 0.56, a whole pixel of an element 1.02 and more.
    moved_px: float = 0.75

    # Levels of 255 (luma) and a*b* of an element and what is close around it, beyond what coding does to the tiles of
    # the same picture. JPEG makes up to 0.04 and 0.2 on photographs, two per cent of an element's light 0.28 and more.
    region_lightness: float = 0.12
    region_colour: float = 0.5

    # Of the whole picture: JPEG makes up to 0.21 where all of it is smooth, two per cent of its light some 1.5.
    whole_lightness: float = 0.4

    # The same of a tile: JPEG moves saturated texture by up to 0.4 and 2.0.
    tile_lightness: float = 1.0
    tile_colour: float = 3.0

    # SSIM of a tile: JPEG 0.82, half a pixel of lettering 0.87, a pixel of an element 0.34 to 0.72.
    tile_similarity: float = 0.65

    # CIEDE2000 from which a pixel counts as seen, and the weight (pixels × difference beyond that) of a connected
    # patch: JPEG up to 140, a fringe of one pixel around a small element 900 and more.
    visible: float = 3.0
    patch: float = 250.0


PICTURE = PictureTolerances()
