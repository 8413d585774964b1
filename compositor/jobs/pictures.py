"""Pictures made ready for rendering: distortion taken off, the plate extended, cut-outs as pyramids."""

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from compositor.base.arrays import Pixels
from compositor.colour.space import Space
from compositor.files.load import EncodedPlate
from compositor.files.outline import outline_coverage
from compositor.geometry.distortion import undistort
from compositor.jobs.inputs import CutOut, Inputs
from compositor.jobs.solving import Problem
from compositor.measure.facts import matte_hull
from compositor.pixels.blend import masked
from compositor.pixels.mips import Mips
from compositor.plan.model import Extension, PlatePlan, Point, Source
from compositor.render.layers import Pictures
from compositor.render.plate import extend_plate, straight_element, straight_plate, straight_samples
from compositor.render.surround import Surround
from compositor.render.view import decode_opaque


@dataclass(frozen=True)
class Prepared:
    """What rendering reads: the encoded plate in the full frame, its space and resolution, and the pictures."""

    plate: Pixels
    space: Space
    dpi: tuple[float, float] | None
    pictures: Pictures


def prepared(problem: Problem) -> Prepared:
    """Make a solved scene's pictures ready."""
    plate, plan = problem.inputs.plate, problem.plan.plate
    if plate is None:
        raise ValueError("a solved scene has a plate")
    lens, shelf, file = plan.source.lens, problem.inputs.shelf, plan.source.image
    samples = plate.samples
    if lens is not None:
        samples = shelf.take("straight plate", (file,), lens, lambda: straight_plate(plate.samples, plate.space, lens))
    extended = shelf.take(
        "extended plate",
        (file,),
        (lens, plan.extension, plan.camera),
        lambda: extend_plate(samples, plate.space, plan.extension, plan.camera),
    )
    # What is measured on the plate and on elements at their scale; elements are named there by all that makes them.
    found = shelf.take("measured", (file,), (lens, plan.extension, plan.camera), dict[Hashable, Any])
    return Prepared(
        plate=extended,
        space=plate.space,
        dpi=plate.header.dpi,
        pictures=Pictures(
            element=_elements(problem.inputs, samples, plan.source),
            matte=_mattes(problem.inputs, plate, plan),
            surround=Surround(extended, plate.space, plan, found),
        ),
    )


def _elements(inputs: Inputs, samples: Pixels, plate: Source) -> Callable[[Source], Mips]:
    """Pyramids of elements by their source, each made once for all variants. samples: the plate's, straight."""

    def element(source: Source) -> Mips:
        files = (source.image, plate.image) if source.matte is None else (source.image, source.matte, plate.image)
        return inputs.shelf.take("pyramid", files, (source, plate), lambda: made(source))

    def made(source: Source) -> Mips:
        if source.outline_px is not None:
            assert inputs.plate is not None
            return Mips(_part(samples, inputs.plate.space, source.outline_px))
        picture = inputs.cut_outs[CutOut(source.image, source.matte, source.cutting)].picture
        mips, lens = Mips(picture.samples), source.lens
        if lens is None:
            return mips
        hull_px = np.array(matte_hull(picture.samples[..., 3], picture.full))
        return straight_element(mips, lens, undistort(hull_px, lens.distortion, lens.focal_px, lens.principal_px))

    return element


def _part(plate: Pixels, space: Space, outline_px: tuple[Point, ...]) -> Pixels:
    """A part of the plate (straight, not extended) cut out along an outline, where it was; nothing around it."""
    height, width = plate.shape[:2]
    points = np.array(outline_px)
    left, top = (int(edge) for edge in np.clip(np.floor(points.min(axis=0)), 0, (width - 1, height - 1)))
    right, bottom = (int(edge) for edge in np.clip(np.ceil(points.max(axis=0)), (left + 1, top + 1), (width, height)))
    coverage = outline_coverage(points - [left, top], (right - left, bottom - top))
    linear = decode_opaque(plate[top:bottom, left:right], space)
    whole = np.zeros((height, width, 4), linear.dtype)
    whole[top:bottom, left:right] = masked(linear, _of_kind(coverage, linear.dtype))
    return whole


def _mattes(inputs: Inputs, plate: EncodedPlate, plan: PlatePlan) -> Callable[[str], Pixels]:
    """Coverage of holdouts in the full frame by their file; nothing of them in what was added around the plate."""
    kind = np.dtype(np.float32) if plate.deep else np.dtype(np.uint16)

    @cache
    def matte(name: str) -> Pixels:
        coverage = _of_kind(inputs.mattes[name], kind)
        if plan.source.lens is not None:
            coverage = straight_samples(Mips(coverage), plan.source.lens)
        return _bordered(coverage, plan.extension)

    return matte


def _bordered(coverage: Pixels, extension: Extension) -> Pixels:
    rows, columns = (extension.top, extension.bottom), (extension.left, extension.right)
    return coverage if rows == columns == (0, 0) else np.pad(coverage, (rows, columns))


def _of_kind(coverage: Pixels, kind: np.dtype[np.generic]) -> Pixels:
    """Coverage as uint16 or as float32 from the other."""
    if coverage.dtype == kind:
        return coverage
    if kind == np.uint16:
        return np.rint(coverage * 65535.0).astype(np.uint16)
    return (coverage / np.float32(65535.0)).astype(np.float32)
