"""The light of the plate, and what stands in it."""

from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from math import radians, sin

import numpy as np

from compositor.base.errors import Fault, FaultyScene, GeometryError
from compositor.base.opencv import cv2
from compositor.base.sameness import MOST_KEPT, Itself, SameParts
from compositor.geometry.clear_sky import sky_tint
from compositor.geometry.ground import ground_point
from compositor.geometry.planes import Plane, facing, frontal, lying
from compositor.geometry.shadow import frame_of
from compositor.geometry.solar import sun_position
from compositor.geometry.solid import Build, Solid, flat_solid, solid_of
from compositor.geometry.sun import LOWEST_DEG, Sun, sun_at_pixel, sun_of_shadow
from compositor.measure.facts import PictureFacts
from compositor.plan.light import Light, Point, Rgb, Shadow
from compositor.plan.model import PlacedElement
from compositor.plan.own import by_itself
from compositor.scene import light as words
from compositor.scene.element import Element
from compositor.scene.models import Scene
from compositor.solve.faults import about, within
from compositor.solve.plate import PlateGround

# Where the sun is hidden, open ground keeps 17 to 27 % of its light under a sun above 30° (measured on photographs):
# the middle, 22 %, at 45°. About a tenth of the sky's light is kept away there by what throws the shadow, and a quarter
# of that comes back from it where it is about as light as the ground (render/bounced.py). Contact shadows take the
# rest: 23.7 % of the whole is left to them (0.22 / (0.22 + sin 45°)). The sky's own light changes little with the
# height of the sun.
SKY_TO_SUN_RATIO = 0.22

# The same photographs: red over green falls to 0.57 to 0.85 of its ratio in the sun, blue over green rises to 1.26 to
# 1.90 of it; their middles at 22 % light left are a sky of this colour beside the sun's, at 45° as well.
SKY_TINT: Rgb = (0.66, 1.0, 1.85)
_MIDDLE_DEG = 45.0

_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709
FLAT_DEPTH_M = 0.02  # what is flat has no thickness of its own; less than this a map cannot hold
LYING_M = 0.05  # by eye: what lies lower than this throws nothing


def light_plan(
    scene: Scene,
    ground: PlateGround,
    placed: list[PlacedElement],
    elements: Mapping[str, PictureFacts],
    measured_left: Rgb | None,
) -> Light | None:
    """The light with all shadows, in the order of `placed`; None where nothing throws any.

    elements: facts of their pictures by name. measured_left: light left in shadow, measured on the plate where the
    scene names patches. Raises FaultyScene with keys from the top of the scene.
    """
    said = scene.plate.light
    by_name = {element.name: element for element in scene.elements}
    shadows = []
    for found in placed:
        facts = elements.get(found.name)
        build = None if facts is None else facts.build
        shadow = _shadow(by_name[found.name], found, ground, (said, build))
        if shadow is not None:
            shadows.append(shadow)
    if said is None:
        return Light(None, (1.0, 1.0, 1.0), None, (), tuple(shadows)) if shadows else None
    with within(("plate", "light")):
        sun = None if said.sun == 0 else _sun(said, ground)
        left, assumed = _light_left(said, sun, measured_left)
        walls = tuple(_wall(index, wall, ground) for index, wall in enumerate(said.walls))
    return Light(sun, left, said.shade, walls, tuple(shadows), assumed)


def _sun(said: words.Light, ground: PlateGround) -> Sun:
    camera = ground.camera()
    if said.pixel is not None:
        with about(("pixel",), said.pixel, " of the plate"):
            return sun_at_pixel(camera, ground.moved((said.pixel,))[0])
    if said.shadow is not None:
        base, top, tip = ground.moved((said.shadow.base, said.shadow.top, said.shadow.tip))
        with about(("shadow",), None, " of the plate"):
            return sun_of_shadow(camera, base, top, tip)
    if said.time is not None and said.place is not None and said.heading is not None:
        found = sun_position(datetime.fromisoformat(said.time), *said.place)
        if found.elevation_deg < LOWEST_DEG:
            what = f"the sun stands {found.elevation_deg:.1f}° above the horizon then and there: no shadow is thrown"
            raise FaultyScene([Fault(("time",), what, said.time)])
        return Sun(found.azimuth_deg - said.heading, found.elevation_deg)
    if said.azimuth is None or said.elevation is None:
        raise FaultyScene([Fault((), "says nowhere where the sun stands")])
    return Sun(said.azimuth, said.elevation)


