"""Cut-outs and pyramids that last from run to run: pixels are read only when they are asked for."""

import threading
from collections.abc import Callable
from dataclasses import asdict, astuple, dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import Any, NamedTuple
from weakref import WeakValueDictionary

import numpy as np

from compositor.base.arrays import Pixels
from compositor.files.cutting import Cut
from compositor.files.header import Header
from compositor.files.load import EncodedPlate, LoadedElement, load_element
from compositor.geometry.solid import Build
from compositor.jobs.cache import Cache
from compositor.jobs.contents import Contents
from compositor.jobs.entries import Damaged, Stored
from compositor.jobs.keys import key_of
from compositor.jobs.shelf import Shelf
from compositor.measure.build import build_of
from compositor.measure.facts import Point, matte_hull
from compositor.pixels.mips import Box, Mips
from compositor.plan.effects import Cutting


class CutOut(NamedTuple):
    """Image and matte of an element, as the scene writes them, and how it is cut out of them: equal cut-outs are
    opened once."""

    image: str
    matte: str | None
    cutting: Cutting | None = None


@dataclass(frozen=True)
class OpenedCutOut:
    """A cut-out in the plate's primaries: its pyramid, what its matte says, and what had to be assumed."""

    header: Header
    notices: tuple[str, ...]
    hull_px: tuple[Point, ...]
    build: Build
    mips: Mips


