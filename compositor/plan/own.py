"""An element by what belongs to it alone, which stays when it is moved or the plate's camera is another."""

from compositor.base.sameness import SameParts
from compositor.plan.model import PlacedElement


def by_itself(element: PlacedElement) -> SameParts[PlacedElement]:
    """A key for what is worked out from its outline, its own camera and its sizes, and from nothing else."""
    parts = element.own_camera, element.own_hull_px, element.own_contact_px, element.source.outline_px
    figures = element.stance, element.height_m, element.depth_m, element.own_size_px, element.artwork_m
    return SameParts(element, parts, figures)
