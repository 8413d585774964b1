"""One entry of the cache: a file that holds facts and arrays, which are mapped from it when they are asked for.

The form of the file, the length of its head and a checksum (16 bytes); the head, JSON text with the facts and with
place, kind and checksum of every array; then the arrays. Nothing in it is ever executed (no pickle).
"""

import json
import mmap
import os
import struct
import threading
import zlib
from collections import OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from functools import reduce
from io import FileIO
from itertools import chain
from pathlib import Path
from time import monotonic
from typing import Any

import numpy as np

from compositor.base.arrays import Pixels
from compositor.files.atomic import write_pieces
from compositor.files.codecs import deflate

_FORM, _PREFIX = b"arrays 1", struct.Struct("<8sII")
_ALIGNMENT = 64  # bytes: a cache line of the processor
_HEAD_BYTES = 4 << 10  # read at once: nearly every head is shorter
_PIECE_BYTES = 256 << 10
_MOST_MAPPED_BYTES = 16 << 20
_MARKED_S = 10.0  # how long an entry counts as used just now


class Damaged(Exception):
    """An entry that is not what was written."""


class Mapped:
    """Arrays that are mapped from files, by path and number: those used last stay so.

    What is mapped counts as memory of this process although the system may take it back; another mapping costs little.
    """

    def __init__(self) -> None:
        self._arrays: OrderedDict[tuple[str, int], Pixels] = OrderedDict()
        self._bytes = 0
        self._lock = threading.Lock()

    def get(self, known: tuple[str, int]) -> Pixels | None:
        """One that is there."""
        with self._lock:
            samples = self._arrays.get(known)
            if samples is not None:
                self._arrays.move_to_end(known)
            return samples

    def hold(self, known: tuple[str, int], samples: Pixels) -> None:
        """One more."""
        with self._lock:
            if known not in self._arrays:
                self._arrays[known] = samples
                self._bytes += samples.nbytes
            while self._bytes > _MOST_MAPPED_BYTES and len(self._arrays) > 1:
                self._bytes -= self._arrays.popitem(last=False)[1].nbytes

    def forget(self, path: str) -> None:
        """An entry goes."""
        with self._lock:
            for known in [known for known in self._arrays if known[0] == path]:
                self._bytes -= self._arrays.pop(known).nbytes


class Stored:
    """An entry. path: of its file. facts: as they were given.

    told: its head. start: where its arrays start. checked: those that are known to be what was written.
    """

    def __init__(self, path: str, told: Mapping[str, Any], start: int, mapped: Mapped) -> None:
        self.path, self._start, self._mapped = path, start, mapped
        self.facts: dict[str, Any] = told["facts"]
        self._arrays: Sequence[Mapping[str, Any]] = told["arrays"]
        self.checked: set[int] = set()
        self._marked_s = monotonic()

    def array(self, number: int) -> Pixels:
        """One of its arrays, mapped from the file, read-only. Raises Damaged where it is not what was written."""
        self.used()
        known = self.path, number
        samples = self._mapped.get(known)
        if samples is not None:
            return samples
        try:
            samples = self._map(self._arrays[number], number not in self.checked)
        except (OSError, ValueError, TypeError, LookupError) as error:
            raise Damaged(str(error)) from error
        self.checked.add(number)
        self._mapped.hold(known, samples)
        return samples

    def used(self) -> None:
        """It is used now: marked, unless that was done shortly before."""
        if monotonic() - self._marked_s > _MARKED_S:
            self.mark()

    def mark(self) -> None:
        """It counts as used now; what is not used for longest goes first."""
        self._marked_s = monotonic()
        with suppress(OSError):
            os.utime(self.path)

    def _map(self, told: Mapping[str, Any], check: bool) -> Pixels:
        """Raises OSError, ValueError, TypeError, KeyError."""
        size, first = told["bytes"], self._start + told["offset"]
        lead = first % mmap.ALLOCATIONGRANULARITY
        with FileIO(self.path) as file:
            if check and _checksum_in(file, first, size) != told["crc32"]:
                raise ValueError("another array")
            mapping: Any = mmap.mmap(file.fileno(), lead + size, access=mmap.ACCESS_READ, offset=first - lead)
        samples: Pixels = np.frombuffer(mapping, np.uint8, size, lead).view(told["dtype"]).reshape(told["shape"])
        return samples


def read_entry(path: str, mapped: Mapped) -> Stored:
    """An entry, which counts as used now. Raises OSError, and Damaged where its head is not what was written."""
    with FileIO(path) as file:
        data, size = file.read(_HEAD_BYTES), os.fstat(file.fileno()).st_size
        if len(data) < _PREFIX.size:
            raise Damaged("no head")
        form, length, checksum = _PREFIX.unpack_from(data)
        start = _PREFIX.size + length
        if form != _FORM or start > size:
            raise Damaged("another form")
        data += file.read(max(start - len(data), 0))
    head = data[_PREFIX.size : start]
    if zlib.crc32(head) != checksum:
        raise Damaged("another head")
    told = json.loads(head)
    if size != start + told["bytes"]:
        raise Damaged("another size")
    stored = Stored(path, told, start, mapped)
    stored.mark()
    return stored


def write_entry(path: str, facts: Mapping[str, Any], arrays: Sequence[Pixels], mapped: Mapped) -> Stored:
    """Write an entry, whole or not at all. facts: plain JSON. Raises OSError."""
    told: list[dict[str, Any]] = []
    offset = 0
    for samples in arrays:
        form = {"dtype": samples.dtype.str, "shape": samples.shape, "bytes": samples.nbytes}
        told.append({**form, "offset": offset, "crc32": reduce(_checksum, _strips(samples), 0)})
        offset += samples.nbytes + len(_gap_after(samples))
    whole = {"facts": dict(facts), "arrays": told, "bytes": offset}
    head = json.dumps(whole, allow_nan=False).encode()
    head += b" " * (-(_PREFIX.size + len(head)) % _ALIGNMENT)
    begin = _PREFIX.pack(_FORM, len(head), zlib.crc32(head)) + head
    write_pieces(Path(path), chain((begin,), _pieces(arrays)), durable=False)
    stored = Stored(path, whole, len(begin), mapped)
    stored.checked.update(range(len(arrays)))
    return stored


def _pieces(arrays: Sequence[Pixels]) -> Iterator[bytes | memoryview]:
    for samples in arrays:
        yield from _strips(samples)
        if gap := _gap_after(samples):
            yield gap


def _strips(samples: Pixels) -> Iterator[memoryview]:
    """The bytes of an array in their order; of one that is a part of a larger one a few rows at once are copied."""
    rows = len(samples) if samples.flags.c_contiguous else _PIECE_BYTES // max(samples[:1].nbytes, 1) + 1
    for top in range(0, len(samples), max(rows, 1)):
        yield np.ascontiguousarray(samples[top : top + rows]).reshape(-1).view(np.uint8).data


def _gap_after(samples: Pixels) -> bytes:
    return bytes(-samples.nbytes % _ALIGNMENT)


def _checksum(before: int, data: memoryview) -> int:
    found: int = deflate().crc32(data, before)
    return found


def _checksum_in(file: FileIO, first: int, size: int) -> int:
    """Of a part of a file, read piece by piece: through the mapping all of it would count as memory."""
    found, piece = 0, memoryview(bytearray(min(size, _PIECE_BYTES)))
    file.seek(first)
    while size > 0 and (read := file.readinto(piece[:size])):
        found = _checksum(found, piece[:read])
        size -= read
    return found
