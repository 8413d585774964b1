"""Keys: digests of everything that shapes a thing, exact to the last bit of every number."""

import hashlib
import json
import platform
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

import compositor
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
    package = Path(compositor.__file__).parent
    digest = hashlib.sha256(json.dumps([versions(), platform.machine()]).encode())
    for path in sorted(package.rglob("*.py")):
        digest.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def key_of(parts: object, file_hash: FileHash) -> str:
    """The key of a thing. parts: dataclasses, mappings, sequences and plain values, with all that shapes it; sources
    stand for the content of their files."""
    plain = [code_fingerprint(), _plain(parts, file_hash)]
    return hashlib.sha256(json.dumps(plain, ensure_ascii=True, sort_keys=True).encode()).hexdigest()


def _plain(value: Any, file_hash: FileHash) -> Any:
    kind = type(value)
    if kind in _SCALARS:
        return value
    if kind is tuple or kind is list:
        return repr(value) if _is_numbers(value) else [_plain(item, file_hash) for item in value]
    if kind is Source:
        files = [name and file_hash(name) for name in (value.image, value.matte)]
        return ["Source", *files, *(_plain(part, file_hash) for part in (value.outline_px, value.lens, value.cutting))]
    if kind is Space and value.icc is not None:
        return ["Space", value.name, hashlib.sha256(value.icc).hexdigest()]
    names = _field_names(kind)
    if names is not None:
        return [kind.__name__, *(_plain(getattr(value, name), file_hash) for name in names)]
    if isinstance(value, Mapping):
        return {str(name): _plain(item, file_hash) for name, item in value.items()}
    if isinstance(value, np.ndarray):
        return [value.dtype.str, _plain(value.tolist(), file_hash)]
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"{kind.__name__} has no place in a key")


def _is_numbers(values: Any) -> bool:
    """Whether a sequence holds plain values, or points of them: long ones, which are written as they are."""
    kinds = set(map(type, values))
    if kinds == {tuple}:
        kinds = set(map(type, chain.from_iterable(values)))
    return kinds <= _SCALARS


def _field_names(kind: type) -> tuple[str, ...] | None:
    """Of a dataclass; None of other types."""
    if kind not in _names:
        _names[kind] = tuple(field.name for field in fields(kind)) if is_dataclass(kind) else None
    return _names[kind]
