"""PNG and JPEG writers, read back by libpng (through Pillow and OpenCV) and by plain zlib."""

import io
import struct
import zlib

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst
from PIL import Image

from compositor.base.errors import CompositorError
from compositor.colour.space import DCF_OPTIONAL, SRGB
from compositor.files import png
from compositor.files.jpeg import encode_jpeg
from compositor.files.png import encode_png


@st.composite
def pictures(draw: st.DrawFn) -> np.ndarray:
    shape = (draw(st.integers(1, 9)), draw(st.integers(1, 9)), draw(st.sampled_from([1, 3, 4])))
    dtype = draw(st.sampled_from([np.uint8, np.uint16]))
    return draw(npst.arrays(dtype, shape))


def _by_opencv(data: bytes) -> np.ndarray:
    samples = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if samples.ndim == 2:
        return samples[..., None]
    return samples[..., [2, 1, 0, 3][: samples.shape[2]]]


def _by_the_standard(data: bytes) -> np.ndarray:
    """Chunks, one zlib stream (its Adler-32 checked by zlib), filter 3 undone byte by byte: PNG sections 5, 9.2."""
    place, idat, header = 8, b"", b""
    while place < len(data):
        length, name = struct.unpack_from(">I4s", data, place)
        content = data[place + 8 : place + 8 + length]
        assert zlib.crc32(name + content) == struct.unpack_from(">I", data, place + 8 + length)[0]
        idat += content if name == b"IDAT" else b""
        header = content if name == b"IHDR" else header
        place += 12 + length
    width, height, depth, colour = struct.unpack_from(">IIBB", header)
    channels = {0: 1, 2: 3, 6: 4}[colour]
    step = channels * depth // 8
    raw = zlib.decompress(idat)
    before, rows = bytes(width * step), []
    for row in range(height):
        line = raw[row * (width * step + 1) : (row + 1) * (width * step + 1)]
        assert line[0] == 3
        here = bytearray()
        for index, byte in enumerate(line[1:]):
            left = here[index - step] if index >= step else 0
            here.append((byte + (left + before[index]) // 2) % 256)
        before = bytes(here)
        rows.append(before)
    samples = np.frombuffer(b"".join(rows), ">u2" if depth == 16 else np.uint8)
    return samples.reshape(height, width, channels)


@settings(max_examples=60, deadline=None)
@given(pictures())
def test_what_is_written_is_read(samples: np.ndarray) -> None:
    data = encode_png(samples)
    assert (_by_opencv(data) == samples).all()
    assert (_by_the_standard(data) == samples).all()
    if samples.dtype == np.uint8:
        with Image.open(io.BytesIO(data)) as picture:
            assert (np.asarray(picture).reshape(samples.shape) == samples).all()


def _mixed(dtype: type) -> np.ndarray:
    """Grain above, a slope in the middle, a plain area below: every way a strip may be compressed."""
    random = np.random.default_rng(3)
    top = np.iinfo(dtype).max
    samples = np.full((600, 500, 3), top // 3, dtype)
    samples[:200] = random.integers(0, top, (200, 500, 3))
    samples[200:400] = (np.arange(500) * (top // 500))[:, None]
    return samples


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_strips_join_and_threads_change_nothing(dtype: type, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(png, "_STRIP_BYTES", 50_000)
    samples = _mixed(dtype)
    data = encode_png(samples, threads=1)
    assert data.count(b"IDAT") > 10
    assert data == encode_png(samples, threads=4)
    assert (_by_opencv(data) == samples).all()


def test_plain_pictures_stay_small() -> None:
    plain = np.full((400, 400, 4), 200, np.uint8)
    assert len(encode_png(plain)) < plain.size / 100  # Huffman codes alone give an eighth
    grain = np.random.default_rng(5).normal(120, 3, (400, 400, 3)).clip(0, 255).astype(np.uint8)
    assert len(encode_png(grain)) < len(cv2.imencode(".png", grain)[1])


@pytest.mark.parametrize("icc", [SRGB.icc, DCF_OPTIONAL.icc])
def test_profile_and_resolution_are_kept(icc: bytes) -> None:
    samples = np.zeros((4, 5, 3), np.uint8)
    for data in (encode_png(samples, icc, (300.0, 300.0)), encode_jpeg(samples, 92, icc, (300, 300))):
        with Image.open(io.BytesIO(data)) as picture:
            assert picture.info["icc_profile"] == icc
            assert picture.info["dpi"] == pytest.approx((300, 300), abs=0.01)
    with Image.open(io.BytesIO(encode_png(samples))) as picture:
        assert "icc_profile" not in picture.info
        assert "dpi" not in picture.info


def test_jpeg_keeps_colour_detail_from_quality_90() -> None:
    stripes = np.zeros((32, 32, 3), np.uint8)
    stripes[:, ::2] = (200, 40, 40)
    stripes[:, 1::2] = (40, 60, 200)
    errors = {}
    for quality in (89, 90):
        with Image.open(io.BytesIO(encode_jpeg(stripes, quality))) as picture:
            assert "progressive" not in picture.info
            errors[quality] = np.abs(np.asarray(picture).astype(int) - stripes).mean()
    assert errors[90] < 5 < errors[89]


def test_jpeg_refuses_what_the_format_cannot_hold() -> None:
    with pytest.raises(CompositorError, match="too large for JPEG"):
        encode_jpeg(np.zeros((1, 65501, 3), np.uint8), 90)
    assert encode_jpeg(np.zeros((1, 65500, 3), np.uint8), 90)
