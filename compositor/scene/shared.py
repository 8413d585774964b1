"""What the variants of a scene have in common is checked once.

A change makes the nodes on its way anew and leaves all others where they are (:mod:`compositor.scene.settings`), so a
node that was seen before is the same part of the scene, word for word. Only good parts are kept; whatever has a fault
is read again as a whole, which tells it with its place.
"""

from collections.abc import Mapping
from functools import lru_cache

from pydantic import ValidationError

from compositor.base.sameness import MOST_KEPT, Itself, once_for_each
from compositor.scene.critique import MarkWords
from compositor.scene.delivery import Delivery
from compositor.scene.element import Element
from compositor.scene.graphic import Graphic
from compositor.scene.likeness import LikenessWords
from compositor.scene.models import Scene
from compositor.scene.part import Part
from compositor.scene.plate import Plate
from compositor.scene.tolerances import TolerancesWords
from compositor.scene.tree import Node, plain, surveyed
from compositor.scene.variants import KEYS
from compositor.scene.yaml_text import MOST_NODES

_PARTS: Mapping[str, type[Part]] = {"plate": Plate, "tolerances": TolerancesWords, "likeness": LikenessWords}
_LISTS: Mapping[str, type[Part]] = {
    "elements": Element,
    "marks": MarkWords,
    "deliveries": Delivery,
    "graphics": Graphic,
}


def good_scene(root: Node) -> Scene | None:
    """The scene of a tree with complete elements, put together from parts that are checked once each.

    None where it has a fault, or keys that only the scene itself has and no variant.
    """
    if not isinstance(root.value, dict) or not root.value.keys().isdisjoint(KEYS):
        return None
    values: dict[str, object] = {}
    for key, node in root.value.items():
        if key in _PARTS:
            values[key] = _part(Itself(node), _PARTS[key])
        elif key in _LISTS and isinstance(node.value, list):
            items = [_part(Itself(item), _LISTS[key]) for item in node.value]
            values[key] = None if None in items else items
        else:
            values[key] = plain(node)
        if values[key] is None:
            return None
    try:
        return Scene.model_validate(values)
    except ValidationError:
        return None


def is_too_large(root: Node) -> bool:
    """Whether a tree, shared parts counted each time, holds more values than a scene may."""
    count = 1
    for node in root.mapping.values():
        count += 1 if node.items else 0
        for item in node.items or [node]:
            count += _surveyed(item)[0]
            if count > MOST_NODES:
                return True
    return False


@lru_cache(MOST_KEPT)
def _part(node: Itself[Node], model: type[Part]) -> Part | None:
    """A part of the scene; None where it has a fault."""
    if _surveyed(node.value)[1]:
        return None
    try:
        return model.model_validate(plain(node.value))
    except ValidationError:
        return None


@once_for_each
def _surveyed(node: Node) -> tuple[int, bool]:
    return surveyed(node, MOST_NODES + 1)
