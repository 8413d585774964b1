"""A scene file with all its variants, each complete and checked, or all their faults in one run.

A variant's changes are made in the tree before it is checked, so a fault is told where the change is written. Settings
of the command line are made in the scene and once more in every variant: they have the last word.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from pathlib import Path

from compositor.base.errors import LocatedFault, UnusableInput
from compositor.scene.expansion import Expansion, VariantWords, described, expansion
from compositor.scene.loader import LoadedScene, complete, in_order
from compositor.scene.scene_file import read_text
from compositor.scene.settings import apply_changes, settled
from compositor.scene.suggestions import suggestion
from compositor.scene.syntax import line_count
from compositor.scene.table import Table, read_table
from compositor.scene.tree import Node, Place, one_line
from compositor.scene.variants import BASE, KEYS
from compositor.scene.yaml_text import file_placing, parse

OPTION = "--variant"
_SIGNS = frozenset("*?[")
Settings = Sequence[tuple[str, str]]


@dataclass(frozen=True)
class LoadedVariant:
    """A variant, complete and checked. changes: dotted keys and values as people write them; none for the base."""

    name: str
    changes: tuple[tuple[str, str], ...]
    loaded: LoadedScene


def load_batch(path: Path, settings: Settings = (), patterns: Sequence[str] = ()) -> list[LoadedVariant]:
    """The variants of a scene file that match any of the patterns (`*`, `?`, `[…]`); without patterns all of them.

    Base comes first, then those of the list, the axes and the table. Raises UnusableInput with every fault of the base
    and of the variants that are wanted.
    """
    file = str(path)
    text = read_text(path, file)
    parsed = parse(text, file_placing(file, line_count(text)))
    tree, found = settled(parsed.root, settings) if isinstance(parsed.root.value, dict) else (parsed.root, ())
    faults = [*parsed.faults, *found]
    base = _attempt(BASE, (), tree, path, faults)
    expanded = expansion(tree, _table(tree, path, faults))
    faults += expanded.faults
    wanted = _wanted(expanded, patterns, faults)
    variants = [base] if base is not None and BASE in wanted else []
    stripped = replace(tree, value={key: node for key, node in tree.mapping.items() if key not in KEYS})
    for words in expanded.variants:
        if words.name in wanted and isinstance(tree.value, dict):
            variants += _varied(words, stripped, settings, path, faults)
    if faults:
        raise UnusableInput(in_order(faults))
    return variants


def _varied(
    words: VariantWords, tree: Node, settings: Settings, path: Path, faults: list[LocatedFault]
) -> list[LoadedVariant]:
    """The variant, or its faults added to the others."""
    changed, found = apply_changes(tree, words.changes)
    faults += found
    changed, found = settled(changed, [(key, value) for key, value in settings if key.split(".")[0] not in KEYS])
    faults += found
    variant = _attempt(words.name, described(words.changes), changed, path, faults)
    return [] if variant is None else [variant]


def _attempt(
    name: str, changes: tuple[tuple[str, str], ...], tree: Node, path: Path, faults: list[LocatedFault]
) -> LoadedVariant | None:
    try:
        return LoadedVariant(name, changes, complete(tree, path))
    except UnusableInput as error:
        faults += error.faults
        return None


def _table(root: Node, path: Path, faults: list[LocatedFault]) -> Table | None:
    """The scene's table; a file that cannot be read is told of the scene's key where it does not exist."""
    node = root.mapping.get("table")
    if node is None or not node.text:
        return None
    file = path.parent / node.text
    if not file.is_file():
        faults.append(node.place.fault("table", "no such file", one_line(node.text)))
        return None
    try:
        return read_table(file)
    except UnusableInput as error:
        faults += error.faults
        return None


def _wanted(expanded: Expansion, patterns: Sequence[str], faults: list[LocatedFault]) -> set[str]:
    """Names that match; a pattern that matches nothing is a fault, unless there are others that may explain it."""
    names = [BASE, *(words.name for words in expanded.variants)]
    if not patterns:
        return set(names)
    known = set(names)
    matching = {pattern: _matching(pattern, names, known) for pattern in patterns}
    if not faults:
        faults += list(_unmatched(matching, names))
    return {name for found in matching.values() for name in found}


def _matching(pattern: str, names: list[str], known: set[str]) -> list[str]:
    """Names that match; a pattern without signs is looked up, so that thousands of names given take no time."""
    if _SIGNS.isdisjoint(pattern):
        return [pattern] if pattern in known else []
    return [name for name in names if fnmatchcase(name, pattern)]


def _unmatched(matching: dict[str, list[str]], names: list[str]) -> Iterable[LocatedFault]:
    for number, (pattern, found) in enumerate(matching.items(), 1):
        if not found:
            what = "no variant of that name" + suggestion(pattern, names)
            yield Place(OPTION, number, 1).fault("", what, one_line(pattern))
