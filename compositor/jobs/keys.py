"""Keys: digests of everything that shapes a thing, exact to the last bit of every number."""

import hashlib
import json
import os
import platform
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from functools import cache
from io import FileIO
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

import compositor
from compositor.base.sameness import once_for_each
from compositor.colour.space import Space
from compositor.jobs.versions import versions
from compositor.plan.model import Source

_names: dict[type, tuple[str, ...] | None] = {}  # asking a type each time would take most of a key's time

FileHash = Callable[[str], str]
"""The content hash of a file, by its path as the scene writes it."""

_SCALARS = {str, int, float, bool, type(None)}


@cache
def code_fingerprint() -> str:
    """Digest of the code and of the versions of the libraries that it uses."""
    package = str(Path(compositor.__file__).parent)
    digest = hashlib.sha256(json.dumps([versions(), platform.machine()]).encode())
    # Without paths: they would take half of the time, and every run begins with this.
    files = [f"{folder}/{name}" for folder, _, names in os.walk(package) for name in names if name.endswith(".py")]
    for name in sorted(files):
        with FileIO(name) as file:
            digest.update(name[len(package) + 1 :].encode() + b"\0" + file.read())
    return digest.hexdigest()


def key_of(parts: object, file_hash: FileHash) -> str:
    """The key of a thing. parts: dataclasses, mappings, sequences and plain values, with all that shapes it; sources
    stand for the content of their files."""
    files: list[str] = []
    text = _text(parts, files)
    return _hexdigest("\n".join([code_fingerprint(), text, *map(file_hash, files)]))


def _text(value: Any, files: list[str]) -> str:
    """A value told exactly and in one way only; what it has of files is added to those."""
    kind = type(value)
    if kind in _SCALARS:
        return repr(value)
    if kind is tuple or kind is list:
        return repr(value) if _is_numbers(value) else _listed(value, files)
    if _field_names(kind) is not None:
        digest, own_files = _digest(value)
        files += own_files
        return digest
    if isinstance(value, Mapping):
        return "{" + _listed([part for name in sorted(value) for part in (str(name), value[name])], files) + "}"
    if isinstance(value, np.ndarray):
        return f"{value.dtype.str}{_text(value.tolist(), files)}"
    if isinstance(value, np.generic):
        return repr(value.item())
    raise TypeError(f"{kind.__name__} has no place in a key")


def _listed(values: Iterable[Any], files: list[str]) -> str:
    told = [repr(value) if type(value) in _SCALARS else _text(value, files) for value in values]  # most are plain
    return "[" + ",".join(told) + "]"


@once_for_each
def _digest(value: Any) -> tuple[str, tuple[str, ...]]:
    """Of a frozen dataclass, with the files that it has, in the order of its text: most are in many keys."""
    kind, files = type(value), list[str]()
    parts: list[Any]
    if kind is Source:
        files += [name for name in (value.image, value.matte) if name is not None]
        parts = [value.matte is None, value.outline_px, value.lens, value.cutting]
    elif kind is Space and value.icc is not None:
        parts = [value.name, hashlib.sha256(value.icc).hexdigest()]
    else:
        parts = [getattr(value, name) for name in _field_names(kind) or ()]
    return _hexdigest(kind.__name__ + _listed(parts, files)), tuple(files)


def _field_names(kind: Any) -> tuple[str, ...] | None:
    """Of a frozen dataclass; None of other types."""
    if kind not in _names:
        told = getattr(kind, "__dataclass_params__", None)
        frozen = told is not None and told.frozen
        _names[kind] = tuple(field.name for field in fields(kind)) if frozen else None
    return _names[kind]


def _is_numbers(values: Any) -> bool:
    """Whether a sequence holds plain values, or points of them: long ones, which are written as they are."""
    kinds = set(map(type, values))
    if kinds == {tuple}:
        kinds = set(map(type, chain.from_iterable(values)))
    return kinds <= _SCALARS


def _hexdigest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
