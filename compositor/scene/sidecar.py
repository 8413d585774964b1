"""Camera files beside pictures: NAME.camera.yaml says of NAME.png (or .tif, .jpg, .webp) what an alternative says."""

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from compositor.base.errors import LocatedFault, UnusableInput
from compositor.scene.element import Alternative
from compositor.scene.scene_file import read_text
from compositor.scene.sentences import explain
from compositor.scene.syntax import line_count
from compositor.scene.tree import Node, dotted, nearest, plain
from compositor.scene.yaml_text import file_placing, parse

ENDING = ".camera.yaml"
_PICTURES = (".png", ".tif", ".tiff", ".webp", ".jpg", ".jpeg")


def read_folder(folder: Path) -> tuple[Alternative, ...]:
    """The pictures of a folder that have a camera file, by name, their paths relative to the folder.

    Raises UnusableInput with all faults.
    """
    found: list[Alternative] = []
    faults: list[LocatedFault] = []
    for path in sorted(folder.glob(f"*{ENDING}")):
        try:
            found.append(_read(path))
        except UnusableInput as error:
            faults += error.faults
    if faults:
        raise UnusableInput(faults)
    return tuple(found)


def _read(path: Path) -> Alternative:
    stem = path.name.removesuffix(ENDING)
    picture = next((path.with_name(stem + e) for e in _PICTURES if path.with_name(stem + e).is_file()), None)
    text = read_text(path, str(path))
    parsed = parse(text, file_placing(str(path), line_count(text)))
    faults = list(parsed.faults)
    if picture is None:
        faults.append(parsed.root.place.fault("", f"no picture named {stem} lies beside it"))
    if isinstance(parsed.root.value, dict) and not faults and picture is not None:
        values: dict[str, Any] = {"image": picture.name, **plain(parsed.root)}
        try:
            return Alternative.model_validate(values)
        except ValidationError as error:
            faults = _explained(error, parsed.root)
    raise UnusableInput(faults or [parsed.root.place.fault("", "must be a mapping of keys and values")])


def _explained(error: ValidationError, root: Node) -> list[LocatedFault]:
    """The models' errors as sentences, told as those of an alternative in a scene."""
    top = Node({"alternatives": Node([root], root.place)}, root.place)
    found = []
    for detail in error.errors(include_url=False, include_input=False):
        detail["loc"] = ("alternatives", 0, *detail["loc"])
        for fault in explain(detail, top):
            place = nearest(top, fault.key).start
            found.append(place.fault(dotted(root, fault.key[2:]), fault.what, fault.given))
    return found


def beside(alternative: Alternative, folder: str) -> Alternative:
    """The alternative with its files as seen from where the folder's own path starts."""
    update: dict[str, Any] = {"image": f"{folder}/{alternative.image}"}
    if alternative.matte is not None:
        update["matte"] = f"{folder}/{alternative.matte}"
    return alternative.model_copy(update=update)
