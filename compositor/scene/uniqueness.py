"""Names between the parts of a scene: each once, none that a file or layer of ours has, and none that leads nowhere."""

from collections.abc import Callable, Iterator

from compositor.base.errors import Fault, Key
from compositor.scene.names import same, same_file
from compositor.scene.suggestions import MOST_SUGGESTED, suggestion
from compositor.scene.tree import Node, child

RESERVED_LAYER = "plate"
RENDERED = ("overlay.png", "layers.ora", "layers.tif", "layers.exr", "report.json")
"""Files that every render writes beside the deliveries."""

_ENDINGS = {"png": ("png",), "jpeg": ("jpg", "jpeg"), "tiff": ("tif",), "webp": ("webp",), "avif": ("avif",)}


def uniqueness_faults(root: Node) -> list[Fault]:
    """Faults of names that collide or lead nowhere."""
    elements = _named(root, ("elements",))
    holdouts = _named(root, ("plate", "holdouts"))
    deliveries = _named(root, ("deliveries",))
    faults = [*_twice(elements, same), *_twice(holdouts, same), *_twice(deliveries, same_file)]
    faults += _twice(_named(root, ("graphics",)), same)
    faults += _overlays(root, deliveries)
    taken = {same(name): name for _, name in elements}
    for key, name in holdouts:
        if same(name) in taken:
            faults.append(Fault(key, "an element has this name already; choose another"))
    for key, name in (*elements, *holdouts):
        if same_file(name) == RESERVED_LAYER:
            faults.append(Fault(key, "is the name of the plate's own layer; choose another"))
    for key, name in deliveries:
        faults += _rendered(root, key, name)
    return faults + list(_around(root, [name for _, name in elements]))


def _named(root: Node, key: Key) -> list[tuple[Key, str]]:
    """(key of the name, name) of every item in a list."""
    listed: Node | None = root
    for part in key:
        listed = None if listed is None else child(listed, part)
    found = []
    for position, item in enumerate([] if listed is None else listed.items):
        name = item.mapping.get("name")
        if name is not None and name.text is not None:
            found.append(((*key, position, "name"), name.text))
    return found


def _twice(named: list[tuple[Key, str]], form: Callable[[str], str]) -> Iterator[Fault]:
    seen: set[str] = set()
    for key, name in named:
        if form(name) in seen:
            yield Fault(key, "the same name twice; each must be its own")
        seen.add(form(name))


def _rendered(root: Node, key: Key, name: str) -> Iterator[Fault]:
    """A delivery that would be written over a file of the render's own."""
    delivery = root.mapping["deliveries"].items[int(key[1])]
    picture_format = delivery.mapping.get("format")
    written = "png" if picture_format is None or picture_format.text is None else picture_format.text
    for ending in _ENDINGS.get(written, ()):
        if same_file(f"{name}.{ending}") in RENDERED:
            yield Fault(key, f"{name}.{ending} is a file that every render writes itself; choose another name")


def _overlays(root: Node, deliveries: list[tuple[Key, str]]) -> Iterator[Fault]:
    """A delivery that would be written over the overlay of another one."""
    written = {}
    for key, name in deliveries:
        asked = root.mapping["deliveries"].items[int(key[1])].mapping.get("overlay")
        if asked is not None and asked.value is True:
            written[same_file(f"{name}-overlay")] = name
    for key, name in deliveries:
        if same_file(name) in written:
            yield Fault(key, f"is the file of the overlay of {written[same_file(name)]}; choose another name")


def _around(root: Node, names: list[str]) -> Iterator[Fault]:
    deliveries, found = root.mapping.get("deliveries"), 0
    known = set(names)
    for position, delivery in enumerate([] if deliveries is None else deliveries.items):
        around = delivery.mapping.get("around")
        for place, item in enumerate([] if around is None else around.items):
            if item.text is not None and item.text not in known:
                what = "no element of that name" + (suggestion(item.text, names) if found < MOST_SUGGESTED else "")
                found += 1
                yield Fault(("deliveries", position, "around", place), what)
