"""Pictures made ready for rendering: distortion taken off, the plate extended, cut-outs as pyramids."""

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import cache, partial
from typing import Any

import numpy as np

from compositor.base.arrays import Pixels
from compositor.colour.space import Space
from compositor.files.load import EncodedPlate
from compositor.files.outline import outline_coverage
from compositor.geometry.distortion import undistort
from compositor.jobs.contents import Contents
from compositor.jobs.cut_outs import CutOut, kept_mips
from compositor.jobs.inputs import Inputs
from compositor.jobs.keeping import Keeper
from compositor.jobs.keys import key_of
from compositor.jobs.shelf import Shelf
from compositor.jobs.solving import Problem
from compositor.pixels.blend import masked
from compositor.pixels.mips import Mips
from compositor.pixels.softened import Softened
from compositor.plan.model import Extension, PlatePlan, Point, Source
from compositor.render.pictures import Pictures
from compositor.render.plate import extend_plate, straight_element, straight_plate, straight_samples
from compositor.render.shaping import frame_shape
from compositor.render.surround import Surround
from compositor.render.view import View, decode_opaque, softened_plate

_SEVERAL = 4  # views from which on making all of the plate linear costs less than the part of it that each shows


@dataclass(frozen=True)
class Prepared:
    """What rendering reads: the encoded plate in the full frame, its space and resolution, and the pictures.

    keeper: keeps layers, and counts them. softened: what all views of the plate look into; None = it has few.
    """

    plate: Pixels
    space: Space
    dpi: tuple[float, float] | None
    pictures: Pictures
    keeper: Keeper
    softened: Softened | None = None


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
        frame_shape(plan),
        lambda: extend_plate(samples, plate.space, plan.extension, plan.camera),
    )
    # What is measured on the plate and on elements at their scale; elements are named there by all that makes them.
    found = shelf.take("measured", (file,), frame_shape(plan), dict[Hashable, Any])
    contents = Contents(problem.loaded.path.parent, shelf)
    keeper = Keeper(shelf, contents, plate.space, plate.deep)
    return Prepared(
        plate=extended,
        space=plate.space,
        dpi=plate.header.dpi,
        pictures=Pictures(
            element=_elements(problem.inputs, samples, plan.source, contents),
            matte=_mattes(problem.inputs, plate, plan),
            surround=Surround(extended, plate.space, plan, found),
            keep=keeper,
            share=partial(_shared, shelf, file),
        ),
        keeper=keeper,
        softened=_softened(problem, extended, plate.space),
    )


def _shared(shelf: Shelf, plate: str, source: Source, rest: tuple[Hashable, ...], make: Callable[[], Any]) -> Any:
    """What all views of a picture have in common, made once for all variants."""
    files = (source.image, plate) if source.matte is None else (source.image, source.matte, plate)
    return shelf.take("shared", files, (source, *rest), make)


def _softened(problem: Problem, plate: Pixels, space: Space) -> Softened | None:
    """What views of the plate look into, kept as long as there is room where several are to come."""
    plan, shelf = problem.plan, problem.inputs.shelf
    known = "softened plate", (plan.plate.source.image,), frame_shape(plan.plate)
    views = {View.of_window(delivery.window_px, delivery.size_px) for delivery in plan.deliveries}
    several = sum(view.cut_px is None for view in views) * max(shelf.users(plan.plate.source.image), 1) >= _SEVERAL
    softened = softened_plate(plate, space, kept=True)
    room = shelf.most_bytes is None or softened.held_bytes <= shelf.most_bytes // 4
    if shelf.holds(*known) or (several and room):  # the last of many views find it there
        return shelf.take(*known, lambda: softened)
    return None


def _elements(inputs: Inputs, samples: Pixels, plate: Source, contents: Contents) -> Callable[[Source], Mips]:
    """Pyramids of elements by their source, each made once for all variants. samples: the plate's, straight."""

    def element(source: Source) -> Mips:
        files = (source.image, plate.image) if source.matte is None else (source.image, source.matte, plate.image)
        return inputs.shelf.take("pyramid", files, (source, plate), lambda: kept(source))

    def kept(source: Source) -> Mips:
        if source.lens is None or source.outline_px is not None or inputs.plate is None:
            return made(source)
        key = key_of(("pyramid", source, inputs.plate.space, inputs.plate.deep), contents)
        return kept_mips(inputs.shelf.cache, key, lambda: made(source))

    def made(source: Source) -> Mips:
        if source.outline_px is not None:
            assert inputs.plate is not None
            return Mips(_part(samples, inputs.plate.space, source.outline_px))
        opened, lens = inputs.cut_outs[CutOut(source.image, source.matte, source.cutting)], source.lens
        if lens is None:
            return opened.mips
        hull_px = undistort(np.array(opened.hull_px), lens.distortion, lens.focal_px, lens.principal_px)
        return straight_element(opened.mips, lens, hull_px)

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
