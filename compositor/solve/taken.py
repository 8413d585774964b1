"""An element before it is placed: the camera that took it, and what of it fixes where it goes."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache, partial
from typing import TypeVar

import numpy as np

from compositor.base.errors import Fault, FaultyScene
from compositor.base.sameness import MOST_KEPT, Itself
from compositor.geometry.camera import Camera
from compositor.measure.facts import PictureFacts
from compositor.plan.model import Point
from compositor.scene import element as words
from compositor.scene.element import Element
from compositor.scene.part import Exactly
from compositor.solve.cameras import CameraModel, solve_camera, straightened
from compositor.solve.faults import about, within
from compositor.solve.placement import OwnView, own_view
from compositor.solve.plate import PlateGround
from compositor.solve.subject import GroundPlace, Subject

Known = TypeVar("Known", PictureFacts, PlateGround)
_VIEWS_KEPT = 64  # by eye: of one element under all nudges, and from some heights of the plate's camera


@dataclass(frozen=True)
class Taken:
    """An element as it was taken. model: of its own camera; the plate's for a part of it, None for artwork."""

    model: CameraModel | None
    subject: Subject

    def view(self, camera: Camera | None, plate_height_m: float) -> OwnView:
        """What its own camera saw, or a nudged one. Raises FaultyScene with keys relative to the element."""
        return self._view(camera, plate_height_m if camera is not None and self._borrows_height else 0.0)

    @cached_property
    def _view(self) -> Callable[[Camera | None, float], OwnView]:
        return lru_cache(_VIEWS_KEPT)(partial(own_view, self.subject))

    @cached_property
    def _borrows_height(self) -> bool:
        """Whether its own camera is taken to stand as high as the plate's."""
        subject = self.subject
        stated = subject.height_m is not None and subject.stance != "flat"
        return not (stated or subject.camera_height_m is not None)


def taken(element: Exactly[Element], ground: PlateGround, facts: Itself[PictureFacts] | None) -> Taken:
    """An element before it is placed. facts: of its own picture; None for a part of the plate.

    Raises FaultyScene with keys relative to the element.
    """
    found = element.words
    if found.from_plate is None and found.wall is None and isinstance(found.ground, words.GroundPosition):
        return _taken_elsewhere(element, facts)
    return _taken(found, ground, None if facts is None else facts.value)


@lru_cache(MOST_KEPT)
def _taken_elsewhere(element: Exactly[Element], facts: Itself[PictureFacts] | None) -> Taken:
    """An element that names no pixel of the plate: the same in front of every plate's camera."""
    return _taken(element.words, None, None if facts is None else facts.value)


def _taken(element: Element, ground: PlateGround | None, facts: PictureFacts | None) -> Taken:
    own = _own_model(element, ground, facts)
    return Taken(own, _subject(element, ground, own, facts))


def _own_model(element: Element, ground: PlateGround | None, facts: PictureFacts | None) -> CameraModel | None:
    """The camera that took the element's picture; the plate's for a part of it, None for artwork."""
    if element.from_plate is not None:
        return _present(ground).model
    if element.camera is None:
        return None
    with within(("camera",)):
        return solve_camera(element.camera, _present(facts))


def _subject(
    element: Element, ground: PlateGround | None, own: CameraModel | None, facts: PictureFacts | None
) -> Subject:
    lens = None if own is None else own.lens
    with about(("camera", "distortion") if element.from_plate is None else ("from_plate",)):
        outline = _present(facts).hull_px if element.from_plate is None else element.from_plate
        hull = tuple(straightened(outline, lens))
    size_px = _present(facts).size_px if element.from_plate is None else _present(ground).model.size_px
    if element.contact is not None:
        check_inside(element.contact, size_px)
    bottom = (size_px[0] / 2.0, float(size_px[1]))
    contact = bottom if element.contact is None else element.contact
    with about(("contact",), contact):
        contact = straightened([contact], lens)[0]
    with about(("wall",)):
        wall = None if element.wall is None else _present(ground).moved(element.wall)
    return Subject(
        stance=element.stance,
        size_px=size_px,
        hull_px=hull,
        contact_px=contact,
        top_px=_top(element, own, hull, size_px),
        ground=_ground_place(element, ground),
        height_m=element.height,
        camera_height_m=_stated_camera_height(element, own),
        artwork_m=element.size,
        wall_px=None if wall is None else (wall[0], wall[1]),
        turn_deg=element.turn,
        raise_m=element.raise_,
        flip=element.flip,
        from_plate=element.from_plate is not None,
    )


def check_inside(contact: Point, size_px: tuple[int, int]) -> None:
    """Raises FaultyScene (key contact) for a contact outside its picture."""
    if not (0.0 <= contact[0] <= size_px[0] and 0.0 <= contact[1] <= size_px[1]):
        what = f"lies outside its picture, which is {size_px[0]} × {size_px[1]} px"
        raise FaultyScene([Fault(("contact",), what, f"[{contact[0]:g}, {contact[1]:g}]")])


def _top(element: Element, own: CameraModel | None, hull: tuple[Point, ...], size_px: tuple[int, int]) -> Point:
    """The stated top, else the point of the matte's outline that is farthest above its camera's horizon's level."""
    if element.top is not None:
        with about(("top",), element.top):
            return straightened([element.top], None if own is None else own.lens)[0]
    if own is None:
        return (size_px[0] / 2.0, 0.0)
    a, b, c = own.camera().horizon
    below = np.array([a * u + b * v + c for u, v in hull])
    highest = np.array(hull)[below <= below.min() + 0.5]
    return float(highest[:, 0].mean()), float(highest[:, 1].mean())


def _ground_place(element: Element, ground: PlateGround | None) -> GroundPlace | Point:
    if isinstance(element.ground, words.GroundPixel):
        with about(("ground", "pixel"), element.ground.pixel):
            return _present(ground).moved((element.ground.pixel,))[0]
    return GroundPlace(element.ground.distance, element.ground.offset)


def _stated_camera_height(element: Element, own: CameraModel | None) -> float | None:
    if element.from_plate is not None or own is None or not own.height_known:
        return None
    return own.camera().height_m


def _present(known: Known | None) -> Known:
    if known is None:
        raise ValueError("facts of an element's own picture, or the plate of a part of it, are missing")
    return known
