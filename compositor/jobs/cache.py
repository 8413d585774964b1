"""A cache of arrays on disk, by content: prepared cut-outs and rendered layers, kept from one run to the next.

An entry is a file ``<digit>/<key>.arrays`` (:mod:`compositor.jobs.entries`); its key is the digest of everything
that shapes it, so an entry is never out of date. Entries appear by one renaming, are checked when they are read, and
go as a whole, least recently used first: the folder may be deleted at any time, and any number of runs may use it at
once.
"""

import os
import re
import shutil
import sys
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from compositor.base.arrays import Pixels
from compositor.files.atomic import PART_SUFFIX
from compositor.jobs.entries import Damaged, Mapped, Stored, read_entry, write_entry

VARIABLE = "COMPOSITOR_CACHE"
"""Environment variable: another folder for the cache; `off` = none."""

MOST_BYTES = 8 << 30
_FREE_FRACTION = 0.25  # of the disk's free space that the cache may take
_UNTRIMMED_FRACTION = 0.125  # of what it may take: by so much it may grow within a run before it is looked after
_UNASKED_FRACTION = 0.125  # of what it may still grow by: others write to the disk, too
ENDING = ".arrays"
_DIGITS = re.compile(r"[0-9a-f]{1,2}")  # one today
_FORMER = re.compile(r"[0-9a-f]{64}|\.part-\w+")  # folders, which entries were once
_STALE_S = 3600.0


class Cache:
    """Entries under a folder, made with mode 0700 where it is not there. most_bytes: what they may take together."""

    def __init__(self, root: Path, most_bytes: int = MOST_BYTES) -> None:
        self.root, self.most_bytes, self._mapped = root, most_bytes, Mapped()
        self._place = f"{root}{os.sep}"  # as text: `Path` takes longer than to look whether an entry is there
        self._untrimmed_bytes, self._lock = 0, threading.Lock()
        self._unasked_bytes = 0  # that may be written before the disk is asked how much room it has

    def read(self, key: str) -> Stored | None:
        """The entry, which counts as used now; None where there is none that can be read."""
        path = self._path(key)
        try:
            return read_entry(path, self._mapped)
        except (FileNotFoundError, NotADirectoryError):
            return None
        except (OSError, Damaged):
            self._remove(path)
            return None

    def write(self, key: str, facts: Mapping[str, Any], arrays: Sequence[Pixels]) -> Stored | None:
        """Keep arrays and facts (plain JSON). A disk that is full or not ours keeps nothing: None."""
        path = self._path(key)
        try:
            self._make_folder(self.root / key[:1])
            stored = write_entry(path, facts, arrays, self._mapped)
        except OSError:
            return None
        self._grown(sum(samples.nbytes for samples in arrays))
        return stored

    def remove(self, key: str) -> None:
        """Take an entry away."""
        self._remove(self._path(key))

    def trim(self) -> None:
        """Take away what is least recently used until the rest fits, and what killed runs left half written."""
        with suppress(OSError):  # another run trims, too, or somebody deletes all of it
            self._trim()

    def _make_folder(self, folder: Path) -> None:
        """Where it is not there; a root that is there stays as its owner has it."""
        if not folder.is_dir():
            self.root.mkdir(parents=True, exist_ok=True, mode=0o700)
            folder.mkdir(exist_ok=True, mode=0o700)

    def _grown(self, written_bytes: int) -> None:
        """A long run must not fill the disk before its end."""
        due = False
        with suppress(OSError), self._lock:
            self._untrimmed_bytes += written_bytes
            self._unasked_bytes -= written_bytes
            if self._unasked_bytes < 0:
                room = _UNTRIMMED_FRACTION * self._limit_bytes(self._untrimmed_bytes) - self._untrimmed_bytes
                due = room < 0
                self._unasked_bytes = 0 if due else int(room * _UNASKED_FRACTION)
            if due:
                self._untrimmed_bytes = 0
        if due:
            self.trim()

    def _limit_bytes(self, held_bytes: int) -> int:
        """What entries may take together, of which so much is there."""
        free = shutil.disk_usage(self.root).free if self.root.is_dir() else 0
        return min(self.most_bytes, int((free + held_bytes) * _FREE_FRACTION))

    def _trim(self) -> None:
        entries = []
        parts = []
        for file in self._files():
            if file.name.endswith(ENDING):
                entries.append((*_facts_of(file), file.path))
            elif file.name.endswith(PART_SUFFIX):
                parts.append((*_facts_of(file), file.path))
            elif _FORMER.fullmatch(file.name):
                shutil.rmtree(file.path, ignore_errors=True)
        entries.sort()
        total = sum(size for _, size, _ in entries)
        limit = self._limit_bytes(total)
        newest = entries[-1][0] if entries else 0.0
        gone = [path for used, _, path in parts if used < newest - _STALE_S]
        for _, size, path in entries:
            if total <= limit:
                break
            gone.append(path)
            total -= size
        for path in gone:
            self._remove(path)

    def _path(self, key: str) -> str:
        return f"{self._place}{key[:1]}{os.sep}{key}{ENDING}"

    def _files(self) -> Iterator[os.DirEntry[str]]:
        """Of all entries; what another run takes away meanwhile is not there."""
        for folder in os.scandir(self.root):
            if _DIGITS.fullmatch(folder.name):
                with suppress(OSError):
                    yield from os.scandir(folder.path)

    def _remove(self, path: str) -> None:
        self._mapped.forget(path)
        with suppress(OSError):  # another run was first
            Path(path).unlink()


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


def _facts_of(file: os.DirEntry[str]) -> tuple[float, int]:
    """When it was last used, and bytes; nothing of one that is gone."""
    try:
        status = file.stat()
    except OSError:
        return 0.0, 0
    return status.st_mtime, status.st_size
