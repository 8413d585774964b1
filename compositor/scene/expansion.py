"""The variants that a scene file speaks of: names and changes, with their places; nothing is applied here.

Those of the list, of the axes and of the table add up. Parts that are not as they should be are passed over; the
models say so.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import prod

from compositor.base.errors import LocatedFault
from compositor.scene.names import name_fault, same_file
from compositor.scene.settings import Change
from compositor.scene.table import Table
from compositor.scene.tree import Node, Place, one_line, quoted
from compositor.scene.variants import BASE, KEYS

MOST_VARIANTS = 2000
"""By eye: so many folders are a slip in an axis."""


@dataclass(frozen=True)
class VariantWords:
    """A variant as it is written. place: of its name; key: what a fault of its name is about."""

    name: str
    place: Place
    key: str
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Expansion:
    """All variants in the order of list, axes, table, and the faults of their names and changes."""

    variants: tuple[VariantWords, ...]
    faults: tuple[LocatedFault, ...]


def expansion(root: Node, table: Table | None) -> Expansion:
    """The variants of a scene's tree and of its table."""
    faults: list[LocatedFault] = []
    found = list(_listed(root))
    combined = _combinations(root, faults)
    found += combined
    if table is not None:
        faults += table.faults
        found += [VariantWords(row.name, row.place, "name", row.changes) for row in table.rows]
    for words in found:
        faults += [
            change.place.fault(one_line(change.key), f"no variant can change `{change.key.split('.')[0]}`")
            for change in words.changes
            if change.key.split(".")[0] in (*KEYS, "scene")
        ]
    faults += _names(found)
    return Expansion(tuple(found), tuple(faults))


def changes_of(node: Node) -> tuple[Change, ...]:
    """A mapping of dotted keys and values as changes."""
    return tuple(Change(key, value.key_place or value.place, value) for key, value in node.mapping.items())


def _listed(root: Node) -> Iterator[VariantWords]:
    listed = root.mapping.get("variants")
    for position, item in enumerate([] if listed is None else listed.items):
        name, settings = item.mapping.get("name"), item.mapping.get("set")
        if name is not None and name.text is not None and settings is not None:
            yield VariantWords(name.text, name.place, f"variants.{position}.name", changes_of(settings))


def _combinations(root: Node, faults: list[LocatedFault]) -> list[VariantWords]:
    node = root.mapping.get("axes")
    axes = {} if node is None else {name: axis.mapping for name, axis in node.mapping.items()}
    if node is None or not axes or not all(axes.values()):
        return []
    count = prod(len(options) for options in axes.values())
    if count > MOST_VARIANTS:
        sizes = " × ".join(str(len(options)) for options in axes.values())
        faults.append(node.start.fault("axes", f"{sizes} makes {count} variants; {MOST_VARIANTS} at most"))
        return []
    faults += _set_twice(axes)
    found = []
    for options in product(*(list(options.items()) for options in axes.values())):
        name = "_".join(f"{axis}-{option}" for axis, (option, _) in zip(axes, options, strict=True))
        changes = tuple(change for _, settings in options for change in changes_of(settings))
        found.append(VariantWords(name, node.start, "axes", changes))
    return found


def _set_twice(axes: dict[str, dict[str, Node]]) -> Iterator[LocatedFault]:
    """Keys that two axes set: in every combination one would undo the other."""
    first: dict[str, str] = {}
    for axis, options in axes.items():
        for option, settings in options.items():
            for key, value in settings.mapping.items():
                if first.setdefault(key, axis) != axis:
                    what = f"axis `{one_line(first[key])}` sets this key too, and one would undo the other"
                    place = value.key_place or value.place
                    yield place.fault(f"axes.{one_line(axis)}.{one_line(option)}.{one_line(key)}", what)


def _names(found: list[VariantWords]) -> Iterator[LocatedFault]:
    """Names that are no folder of their own."""
    taken: dict[str, VariantWords] = {}
    for words in found:
        given = one_line(words.name)
        fault = name_fault(words.name)
        if fault is not None and words.key == "axes":
            yield words.place.fault(words.key, f"the name that this combination gets {fault}", given)
        if same_file(words.name) == BASE:
            yield words.place.fault(words.key, "base is the scene itself; choose another name", given)
        other = taken.setdefault(same_file(words.name), words)
        if other is not words:
            where = f"{other.place.file}:{other.place.line}"
            what = f"the variant of {where} would be written to the same folder; choose another name"
            yield words.place.fault(words.key, what, given)


def described(changes: tuple[Change, ...]) -> tuple[tuple[str, str], ...]:
    """Keys and values of changes as people write them."""
    return tuple((one_line(change.key), quoted(change.value)) for change in changes)
