"""Keys: digests of everything that shapes a thing, exact to the last bit of every number."""

import hashlib
import json
import platform
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

import compositor
from compositor.colour.space import Space
from compositor.jobs.versions import versions
from compositor.plan.model import Source

FileHash = Callable[[str], str]
"""The content hash of a file, by its path as the scene writes it."""

_SHAPING_ROOMS = ("base", "colour", "deliver", "files", "geometry", "jobs", "measure", "pixels", "plan", "render")


@cache
def code_fingerprint() -> str:
    """Digest of the code that shapes pixels and of the versions of the libraries that it uses."""
    package = Path(compositor.__file__).parent
    digest = hashlib.sha256(json.dumps([versions(), platform.machine()]).encode())
    for room in _SHAPING_ROOMS:
        for path in sorted((package / room).rglob("*.py")):
            digest.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def key_of(parts: object, file_hash: FileHash) -> str:
    """The key of a thing. parts: dataclasses, mappings, sequences and plain values, with all that shapes it; sources
    stand for the content of their files."""
    plain = [code_fingerprint(), _plain(parts, file_hash)]
    return hashlib.sha256(json.dumps(plain, ensure_ascii=True, sort_keys=True).encode()).hexdigest()


def _plain(value: Any, file_hash: FileHash) -> Any:
    if isinstance(value, Source):
        files = [name and file_hash(name) for name in (value.image, value.matte)]
        return ["Source", *files, *(_plain(part, file_hash) for part in (value.outline_px, value.lens, value.cutting))]
    if isinstance(value, Space) and value.icc is not None:
        return ["Space", value.name, hashlib.sha256(value.icc).hexdigest()]
    if is_dataclass(value) and not isinstance(value, type):
        return [type(value).__name__, *(_plain(getattr(value, field.name), file_hash) for field in fields(value))]
    if isinstance(value, Mapping):
        return {str(name): _plain(item, file_hash) for name, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item, file_hash) for item in value]
    if isinstance(value, np.ndarray):
        return [value.dtype.str, _plain(value.tolist(), file_hash)]
    if isinstance(value, np.generic):
        return value.item()
    if value is None or isinstance(value, str | int | float | bool):
        return value
    raise TypeError(f"{type(value).__name__} has no place in a key")
