"""Opening everything a scene names: pictures, mattes and the facts about them, with all faults in one run."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from compositor.base.arrays import Pixels
from compositor.base.errors import Fault, Key, PictureError
from compositor.colour.space import Space
from compositor.files.header import Header, read_file
from compositor.files.load import EncodedPlate, LoadedElement, load_element, load_matte, load_plate
from compositor.files.typeface import OpenTypeface
from compositor.jobs.abilities import ability_faults
from compositor.jobs.contents import Contents
from compositor.jobs.cut_outs import CutOut, OpenedCutOut, open_cut_out
from compositor.jobs.shelf import Shelf
from compositor.measure.facts import PictureFacts, frame_hull
from compositor.measure.patches import PatchError, Rgb, light_left
from compositor.pixels.strips import THREADS, run_all
from compositor.scene.element import Element
from compositor.scene.light import LightPatches
from compositor.scene.models import Scene
from compositor.solve.effects import cutting_of
from compositor.solve.graphics import GraphicFacts
from compositor.solve.planning import SceneFacts


@dataclass(frozen=True)
class Inputs:
    """Everything read for one scene that could be read, and the faults of what could not.

    mattes: coverage (h, w) of holdouts by their file, in the plate's own pixels. notices: what had to be taken for
    granted, with the names it is about (the plate, elements). shelf: where they stand, and what is made of them goes.
    faces, artwork: fonts and flat artwork of graphics by their files. light_left: in shadow, measured on the plate.
    """

    plate: EncodedPlate | None
    cut_outs: Mapping[CutOut, OpenedCutOut]
    mattes: Mapping[str, Pixels]
    faults: tuple[Fault, ...]
    notices: Mapping[str, tuple[str, ...]]
    shelf: Shelf = field(default_factory=Shelf)
    faces: Mapping[str, OpenTypeface] = field(default_factory=dict)
    artwork: Mapping[str, LoadedElement] = field(default_factory=dict)
    light_left: Rgb | None = None

    def facts(self, scene: Scene) -> SceneFacts | None:
        """Facts for solving; None without a plate, elements without a picture left out."""
        if self.plate is None:
            return None
        cut_outs = {e.name: cut_out(e) for e in photographs(scene)}
        facts = {name: self._facts(key, scene) for name, key in cut_outs.items() if key in self.cut_outs}
        header = self.plate.header
        graphics = GraphicFacts(self.faces, {name: loaded.picture.size_px for name, loaded in self.artwork.items()})
        return SceneFacts(
            self.shelf.take(
                "facts", (scene.plate.image,), None, lambda: _with_lens(header, frame_hull(header.size_px))
            ),
            facts,
            graphics,
            light_left=self.light_left,
        )

    def _facts(self, key: CutOut, scene: Scene) -> PictureFacts:
        """Facts of a cut-out, measured once for all variants that use it."""
        files = tuple(name for name in (key.image, key.matte, scene.plate.image) if name is not None)
        return self.shelf.take("facts", files, key, lambda: _facts(self.cut_outs[key]))


def photographs(scene: Scene) -> list[Element]:
    """The elements in the picture that bring a picture of their own."""
    return [element for element in scene.elements if element.visible and element.image is not None]


def cut_out(element: Element) -> CutOut:
    """What an element's picture is opened by. Raises ValueError for a part of the plate."""
    if element.image is None:
        raise ValueError(f"{element.name} is a part of the plate")
    return CutOut(element.image, element.matte, cutting_of(element))


def open_inputs(scene: Scene, folder: Path, shelf: Shelf | None = None) -> Inputs:
    """Open all pictures of a scene whose paths are relative to a folder. shelf: shared with other variants of it."""
    shelf = Shelf() if shelf is None else shelf
    faults = ability_faults(scene)
    plate = None
    image = scene.plate.image
    with _kept(faults, ("plate", "image")):
        plate = shelf.take("plate", (image,), None, lambda: _plate(folder, image, shelf))
    first: dict[CutOut, int] = {}
    for index, element in enumerate(scene.elements):
        if element.visible and element.image is not None:
            first.setdefault(cut_out(element), index)
    faces = _faces(scene, folder, shelf, faults)
    if plate is None:
        faults.extend(_missing(folder, first))
        return Inputs(None, {}, {}, tuple(faults), {}, shelf)
    cut_outs = _open_all(first, folder, _Shared(shelf, image, plate), faults)
    mattes: dict[str, Pixels] = {}
    for index, holdout in enumerate(scene.plate.holdouts):
        with _kept(faults, ("plate", "holdouts", index, "matte")):
            mattes[holdout.matte] = _matte(folder, holdout.matte, _Shared(shelf, image, plate))
    artwork = _artwork(scene, folder, _Shared(shelf, image, plate), faults)
    light_left = _light(scene, folder, _Shared(shelf, image, plate), mattes, faults)
    names = {key: scene.elements[index].name for key, index in first.items()}
    notices = _notices(plate, cut_outs, names)
    return Inputs(plate, cut_outs, mattes, tuple(faults), notices, shelf, faces, artwork, light_left)


@dataclass(frozen=True)
class _Shared:
    """A plate by its file, and the shelf for what is opened in its colours."""

    shelf: Shelf
    image: str
    plate: EncodedPlate


def _matte(folder: Path, name: str, shared: _Shared) -> Pixels:
    size_px = shared.plate.header.size_px
    return shared.shelf.take("matte", (name, shared.image), None, lambda: load_matte(read_file(folder / name), size_px))


