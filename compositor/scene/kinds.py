"""Which keys of a scene hold texts: a spreadsheet cannot say that its 199 is a price and no number."""

from functools import lru_cache
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel

from compositor.scene.models import Scene
from compositor.scene.tree import is_named_list


@lru_cache(1000)
def takes_text(key: str) -> bool:
    """Whether a dotted key holds a text and nothing else."""
    parts = key.split(".")
    kinds: list[Any] = [Scene]
    walked: tuple[str, ...] = ()
    while parts:
        part, parts = parts[0], parts[1:]
        if is_named_list(walked):
            kinds = [inner for kind in kinds for inner in get_args(kind) if inner is not Ellipsis]
            parts = parts[-1:]  # the name, which may hold dots, lies between
            part = parts.pop() if parts else part
        kinds = [field for kind in kinds for field in _fields(kind, part)]
        walked = (*walked, part)
    return bool(kinds) and all(kind is str for kind in kinds)


def _fields(kind: Any, part: str) -> list[Any]:
    """What a model has under a key, without None and without notes."""
    if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
        return []
    for name, field in kind.model_fields.items():
        if part == (field.alias or name):
            return _plain(field.annotation)
    return []


def _plain(annotation: Any) -> list[Any]:
    if get_origin(annotation) is Annotated:
        return _plain(get_args(annotation)[0])
    if get_origin(annotation) in (Union, UnionType):
        return [kind for part in get_args(annotation) if part is not type(None) for kind in _plain(part)]
    return [annotation]
