"""YAML text to a tree with places: our own construction from the parser's events, so that nothing is lost or guessed.

Built from events and not from the library's own tree because that one is composed by recursion, which a deeply nested
file overflows. Duplicate keys and tags are faults, shared parts (aliases) are counted each time they are used.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import NoReturn

import yaml

from compositor.base.errors import Key, LocatedFault, UnusableInput
from compositor.scene.scalars import resolve
from compositor.scene.syntax import clean_fault, syntax_fault
from compositor.scene.tree import Node, Place, dotted, one_line

DEEPEST = 100
MOST_NODES = 100_000

Placing = Callable[[int, int], Place]
"""The place of a line and column that count from 0."""


@dataclass(frozen=True)
class Parsed:
    """The tree, and faults that did not keep it from being built (duplicate keys, tags)."""

    root: Node
    faults: tuple[LocatedFault, ...]


def parse(text: str, placing: Placing, empty: str = "the file is empty") -> Parsed:
    """The tree of a text. Raises UnusableInput (one fault) for what is no YAML or would be too large."""
    start = placing(0, 0)
    fault = clean_fault(text, start)
    if fault is not None:
        raise UnusableInput([fault])
    building = _Building(placing)
    try:
        for event in _events(text):
            building.take(event)
    except yaml.YAMLError as error:
        opened = building.stack[-1].node.place if building.stack else None
        raise UnusableInput([syntax_fault(error, text, placing, opened)]) from error
    if building.root is None:
        raise UnusableInput([start.fault("", empty)])
    root = building.root
    return Parsed(
        root, tuple(place.fault(dotted(root, key), what, given) for key, place, what, given in building.faults)
    )


def file_placing(file: str, lines: int) -> Placing:
    """Places in a file of so many lines; the parser's mark of the end may lie one line below the last."""

    def placing(line: int, column: int) -> Place:
        return Place(file, min(line + 1, lines), column + 1 if line < lines else 1)

    return placing


def _events(text: str) -> Iterator[yaml.Event]:
    """The parser's events, from the C library where it is there (six times as fast)."""
    events: Iterator[yaml.Event] = yaml.parse(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    return events


@dataclass
class _Open:
    """A mapping or list that is still being read."""

    node: Node
    anchor: str | None
    key: str | None = None
    key_place: Place | None = None
    size: int = 1
    depth: int = 1


@dataclass
class _Anchored:
    node: Node
    size: int
    depth: int


@dataclass
class _Building:
    placing: Placing
    root: Node | None = None
    faults: list[tuple[Key, Place, str, str | None]] = field(default_factory=list)
    stack: list[_Open] = field(default_factory=list)
    anchors: dict[str, _Anchored | None] = field(default_factory=dict)
    documents: int = 0

    def take(self, event: yaml.Event) -> None:
        """One event."""
        if isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                self.refuse(event, "several documents in one file; keep one")
        elif isinstance(event, yaml.ScalarEvent):
            self.scalar(event)
        elif isinstance(event, yaml.AliasEvent):
            self.alias(event)
        elif isinstance(event, yaml.CollectionStartEvent):
            self.open(event)
        elif isinstance(event, yaml.CollectionEndEvent):
            self.close()

    def place(self, event: yaml.Event) -> Place:
        mark = event.start_mark
        return self.placing(0, 0) if mark is None else self.placing(mark.line, mark.column)

    def refuse(self, event: yaml.Event, what: str, given: str | None = None) -> NoReturn:
        """Ends reading with one fault. Raises UnusableInput."""
        raise UnusableInput([self.place(event).fault("", what, given)])

    def scalar(self, event: yaml.ScalarEvent) -> None:
        place = self.place(event)
        self.check_tag(event, place)
        if self.wants_key():
            self.begin_entry(event.value, place)
            return
        node = Node(event.value if event.style else resolve(event.value), place)
        if event.anchor is not None:
            self.anchors[event.anchor] = _Anchored(node, 1, 0)
        self.add(node, 1, 0)

    def alias(self, event: yaml.AliasEvent) -> None:
        anchor = event.anchor or ""
        given = f"*{one_line(anchor)}"
        if anchor not in self.anchors:
            self.refuse(event, "alias of an anchor that is not written above", given)
        anchored = self.anchors[anchor]
        if anchored is None:
            self.refuse(event, "alias inside what it stands for; it would have no end", given)
        if self.wants_key():
            self.refuse(event, "a key must be a plain word", given)
        if len(self.stack) + anchored.depth > DEEPEST:
            self.refuse(event, f"nested more than {DEEPEST} deep")
        self.add(replace(anchored.node, place=self.place(event)), anchored.size, anchored.depth)

    def open(self, event: yaml.CollectionStartEvent) -> None:
        place = self.place(event)
        self.check_tag(event, place)
        if self.wants_key():
            self.refuse(event, "a key must be a plain word, not a mapping or a list")
        if len(self.stack) >= DEEPEST:
            self.refuse(event, f"nested more than {DEEPEST} deep")
        if event.anchor is not None:
            self.anchors[event.anchor] = None
        empty: dict[str, Node] | list[Node] = {} if isinstance(event, yaml.MappingStartEvent) else []
        self.stack.append(_Open(Node(empty, place), event.anchor))

    def close(self) -> None:
        done = self.stack.pop()
        if done.anchor is not None:
            self.anchors[done.anchor] = _Anchored(done.node, done.size, done.depth)
        self.add(done.node, done.size, done.depth)

    def check_tag(self, event: yaml.ScalarEvent | yaml.CollectionStartEvent, place: Place) -> None:
        if event.tag is not None:
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            self.faults.append((self.path(), place, "YAML tags are not used here; remove the tag", one_line(tag)))

    def path(self) -> Key:
        """Where in the tree the next value goes."""
        steps = (level.key if isinstance(level.node.value, dict) else len(level.node.items) for level in self.stack)
        return tuple(step for step in steps if step is not None)

    def wants_key(self) -> bool:
        return bool(self.stack) and isinstance(self.stack[-1].node.value, dict) and self.stack[-1].key is None

    def begin_entry(self, key: str, place: Place) -> None:
        top = self.stack[-1]
        top.key, top.key_place = key, place
        first = top.node.mapping.get(key)
        if first is not None and first.key_place is not None:
            what = f"the same key twice in one mapping, first in line {first.key_place.line}; keep one"
            self.faults.append((self.path(), place, what, None))

    def add(self, node: Node, size: int, depth: int) -> None:
        """Puts a finished value into what is open around it."""
        if not self.stack:
            self.root = node
            return
        top = self.stack[-1]
        top.size += size
        top.depth = max(top.depth, depth + 1)
        if top.size > MOST_NODES:
            raise UnusableInput([node.place.fault("", f"more than {MOST_NODES} values, aliases counted each time")])
        if isinstance(top.node.value, list):
            top.node.value.append(node)
        elif isinstance(top.node.value, dict) and top.key is not None:
            top.node.value.setdefault(top.key, Node(node.value, node.place, top.key_place))
            top.key = None