def _light(scene: Scene, folder: Path, shared: _Shared, mattes: dict[str, Pixels], faults: list[Fault]) -> Rgb | None:
    """Open the matte of the plate's own shadows; measure the light left in shadow where patches are named."""
    light = scene.plate.light
    if light is None:
        return None
    if light.shade is not None:
        with _kept(faults, ("plate", "light", "shade")):
            mattes[light.shade] = _matte(folder, light.shade, shared)
    if isinstance(light.sun, LightPatches):
        try:
            patches = light.sun.lit, light.sun.shaded
            measure = partial(light_left, shared.plate.samples, shared.plate.space, *patches)
            return shared.shelf.take("light left", (shared.image,), patches, measure)
        except PatchError as error:
            faults.append(Fault(("plate", "light", "sun"), str(error)))
    return None


def _faces(scene: Scene, folder: Path, shelf: Shelf, faults: list[Fault]) -> dict[str, OpenTypeface]:
    """The fonts of all copy that is shown, each opened once."""
    faces: dict[str, OpenTypeface] = {}
    for index, graphic in enumerate(scene.graphics):
        font = graphic.font
        if graphic.visible and font is not None and font not in faces:
            with _kept(faults, ("graphics", index, "font")):
                faces[font] = shelf.take("font", (font,), None, partial(OpenTypeface, folder / font))
    return faces


def _artwork(scene: Scene, folder: Path, shared: _Shared, faults: list[Fault]) -> dict[str, LoadedElement]:
    """The flat artwork of graphics, in floats: an exact colour of a brand stays one."""
    opened: dict[str, LoadedElement] = {}
    for index, graphic in enumerate(scene.graphics):
        image = graphic.image
        if graphic.visible and image is not None and image not in opened:
            with _kept(faults, ("graphics", index, "image")):
                load = partial(_artwork_file, folder / image, shared.plate.space)
                opened[image] = shared.shelf.take("artwork", (image, shared.image), None, load)
    return opened


def _artwork_file(path: Path, space: Space) -> LoadedElement:
    return load_element(read_file(path), None, space, True)


def files_of(scene: Scene) -> list[str]:
    """Every file that a scene reads, as it writes them."""
    names = [scene.plate.image, *(holdout.matte for holdout in scene.plate.holdouts)]
    if scene.plate.light is not None and scene.plate.light.shade is not None:
        names.append(scene.plate.light.shade)
    names += [name for element in photographs(scene) for name in cut_out(element)[:2] if name is not None]
    names += [name for g in scene.graphics if g.visible for name in (g.font, g.image) if name is not None]
    return list(dict.fromkeys(names))


def hashes(scene: Scene, folder: Path, shelf: Shelf | None = None) -> list[dict[str, str]]:
    """Path, as the scene writes it, and content hash of every file that a scene reads."""
    contents = Contents(folder, Shelf() if shelf is None else shelf)
    return [{"path": name, "hash": contents(name)} for name in files_of(scene)]


def _open_all(
    first: Mapping[CutOut, int], folder: Path, shared: _Shared, faults: list[Fault]
) -> dict[CutOut, OpenedCutOut]:
    """Each cut-out once, several at a time."""

    def opened(key: CutOut) -> OpenedCutOut | None:
        matte_path = None if key.matte is None else folder / key.matte
        with _kept(faults, ("elements", first[key], "image"), matte_path, ("elements", first[key], "matte")):
            load = partial(open_cut_out, key, folder, shared.plate, shared.shelf)
            return shared.shelf.take("cut-out", files(key), key, load)
        return None

    def files(key: CutOut) -> tuple[str, ...]:
        return tuple(name for name in (key.image, key.matte, shared.image) if name is not None)

    there = all(shared.shelf.holds("cut-out", files(key), key) for key in first)
    results = run_all([partial(opened, key) for key in first], 1 if there else THREADS)
    return {key: result for key, result in zip(first, results, strict=True) if result is not None}


def _plate(folder: Path, image: str, shelf: Shelf) -> EncodedPlate:
    """Raises PictureError."""
    contents = Contents(folder, shelf)
    contents.header(image)  # says what is wrong with the file before its bytes are looked at
    contents(image)
    plate = load_plate(contents.picture(image))
    contents.unchanged(image)
    return plate


@contextmanager
def _kept(faults: list[Fault], key: Key, other: Path | None = None, other_key: Key = ()) -> Iterator[None]:
    """A picture that cannot be used becomes a fault of its key, or of the other one where it is that file."""
    try:
        yield
    except PictureError as error:
        faults.append(Fault(other_key if error.path == other else key, error.reason, error.path.name))


def _missing(folder: Path, first: Mapping[CutOut, int]) -> Iterator[Fault]:
    """Without a plate no element can be opened in its colours, but missing files can be named all the same."""
    for key, index in first.items():
        for name, word in zip(key[:2], ("image", "matte"), strict=True):
            if name is not None and not (folder / name).is_file():
                yield Fault(("elements", index, word), "no such file", name)


def _facts(opened: OpenedCutOut) -> PictureFacts:
    return replace(_with_lens(opened.header, opened.hull_px), build=opened.build)


def _with_lens(header: Header, hull: tuple[tuple[float, float], ...]) -> PictureFacts:
    lens = header.lens
    if lens is None:
        return PictureFacts(header.size_px, hull)
    return PictureFacts(header.size_px, hull, lens.focal_mm, lens.equivalent_mm)


def _notices(
    plate: EncodedPlate, cut_outs: Mapping[CutOut, OpenedCutOut], names: Mapping[CutOut, str]
) -> dict[str, tuple[str, ...]]:
    """Every notice once, with all the pictures that it is about."""
    found: dict[str, tuple[str, ...]] = dict.fromkeys(plate.notices, ("the plate",))
    for key, opened in cut_outs.items():
        for text in opened.notices:
            found[text] = (*found.get(text, ()), names[key])
    return found
