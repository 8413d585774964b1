"""What shapes a layer: everything that drawing it reads. Equal shapes, equal bytes.

What drawing does not read (names of kinds, doubts, what was assumed) is blotted out, so that it makes nothing anew. A
number that drawing begins to read is covered already: only what is named here is left out.
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from typing import Any

from compositor.base.sameness import once_for_each
from compositor.plan.light import Light
from compositor.plan.model import PlacedElement, Plan, PlatePlan, Source
from compositor.render.layer import Layer
from compositor.render.view import View

Shape = tuple[object, ...]
"""Dataclasses, sequences and plain values. Sources stand for the content of their files."""

Keep = Callable[[Shape, Callable[[], list[Layer]]], list[Layer]]


Share = Callable[[Source, tuple[Hashable, ...], Callable[[], Any]], Any]
"""What the views of a picture have in common, by what else it depends on, where it was made before."""


def made_now(source: Source, rest: tuple[Hashable, ...], make: Callable[[], Any]) -> Any:
    """Shares nothing."""
    return make()


def anew(shape: Shape, make: Callable[[], list[Layer]]) -> list[Layer]:
    """Keeps nothing."""
    return make()


def element_shape(element: PlacedElement, plate: PlatePlan, finished: bool, view: View) -> Shape:
    """What shapes an element's layer. finished: whether anything is done to it but bringing it to its place."""
    if finished:
        return "finished element", view, _drawn(element), plate_shape(plate)
    of_plate = None if element.source.outline_px is None else plate.source
    return "element", view, element.name, element.source, of_plate, element.homography_matrix.tolist()


def shadows_shape(plan: Plan, view: View) -> Shape:
    """What shapes all shadows together: none is drawn where another has fallen already."""
    return "shadows", view, _shadowed(plan)


@dataclass(frozen=True)
class _Shadowed:
    """What shadows fall from and on, told once for all views: by the same object it is found again."""

    light: Light
    elements: tuple[PlacedElement, ...]
    ground: PlatePlan
    shade: Shape


@once_for_each
def _shadowed(plan: Plan) -> _Shadowed | None:
    if plan.light is None:
        return None
    elements = tuple(_drawn(plan.element(shadow.element)) for shadow in plan.light.shadows)
    light = replace(plan.light, shade=None, assumed=())
    return _Shadowed(light, elements, _below(plan.plate), matte_shape(plan.light.shade, plan.plate))


def picture_shape(plan: Plan, view: View) -> Shape:
    """What shapes all that a view shows."""
    holdouts = [(h.name, h.distance_m, matte_shape(h.matte, plan.plate)) for h in plan.holdouts]
    elements = [_drawn(element) for element in plan.elements]
    return "picture", plan.stack, elements, holdouts, shadows_shape(plan, view), plate_shape(plan.plate), view


def frame_shape(plate: PlatePlan) -> Shape:
    """What shapes the plate in the full frame; its camera only where that says how the ground goes on."""
    grounded = plate.extension.fill == "stretch" and plate.extension.bottom > 0
    return plate.source, plate.extension, plate.camera if grounded else None


def matte_shape(matte: str | None, plate: PlatePlan) -> Shape:
    """What shapes a matte in the full frame."""
    return ("none",) if matte is None else (Source(matte), plate.source.lens, plate.extension)


@once_for_each
def plate_shape(plate: PlatePlan) -> PlatePlan:
    """The plate as drawing reads it."""
    return replace(plate, plus_minus={}, assumed=(), edge_groups=())


@once_for_each
def _below(plate: PlatePlan) -> PlatePlan:
    """The plate as shadows read it."""
    return replace(plate_shape(plate), focus=None)


@once_for_each
def _drawn(element: PlacedElement) -> PlacedElement:
    """The element as drawing reads it."""
    return replace(
        element,
        plus_minus={},
        assumed=(),
        kind=None,
        stands_on=None,
        plumb_px=None,
        alternatives=(),
        own_sun=None,
        stated_height_m=None,
        stated_camera_height_m=None,
    )
