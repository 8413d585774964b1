"""Pictures made ready for rendering: distortion taken off, the plate extended, cut-outs as pyramids."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from compositor.base.arrays import Pixels
from compositor.colour.space import Space
from compositor.jobs.inputs import Inputs
from compositor.jobs.solving import Problem
from compositor.pixels.mips import Mips
from compositor.plan.model import Source
from compositor.render.layers import Pictures


@dataclass(frozen=True)
class Prepared:
    """What rendering reads: the encoded plate in the full frame, its space and resolution, and the pictures."""

    plate: Pixels
    space: Space
    dpi: tuple[float, float] | None
    pictures: Pictures


def prepared(problem: Problem) -> Prepared:
    """Make a solved scene's pictures ready."""
    plate = problem.inputs.plate
    if plate is None:
        raise ValueError("a solved scene has a plate")
    return Prepared(
        plate=plate.samples,
        space=plate.space,
        dpi=plate.header.dpi,
        pictures=Pictures(element=_elements(problem.inputs), matte=lambda name: problem.inputs.mattes[name]),
    )


def _elements(inputs: Inputs) -> Callable[[Source], Mips]:
    @cache
    def element(source: Source) -> Mips:
        return Mips(inputs.cut_outs[(source.image, source.matte)].picture.samples)

    return element
