"""Looking for the camera in the picture itself, where a scene says `horizon: auto`."""

from dataclasses import replace
from functools import partial
from pathlib import Path

from compositor.base.arrays import Pixels
from compositor.base.errors import Fault, FaultyScene, Key, PictureError
from compositor.base.opencv import cv2
from compositor.colour.coding import as_eight_bits
from compositor.files.decode import read_pixels
from compositor.files.header import read_file
from compositor.jobs.shelf import Shelf
from compositor.measure.camera import FoundCamera, find_camera
from compositor.measure.facts import PictureFacts
from compositor.scene.camera import AUTO, Camera
from compositor.scene.models import Scene
from compositor.solve.cameras import search_basis
from compositor.solve.faults import within
from compositor.solve.planning import SceneFacts


def with_found_cameras(scene: Scene, facts: SceneFacts, folder: Path, shelf: Shelf) -> SceneFacts:
    """Facts with the cameras that were asked for and looked for. Raises FaultyScene, keys from the top of the scene."""
    plate = facts.plate
    if scene.plate.camera.horizon == AUTO:
        plate = _found(scene.plate.camera, plate, folder / scene.plate.image, shelf, ("plate", "camera"))
    elements = dict(facts.elements)
    for index, element in enumerate(scene.elements):
        camera, own = element.camera, facts.elements.get(element.name)
        if camera is not None and camera.horizon == AUTO and own is not None and element.image is not None:
            key: Key = ("elements", index, "camera")
            elements[element.name] = _found(camera, own, folder / element.image, shelf, key)
    return replace(facts, plate=plate, elements=elements)


def _found(camera: Camera, facts: PictureFacts, path: Path, shelf: Shelf, key: Key) -> PictureFacts:
    with within(key):
        principal_px, lens_px = search_basis(camera, facts)
        try:
            look = partial(_look, path, principal_px, lens_px)
            found = shelf.take("camera", (str(path),), (principal_px, lens_px), look)
        except PictureError as error:
            raise FaultyScene([Fault(("horizon",), error.reason, AUTO)]) from error
    return replace(facts, found=found)


def _look(path: Path, principal_px: tuple[float, float], lens_px: float | None) -> FoundCamera:
    return find_camera(_seen(path), principal_px, lens_px)


def _seen(path: Path) -> Pixels:
    """The picture as 8-bit R G B, whatever it was stored as; transparency does not matter."""
    samples = as_eight_bits(read_pixels(read_file(path)))
    if samples.shape[2] == 1:
        return cv2.cvtColor(samples, cv2.COLOR_GRAY2RGB)
    return samples[..., :3].copy()
