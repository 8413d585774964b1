"""Layered TIFF read by Pillow and OpenEXR read by OpenImageIO: names, offsets, operators and samples.

Sources: TIFF 6.0 (PageName 285, XPosition 286, YPosition 287, NewSubfileType 254, ExtraSamples 338); OpenEXR, Technical
Introduction (linear, premultiplied, 0.18 mid grey; half floats have eleven bits).
"""

import io
import json
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import cv2
import numpy as np
import OpenImageIO as oiio  # noqa: N813
import pytest
from PIL import Image

from compositor.colour.coding import encode
from compositor.colour.space import DCF_OPTIONAL, SRGB
from compositor.deliver.layered import exr_bytes, tiff_bytes
from compositor.deliver.openraster import openraster_bytes
from compositor.pixels.picture import Picture
from compositor.render.compose import compose, compose_linear
from compositor.render.layers import Layer

WIDTH, HEIGHT = 240, 160


def stack() -> list[Layer]:
    random = np.random.default_rng(4)
    plate = np.clip(np.linspace(0.01, 0.9, WIDTH)[None, :, None] + random.normal(0, 0.01, (HEIGHT, WIDTH, 3)), 0, 1)
    v, u = np.mgrid[:90, :90] + 0.5
    disc = np.clip((38 - np.hypot(u - 45, v - 45)) / 12 + 0.5, 0, 1)

    def picture(colour: np.ndarray, alpha: np.ndarray) -> Picture:
        samples = np.dstack([np.broadcast_to(colour, (*alpha.shape, 3)) * alpha[..., None], alpha])
        return Picture(np.rint(samples * 65535).astype(np.uint16))

    return [
        Layer("plate", "plate", "over", (0, 0), picture(plate, np.ones((HEIGHT, WIDTH)))),
        Layer("chair/shadow", "shadow", "multiply", (40, 60), picture(np.array([0.2, 0.25, 0.35]), disc * 0.7)),
        Layer("chair", "element", "over", (30, 20), picture(np.array([0.8, 0.1, 0.05]), disc)),
        Layer("Bäume", "element", "over", (190, 100), picture(np.array([0.1, 0.3, 0.05]), disc)),
    ]


def composite(layers: list[Layer]) -> tuple[np.ndarray, np.ndarray]:
    """Encoded plate and composite."""
    plate = encode(np.ascontiguousarray(layers[0].picture.samples[..., :3]), SRGB, 8)
    return plate, compose(plate, SRGB, layers[1:])


def ora_layers(data: bytes) -> dict[str, tuple[tuple[int, int], str, np.ndarray]]:
    found = {}
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for layer in ElementTree.fromstring(archive.read("stack.xml")).findall("stack/layer"):
            samples = cv2.imdecode(np.frombuffer(archive.read(layer.attrib["src"]), np.uint8), cv2.IMREAD_UNCHANGED)
            order = [2, 1, 0, 3][: samples.shape[2]]
            place = (int(layer.attrib["x"]), int(layer.attrib["y"]))
            found[layer.attrib["name"]] = (place, layer.attrib["composite-op"], samples[..., order])
    return found


def test_tiff_pages_are_the_layers_of_openraster() -> None:
    layers = stack()
    _, frame = composite(layers)
    wanted = ora_layers(openraster_bytes(layers, frame, SRGB, (300.0, 300.0)))
    with Image.open(io.BytesIO(tiff_bytes(layers, frame, SRGB, (300.0, 300.0)))) as pages:
        assert pages.n_frames == 1 + len(layers)
        names = []
        for number in range(1, pages.n_frames):
            pages.seek(number)
            tags = pages.tag_v2
            name = tags[285].encode("latin-1").decode()  # written as UTF-8, which Pillow does not expect
            names.append(name)
            place, operator, samples = wanted[name]
            facts = json.loads(tags[270])
            assert tuple(facts["offset_px"]) == place
            assert f"svg:{facts['operator'].replace('over', 'src-over')}" == operator
            assert facts["frame_px"] == [WIDTH, HEIGHT]
            assert (float(tags[286]) * 300, float(tags[287]) * 300) == pytest.approx(place)
            assert pages.size == (samples.shape[1], samples.shape[0])
            assert tags[254] == 2 and set(tags[258]) == {16}
            assert pages.info["icc_profile"] == SRGB.icc
            assert tuple(map(float, pages.info["dpi"])) == (300.0, 300.0)
            if samples.shape[2] == 4:
                assert tags[338] == (2,)  # unassociated alpha
    assert names == [layer.name for layer in layers]


