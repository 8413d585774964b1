"""House tolerances: every threshold that separates fine from worth a word, with its source or "by eye".

A scene changes them under `tolerances`.
"""

from dataclasses import dataclass


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

    # By eye: two things whose footprints share less than this may touch.
    overlap_m: float = 0.05

    # By eye, on heads and boxes lit by one lamp: a light turned by less passes for the same.
    light_azimuth_deg: float = 30.0
    light_elevation_deg: float = 15.0

    # Two standard deviations (19 of 20 cases) of the scale that still let one judge a height.
    scale_uncertainty_fraction: float = 0.10


HOUSE = Tolerances()
