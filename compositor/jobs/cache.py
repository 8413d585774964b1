"""A cache of arrays on disk, by content: prepared cut-outs and rendered layers, kept from one run to the next.

An entry is a folder ``<two digits>/<key>/`` of .npy files and a JSON sidecar with facts, sizes and checksums; its key
is the digest of everything that shapes it, so an entry is never out of date. Entries appear by one renaming, are
checked when they are read, and go as a whole, least recently used first: the folder may be deleted at any time, and
any number of runs may use it at once. Nothing in it is ever executed (no pickle).
"""

import json
import os
import shutil
import sys
import tempfile
import threading
import zlib
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from compositor.base.arrays import Pixels

VARIABLE = "COMPOSITOR_CACHE"
"""Environment variable: another folder for the cache; `off` = none."""

MOST_BYTES = 8 << 30
_FREE_FRACTION = 0.25  # of the disk's free space that the cache may take
_UNTRIMMED_FRACTION = 0.125  # of what it may take: by so much it may grow within a run before it is looked after
_FACTS, _PART = "facts.json", ".part-"
_STALE_S = 3600.0
_MOST_MAPPED_BYTES = 64 << 20
_PIECE_BYTES = 256 << 10


class Damaged(Exception):
    """An entry that is not what was written."""


class Stored:
    """An entry. facts: as they were given."""

    def __init__(self, folder: Path, told: Mapping[str, Any], mapped: "_Mapped") -> None:
        self.facts: dict[str, Any] = dict(told["facts"])
        self._arrays: list[Mapping[str, int]] = list(told["arrays"])
        self._folder, self._mapped = folder, mapped

    def array(self, number: int) -> Pixels:
        """One of its arrays, mapped from its file, read-only. Raises Damaged where the file is not whole."""
        if not 0 <= number < len(self._arrays):
            raise Damaged(f"no array {number}")
        return self._mapped.array(self._folder / f"{number}.npy", self._arrays[number])


class _Mapped:
    """Arrays that are mapped from files: those used last stay so, each is checked once.

    What is mapped counts as memory of this process although the system may take it back; another mapping costs little.
    """

    def __init__(self) -> None:
        self._arrays: OrderedDict[Path, Pixels] = OrderedDict()
        self._checked: set[tuple[Path, int]] = set()
        self._lock = threading.Lock()

    def array(self, path: Path, told: Mapping[str, int]) -> Pixels:
        """Raises Damaged."""
        with self._lock:
            samples = self._arrays.get(path)
            if samples is not None:
                self._arrays.move_to_end(path)
                return samples
        samples = self._read(path, told)
        with self._lock:
            self._arrays[path] = samples
            total = sum(each.nbytes for each in self._arrays.values())
            while total > _MOST_MAPPED_BYTES and len(self._arrays) > 1:
                total -= self._arrays.popitem(last=False)[1].nbytes
        return samples

    def forget(self, folder: Path) -> None:
        """An entry goes."""
        with self._lock:
            self._checked = {each for each in self._checked if each[0].parent != folder}
            for path in [path for path in self._arrays if path.parent == folder]:
                del self._arrays[path]

    def _read(self, path: Path, told: Mapping[str, int]) -> Pixels:
        known = path, told["crc32"]
        try:
            samples = np.asarray(np.load(path, mmap_mode="r", allow_pickle=False))
            whole = known in self._checked or _checksum_in_file(path, samples.nbytes) == told["crc32"]
        except (OSError, ValueError, EOFError) as error:
            raise Damaged(str(error)) from error
        if samples.nbytes != told["bytes"] or not whole:
            raise Damaged(path.name)
        with self._lock:
            self._checked.add(known)
        return samples


