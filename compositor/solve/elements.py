"""One element of the scene to a placed element of the plan, with its uncertainty."""

from collections.abc import Mapping
from functools import cache, partial

import numpy as np

from compositor.base.errors import Fault, FaultyScene
from compositor.geometry.camera import Camera
from compositor.measure.facts import PictureFacts
from compositor.plan.model import PlacedElement, Point, Source
from compositor.scene import element as words
from compositor.scene.element import Element
from compositor.solve.cameras import CameraModel, solve_camera, straightened
from compositor.solve.effects import cutting_of, look_of
from compositor.solve.faults import about, within
from compositor.solve.placement import Placement, own_view, place_view
from compositor.solve.plate import PlateGround
from compositor.solve.subject import GroundPlace, Subject
from compositor.solve.uncertainty import Nudge, standard_deviations, variances


def placed_element(element: Element, ground: PlateGround, facts: PictureFacts | None) -> PlacedElement:
    """Place an element. facts: of its own picture; None for a part of the plate.

    Raises FaultyScene with keys relative to the element.
    """
    own = _own_model(element, ground, facts)
    subject = _subject(element, ground, own, facts)
    own_camera = None if own is None else own.camera()
    if element.from_plate is not None:
        own_camera = ground.unmoved()
    view_by = cache(partial(own_view, subject))  # the same under most nudges of the plate

    def placed(plate: Camera, taken_by: Camera | None) -> Placement:
        return place_view(subject, plate, view_by(taken_by, plate.height_m))

    def under_plate(nudge: Nudge) -> Mapping[str, float]:
        same = ground.unmoved(nudge) if element.from_plate is not None else own_camera
        return placed(ground.camera(nudge), same).numbers()

    def under_own(nudge: Nudge) -> Mapping[str, float]:
        return placed(ground.camera(), None if own is None else own.camera(nudge)).numbers()

    found = placed(ground.camera(), own_camera)
    own_uncertain = () if own is None or element.from_plate is not None else own.uncertain
    plus_minus = standard_deviations(
        variances(under_plate, ground.model.uncertain), variances(under_own, own_uncertain)
    )
    return _filled(element, subject, found, own, plus_minus, ground.plate.image)


def _own_model(element: Element, ground: PlateGround, facts: PictureFacts | None) -> CameraModel | None:
    """The camera that took the element's picture; the plate's for a part of it, None for artwork."""
    if element.from_plate is not None:
        return ground.model
    if element.camera is None:
        return None
    with within(("camera",)):
        return solve_camera(element.camera, _present(facts))


def _subject(element: Element, ground: PlateGround, own: CameraModel | None, facts: PictureFacts | None) -> Subject:
    lens = None if own is None else own.lens
    with about(("camera", "distortion") if element.from_plate is None else ("from_plate",)):
        outline = _present(facts).hull_px if element.from_plate is None else element.from_plate
        hull = tuple(straightened(outline, lens))
    size_px = _present(facts).size_px if element.from_plate is None else ground.model.size_px
    if element.contact is not None:
        check_inside(element.contact, size_px)
    bottom = (size_px[0] / 2.0, float(size_px[1]))
    contact = bottom if element.contact is None else element.contact
    with about(("contact",), contact):
        contact = straightened([contact], lens)[0]
    with about(("wall",)):
        wall = None if element.wall is None else ground.moved(element.wall)
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


def _ground_place(element: Element, ground: PlateGround) -> GroundPlace | Point:
    if isinstance(element.ground, words.GroundPixel):
        with about(("ground", "pixel"), element.ground.pixel):
            return ground.moved((element.ground.pixel,))[0]
    return GroundPlace(element.ground.distance, element.ground.offset)


def _stated_camera_height(element: Element, own: CameraModel | None) -> float | None:
    if element.from_plate is not None or own is None or not own.height_known:
        return None
    return own.camera().height_m


def _filled(
    element: Element,
    subject: Subject,
    found: Placement,
    own: CameraModel | None,
    plus_minus: Mapping[str, float],
    plate_image: str,
) -> PlacedElement:
    image, matte = element.image or plate_image, element.matte
    outline = None if element.from_plate is None else subject.hull_px
    assumed = () if own is None or element.from_plate is not None else own.assumed
    if own is not None and element.from_plate is None and not own.height_known and _scale_is_free(element):
        text = f"camera height of {found.camera_height_m:.2f} m: that of the plate, since nothing states another"
        assumed = (*assumed, text)
    return PlacedElement(
        name=element.name,
        source=Source(image, matte, outline, None if own is None else own.lens, cutting_of(element)),
        stance=element.stance,
        homography=found.matrix,
        plane=found.plane,
        distance_m=found.ground_m[1],
        offset_m=found.ground_m[0],
        raise_m=element.raise_,
        contact_px=found.contact_px,
        top_px=found.top_px,
        own_size_px=subject.size_px,
        own_hull_px=subject.hull_px,
        own_contact_px=subject.contact_px,
        own_top_px=subject.top_px,
        own_camera=found.own_camera,
        scale_ratio=found.scale_ratio,
        enlargement_ratio=found.enlargement_ratio,
        height_m=found.height_m,
        camera_height_m=found.camera_height_m,
        horizon_gap_px=found.horizon_gap_px,
        view_elevation_mismatch_deg=found.view_elevation_mismatch_deg,
        view_azimuth_mismatch_deg=found.view_azimuth_mismatch_deg,
        own_distance_m=found.own_distance_m,
        stated_height_m=element.height,
        stated_camera_height_m=subject.camera_height_m,
        artwork_m=element.size,
        plus_minus=plus_minus,
        assumed=assumed,
        look=look_of(element),
        kind=element.kind,
        stands_on=element.stands_on,
        depth_m=element.depth,
        own_sun=None if element.light is None else (element.light.azimuth, element.light.elevation),
        plumb_px=_plumb(element, own),
    )


def _plumb(element: Element, own: CameraModel | None) -> tuple[Point, Point] | None:
    if element.plumb is None:
        return None
    first, second = straightened(element.plumb, None if own is None else own.lens)
    return first, second


def _scale_is_free(element: Element) -> bool:
    return element.height is None or element.stance == "flat"


def _present(facts: PictureFacts | None) -> PictureFacts:
    if facts is None:
        raise ValueError("facts of an element's own picture are missing")
    return facts