class StoredMips(Mips):
    """A pyramid whose levels, and means of its own pixels, are read when they are asked for; made anew where the entry
    is damaged."""

    def __init__(self, stored: Stored, means: Stored, remake: Callable[[], Mips]) -> None:
        self.edge = "transparent"
        x, y = stored.facts["origin_px"]
        self.origin_px = (x, y)
        self._stored, self._means, self._remake = stored, means, remake
        self._remade: Mips | None = None
        self._opened: WeakValueDictionary[tuple[str, int], Pixels] = WeakValueDictionary()
        self._lock = threading.Lock()

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height) of the samples themselves."""
        width, height = self._stored.facts["size_px"]
        return width, height

    @property
    def channels(self) -> tuple[int, ...]:
        """(4,), or () of one channel."""
        return tuple(self._stored.facts["channels"])

    @property
    def dtype(self) -> np.dtype[np.generic]:
        """Of the samples."""
        return np.dtype(str(self._stored.facts["dtype"]))

    @cached_property
    def content_px(self) -> tuple[int, int, int, int]:
        """(left, top, right, bottom) of what is not empty, from the origin on."""
        left, top, right, bottom = self._stored.facts["content_px"]
        return left, top, right, bottom

    @property
    def held_bytes(self) -> int:
        """What is mapped from files takes none."""
        return 0 if self._remade is None else self._remade.held_bytes

    def level(self, number: int) -> Pixels:
        """The samples of a level, 0 = the picture itself."""
        samples = self._array(self._stored, number)
        return self._made_anew().level(number) if samples is None else samples

    def means(self, box: Box, number: int = 0) -> Pixels:
        """As of any pyramid; those of the picture itself are read."""
        if number > 0:
            return super().means(box, number)
        (left, top, right, bottom), means = box, self._array(self._means, 0)
        return self._made_anew().means(box) if means is None else means[top:bottom, left:right]

    def _array(self, stored: Stored, number: int) -> Pixels | None:
        """Of an entry; None once one turned out to be damaged."""
        if self._remade is not None:
            return None
        for entry in (self._stored, self._means):  # one without the other would be worth nothing
            entry.used()
        known = stored.path, number
        opened = self._opened.get(known)  # as long as somebody holds it: asked for again and again while one looks
        if opened is not None:
            return opened
        try:
            return self._opened.setdefault(known, stored.array(number))
        except Damaged:
            return None

    def _made_anew(self) -> Mips:
        with self._lock:
            self._remade = self._remade or self._remake()
        return self._remade


def kept_mips(cache: Cache | None, key: str, make: Callable[[], Mips]) -> Mips:
    """A pyramid out of the cache, or made now and kept there."""
    entries = _read(cache, key)
    if cache is None or entries is None:
        mips = make()
        return mips if cache is None else _kept(cache, key, mips, {}, make)
    return StoredMips(*entries, partial(_remade, cache, key, make, entries[0].facts))


def open_cut_out(key: CutOut, folder: Path, plate: EncodedPlate, shelf: Shelf) -> OpenedCutOut:
    """A cut-out in a plate's primaries, out of the shelf's cache or loaded now and kept there. Raises PictureError."""
    names = [name for name in key[:2] if name is not None]
    contents = Contents(folder, shelf)
    header, *_ = [contents.header(name) for name in names]
    made_of = key_of(("cut-out", [contents(name) for name in names], key.cutting, plate.space, plate.deep), contents)

    def load(contents: Contents) -> LoadedElement:
        cut = None if key.cutting is None else Cut(*astuple(key.cutting))
        image, matte = contents.picture(key.image), None if key.matte is None else contents.picture(key.matte)
        loaded = load_element(image, matte, plate.space, plate.deep, None, cut)
        contents.unchanged(*names)
        return loaded

    def again() -> LoadedElement:
        return load(Contents(folder, shelf))

    return _kept_cut_out(shelf.cache, made_of, header, partial(load, contents), again)


def _kept_cut_out(
    cache: Cache | None, key: str, header: Header, load: Callable[[], LoadedElement], again: Callable[[], LoadedElement]
) -> OpenedCutOut:
    def make() -> Mips:
        return again().mips()

    entries = _read(cache, key)
    if cache is not None and entries is not None:
        facts = entries[0].facts
        hull_px = tuple((float(u), float(v)) for u, v in facts["hull_px"])
        kept = StoredMips(*entries, partial(_remade, cache, key, make, facts))
        return OpenedCutOut(header, tuple(facts["notices"]), hull_px, Build(**facts["build"]), kept)
    loaded = load()
    alpha, full = loaded.alpha()
    hull_px, build, mips = matte_hull(alpha, full), build_of(alpha, full), loaded.mips(again)
    if cache is not None:
        facts = {"notices": loaded.notices, "hull_px": hull_px, "build": asdict(build)}
        mips = _kept(cache, key, mips, facts, make)
    return OpenedCutOut(header, loaded.notices, hull_px, build, mips)


def _kept(cache: Cache, key: str, mips: Mips, facts: dict[str, Any], make: Callable[[], Mips]) -> Mips:
    """The pyramid as it is in the cache from now on, so that it need not be held; itself where it cannot be kept."""
    own = {"size_px": mips.size_px, "origin_px": mips.origin_px, "content_px": mips.content_px}
    form = {"channels": mips.channels, "dtype": mips.dtype.str}
    everywhere = 0, 0, mips.size_px[0] + 1, mips.size_px[1] + 1
    means = cache.write(_key_of_means(key), {}, [mips.means(everywhere)])  # before all levels are in memory
    stored = cache.write(key, {**facts, **own, **form}, [mips.level(number) for number in range(mips.deepest + 1)])
    if means is None or stored is None:
        return mips
    return StoredMips(stored, means, partial(_remade, cache, key, make, stored.facts))


def _read(cache: Cache | None, key: str) -> tuple[Stored, Stored] | None:
    """The entries of levels and of means; None where there are not both."""
    if cache is None:
        return None
    stored = cache.read(key)
    means = None if stored is None else cache.read(_key_of_means(key))
    return None if stored is None or means is None else (stored, means)


def _key_of_means(key: str) -> str:
    return f"{key}-means"


def _remade(cache: Cache, key: str, make: Callable[[], Mips], facts: dict[str, Any]) -> Mips:
    """In the place of a damaged entry."""
    for entry in (key, _key_of_means(key)):
        cache.remove(entry)
    mips = make()
    _kept(cache, key, mips, facts, make)
    return mips
