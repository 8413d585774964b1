"""Which keys of deliveries and graphics go together. Looks at the tree, as :mod:`compositor.scene.combinations`."""

from collections.abc import Iterator

from compositor.base.errors import Fault, Key
from compositor.scene.delivery import DEEP, LOSSY
from compositor.scene.suggestions import suggestion
from compositor.scene.tree import Node

_OF_COPY = ("font", "colour", "size", "smallest", "lines", "leading", "align")
_KINDS = ("text", "image", "fill")


def delivery_faults(delivery: Node, key: Key) -> Iterator[Fault]:
    """Keys of one delivery that lack or exclude others."""
    entries = delivery.mapping
    kind = entries.get("format")
    written = "png" if kind is None or kind.text is None else kind.text
    if "quality" in entries and written not in LOSSY:
        yield Fault(
            (*key, "quality"), f"goes with format {', '.join(LOSSY[:-1])} or {LOSSY[-1]}; {written} loses nothing"
        )
    depth = entries.get("depth")
    if depth is not None and depth.value == 16 and written not in DEEP:
        yield Fault((*key, "depth"), f"{written} holds 8 bits; 16 go with format {' or '.join(DEEP)}")
    if "size" in entries and "aspect" in entries:
        yield Fault((*key, "aspect"), "the size has a shape already; keep one of size and aspect")
    if "around" not in entries:
        if "margin" in entries:
            yield Fault((*key, "margin"), "goes with `around`, which names the elements it is left free about")
        composition = entries.get("composition")
        if composition is not None and composition.value == "thirds":
            yield Fault((*key, "composition"), "thirds go with `around`, which names what is laid on them")
    if "safe" in entries and "size" not in entries:
        yield Fault((*key, "safe"), "is in pixels of the delivery, so it goes with `size` only")
    else:
        yield from _safe(entries, key)


def _safe(entries: dict[str, Node], key: Key) -> Iterator[Fault]:
    safe, size = entries.get("safe"), entries.get("size")
    sides = [] if size is None else [item.value for item in size.items]
    if safe is None or len(sides) != 2:
        return
    for (low, high), side in zip((("left", "right"), ("top", "bottom")), sides, strict=True):
        covered = [safe.mapping[name].value for name in (low, high) if name in safe.mapping]
        numbers = [value for value in (*covered, side) if isinstance(value, int)]
        if covered and len(numbers) == len(covered) + 1 and sum(numbers[:-1]) >= numbers[-1]:
            yield Fault((*key, "safe"), f"{low} and {high} leave nothing free of the delivery's {side} px")


def graphic_faults(graphic: Node, key: Key) -> Iterator[Fault]:
    """Keys of one graphic that lack or exclude others."""
    entries = graphic.mapping
    kinds = [kind for kind in _KINDS if kind in entries]
    if len(kinds) > 1:
        yield Fault((*key, kinds[1]), f"two forms at once: {', '.join(kinds)}; keep one")
        return
    if not kinds and isinstance(graphic.value, dict):
        yield Fault(key, "needs one of: text, image, fill")
    if kinds == ["text"]:
        for name, what in (("font", "the font file that the copy is set in"), ("colour", 'its colour, "#rrggbb"')):
            if name not in entries:
                yield Fault((*key, name), f"missing: {what}")
    elif kinds:
        for name in _OF_COPY:
            if name in entries:
                yield Fault((*key, name), f"goes with `text` only, and this is `{kinds[0]}`; remove it")


def graphic_targets(root: Node) -> Iterator[Fault]:
    """Deliveries that graphics name and that are not there; copy that no delivery shows."""
    listed, graphics = root.mapping.get("deliveries"), root.mapping.get("graphics")
    names = [item.mapping["name"].text for item in ([] if listed is None else listed.items) if "name" in item.mapping]
    known = [name for name in names if name is not None]
    if graphics is not None and graphics.items and not known:
        yield Fault(("graphics",), "graphics are pinned to deliveries; list at least one")
        return
    for position, graphic in enumerate([] if graphics is None else graphics.items):
        chosen = graphic.mapping.get("deliveries")
        for name in {} if chosen is None else chosen.mapping:
            if name not in known:
                yield Fault(
                    ("graphics", position, "deliveries", name), "no delivery of that name" + suggestion(name, known)
                )
