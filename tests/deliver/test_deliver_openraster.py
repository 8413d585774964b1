"""OpenRaster files read by pyora, by plain zipfile and Pillow, and merged here by the W3C formulas.

Sources: openraster/ora-spec (file layout, layer stack); W3C, Compositing and Blending Level 1.
"""

import io
import zipfile
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
from PIL import Image
from pyora import Project

from compositor.colour.coding import encode
from compositor.colour.curves import Parametric
from compositor.colour.space import DCF_OPTIONAL, SRGB, Space, with_own_profile
from compositor.deliver.openraster import openraster_bytes
from compositor.pixels.picture import Picture
from compositor.render.layers import Layer

WIDTH, HEIGHT = 300, 180
LINEAR = with_own_profile(Space("linear", SRGB.to_xyz, (Parametric(1.0),) * 3))


def picture(colour: np.ndarray, alpha: np.ndarray, dtype: type) -> Picture:
    """Straight linear colour and alpha, 0..1, as the internal form."""
    samples = np.dstack([colour * alpha[..., None], alpha])
    if dtype == np.uint16:
        return Picture(np.rint(samples * 65535).astype(np.uint16))
    return Picture(samples.astype(np.float32))


def soft_disc(size: int, reach: float, softness: float) -> np.ndarray:
    v, u = np.mgrid[:size, :size] + 0.5
    return np.clip((reach - np.hypot(u - size / 2, v - size / 2)) / softness + 0.5, 0, 1)


def stack(dtype: type) -> list[Layer]:
    """A grainy plate from black to white; bright over dark, dark over bright, tinted shadows, a holdout."""
    random = np.random.default_rng(2)
    slope = np.linspace(0, 1, WIDTH)[None, :, None] ** 2 * np.array([1.0, 0.9, 0.7])
    plate_colour = np.clip(slope + random.normal(0, 0.01, (HEIGHT, WIDTH, 3)), 0, 1)
    plate = picture(plate_colour, np.ones((HEIGHT, WIDTH)), dtype)
    disc = soft_disc(120, 45, 20)
    white, black = np.ones((120, 120, 3)), np.full((120, 120, 3), 0.001)
    tint = np.broadcast_to([0.15, 0.2, 0.3], (120, 120, 3))
    red = np.broadcast_to([0.9, 0.02, 0.05], (120, 120, 3))
    post = np.zeros((HEIGHT, 24))
    post[:, 4:20] = 1
    post = cv2.GaussianBlur(post, (0, 0), 2)
    return [
        Layer("plate", "plate", "over", (0, 0), plate),
        Layer("chair/shadow", "shadow", "multiply", (60, 40), picture(tint, soft_disc(120, 40, 40) * 0.8, dtype)),
        Layer("chair/contact", "contact", "multiply", (90, 40), picture(tint * 0.1, soft_disc(120, 20, 15), dtype)),
        Layer("chair", "element", "over", (10, 20), picture(white, disc, dtype)),
        Layer("dark", "element", "over", (170, 30), picture(black, disc, dtype)),
        Layer("red & <odd>", "element", "over", (-50, 90), picture(red, disc * 0.7, dtype)),
        Layer("post", "holdout", "over", (100, 0), picture(plate_colour[:, 100:124], post, dtype)),
        Layer("gone", "element", "over", (900, 90), picture(red, disc, dtype)),
    ]


def true_composite(layers: list[Layer], space: Space, depth_bits: int) -> np.ndarray:
    """Linear light: source-over (Porter and Duff 1984), and shadows that multiply what their alpha reaches."""
    frame = layers[0].picture.samples[..., :3] / layers[0].picture.full
    for layer in layers[1:]:
        source = layer.picture.samples / layer.picture.full
        for v in range(source.shape[0]):
            for_row = v + layer.offset_px[1]
            left, right = max(0, layer.offset_px[0]), min(WIDTH, layer.offset_px[0] + source.shape[1])
            if not 0 <= for_row < HEIGHT or left >= right:
                continue
            part = source[v, left - layer.offset_px[0] : right - layer.offset_px[0]]
            below, colour, alpha = frame[for_row, left:right], part[:, :3], part[:, 3:]
            over = colour + (1 - alpha) * below
            frame[for_row, left:right] = over if layer.operator == "over" else below * (1 - alpha + colour)
    return encode(frame.astype(np.float32), space, depth_bits)


