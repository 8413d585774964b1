"""Layers kept from view to view, variant to variant and run to run, by everything that shapes them."""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from time import perf_counter

import numpy as np

from compositor.base.arrays import Pixels
from compositor.colour.space import Space
from compositor.jobs.cache import Cache
from compositor.jobs.contents import Contents
from compositor.jobs.entries import Damaged
from compositor.jobs.keys import key_of
from compositor.jobs.shelf import Shelf
from compositor.pixels.picture import Picture
from compositor.render.layer import Layer
from compositor.render.shaping import Shape

_SOON_S = 0.001  # that a view shows nothing of an element is found again in less time than a file takes

Drawn = tuple[list[Layer], Pixels]
"""Layers without the plate, and the encoded picture (h, w, 3)."""


@dataclass
class Tally:
    """How many layers were made, and how many were there already."""

    kept: int = 0
    made: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def add(self, count: int, made: bool) -> None:
        """Count layers."""
        with self.lock:
            if made:
                self.made += count
            else:
                self.kept += count


class Keeper:
    """Keeps the layers of one variant on the shelf and in its cache.

    space, deep: of the plate.
    """

    def __init__(self, shelf: Shelf, contents: Contents, space: Space, deep: bool) -> None:
        self.shelf, self.contents, self.space, self.deep = shelf, contents, space, deep
        self.tally = Tally()

    def key(self, shape: Shape) -> str:
        """The digest of a shape and of everything it stands on."""
        return key_of((self.space, self.deep, shape), self.contents)

    def picture(self, shape: Shape, make: Callable[[], Drawn]) -> Drawn:
        """All that a view shows, layers and picture, for variants that show the same."""
        made = False

        def now() -> Drawn:
            nonlocal made
            made = True
            return make()

        drawn = self.shelf.take("picture", (), self.key(shape), now)
        if not made:
            self.tally.add(len(drawn[0]), False)
        return drawn

    def __call__(self, shape: Shape, make: Callable[[], list[Layer]]) -> list[Layer]:
        """The layers of a shape, made now where they are not there."""
        key, made = self.key(shape), False

        def found() -> list[Layer]:
            nonlocal made
            kept = _read(self.shelf.cache, key)
            if kept is not None:
                return kept
            made, start = True, perf_counter()
            layers = make()
            if layers or perf_counter() - start > _SOON_S:
                _write(self.shelf.cache, key, layers)
            return layers

        layers = self.shelf.take("layers", (), key, found)
        self.tally.add(len(layers), made)
        return layers


def _read(cache: Cache | None, key: str) -> list[Layer] | None:
    stored = None if cache is None else cache.read(key)
    if cache is None or stored is None:
        return None
    try:
        return [
            Layer(told["name"], told["kind"], told["operator"], tuple(told["offset_px"]), Picture(stored.array(number)))
            for number, told in enumerate(stored.facts["layers"])
        ]
    except (Damaged, KeyError, IndexError, ValueError):
        cache.remove(key)
        return None


def _write(cache: Cache | None, key: str, layers: list[Layer]) -> None:
    if cache is not None:
        told = [{"name": x.name, "kind": x.kind, "operator": x.operator, "offset_px": x.offset_px} for x in layers]
        cache.write(key, {"layers": told}, [np.ascontiguousarray(layer.picture.samples) for layer in layers])
