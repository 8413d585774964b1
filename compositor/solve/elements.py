"""One element of the scene to a placed element of the plan, with its uncertainty."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from compositor.base.sameness import Itself
from compositor.geometry.camera import Camera
from compositor.measure.facts import PictureFacts
from compositor.plan.model import PlacedElement, Point, Source
from compositor.scene.element import Element, GroundPixel
from compositor.scene.part import Exactly
from compositor.solve.cameras import CameraModel, straightened
from compositor.solve.effects import cutting_of, look_of
from compositor.solve.faults import about
from compositor.solve.placement import OwnView, Placement, place_views
from compositor.solve.plate import PlateGround
from compositor.solve.subject import GroundPlace, Subject
from compositor.solve.taken import Taken, taken
from compositor.solve.uncertainty import standard_deviations, variances_of_steps


def placed_element(element: Exactly[Element], ground: PlateGround, facts: Itself[PictureFacts] | None) -> PlacedElement:
    """Place an element. facts: of its own picture; None for a part of the plate.

    Raises FaultyScene with keys relative to the element.
    """
    words = element.words
    before = taken(words, ground, facts)
    found, *nudged = place_views(_put(before.subject, words, ground), _views(before, ground))
    numbers = [placement.numbers() for placement in nudged]
    steps, of_plate = list(zip(numbers[::2], numbers[1::2], strict=True)), len(ground.model.uncertain)
    plus_minus = standard_deviations(variances_of_steps(steps[:of_plate]), variances_of_steps(steps[of_plate:]))
    return _filled(words, before, found, plus_minus, ground.plate.image)


def _put(subject: Subject, element: Element, ground: PlateGround) -> Subject:
    """The subject on its place."""
    place: GroundPlace | Point
    with about(("wall",)):
        wall = None if element.wall is None else ground.moved(element.wall)
    if isinstance(element.ground, GroundPixel):
        with about(("ground", "pixel"), element.ground.pixel):
            place = ground.moved((element.ground.pixel,))[0]
    else:
        place = GroundPlace(element.ground.distance, element.ground.offset)
    return replace(
        subject,
        ground=place,
        wall_px=None if wall is None else (wall[0], wall[1]),
        turn_deg=element.turn,
        raise_m=element.raise_,
        flip=element.flip,
    )


def _views(before: Taken, ground: PlateGround) -> Iterator[tuple[Camera, OwnView]]:
    """The plate's camera and what the element's own saw; then under each nudge of the plate's, put on and taken off,
    and under each of its own."""
    here, is_part = ground.camera(), before.subject.from_plate
    own = ground.unmoved() if is_part else None if before.model is None else before.model.camera()
    yield here, before.view(own, here.height_m)
    for nudge in ground.model.uncertain:
        for step in nudge.steps:
            plate = ground.camera(step)
            yield plate, before.view(ground.unmoved(step) if is_part else own, plate.height_m)
    for pair in () if is_part or before.model is None else before.model.steps:
        for nudged in pair:
            yield here, before.view(nudged, here.height_m)


def _filled(
    element: Element, before: Taken, found: Placement, plus_minus: Mapping[str, float], plate_image: str
) -> PlacedElement:
    own, subject = before.model, before.subject
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
