"""Settings: KEY=VALUE changes of a tree, from the command line or from the file itself.

A key is dotted; elements, holdouts, deliveries, graphics and variants are addressed by name, other lists by position
from 0. The value is YAML. Setting a key replaces what stood there; null removes it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from compositor.base.errors import Key, LocatedFault, UnusableInput
from compositor.scene.likes import inherited, positions_by_name
from compositor.scene.suggestions import suggestion
from compositor.scene.syntax import line_count
from compositor.scene.tree import Node, Place, dotted, is_named_list, one_line
from compositor.scene.yaml_text import parse

OPTION = "--set"
_MOST_PARTS = 20


@dataclass(frozen=True)
class Change:
    """One setting. place: of the key's first character; value: the node that goes there."""

    key: str
    place: Place
    value: Node


def settled(tree: Node, settings: Sequence[tuple[str, str]]) -> tuple[Node, tuple[LocatedFault, ...]]:
    """The tree after those KEY=VALUE options that can be applied, and the faults of the others."""
    changes: list[Change] = []
    faults: list[LocatedFault] = []
    for number, (key, text) in enumerate(settings, 1):
        try:
            value, more = _value(number, key, text)
        except UnusableInput as error:
            faults.extend(replace(fault, key=one_line(key)) for fault in error.faults)
            continue
        faults.extend(more)
        changes.append(Change(key, Place(OPTION, number, 1), value))
    tree, more = apply_changes(tree, changes)
    return tree, (*faults, *more)


def apply_changes(tree: Node, changes: Iterable[Change]) -> tuple[Node, tuple[LocatedFault, ...]]:
    """The tree after those changes that can be applied, in their order, and the faults of the others."""
    faults: list[LocatedFault] = []
    for change in changes:
        try:
            parts = _parts(change)
            tree = _Setting(tree, change.value, parts[-1].place).put(tree, parts, ())
        except UnusableInput as error:
            faults.extend(error.faults)
    return tree, tuple(faults)


def _value(number: int, key: str, text: str) -> tuple[Node, tuple[LocatedFault, ...]]:
    """The value of an option as a tree; columns count in KEY=VALUE."""

    lines = line_count(text)

    def placing(line: int, column: int) -> Place:
        within = column if line < lines else 0
        return Place(OPTION, number, within + (len(key) + 2 if line == 0 or line >= lines else 1))

    parsed = parse(text, placing, empty="no value; write KEY=VALUE, or null to remove the key")
    return parsed.root, tuple(replace(fault, key=one_line(f"{key}.{fault.key}".rstrip("."))) for fault in parsed.faults)


@dataclass(frozen=True)
class _Part:
    text: str
    place: Place


def _parts(change: Change) -> list[_Part]:
    """The steps of a dotted key with their places. Raises UnusableInput."""
    parts: list[_Part] = []
    start = change.place
    column = start.column
    for text in change.key.split("."):
        parts.append(_Part(text, Place(start.file, start.line, column, start.in_table)))
        column += 0 if start.in_table else len(text) + 1
    if len(parts) > _MOST_PARTS or not all(part.text for part in parts):
        what = "not a key; write names with dots between them, such as plate.camera.height"
        raise UnusableInput([start.fault("", what, one_line(change.key))])
    return parts


class _Setting:
    """One change being put into a tree, of which every node on the way is made anew."""

    def __init__(self, root: Node, value: Node, key_place: Place) -> None:
        self.root = root
        self.value = value
        self.key_place = key_place

    def put(self, node: Node, parts: list[_Part], key: Key) -> Node:
        """The node with the change under it."""
        if not parts:
            return Node(self.value.value, self.value.place, self.key_place if isinstance(key[-1], str) else None)
        if isinstance(node.value, list):
            return self.put_in_list(node, parts, key)
        part, entries = parts[0], node.mapping
        below = (*key, part.text)
        if len(parts) == 1 and self.value.value is None and "like" not in entries:
            return node.holding({name: value for name, value in entries.items() if name != part.text})
        child = entries.get(part.text)
        if child is None:
            child = self.beginning(key, part, len(parts) > 1)
        if len(parts) > 1 and is_named_list(below) and not isinstance(child.value, list):
            raise self.refused(below, part, "nothing is listed there")
        return node.holding({**entries, part.text: self.put(child, parts[1:], below)})

    def beginning(self, key: Key, part: _Part, descends: bool) -> Node:
        """What a key that is not there begins with: what its element takes from another one, or nothing."""
        if descends and len(key) == 2 and key[0] == "elements" and isinstance(key[1], int):
            taken = inherited(self.root, key[1], part.text)
            if taken is not None:
                return taken
        return Node({}, part.place, part.place)

    def put_in_list(self, node: Node, parts: list[_Part], key: Key) -> Node:
        position, used = self.position(node, parts, key)
        items = list(node.items)
        items[position] = self.put(items[position], parts[used:], (*key, position))
        return node.holding(items)

    def position(self, node: Node, parts: list[_Part], key: Key) -> tuple[int, int]:
        """The position that the next part names, and how many parts it took: a name may hold dots."""
        names = positions_by_name(node.items) if is_named_list(key) else {}
        for used in range(len(parts), 0, -1):
            name = ".".join(part.text for part in parts[:used])
            if name in names:
                return names[name], used
        word = parts[0].text
        if word.isascii() and word.isdigit() and len(word) < 7 and int(word) < len(node.items):
            return int(word), 1
        what = f"not in the list, which has {len(node.items)} entries, counted from 0"
        if is_named_list(key):
            kind = {"deliveries": "delivery"}.get(str(key[-1]), str(key[-1])[:-1])
            what = f"no {kind} of that name" + suggestion(word, names)
        raise self.refused((*key, word), parts[0], what)

    def refused(self, key: Key, part: _Part, what: str) -> UnusableInput:
        return UnusableInput([part.place.fault(dotted(self.root, key), what)])
