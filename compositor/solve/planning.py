"""Scene and facts to a complete plan."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import apply_homography
from compositor.base.errors import Fault, FaultyScene
from compositor.measure.facts import PictureFacts
from compositor.plan.model import Delivery, Holdout, PlacedElement, Plan, StackItem
from compositor.scene.delivery import Delivery as DeliveryWords
from compositor.scene.models import Scene
from compositor.solve.cameras import solve_camera
from compositor.solve.elements import placed_element
from compositor.solve.faults import Collector
from compositor.solve.framing import Box, union, window
from compositor.solve.plate import PlateGround, plate_plan

# By eye: nothing that stands on the ground goes behind what lies within this height of it.
LYING_M = 0.05


@dataclass(frozen=True)
class SceneFacts:
    """Facts of the plate's picture and of each element's by name (none for parts of the plate)."""

    plate: PictureFacts
    elements: Mapping[str, PictureFacts]


def solve(scene: Scene, facts: SceneFacts) -> Plan:
    """Solve a scene. Raises FaultyScene with all the faults of it, keys from the top of the scene."""
    faults = Collector()
    with faults.part(("plate", "camera")):
        model = solve_camera(scene.plate.camera, facts.plate)
    faults.raise_any()  # without the plate's camera nothing else can be judged
    ground = PlateGround(scene.plate, model)
    placed: list[PlacedElement] = []
    for index, element in enumerate(scene.elements):
        if element.visible:
            with faults.part(("elements", index)):
                placed.append(placed_element(element, ground, facts.elements.get(element.name)))
    faults.raise_any()
    deliveries = []
    for index, delivery in enumerate(scene.deliveries):
        with faults.part(("deliveries", index)):
            deliveries.append(_delivery(delivery, ground.size_px, placed))
    faults.raise_any()
    if not scene.deliveries:
        whole = window(ground.size_px, None, None, 0.0)
        deliveries = [Delivery("composite", "png", 100, (0.0, 0.0, whole.width, whole.height), ground.size_px, 0.0)]
    holdouts = tuple(Holdout(h.name, h.matte, h.distance) for h in scene.plate.holdouts)
    stack = _stack(placed, holdouts)
    order = {item.name: position for position, item in enumerate(stack)}
    placed.sort(key=lambda element: order[element.name])
    return Plan(scene.title, plate_plan(ground), tuple(placed), holdouts, stack, tuple(deliveries))


def _stack(placed: list[PlacedElement], holdouts: tuple[Holdout, ...]) -> tuple[StackItem, ...]:
    """Far to near by distance; what lies on the ground under all that stands on it; a holdout behind what stands
    just as far; otherwise the order in the file."""

    def key(entry: tuple[StackItem, float, bool]) -> tuple[bool, float, bool]:
        item, distance_m, lies = entry
        return (not lies, -distance_m, item.kind == "element")

    entries = [(StackItem("holdout", h.name), h.distance_m, False) for h in holdouts]
    for element in placed:
        lies = element.stance == "flat" and element.raise_m <= LYING_M
        entries.append((StackItem("element", element.name), element.distance_m, lies))
    return tuple(item for item, _, _ in sorted(entries, key=key))


def _delivery(words_: DeliveryWords, frame_px: tuple[int, int], placed: list[PlacedElement]) -> Delivery:
    boxes = [_box(element, frame_px) for element in placed if words_.around and element.name in words_.around]
    found = window(frame_px, words_.size, union(boxes) if boxes else None, words_.margin)
    size_px = words_.size or (round(found.width), round(found.height))
    place_px = (found.left, found.top, found.width, found.height)
    return Delivery(words_.name, words_.format, words_.quality, place_px, size_px, found.margin_short_px)


def _box(element: PlacedElement, frame_px: tuple[int, int]) -> Box:
    """The box around what of an element is in the frame. Raises FaultyScene where nothing of it is."""
    matrix = element.homography_matrix
    hull = [p for p in element.own_hull_px if (matrix @ np.array([*p, 1.0]))[2] > 0]
    corners = apply_homography(matrix, hull)
    low = np.clip(corners.min(axis=0), 0.0, frame_px)
    high = np.clip(corners.max(axis=0), 0.0, frame_px)
    if np.any(high - low <= 0.0):
        raise FaultyScene([Fault(("around",), "nothing of it is inside the frame", element.name)])
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