def read_layers(data: bytes) -> Iterator[tuple[dict[str, str], np.ndarray]]:
    """Bottom to top: attributes and straight R G B A 0..1."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        root = ElementTree.fromstring(archive.read("stack.xml"))
        for layer in reversed(root.findall("stack/layer")):
            samples = cv2.imdecode(np.frombuffer(archive.read(layer.attrib["src"]), np.uint8), cv2.IMREAD_UNCHANGED)
            scaled = samples.astype(np.float64) / np.iinfo(samples.dtype).max
            if scaled.shape[2] == 3:
                scaled = np.dstack([scaled, np.ones(scaled.shape[:2])])
            yield dict(layer.attrib), scaled[..., [2, 1, 0, 3]]


def merge(data: bytes, step_codes: int | None = None) -> np.ndarray:
    """co = as·(1 - ab)·Cs + as·ab·B(Cb, Cs) + (1 - as)·ab·Cb with ab = 1; after each layer rounded if asked to."""
    frame = np.zeros((HEIGHT, WIDTH, 3))
    for attributes, layer in read_layers(data):
        left, top = int(attributes["x"]), int(attributes["y"])
        there = np.s_[top : top + layer.shape[0], left : left + layer.shape[1]]
        colour, alpha, below = layer[..., :3], layer[..., 3:], frame[there]
        blend = {"svg:src-over": colour, "svg:multiply": below * colour}[attributes["composite-op"]]
        frame[there] = alpha * blend + (1 - alpha) * below
        if step_codes is not None:
            frame = np.rint(frame * step_codes) / step_codes
    return frame


@pytest.mark.parametrize("space", [SRGB, DCF_OPTIONAL, LINEAR], ids=lambda space: space.name)
def test_standard_merge_gives_the_composite_to_one_code(space: Space) -> None:
    layers = stack(np.uint16)
    composite = true_composite(layers, space, 8)
    data = openraster_bytes(layers, composite, space)
    difference = np.abs(np.rint(merge(data) * 255) - composite)
    assert difference.max() <= 1
    assert (difference > 0).mean() < 0.1
    assert np.abs(np.rint(merge(data, step_codes=255) * 255) - composite).max() <= 1


def test_plain_encoded_merge_would_be_far_off() -> None:
    """The linear layers merely encoded, merged the same way: what the fitting is there for."""
    layers = stack(np.uint16)[:1] + stack(np.uint16)[3:4]
    composite = true_composite(layers, SRGB, 8)
    frame = encode(np.ascontiguousarray(layers[0].picture.samples[..., :3]), SRGB, 8).astype(float)
    disc = layers[1].picture.samples[..., 3:] / 65535
    frame[20:140, 10:130] = disc * 255 + (1 - disc) * frame[20:140, 10:130]
    assert np.abs(frame - composite).max() > 40


def test_16_bit_layers() -> None:
    layers = stack(np.float32)
    composite = true_composite(layers, SRGB, 16)
    data = openraster_bytes(layers, composite, SRGB)
    assert np.abs(merge(data) * 65535 - composite).max() <= 257 / 2
    assert np.abs(merge(data) * 65535 - composite).mean() < 2


def test_an_opaque_and_an_untouched_pixel_are_exact() -> None:
    layers = stack(np.uint16)[:4]
    composite = true_composite(layers, SRGB, 8)
    (_, plate), *_, (_, chair) = read_layers(openraster_bytes(layers, composite, SRGB))
    stored = encode(np.ascontiguousarray(layers[0].picture.samples[..., :3]), SRGB, 8)
    assert (np.rint(plate[..., :3] * 255) == stored).all()
    assert chair[60, 60].tolist() == [1, 1, 1, 1]
    assert chair[0, 0, 3] == 0


def test_hidden_colours_are_their_neighbours() -> None:
    """A white disc has no dark rim waiting under its edge."""
    layers = stack(np.uint16)
    fitted = {a["name"]: s for a, s in read_layers(openraster_bytes(layers, true_composite(layers, SRGB, 8), SRGB))}
    chair = fitted["chair"]
    hidden = chair[chair[..., 3] == 0]
    assert len(hidden) > 100
    assert hidden[:, :3].min() > 0.85
    shadow = fitted["chair/shadow"]
    assert (shadow[shadow[..., 3] == 0][:, :3] == 1).all()


def test_file_layout() -> None:
    """ora-spec file layout: mimetype first, stored, exact; needed members; thumbnail; order; profile and resolution."""
    layers = stack(np.uint16)
    composite = true_composite(layers, DCF_OPTIONAL, 8)
    data = openraster_bytes(layers, composite, DCF_OPTIONAL, dpi=(300, 300))
    assert data[:4] == b"PK\x03\x04"
    assert data[8:10] == b"\0\0"
    assert data[30:38] == b"mimetype"
    assert data[38:54] == b"image/openraster"
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        assert {entry.compress_type for entry in archive.infolist()} <= {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
        root = ElementTree.fromstring(archive.read("stack.xml"))
        assert root.attrib == {"version": "0.0.3", "w": "300", "h": "180", "xres": "300", "yres": "300"}
        assert root.find("stack").attrib == {}
        names = [layer.attrib["name"] for layer in root.findall("stack/layer")]
        assert names == [layer.name for layer in reversed(layers)]
        with Image.open(archive.open("Thumbnails/thumbnail.png")) as thumbnail:
            assert thumbnail.size == (256, 154)
        with Image.open(archive.open("mergedimage.png")) as merged:
            assert (np.asarray(merged) == composite).all()
            assert merged.info["icc_profile"] == DCF_OPTIONAL.icc
        for layer in root.findall("stack/layer"):
            with Image.open(archive.open(layer.attrib["src"])) as stored:
                assert stored.info["icc_profile"] == DCF_OPTIONAL.icc


def test_thumbnails_are_never_enlarged() -> None:
    layers = [Layer("plate", "plate", "over", (0, 0), picture(np.ones((5, 9, 3)), np.ones((5, 9)), np.uint16))]
    data = openraster_bytes(layers, np.full((5, 9, 3), 255, np.uint8), SRGB)
    with (
        zipfile.ZipFile(io.BytesIO(data)) as archive,
        Image.open(archive.open("Thumbnails/thumbnail.png")) as thumbnail,
    ):
        assert thumbnail.size == (9, 5)


def test_same_bytes_for_any_number_of_threads() -> None:
    layers = stack(np.uint16)[:4]
    composite = true_composite(layers, SRGB, 8)
    assert openraster_bytes(layers, composite, SRGB, threads=1) == openraster_bytes(layers, composite, SRGB, threads=4)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_pyora_reads_it(tmp_path: Path) -> None:
    layers = stack(np.uint16)[:7]
    composite = true_composite(layers, SRGB, 8)
    path = tmp_path / "layers.ora"
    path.write_bytes(openraster_bytes(layers, composite, SRGB))
    project = Project.load(str(path))
    assert project.dimensions == (WIDTH, HEIGHT)
    read = {layer.name: layer for layer in project.children}
    assert set(read) == {layer.name for layer in layers}
    for layer in layers:
        assert read[layer.name].offsets == (max(0, layer.offset_px[0]), layer.offset_px[1])
        assert read[layer.name].composite_op == {"over": "svg:src-over", "multiply": "svg:multiply"}[layer.operator]
    rendered = np.asarray(project.get_image_data(use_original=False).convert("RGB"))
    assert np.abs(rendered.astype(int) - composite).max() <= 1
