"""`horizon: auto`: what was found in the picture, as a horizon and a lens with their uncertainty."""

from math import cos, degrees, radians, sqrt, tan

import numpy as np

from compositor.base.errors import Fault, FaultyScene
from compositor.geometry.camera import line_through
from compositor.geometry.structure import Structure
from compositor.measure.camera import WHAT_HELPS, FoundCamera
from compositor.measure.skyline import Skyline
from compositor.plan.model import EdgeGroup, Point
from compositor.solve.uncertainty import Nudge

# By eye: so many of a bundle's longest edges show where its vanishing point comes from; all of them hide the picture.
SHOWN_EDGES = 6


def found_in(found: FoundCamera) -> Structure | Skyline:
    """What was found. Raises FaultyScene (key `horizon`) where the picture tells nothing."""
    if found.structure is not None:
        return found.structure
    if found.skyline is not None:
        return found.skyline
    raise FaultyScene([Fault(("horizon",), f"cannot tell: {found.reason}; {WHAT_HELPS}", "auto")])


def row_and_roll(found: Structure | Skyline, size_px: tuple[int, int], principal_px: Point) -> tuple[float, float]:
    """(row at the principal point's column, roll in degrees) of the horizon found."""
    if isinstance(found, Structure):
        return found.camera(size_px, principal_px).horizon_row(principal_px[0]), found.roll_deg
    a, b, c = line_through((0.0, found.left_px), found.roll_deg)
    return float(-(a * principal_px[0] + c) / b), found.roll_deg


def nudges(found: Structure | Skyline) -> tuple[Nudge, ...]:
    """Independent quantities of one standard deviation each: the principal axes of lens, tilt and roll together."""
    if isinstance(found, Skyline):
        return (Nudge(horizon_px=found.row_sd_px),)
    pitch, roll = radians(found.pitch_deg), radians(found.roll_deg)
    row_per_lens = found.focal_px * tan(pitch) / cos(roll)
    row_per_degree = found.focal_px / cos(pitch) ** 2 / cos(roll) / degrees(1.0)
    values, axes = np.linalg.eigh(found.covariance)
    return tuple(
        Nudge(
            horizon_px=sqrt(value) * (row_per_lens * float(axis[0]) + row_per_degree * float(axis[1])),
            roll_deg=sqrt(value) * float(axis[2]),
            focal_fraction=sqrt(value) * float(axis[0]),
        )
        for value, axis in zip(np.maximum(values, 0.0), axes.T, strict=True)
        if value > 0.0
    )


def told(found: FoundCamera) -> tuple[str, ...]:
    """What the report says of it."""
    if found.structure is None:
        return ("horizon taken at the edge of sea or plain, found in the picture",)
    text = f"horizon found in the picture by {found.structure.edge_count} straight edges"
    if not found.lens_disagrees:
        return (text,)
    return (text, "lens as stated, although the picture's edges speak clearly for another one")


def edge_groups(found: FoundCamera) -> tuple[EdgeGroup, ...]:
    """The bundles of edges for the overlay, each by its longest edges."""
    if found.structure is None:
        return ()
    groups = []
    for bundle in found.structure.bundles:
        edges = found.edges_px[bundle.edges]
        longest = np.argsort(-np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1), kind="stable")[:SHOWN_EDGES]
        shown = tuple(((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))) for a, b in edges[np.sort(longest)])
        groups.append(EdgeGroup(shown, bundle.vanishing_px))
    return tuple(groups)
