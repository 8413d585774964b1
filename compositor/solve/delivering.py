"""Deliveries of a plan: windows of the full frame, and the graphics on them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from compositor.base.errors import Fault, FaultyScene
from compositor.base.limits import too_large
from compositor.base.tolerances import PICTURE, PictureTolerances
from compositor.geometry.camera import Camera
from compositor.geometry.polygons import in_front
from compositor.plan.model import Delivery, PlacedElement, PlacedGraphic
from compositor.plan.outline import outline_of
from compositor.scene.delivery import Delivery as DeliveryWords
from compositor.scene.delivery import HorizonAt
from compositor.scene.likeness import LikenessWords
from compositor.scene.models import Scene
from compositor.solve.faults import Collector
from compositor.solve.framing import Box, Rule, Wanted, union, window
from compositor.solve.graphics import GraphicFacts, placed_graphic, shown_on


def deliveries(
    scene: Scene, camera: Camera, placed: Sequence[PlacedElement], facts: GraphicFacts, faults: Collector
) -> tuple[Delivery, ...]:
    """All deliveries; the whole frame as PNG where none is listed. Faults are collected by key."""
    if not scene.deliveries:
        width, height = camera.size_px
        whole = Delivery("composite", "png", 100, (0.0, 0.0, float(width), float(height)), camera.size_px)
        return (replace(whole, likeness=_likeness(scene.likeness)),)
    found = []
    for index, words in enumerate(scene.deliveries):
        with faults.part(("deliveries", index)):
            framed = _framed(words, camera, placed)
            likeness = _likeness(scene.likeness, words.likeness)
            graphics = tuple(_graphics(scene, framed, facts, faults))
            found.append(replace(framed, graphics=graphics, likeness=likeness))
    return tuple(found)


def _likeness(*words: LikenessWords) -> PictureTolerances:
    """The house's tolerances with what the words say instead, the last one first; small parts follow the whole."""
    said = {key: value for each in words for key, value in each.model_dump(exclude_none=True).items()}
    lightness = said.get("lightness", PICTURE.region_lightness)
    colour = said.get("colour", PICTURE.region_colour)
    return replace(
        PICTURE,
        moved_px=said.get("moved", PICTURE.moved_px),
        region_lightness=lightness,
        whole_lightness=PICTURE.whole_lightness * lightness / PICTURE.region_lightness,
        region_colour=colour,
        tile_lightness=PICTURE.tile_lightness * lightness / PICTURE.region_lightness,
        tile_colour=PICTURE.tile_colour * colour / PICTURE.region_colour,
        tile_similarity=said.get("similarity", PICTURE.tile_similarity),
        patch=said.get("patch", PICTURE.patch),
    )


def _graphics(scene: Scene, delivery: Delivery, facts: GraphicFacts, faults: Collector) -> Iterator[PlacedGraphic]:
    for index, graphic in enumerate(scene.graphics):
        here = shown_on(graphic, delivery.name)
        if here is not None:
            with faults.part(("graphics", index)):
                yield placed_graphic(here, delivery.name, delivery.size_px, facts)


def _framed(words: DeliveryWords, camera: Camera, placed: Sequence[PlacedElement]) -> Delivery:
    """The delivery without its graphics: its window lies in what its crop leaves of the frame."""
    cropped_px = (0, 0, 0, 0) if words.crop is None else tuple(words.crop.model_dump().values())
    left, top = cropped_px[:2]
    shown = camera.shifted(-left, -top, _cropped_size(camera.size_px, cropped_px))
    kept = {e.name: _box(e, (left, top), shown.size_px) for e in placed if words.around and e.name in words.around}
    safe_px = (0, 0, 0, 0) if words.safe is None else tuple(words.safe.model_dump().values())
    across, down = _rules(words, shown, kept)
    wanted = Wanted(words.size, words.aspect, _margins(words, safe_px), across, down)
    found = window(shown.size_px, wanted, kept)
    size_px = words.size or (round(found.width), round(found.height))
    reason = too_large(size_px)
    if reason is not None:
        raise FaultyScene([Fault(("size",), reason)])
    return Delivery(
        name=words.name,
        format=words.format,
        quality=words.quality,
        window_px=(found.left + left, found.top + top, found.width, found.height),
        size_px=size_px,
        margin_short_px=found.margin_short_px,
        rule_short_px=found.rule_short_px,
        cropped_px=cropped_px,
        kept=tuple(kept),
        safe_px=safe_px,
        depth_bits=words.depth,
        dpi=words.dpi,
        profile=words.profile,
        overlay=words.overlay,
    )


def _cropped_size(frame_px: tuple[int, int], cropped_px: tuple[int, ...]) -> tuple[int, int]:
    """What a crop leaves of the frame. Raises FaultyScene (key crop) where that is nothing."""
    left, top, right, bottom = cropped_px
    width, height = frame_px[0] - left - right, frame_px[1] - top - bottom
    if min(width, height) < 1:
        what = f"leaves nothing of the frame, which is {frame_px[0]} × {frame_px[1]} px"
        raise FaultyScene([Fault(("crop",), what)])
    return width, height


def _margins(words: DeliveryWords, safe_px: tuple[int, ...]) -> tuple[float, float, float, float]:
    """The free shares of the window: the margin, or the covered band where that is wider."""
    margins = (words.margin,) * 4 if isinstance(words.margin, float) else words.margin
    if words.size is None:
        return margins
    sides = (words.size[0], words.size[1], words.size[0], words.size[1])
    left, top, right, bottom = (
        max(margin, band / side) for margin, band, side in zip(margins, safe_px, sides, strict=True)
    )
    return left, top, right, bottom


def _rules(words: DeliveryWords, camera: Camera, kept: Mapping[str, Box]) -> tuple[Rule | None, Rule | None]:
    """Rules across and down."""
    if isinstance(words.composition, HorizonAt):
        column_px = camera.size_px[0] / 2.0
        if kept:
            left, _, right, _ = union(list(kept.values()))
            column_px = (left + right) / 2.0
        return None, Rule(camera.horizon_row(column_px), words.composition.horizon)
    if words.composition == "centre" or not kept:
        return None, None
    left, top, right, bottom = union(list(kept.values()))
    return _third((left + right) / 2.0, camera.size_px[0]), _third((top + bottom) / 2.0, camera.size_px[1])


def _third(point_px: float, length_px: int) -> Rule:
    """The third nearer to where it is in the whole frame: what stands left stays left."""
    return Rule(point_px, 1.0 / 3.0 if point_px < length_px / 2.0 else 2.0 / 3.0)


def _box(element: PlacedElement, origin_px: tuple[int, int], size_px: tuple[int, int]) -> Box:
    """The box around what of an element is in a part of the frame, from that part's corner. Raises FaultyScene where
    nothing of it is."""
    ahead = in_front(outline_of(element).hull)
    corners = ahead[:, :2] / ahead[:, 2:] - origin_px
    if len(corners) == 0:
        raise FaultyScene([Fault(("around",), "nothing of it is in front of the camera", element.name)])
    low = np.clip(corners.min(axis=0), 0.0, size_px)
    high = np.clip(corners.max(axis=0), 0.0, size_px)
    if np.any(high - low <= 0.0):
        raise FaultyScene([Fault(("around",), "nothing of it is inside the frame", element.name)])
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
