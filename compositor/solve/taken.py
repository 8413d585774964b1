"""An element before it is placed: the camera that took it, and what of it fixes where it goes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache, partial

import numpy as np

from compositor.base.errors import Fault, FaultyScene
from compositor.base.sameness import MOST_KEPT, Itself
from compositor.geometry.camera import Camera
from compositor.measure.facts import PictureFacts
from compositor.plan.model import Point
from compositor.scene.element import Element
from compositor.scene.part import Exactly
from compositor.solve.cameras import CameraModel, solve_camera, straightened
from compositor.solve.faults import about, within
from compositor.solve.placement import OwnView, own_view
from compositor.solve.plate import PlateGround
from compositor.solve.subject import Subject

_OWN_KEYS = frozenset(("camera", "contact", "top", "height", "size", "stance"))
"""Of an element: what is read here. All its other keys say where it goes, or how it is drawn."""

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


def taken(element: Element, ground: PlateGround, facts: Itself[PictureFacts] | None) -> Taken:
    """An element before it is placed. facts: of its own picture; None for a part of the plate.

    Raises FaultyScene with keys relative to the element.
    """
    if element.from_plate is not None:
        return Taken(ground.model, _subject(element, ground.model, element.from_plate, ground.model.size_px))
    return _photographed(Exactly(element, _OWN_KEYS), facts)


@lru_cache(MOST_KEPT)
def _photographed(element: Exactly[Element], facts: Itself[PictureFacts] | None) -> Taken:
    """An element that brings its picture, the same wherever it goes."""
    if facts is None:
        raise ValueError("facts of an element's own picture are missing")
    words, known = element.words, facts.value
    own = None
    if words.camera is not None:
        with within(("camera",)):
            own = solve_camera(words.camera, known)
    return Taken(own, _subject(words, own, known.hull_px, known.size_px))


def _subject(element: Element, own: CameraModel | None, outline: Sequence[Point], size_px: tuple[int, int]) -> Subject:
    """What fixes where it goes, as far as its own keys tell."""
    lens = None if own is None else own.lens
    with about(("camera", "distortion") if element.from_plate is None else ("from_plate",)):
        hull = tuple(straightened(outline, lens))
    if element.contact is not None:
        check_inside(element.contact, size_px)
    contact = (size_px[0] / 2.0, float(size_px[1])) if element.contact is None else element.contact
    with about(("contact",), contact):
        contact = straightened([contact], lens)[0]
    return Subject(
        stance=element.stance,
        size_px=size_px,
        hull_px=hull,
        contact_px=contact,
        top_px=_top(element, own, hull, size_px),
        height_m=element.height,
        camera_height_m=_stated_camera_height(element, own),
        artwork_m=element.size,
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


def _stated_camera_height(element: Element, own: CameraModel | None) -> float | None:
    if element.from_plate is not None or own is None or not own.height_known:
        return None
    return own.camera().height_m
