"""The tree of a scene file: plain values, each with the place where it is written."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from compositor.base.errors import Key, LocatedFault

Scalar = str | int | float | bool | None

LONGEST_QUOTE = 60


@dataclass(frozen=True)
class Place:
    """Where something is written; lines and columns count from 1. in_table: they are a cell's row and column."""

    file: str
    line: int
    column: int
    in_table: bool = False

    def fault(self, key: str, what: str, given: str | None = None) -> LocatedFault:
        """A fault at this place."""
        return LocatedFault(self.file, self.line, self.column, key, printable(what), given)


@dataclass(frozen=True)
class Node:
    """A value with its place. key_place: of the mapping key it belongs to; None in a list and at the top."""

    value: "Scalar | dict[str, Node] | list[Node]"
    place: Place
    key_place: Place | None = None

    @property
    def mapping(self) -> "dict[str, Node]":
        """The entries of a mapping; empty for everything else."""
        return self.value if isinstance(self.value, dict) else {}

    @property
    def items(self) -> "list[Node]":
        """The items of a list; empty for everything else."""
        return self.value if isinstance(self.value, list) else []

    @property
    def text(self) -> str | None:
        """The value where it is a text."""
        return self.value if isinstance(self.value, str) else None

    def holding(self, value: "Scalar | dict[str, Node] | list[Node]") -> "Node":
        """Another value in the same place."""
        return Node(value, self.place, self.key_place)

    @property
    def start(self) -> Place:
        """Where somebody looks for it: a scalar itself; the key of a mapping or list that begins below its key."""
        if self.key_place is None or not isinstance(self.value, dict | list) or self.key_place.line == self.place.line:
            return self.place
        if self.place.in_table:  # the key is the column's heading
            return self.place
        return self.key_place


def plain(node: Node) -> Any:
    """The values alone, as nested dict, list and scalars."""
    if isinstance(node.value, dict):
        return {key: plain(child) for key, child in node.value.items()}
    if isinstance(node.value, list):
        return [plain(child) for child in node.value]
    return node.value


def walk(node: Node, key: Key = ()) -> Iterator[tuple[Key, Node]]:
    """Every value with its key, top first, in the order of the file."""
    yield key, node
    for name, child in node.mapping.items():
        yield from walk(child, (*key, name))
    for position, child in enumerate(node.items):
        yield from walk(child, (*key, position))


def surveyed(node: Node, most: int) -> tuple[int, bool]:
    """(how many values the tree holds, shared parts counted each time and not further than this; whether one of those
    that were counted is left empty)."""
    count, is_lacking, left = 0, False, [node]
    while left and count < most:
        value = left.pop().value
        count += 1
        if isinstance(value, dict):
            left += value.values()
        elif isinstance(value, list):
            left += value
        elif value is None:
            is_lacking = True
    return count, is_lacking


def child(node: Node, part: str | int) -> Node | None:
    """One step down; None where there is nothing."""
    if isinstance(part, str):
        return node.mapping.get(part)
    return node.items[part] if 0 <= part < len(node.items) else None


def nearest(node: Node, key: Key) -> Node:
    """The node of a key, or of the longest beginning of it that exists."""
    for part in key:
        step = child(node, part)
        if step is None:
            break
        node = step
    return node


def dotted(root: Node, key: Key) -> str:
    """A key as people write it: dots between, and named items by their names."""
    parts: list[str] = []
    node: Node | None = root
    for position, part in enumerate(key):
        node = None if node is None else child(node, part)
        name = node.mapping.get("name") if node is not None and is_named_list(key[:position]) else None
        parts.append(str(part) if name is None or not name.text else name.text)
    return ".".join(one_line(part) for part in parts)


def is_named_list(key: Key) -> bool:
    """Whether the items of the list at this key are addressed by their names."""
    return key in (("elements",), ("deliveries",), ("plate", "holdouts"), ("graphics",), ("variants",), ("marks",))


def quoted(node: Node) -> str:
    """The value as YAML on one line, shortened to about sixty characters."""
    text = "".join(_pieces(node))
    return text if len(text) <= LONGEST_QUOTE else text[: LONGEST_QUOTE - 1] + "…"


def printable(text: str) -> str:
    """A text whose line breaks and unprintable characters are written as escapes."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def one_line(text: str) -> str:
    """A text in print, shortened to about sixty characters."""
    safe = printable(text[:200])
    return safe if len(safe) <= LONGEST_QUOTE else safe[: LONGEST_QUOTE - 1] + "…"


_WORD = re.compile(r"[^\W\d_](?:[\w ./%°-]*[\w./%°-])?|[\d.]+[^\W\d_eE][\w-]*")
_RESERVED = {"true", "false", "null"}


def _pieces(node: Node, room: int = LONGEST_QUOTE + 10) -> Iterator[str]:
    """The pieces of a value written as YAML; stops a little after `room` characters."""
    if not isinstance(node.value, dict | list):
        yield _scalar(node.value)
        return
    brackets, separator = ("{}", ", ") if isinstance(node.value, dict) else ("[]", ", ")
    yield brackets[0]
    used = 1
    children = node.mapping.items() if isinstance(node.value, dict) else ((None, item) for item in node.items)
    for count, (key, item) in enumerate(children):
        lead = (separator if count else "") + ("" if key is None else one_line(key) + ": ")
        text = lead + "".join(_pieces(item, room - used))
        yield text
        used += len(text)
        if used > room:
            break
    yield brackets[1]


def _scalar(value: Scalar) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:.12g}".replace("inf", ".inf").replace("nan", ".nan") if isinstance(value, float) else str(value)
    short = value[:200]
    if _WORD.fullmatch(short) and short.casefold() not in _RESERVED and short.isprintable():
        return short
    return one_line(json.dumps(short, ensure_ascii=False))
