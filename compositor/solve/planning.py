"""Scene and facts to a complete plan."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

from compositor.base.sameness import MOST_KEPT, Itself
from compositor.base.tolerances import Tolerances
from compositor.measure.facts import PictureFacts
from compositor.plan.light import Rgb
from compositor.plan.model import Holdout, PlacedElement, Plan, PlatePlan, StackItem
from compositor.scene.element import Element
from compositor.scene.models import Scene
from compositor.scene.part import Exactly
from compositor.scene.plate import Plate
from compositor.solve.alternatives import seen_alternatives
from compositor.solve.cameras import solve_camera
from compositor.solve.delivering import deliveries
from compositor.solve.elements import placed_element
from compositor.solve.faults import Collector, within
from compositor.solve.graphics import GraphicFacts
from compositor.solve.light import light_plan
from compositor.solve.marks import agreed_height, placed_mark
from compositor.solve.plate import PlateGround, plate_plan

# By eye: nothing that stands on the ground goes behind what lies within this height of it.
LYING_M = 0.05


@dataclass(frozen=True)
class SceneFacts:
    """Facts of the plate's picture, of each element's by name (none for parts of the plate), and of graphics;
    of photographs that could be used instead, by their file."""

    plate: PictureFacts
    elements: Mapping[str, PictureFacts]
    graphics: GraphicFacts = field(default_factory=GraphicFacts)
    alternatives: Mapping[str, PictureFacts] = field(default_factory=dict)
    light_left: Rgb | None = None  # in shadow, where the scene names patches to measure it by


def solve(scene: Scene, facts: SceneFacts) -> Plan:
    """Solve a scene. Raises FaultyScene with all the faults of it, keys from the top of the scene."""
    faults = Collector()
    with faults.part():
        ground = _ground(Exactly(scene.plate), Itself(facts.plate))
    faults.raise_any()  # without the plate's camera nothing else can be judged
    if not ground.model.height_known:
        with faults.part():
            ground = PlateGround(scene.plate, ground.model, agreed_height(scene.marks, ground))
        faults.raise_any()
    placed: list[PlacedElement] = []
    for index, element in enumerate(scene.elements):
        if element.visible:
            with faults.part(("elements", index)):
                known = facts.elements.get(element.name)
                found = _placed(Exactly(element), ground, None if known is None else Itself(known))
                seen = seen_alternatives(element, facts.alternatives)
                placed.append(replace(found, alternatives=seen) if seen else found)
    faults.raise_any()
    marked = []
    for index, mark in enumerate(scene.marks):
        with faults.part(("marks", index)):
            marked.append(placed_mark(mark, ground))
    faults.raise_any()
    delivered = deliveries(scene, ground.camera(), placed, facts.graphics, faults)
    faults.raise_any()
    holdouts = tuple(Holdout(h.name, h.matte, h.distance) for h in scene.plate.holdouts)
    stack = _stack(placed, holdouts)
    order = {item.name: position for position, item in enumerate(stack)}
    placed.sort(key=lambda element: order[element.name])
    with faults.part():
        light = light_plan(scene, ground, placed, facts.elements, facts.light_left)
    faults.raise_any()
    return Plan(
        scene.title,
        _plate(ground, () if light is None else light.assumed),
        tuple(placed),
        holdouts,
        stack,
        delivered,
        tolerances=Tolerances(**scene.tolerances.model_dump()),
        marks=tuple(marked),
        layered=scene.layers,
        light=light,
        deliveries_listed=bool(scene.deliveries),
    )


@lru_cache(MOST_KEPT)
def _ground(plate: Exactly[Plate], facts: Itself[PictureFacts]) -> PlateGround:
    """The plate's ground, the same for all variants that leave the plate as it is."""
    with within(("plate", "camera")):
        model = solve_camera(plate.words.camera, facts.value)
    return PlateGround(plate.words, model)


@lru_cache(MOST_KEPT)
def _placed(element: Exactly[Element], ground: PlateGround, facts: Itself[PictureFacts] | None) -> PlacedElement:
    """An element in its place, the same for all variants that change neither it nor the plate."""
    return placed_element(element, ground, facts)


@lru_cache(MOST_KEPT)
def _plate(ground: PlateGround, assumed_of_light: tuple[str, ...]) -> PlatePlan:
    """The plate with all that had to be assumed, the same for all variants under one light."""
    plate = plate_plan(ground)
    return replace(plate, assumed=(*plate.assumed, *assumed_of_light))


_storey = lru_cache(MOST_KEPT)(StackItem)


def _stack(placed: list[PlacedElement], holdouts: tuple[Holdout, ...]) -> tuple[StackItem, ...]:
    """Far to near by distance; what lies on the ground under all that stands on it; a holdout behind what stands
    just as far; otherwise the order in the file."""

    def key(entry: tuple[StackItem, float, bool]) -> tuple[bool, float, bool]:
        item, distance_m, lies = entry
        return (not lies, -distance_m, item.kind == "element")

    entries = [(_storey("holdout", h.name), h.distance_m, False) for h in holdouts]
    for element in placed:
        lies = element.stance == "flat" and element.raise_m <= LYING_M
        entries.append((_storey("element", element.name), element.distance_m, lies))
    return tuple(item for item, _, _ in sorted(entries, key=key))
