"""`like`: an element takes all keys of another one but its name; a key of its own replaces the whole key.

Nothing is merged inside a key: `ground: {distance: 9}` does not keep the other's `pixel`. A key set to null is dropped.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from compositor.base.errors import Fault
from compositor.base.sameness import MOST_KEPT, Itself
from compositor.scene.suggestions import MOST_SUGGESTED, suggestion
from compositor.scene.tree import Node, one_line

_OWN = ("name", "like")
_LONGEST_RING = 6


@dataclass(frozen=True)
class Expanded:
    """The tree with complete elements.

    origins: (element, key) to the element in which that key is written. broken: elements whose `like` leads nowhere.
    """

    root: Node
    faults: tuple[Fault, ...] = ()
    origins: Mapping[tuple[int, str], int] = field(default_factory=dict)
    broken: frozenset[int] = frozenset()


def expand(root: Node) -> Expanded:
    """Every element with the keys that it takes from others."""
    listed = root.mapping.get("elements")
    if listed is None or not isinstance(listed.value, list):
        return Expanded(root)
    expanding = _Expanding(listed.items)
    for position in range(len(listed.items)):
        expanding.resolve(position)
    elements = [expanding.done[position] for position in range(len(listed.items))]
    complete = root.holding({**root.mapping, "elements": listed.holding(elements)})
    return Expanded(complete, tuple(expanding.faults), expanding.origins, frozenset(expanding.broken))


def inherited(root: Node, position: int, key: str) -> Node | None:
    """What an element takes from others for a key that it does not have itself."""
    listed = root.mapping.get("elements")
    items = [] if listed is None else listed.items
    names = positions_by_name(items)
    seen: set[int] = set()
    while position not in seen and key not in _OWN:
        seen.add(position)
        parent = names.get(_like(items[position]) or "")
        if parent is None:
            return None
        if key in items[parent].mapping:
            return items[parent].mapping[key]
        position = parent
    return None


def positions_by_name(items: list[Node]) -> dict[str, int]:
    """Position of each named item; the first where a name occurs twice."""
    positions: dict[str, int] = {}
    for position, item in enumerate(items):
        name = item.mapping.get("name")
        if name is not None and name.text is not None:
            positions.setdefault(name.text, position)
    return positions


@lru_cache(MOST_KEPT)
def _complete(item: Itself[Node], above: Itself[Node] | None) -> Node:
    """An element that says it is like another, with what it takes from that one where it is complete."""
    own = item.value.mapping
    kept = {key: node for key, node in own.items() if node.value is not None}
    taken = {} if above is None else above.value.mapping
    lacking = {key: node for key, node in taken.items() if key not in own and key not in _OWN}
    return item.value.holding({**kept, **lacking})


def _like(item: Node) -> str | None:
    like = item.mapping.get("like")
    return None if like is None else like.text


class _Expanding:
    """Resolves chains of `like` without recursion, each element once."""

    def __init__(self, items: list[Node]) -> None:
        self.items = items
        self.names = positions_by_name(items)
        self.done: dict[int, Node] = {}
        self.origins: dict[tuple[int, str], int] = {}
        self.faults: list[Fault] = []
        self.broken: set[int] = set()

    def resolve(self, position: int) -> None:
        path, waiting = [position], {position}
        while path:
            current = path[-1]
            if current in self.done:
                path.pop()
                continue
            parent = self.parent(current)
            if parent is None or parent in self.done:
                self.finish(current, parent)
            elif parent in waiting:
                self.refuse_ring(path[path.index(parent) :])
            else:
                path.append(parent)
                waiting.add(parent)

    def parent(self, position: int) -> int | None:
        """The element that this one is like; None where it has no `like` or none that leads anywhere."""
        like = self.items[position].mapping.get("like")
        if like is None or like.value is None:
            return None
        parent = None if like.text is None else self.names.get(like.text)
        if parent is None and position not in self.broken:
            self.broken.add(position)
            if like.text is not None:
                what = "no element of that name" + self.near(like.text)
                self.faults.append(Fault(("elements", position, "like"), what))
        return parent

    def near(self, word: str) -> str:
        return suggestion(word, self.names) if len(self.faults) < MOST_SUGGESTED else ""

    def refuse_ring(self, ring: list[int]) -> None:
        names = [one_line(_like(self.items[position]) or "") for position in [ring[-1], *ring]]
        words = " is like ".join(names if len(names) <= _LONGEST_RING else [*names[:_LONGEST_RING], "…", names[0]])
        self.faults.append(Fault(("elements", ring[0], "like"), f"goes round in a ring: {words}"))
        self.broken.update(ring)
        for position in ring:
            self.finish(position, None)

    def finish(self, position: int, parent: int | None) -> None:
        item = self.items[position]
        above = None if parent is None else Itself(self.done[parent])
        self.done[position] = _complete(Itself(item), above) if "like" in item.mapping else item
        for key in self.done[position].mapping:
            is_own = key in item.mapping
            self.origins[position, key] = position if is_own or parent is None else self.origins[parent, key]
        if parent in self.broken:
            self.broken.add(position)