def test_tiff_pages_merge_to_the_composite_as_openraster_does(tmp_path: Path) -> None:
    """Read by OpenImageIO at 16 bits and merged by the W3C formulas: within 1 of 255."""
    layers = stack()
    _, frame = composite(layers)
    path = tmp_path / "layers.tif"
    path.write_bytes(tiff_bytes(layers, frame, SRGB))
    merged = np.zeros((HEIGHT, WIDTH, 3))
    hint = oiio.ImageSpec()
    hint.attribute("oiio:UnassociatedAlpha", 1)
    first = oiio.ImageBuf(str(path), 0, 0, hint).get_pixels(oiio.UINT16)
    assert (first == frame.astype(np.uint16) * 257).all()
    for number in range(1, 1 + len(layers)):
        page = oiio.ImageBuf(str(path), number, 0, hint)
        facts = json.loads(page.spec().get_string_attribute("ImageDescription"))
        samples = page.get_pixels(oiio.UINT16) / 65535
        colour, alpha = samples[..., :3], samples[..., 3:] if samples.shape[2] == 4 else np.ones((1, 1, 1))
        left, top = facts["offset_px"]
        there = np.s_[top : top + samples.shape[0], left : left + samples.shape[1]]
        blend = merged[there] * colour if facts["operator"] == "multiply" else colour
        merged[there] = alpha * blend + (1 - alpha) * merged[there]
    assert np.abs(np.rint(merged * 255) - frame).max() <= 1


def test_exr_parts_hold_linear_light(tmp_path: Path) -> None:
    layers = stack()
    plate, frame = composite(layers)
    linear = compose_linear(plate, SRGB, layers[1:])
    path = tmp_path / "layers.exr"
    path.write_bytes(exr_bytes(layers, linear, SRGB))
    names = ["composite", *(layer.name for layer in layers)]
    for number, name in enumerate(names):
        part = oiio.ImageBuf(str(path), number, 0)
        spec = part.spec()
        assert spec.get_string_attribute("oiio:subimagename") == name
        assert spec.channelnames == ("R", "G", "B", "A")
        assert str(spec.format) == "half"
        assert (spec.full_width, spec.full_height) == (WIDTH, HEIGHT)
        wanted = linear if number == 0 else layers[number - 1].picture.samples
        if number:
            layer = layers[number - 1]
            assert (spec.x, spec.y) == layer.offset_px
            assert spec.get_string_attribute("operator") == layer.operator
            wanted = wanted[: HEIGHT - spec.y, : WIDTH - spec.x]
        read = part.get_pixels(oiio.FLOAT)
        assert read.shape == wanted.shape
        assert np.abs(read - wanted / 65535).max() <= 2**-12  # half a step of a half float below 1
    back = oiio.ImageBuf(str(path), 0, 0).get_pixels(oiio.FLOAT)[..., :3]
    assert np.abs(encode(back.astype(np.float32), SRGB, 8).astype(int) - frame).max() <= 1


def test_exr_tells_the_primaries(tmp_path: Path) -> None:
    """Of another space: red, green and blue at the x, y of its matrix (here to D50, as ICC profiles are)."""
    layers = stack()[:1]
    path = tmp_path / "layers.exr"
    path.write_bytes(exr_bytes(layers, layers[0].picture.samples, DCF_OPTIONAL))
    told = oiio.ImageBuf(str(path)).spec().getattribute("chromaticities")
    matrix = np.array(DCF_OPTIONAL.to_xyz)
    assert told[:2] == pytest.approx(matrix[:2, 0] / matrix[:, 0].sum(), abs=1e-6)
    assert told[6:] == pytest.approx((0.34567, 0.35850), abs=1e-4)  # D50, ICC.1:2010


def test_layered_files_are_the_same_bytes_again() -> None:
    layers = stack()
    plate, frame = composite(layers)
    linear = compose_linear(plate, SRGB, layers[1:])
    assert tiff_bytes(layers, frame, SRGB) == tiff_bytes(layers, frame, SRGB)
    assert exr_bytes(layers, linear, SRGB) == exr_bytes(layers, linear, SRGB)
