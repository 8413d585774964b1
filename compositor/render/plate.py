"""The plate made ready: lens distortion off, more picture around it."""

from dataclasses import replace

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.colour.space import Space
from compositor.geometry.camera import Camera
from compositor.pixels.fill import Border, ground_below, mirrored
from compositor.pixels.mips import Mips
from compositor.pixels.quilt import continued
from compositor.pixels.undistort import Box, undistorted
from compositor.plan.model import Extension, Lens
from compositor.render.view import decode_opaque, encode_opaque

_BESIDE_HULL_PX = 16  # by eye: how far soft hair and blur reach beyond half coverage, which is where the outline lies


def straight_plate(plate: Pixels, space: Space, lens: Lens) -> Pixels:
    """The encoded plate (h, w, 3) without its lens's distortion."""
    linear = straight_samples(Mips(decode_opaque(plate, space), "replicate"), lens)
    return encode_opaque(linear, space, plate.dtype.itemsize * 8)


def straight_element(mips: Mips, lens: Lens, straight_hull_px: Floats) -> Mips:
    """An element without its lens's distortion, with all that the lens had bent into its frame.

    straight_hull_px (n, 2): the outline of what its matte covers, with the distortion taken off.
    """
    width, height = mips.size_px
    low = np.minimum(np.floor(straight_hull_px.min(axis=0)) - _BESIDE_HULL_PX, 0)
    high = np.maximum(np.ceil(straight_hull_px.max(axis=0)) + _BESIDE_HULL_PX, (width, height))
    left, top = (int(edge) for edge in np.maximum(low, (-width, -height)))
    right, bottom = (int(edge) for edge in np.minimum(high, (2 * width, 2 * height)))
    box = (left, top, right, bottom)
    return Mips(straight_samples(mips, lens, box), mips.edge, (left, top))


def straight_samples(mips: Mips, lens: Lens, box: Box | None = None) -> Pixels:
    """Premultiplied linear samples without their lens's distortion, of a box of the straight picture or its frame."""
    (cx, cy), f, bend = lens.principal_px, lens.focal_px, lens.distortion
    intrinsics = np.array([[f, 0.0, cx], [0.0, f, cy], [0.0, 0.0, 1.0]])
    return undistorted(mips, intrinsics, (bend.k1, bend.k2, bend.p1, bend.p2, bend.k3), box)


def extend_plate(plate: Pixels, space: Space, extension: Extension, camera: Camera) -> Pixels:
    """The encoded plate (h, w, 3) with the plan's rows and columns around it; its own pixels stay as they are.

    camera: the plate's solved camera, in the full frame after extension. Fill "stretch" goes on with the ground at
    the lower edge and mirrors at the other sides, and below where the edge shows no ground.
    """
    border = Border(extension.left, extension.top, extension.right, extension.bottom)
    if border == Border():
        return plate
    if extension.fill == "inpaint":
        return continued(plate, border)
    if extension.fill == "stretch" and border.bottom > 0:
        ground = _ground(plate, space, border, camera)
        if ground is not None:
            plate, border = np.concatenate([plate, ground]), replace(border, bottom=0)
    return mirrored(plate, border)


def _ground(plate: Pixels, space: Space, border: Border, camera: Camera) -> Pixels | None:
    """Encoded rows that go on with the ground below the plate; None where its lower edge shows none."""
    across, down, depth = camera.direction_px(np.array([0.0, 1.0, 0.0]))
    if depth <= 0:
        return None
    vanishing_px = (float(across / depth) - border.left, float(down / depth) - border.top)
    rows = ground_below(decode_opaque(plate, space), border.bottom, vanishing_px)
    return None if rows is None else encode_opaque(rows, space, plate.dtype.itemsize * 8)
