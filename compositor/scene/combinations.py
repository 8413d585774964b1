"""Which keys go together: what the models cannot say because it depends on several keys at once.

Looks at the tree and not at the models, so that these faults are found in the same run as wrong values.
"""

from collections.abc import Iterator

from compositor.base.errors import Fault, Key
from compositor.base.sameness import once_for_each
from compositor.scene.light_rules import light_faults
from compositor.scene.likeness import likeness_faults
from compositor.scene.likes import Expanded
from compositor.scene.output_rules import delivery_faults, graphic_faults, graphic_targets
from compositor.scene.tree import Node


def combination_faults(scene: Expanded) -> list[Fault]:
    """Faults of keys that do not go together, or that need another one."""
    root = scene.root
    faults: list[Fault] = []
    plate = root.mapping.get("plate")
    if plate is not None and "camera" in plate.mapping:
        faults += _camera(plate.mapping["camera"], ("plate", "camera"))
    if plate is not None and "light" in plate.mapping:
        faults += light_faults(plate.mapping["light"], ("plate", "light"))
    elements = root.mapping.get("elements")
    for position, item in enumerate([] if elements is None else elements.items):
        if isinstance(item.value, dict) and not _goes_together(item):
            faults += _Element(scene, position, item).faults()
    deliveries = root.mapping.get("deliveries")
    for position, item in enumerate([] if deliveries is None else deliveries.items):
        faults += delivery_faults(item, ("deliveries", position))
        if "likeness" in item.mapping:
            faults += likeness_faults(item.mapping["likeness"], ("deliveries", position, "likeness"))
    if "likeness" in root.mapping:
        faults += likeness_faults(root.mapping["likeness"], ("likeness",))
    graphics = root.mapping.get("graphics")
    for position, item in enumerate([] if graphics is None else graphics.items):
        faults += graphic_faults(item, ("graphics", position))
    return [*faults, *graphic_targets(root)]


def _camera(camera: Node, key: Key) -> Iterator[Fault]:
    """A roll beside a horizon that has one already."""
    horizon = camera.mapping.get("horizon")
    if horizon is None or "roll" not in camera.mapping:
        return
    if horizon.value == "auto":
        yield Fault((*key, "roll"), "a horizon that is found in the picture says the roll already; remove `roll`")
        return
    groups = horizon.mapping.get("groups")
    if "points" in horizon.mapping or (groups is not None and len(groups.items) > 1):
        form = "two points" if "points" in horizon.mapping else "several groups of edges"
        yield Fault((*key, "roll"), f"a horizon from {form} says the roll already; remove `roll`")


@once_for_each
def _goes_together(item: Node) -> bool:
    """Whether a complete element has no fault of this kind, whoever wrote its keys."""
    return next(_Element(Expanded(item), 0, item).faults(), None) is None


class _Element:
    """The keys of one element, inherited ones included."""

    def __init__(self, scene: Expanded, position: int, node: Node) -> None:
        self.scene = scene
        self.position = position
        self.keys = node.mapping
        stance = self.keys.get("stance")
        self.stance = "upright" if stance is None else stance.value

    def faults(self) -> Iterator[Fault]:
        yield from self.picture()
        yield from self.artwork()
        yield from self.part_of_plate()
        yield from self.posture()
        yield from self.lacking()
        if "camera" in self.keys:
            yield from _camera(self.keys["camera"], ("elements", self.position, "camera"))

    def clash(self, unfit: str, because: str, what: str) -> Iterator[Fault]:
        """A fault of two keys that are both there, shown where this element itself writes one of them."""
        if unfit in self.keys and because in self.keys:
            own = [key for key in (unfit, because) if self.is_own(key)]
            yield self.fault(own[0] if own else unfit, what)

    def is_own(self, key: str) -> bool:
        return self.scene.origins.get((self.position, key)) == self.position

    def fault(self, key: str, what: str) -> Fault:
        return Fault(("elements", self.position, key), what)

    def missing(self, key: str, what: str) -> Iterator[Fault]:
        if key not in self.keys and self.position not in self.scene.broken:
            yield self.fault(key, f"missing: {what}")

    def picture(self) -> Iterator[Fault]:
        yield from self.clash("from_plate", "image", "two forms at once: from_plate, image; keep one")
        if "from_plate" not in self.keys:
            yield from self.missing("image", "a picture file, or else `from_plate` with a polygon in the plate")

    def artwork(self) -> Iterator[Fault]:
        yield from self.clash(
            "camera", "size", "artwork (`size`) has no camera; remove `camera`, or `size` of a photograph"
        )
        yield from self.clash("height", "size", "the height of artwork is in `size`; remove `height`")
        yield from self.clash("top", "size", "the top of artwork follows from `size`; remove `top`")

    def part_of_plate(self) -> Iterator[Fault]:
        yield from self.clash("camera", "from_plate", "a part of the plate has the plate's camera; remove `camera`")
        yield from self.clash("backdrop", "from_plate", "a part of the plate is cut out already; remove `backdrop`")
        yield from self.clash("matte", "from_plate", "the polygon of `from_plate` is the matte; remove `matte`")
        yield from self.clash(
            "size", "from_plate", "`size` is for artwork; a part of the plate has its own; remove `size`"
        )

    def posture(self) -> Iterator[Fault]:
        if self.stance == "flat":
            yield from self.clash("height", "stance", "what lies flat has no height; remove `height`")
            yield from self.clash("top", "stance", "what lies flat has no top; remove `top`")
        if self.stance == "wall":
            yield from self.missing("wall", "`stance: wall` needs two plate pixels where that wall meets the ground")
        elif self.stance in ("upright", "flat") and "wall" in self.keys:
            own = "stance" if not self.is_own("wall") and self.is_own("stance") else "wall"
            yield self.fault(own, "`wall` goes with `stance: wall` only; add that, or remove `wall`")
        turn = self.keys.get("turn")
        if turn is not None and turn.value != 0 and self.stance != "flat" and "size" not in self.keys:
            yield self.fault("turn", "goes with `stance: flat` or with artwork (`size`) only; remove `turn`")
        contact, top = self.keys.get("contact"), self.keys.get("top")
        if (
            contact is not None
            and top is not None
            and _numbers(contact) is not None
            and _numbers(contact) == _numbers(top)
        ):
            yield from self.clash("top", "contact", "top and contact are the same point")

    def lacking(self) -> Iterator[Fault]:
        if "size" in self.keys:
            return
        yield from self.missing("contact", "the nearest point where it touches the ground, [u, v] in its own pixels")
        if "from_plate" not in self.keys:
            yield from self.missing("camera", "the camera that took it; or `size` in metres if it is artwork")


def _numbers(node: Node) -> list[object] | None:
    """The values of a list."""
    return [item.value for item in node.items] if node.items else None
