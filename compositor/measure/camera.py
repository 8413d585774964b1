"""The camera that a picture tells by itself: from its straight edges, else from the edge of sea or plain, else none."""

from dataclasses import dataclass, replace

from compositor.base.arrays import Floats, Pixels
from compositor.geometry.structure import Structure, find_structure
from compositor.measure.edges import picture_edges
from compositor.measure.skyline import Skyline, find_skyline

EXIF_LENS_SD = 0.03  # of its logarithm: rounded millimetres, focus breathing and nominal sensors (by eye)
DISAGREES_SD = 4.0
DISAGREES_SUPPORT_RATIO = 1.05

WHAT_HELPS = (
    "give it edges that are level and parallel in the world, two rows between which the horizon lies, people of equal"
    " height, the tilt, or the horizon's row"
)


@dataclass(frozen=True)
class FoundCamera:
    """What was found.

    structure: from edges, None where doubted. skyline: only looked for where there is no structure. edges_px
    (n, 2, 2): all edges seen. reason: why nothing could be told; None where something was. lens_disagrees: the edges
    speak clearly against the stated lens.
    """

    structure: Structure | None
    skyline: Skyline | None
    edges_px: Floats
    reason: str | None
    lens_disagrees: bool = False


def find_camera(rgb: Pixels, principal_px: tuple[float, float], lens_px: float | None) -> FoundCamera:
    """Look for the camera in an 8-bit RGB picture (h, w, 3). lens_px: focal length where the file states one."""
    height, width = rgb.shape[:2]
    edges = picture_edges(rgb)
    free = find_structure(edges, (width, height), principal_px)
    structure, disagrees = free, False
    if lens_px is not None and free is not None:
        structure = find_structure(edges, (width, height), principal_px, (lens_px, EXIF_LENS_SD))
        disagrees = structure is not None and _speaks_against(free, structure, lens_px)
    doubt = "there are hardly any straight edges" if structure is None else structure.doubt((width, height))
    if doubt is None:
        return FoundCamera(structure, None, edges, None, disagrees)
    skyline = find_skyline(rgb)
    found = FoundCamera(None, skyline, edges, None)
    return found if skyline is not None else replace(found, reason=doubt)


def _speaks_against(free: Structure, held: Structure, lens_px: float) -> bool:
    """Whether edges alone are sure of another lens and fit it clearly better."""
    apart = abs(free.focal_px / lens_px - 1.0)
    return bool(
        apart > DISAGREES_SD * (float(free.covariance[0, 0]) + EXIF_LENS_SD**2) ** 0.5
        and free.support > DISAGREES_SUPPORT_RATIO * held.support
    )