class Cache:
    """Entries under a folder, made with mode 0700 where it is not there. most_bytes: what they may take together."""

    def __init__(self, root: Path, most_bytes: int = MOST_BYTES) -> None:
        self.root, self.most_bytes, self._mapped = root, most_bytes, _Mapped()
        self._untrimmed_bytes, self._lock = 0, threading.Lock()

    def read(self, key: str) -> Stored | None:
        """The entry, which counts as used now; None where there is none that can be read."""
        folder = self._folder(key)
        try:
            told = json.loads((folder / _FACTS).read_text(encoding="utf-8"))
            stored = Stored(folder, told, self._mapped)
            os.utime(folder / _FACTS)
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, TypeError):
            self.remove(key)
            return None
        return stored

    def write(self, key: str, facts: Mapping[str, Any], arrays: Sequence[Pixels]) -> None:
        """Keep arrays (C-contiguous) and facts (plain JSON). A disk that is full or not ours keeps nothing."""
        try:
            folder = self._folder(key)
            self.root.mkdir(parents=True, exist_ok=True, mode=0o700)  # one that is there stays as its owner has it
            folder.parent.mkdir(exist_ok=True, mode=0o700)
            part = Path(tempfile.mkdtemp(prefix=_PART, dir=folder.parent))
        except OSError:
            return
        try:
            told = []
            for number, samples in enumerate(arrays):
                np.save(part / f"{number}.npy", samples, allow_pickle=False)
                told.append({"bytes": samples.nbytes, "crc32": _checksum(samples)})
            text = json.dumps({"facts": dict(facts), "arrays": told}, allow_nan=False)
            (part / _FACTS).write_text(text, encoding="utf-8")
            part.rename(folder)  # fails where another run was first, whose entry is as good
        except OSError:
            pass
        finally:
            shutil.rmtree(part, ignore_errors=True)
        self._grown(sum(samples.nbytes for samples in arrays))

    def remove(self, key: str) -> None:
        """Take an entry away: first out of its place, so that nobody finds half of it."""
        self._remove(self._folder(key))

    def trim(self) -> None:
        """Take away what is least recently used until the rest fits, and what killed runs left half written."""
        with suppress(OSError):  # another run trims, too, or somebody deletes all of it
            self._trim()

    def _grown(self, written_bytes: int) -> None:
        """A long run must not fill the disk before its end."""
        due = False
        with suppress(OSError), self._lock:
            self._untrimmed_bytes += written_bytes
            due = self._untrimmed_bytes > _UNTRIMMED_FRACTION * self._limit_bytes(self._untrimmed_bytes)
            if due:
                self._untrimmed_bytes = 0
        if due:
            self.trim()

    def _limit_bytes(self, held_bytes: int) -> int:
        """What entries may take together, of which so much is there."""
        free = shutil.disk_usage(self.root).free if self.root.is_dir() else 0
        return min(self.most_bytes, int((free + held_bytes) * _FREE_FRACTION))

    def _trim(self) -> None:
        entries = sorted(self._entries())
        total = sum(size for _, size, _ in entries)
        limit = self._limit_bytes(total)
        for _, size, folder in entries:
            if total <= limit:
                break
            self._remove(folder)
            total -= size
        newest = entries[-1][0] if entries else 0.0
        for part in self.root.glob(f"*/{_PART}*"):
            if _modified(part) < newest - _STALE_S:
                shutil.rmtree(part, ignore_errors=True)

    def _folder(self, key: str) -> Path:
        return self.root / key[:2] / key

    def _entries(self) -> list[tuple[float, int, Path]]:
        """When last used, bytes, folder. What another run takes away meanwhile is not there."""
        found = []
        for sidecar in self.root.glob(f"*/*/{_FACTS}"):
            if not sidecar.parent.name.startswith(_PART):
                size = sum(_size(path) for path in sidecar.parent.iterdir()) if sidecar.parent.is_dir() else 0
                found.append((_modified(sidecar), size, sidecar.parent))
        return found

    def _remove(self, folder: Path) -> None:
        self._mapped.forget(folder)
        try:
            away = Path(tempfile.mkdtemp(prefix=_PART, dir=folder.parent))
        except OSError:
            return
        with suppress(OSError):  # another run was first
            folder.rename(away / folder.name)
        shutil.rmtree(away, ignore_errors=True)


def default_cache() -> Path | None:
    """Where the cache is if nothing is said: the variable's folder, else where the platform keeps caches."""
    told = os.environ.get(VARIABLE, "")
    if told.lower() == "off":
        return None
    if told:
        return Path(told)
    home = Path.home()
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "compositor"
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local")) / "compositor" / "Cache"
    base = Path(os.environ.get("XDG_CACHE_HOME", ""))  # a relative one is to be ignored (XDG Base Directory 0.8)
    return (base if base.is_absolute() else home / ".cache") / "compositor"


def _checksum(samples: Pixels) -> int:
    return zlib.crc32(np.ascontiguousarray(samples).reshape(-1).view(np.uint8).data)


def _checksum_in_file(path: Path, size: int) -> int:
    """Of the last `size` bytes, read piece by piece: through the mapping all of it would count as memory."""
    found, piece = 0, bytearray(_PIECE_BYTES)
    with path.open("rb", buffering=0) as file:
        file.seek(-size, os.SEEK_END)
        while read := file.readinto(piece):
            found = zlib.crc32(memoryview(piece)[:read], found)
    return found


def _modified(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
