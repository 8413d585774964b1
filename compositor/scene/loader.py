"""A scene file, read, completed and checked, or all its faults with their places."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import ValidationError

from compositor.base.errors import Fault, Key, LocatedFault, UnusableInput
from compositor.scene.combinations import combination_faults
from compositor.scene.likes import Expanded, expand, inherited
from compositor.scene.models import Scene
from compositor.scene.scene_file import read_text
from compositor.scene.sentences import KeyFault, explain
from compositor.scene.settings import OPTION, settled
from compositor.scene.shared import good_scene, is_too_large
from compositor.scene.syntax import line_count
from compositor.scene.tree import Node, child, dotted, nearest, plain, quoted, walk
from compositor.scene.uniqueness import uniqueness_faults
from compositor.scene.yaml_text import MOST_NODES, file_placing, parse

MOST_FAULTS = 100
_MOST_EXPLAINED = 2000


@dataclass(frozen=True)
class LoadedScene:
    """A scene and where it is written.

    tree: complete elements, each value at the place where it is really written. written: the tree before `like` was
    resolved, for further settings. path: as the user gave it.
    """

    scene: Scene
    tree: Node
    written: Node
    path: Path

    def locate(self, fault: Fault) -> LocatedFault:
        """The fault with the place of its key, or of the nearest key above it that is written."""
        return _located(self.tree, fault)

    def unusable(self, faults: Iterable[Fault]) -> UnusableInput:
        """Faults found later, by solving for example, as the error that says where they are."""
        return UnusableInput(in_order([self.locate(fault) for fault in faults]))


def load_scene(path: Path | str, settings: Sequence[tuple[str, str]] = ()) -> LoadedScene:
    """The scene of a file after KEY=VALUE settings. Raises UnusableInput with all faults, sorted by line."""
    file = str(path)
    text = read_text(Path(path), file)
    parsed = parse(text, file_placing(file, line_count(text)))
    tree, faults = settled(parsed.root, settings) if isinstance(parsed.root.value, dict) else (parsed.root, ())
    return complete(tree, Path(path), (*parsed.faults, *faults))


def complete(written: Node, path: Path, faults: Sequence[LocatedFault] = ()) -> LoadedScene:
    """The checked scene of a tree. faults: those found while it was made. Raises UnusableInput with all of them."""
    if not isinstance(written.value, dict):
        what = "a scene is a mapping of keys and values, beginning with `scene: 1`"
        raise UnusableInput(in_order([*faults, written.place.fault("", what, quoted(written))]))
    expanded = expand(written)
    if is_too_large(expanded.root):
        what = f"more than {MOST_NODES} values, those taken over by `like` counted each time"
        raise UnusableInput([nearest(expanded.root, ("elements",)).start.fault("elements", what)])
    scene, found = _validated(expanded)
    found = [*expanded.faults, *found, *combination_faults(expanded), *uniqueness_faults(expanded.root)]
    located = [*faults, *(_located(expanded.root, _at_origin(expanded, fault)) for fault in found)]
    if located or scene is None:
        raise UnusableInput(in_order(located))
    return LoadedScene(scene, expanded.root, written, path)


def _validated(expanded: Expanded) -> tuple[Scene | None, list[Fault]]:
    """The models' verdict: a scene, or what is wrong by key. Values left empty are faults of their own."""
    root = expanded.root
    good = good_scene(root)
    if good is not None:
        return good, []
    empty = [key for key, node in walk(root) if node.value is None and not _may_remove(key)]
    faults = [Fault(key, "has no value; write one, or remove the key") for key in empty]
    try:
        return Scene.model_validate(plain(root)), faults
    except ValidationError as error:
        details = error.errors(include_url=False, include_input=False)[:_MOST_EXPLAINED]
    silent = set(empty)
    for detail in details:
        for fault in explain(detail, root):
            if fault.key not in silent and not _is_lack_of_broken(fault, detail["type"], expanded):
                faults.append(_with_advice(fault, detail["type"], expanded))
    return None, faults


def _may_remove(key: Key) -> bool:
    """Whether a null stands in a variant's changes, where it removes a key."""
    return len(key) > 3 and (key[0] == "axes" or (key[0] == "variants" and key[2] == "set"))


def _with_advice(fault: Fault, kind: str, expanded: Expanded) -> Fault:
    """A word on `like` where a key was written in part because the rest was thought to be taken over."""
    key = fault.key
    if kind not in ("missing", "forms") or len(key) < 3 or key[0] != "elements" or not isinstance(key[1], int):
        return fault
    lacks = len(key) > 3 if kind == "missing" else fault.what.startswith("needs one of")
    if not lacks or inherited(expanded.root, key[1], str(key[2])) is None:
        return fault
    return replace(fault, what=f"{fault.what}; `like` takes over whole keys, so write all of `{key[2]}` here")


def _is_lack_of_broken(fault: Fault, kind: str, expanded: Expanded) -> bool:
    """Whether a key is missing only because the element's `like` leads nowhere, which is said already."""
    return kind == "missing" and len(fault.key) == 3 and fault.key[0] == "elements" and fault.key[1] in expanded.broken


def _at_origin(expanded: Expanded, fault: Fault) -> Fault:
    """A fault of a value taken from another element, told of the element in which it is written."""
    key = fault.key
    if len(key) > 3 or (len(key) == 3 and _exists(expanded.root, key)):
        position, name = key[1], key[2]
        if key[0] == "elements" and isinstance(position, int) and isinstance(name, str):
            origin = expanded.origins.get((position, name), position)
            return _moved(fault, origin)
    return fault


def _moved(fault: Fault, origin: int) -> Fault:
    """The same fault told of another element."""
    moved = replace(fault, key=("elements", origin, *fault.key[2:]))
    if isinstance(moved, KeyFault):
        moved = replace(moved, word=("elements", origin, *moved.word[2:]))
    return moved


def _exists(root: Node, key: Key) -> bool:
    node: Node | None = root
    for part in key:
        node = None if node is None else child(node, part)
    return node is not None


def _located(root: Node, fault: Fault) -> LocatedFault:
    node = nearest(root, fault.key)
    written = _exists(root, fault.key)
    place = node.start
    if isinstance(fault, KeyFault):
        word = nearest(root, fault.word)
        place = word.place if word.key_place is None else word.key_place
    given = quoted(node) if fault.given is None and written and fault.key else fault.given
    if place.in_table and isinstance(fault, KeyFault):
        given = None  # of the heading, once for all rows
    return place.fault(dotted(root, fault.key), fault.what, given)


def in_order(faults: list[LocatedFault]) -> list[LocatedFault]:
    """Each fault once, those of options last, by line and column; a flood of them is cut short."""
    ordered = sorted(dict.fromkeys(faults), key=lambda f: (f.file == OPTION, f.file, f.line, f.column))
    if len(ordered) <= MOST_FAULTS:
        return ordered
    first = ordered[MOST_FAULTS]
    more = LocatedFault(
        first.file, first.line, first.column, "", f"and at least {len(ordered) - MOST_FAULTS} more faults"
    )
    return [*ordered[:MOST_FAULTS], more]
