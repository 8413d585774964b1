"""Photographs that could be used instead of an element's: found in folders, and what their files say."""

from pathlib import Path

from compositor.base.errors import Fault, PictureError, UnusableInput
from compositor.files.header import read_header
from compositor.measure.facts import PictureFacts, frame_hull
from compositor.scene.models import Scene
from compositor.scene.sidecar import beside, read_folder


def with_folders(scene: Scene, folder: Path, faults: list[Fault]) -> Scene:
    """The scene with the alternatives of its folders listed after those it lists itself."""
    elements = []
    for index, element in enumerate(scene.elements):
        where = element.alternatives_in
        if where is not None:
            key = ("elements", index, "alternatives_in")
            if not (folder / where).is_dir():
                faults.append(Fault(key, "no such folder", where))
            try:
                found = tuple(beside(alternative, where) for alternative in read_folder(folder / where))
            except UnusableInput as error:
                faults += [Fault(key, str(fault), where) for fault in error.faults]
                found = ()
            element = element.model_copy(update={"alternatives": (*element.alternatives, *found)})
        elements.append(element)
    return scene.model_copy(update={"elements": tuple(elements)})


def alternative_facts(scene: Scene, folder: Path, faults: list[Fault]) -> dict[str, PictureFacts]:
    """Size and lens of every alternative's picture by its file; its matte is not opened."""
    found: dict[str, PictureFacts] = {}
    for index, element in enumerate(scene.elements):
        for position, alternative in enumerate(element.alternatives if element.visible else ()):
            try:
                header = read_header(folder / alternative.image)
            except PictureError as error:
                key = ("elements", index, "alternatives", position, "image")
                faults.append(Fault(key, error.reason, error.path.name))
                continue
            lens = header.lens
            stated = (None, None) if lens is None else (lens.focal_mm, lens.equivalent_mm)
            found[alternative.image] = PictureFacts(header.size_px, frame_hull(header.size_px), *stated)
    return found