def _light_left(said: words.Light, sun: Sun | None, measured: Rgb | None) -> tuple[Rgb, tuple[str, ...]]:
    """Light left where the sun is hidden, and what had to be assumed for it."""
    if sun is None:
        return (1.0, 1.0, 1.0), ()
    if isinstance(said.sun, float | int):
        return tinted(1.0 - said.sun, sun), ()
    if measured is not None:
        return measured, ()
    left = SKY_TO_SUN_RATIO / (SKY_TO_SUN_RATIO + sin(radians(sun.elevation_deg)))
    text = (
        f"sun's share of {1.0 - left:.0%} of the light on the ground: that of a clear sky, since nothing states another"
    )
    return tinted(left, sun), (text,)


@lru_cache(MOST_KEPT)
def tinted(left_ratio: float, sun: Sun) -> Rgb:
    """Light left per channel, of a given luminance, under a clear sky: blue, the more so the less of it there is and
    the lower the sun."""
    tint = np.array(SKY_TINT) * sky_tint(sun.elevation_deg) / sky_tint(_MIDDLE_DEG)
    colour = tint * left_ratio / (tint * left_ratio + 1.0 - left_ratio)
    luminance = float(_LUMINANCE @ colour)
    scale = left_ratio / luminance if luminance > 0.0 else 0.0
    red, green, blue = (float(value) for value in np.minimum(colour * scale, 1.0))
    return red, green, blue


def _wall(index: int, wall: tuple[Point, Point], ground: PlateGround) -> tuple[Point, Point]:
    feet = []
    for end, pixel in enumerate(wall):
        with about(("walls", index, end), pixel, " of the plate"):
            feet.append(ground_point(ground.camera(), ground.moved((pixel,))[0]))
    if float(np.hypot(feet[1][0] - feet[0][0], feet[1][1] - feet[0][1])) < 1e-6:
        raise FaultyScene([Fault(("walls", index), "the two points of the wall's foot coincide")])
    return feet[0], feet[1]


def _shadow(
    element: Element, found: PlacedElement, ground: PlateGround, known: tuple[words.Light | None, Build | None]
) -> Shadow | None:
    """What one element takes from the light; None for nothing. known: the plate's light as the scene says it, and
    what the element's matte tells of its parts."""
    asked, (said, build) = element.shadow, known
    if (asked is None and said is None) or found.stance == "wall":
        return None
    cast = said is not None and said.sun != 0 and (asked is None or asked.cast)
    contact = asked is None or asked.contact
    if not (cast or contact) or (found.stance == "flat" and found.raise_m <= LYING_M):
        return None
    try:
        solid = _solid(by_itself(found), None if build is None else Itself(build))
    except GeometryError:
        return None
    return _of_solid(Itself(found), Itself(solid), ground.camera().height_m, (cast, contact))


@lru_cache(MOST_KEPT)
def _of_solid(found: Itself[PlacedElement], solid: Itself[Solid], eye_m: float, falls: tuple[bool, bool]) -> Shadow:
    """The same for all variants that leave the element and the camera's height as they are. falls: cast, contact."""
    placed = found.value
    return Shadow(placed.name, solid.value, frame_of(placed.plane, (0.0, 0.0, eye_m)), *falls)


@lru_cache(MOST_KEPT)
def _solid(placed: SameParts[PlacedElement], known: Itself[Build] | None) -> Solid:
    found, build = placed.value, None if known is None else known.value
    hull = _convex(found.own_hull_px)
    if found.own_camera is None:
        depth = FLAT_DEPTH_M if found.depth_m is None else found.depth_m
        return flat_solid(_artwork_pixels(found), hull, depth)
    own = found.own_camera
    contact = ground_point(own, found.own_contact_px)
    if found.stance == "flat":
        plane = lying(contact)
    else:
        plane = frontal(contact) if found.source.outline_px is not None else facing(contact)
    frame = frame_of(plane, (0.0, 0.0, own.height_m))
    upright = Plane(frame.origin_m, frame.right, frame.up).to_pixels(own)
    level = Plane(frame.origin_m, frame.right, frame.back).to_pixels(own)
    pixels = [(right, back, up, at) for (right, up, at), (_, back, _) in zip(upright, level, strict=True)]
    if found.stance == "flat":
        return flat_solid(pixels, hull, FLAT_DEPTH_M if found.depth_m is None else found.depth_m)
    return solid_of(pixels, hull, found.depth_m, build)


def _artwork_pixels(found: PlacedElement) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Subject coordinates to pixels of artwork: the same picture from wherever one looks at right angles."""
    assert found.artwork_m is not None
    (width, height), (u, v) = found.own_size_px, found.own_contact_px
    across, up = width / found.artwork_m[0], height / found.artwork_m[1]
    return np.array([[across, 0.0, 0.0, u], [0.0, 0.0, -up, v], [0.0, 0.0, 0.0, 1.0]])


def _convex(points_px: tuple[Point, ...]) -> tuple[Point, ...]:
    hull = cv2.convexHull(np.array(points_px, dtype=np.float32)).reshape(-1, 2).tolist()
    return tuple((u, v) for u, v in hull)
