"""The faster codecs change no pixel: every file is read and written with them and without.

They are installed with the tests (extra `fast`); without them there would be nothing to compare.
"""

import io
import zlib
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from compositor.base.errors import PictureError
from compositor.colour.space import SRGB
from compositor.files import codecs
from compositor.files.decode import read_pixels
from compositor.files.header import read_file
from compositor.files.jpeg import encode_jpeg
from compositor.files.png import encode_png

RANDOM = np.random.default_rng(11)
GRAIN = np.clip(RANDOM.normal(120, 40, (203, 301, 4)), 0, 255).astype(np.uint8)
PLAIN = np.full((203, 301, 4), (10, 200, 90, 255), np.uint8)


@pytest.fixture
def without(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The base packages alone."""
    monkeypatch.setattr(codecs, "optional", lambda name: None)
    yield


def saved(folder: Path, kind: str, **options: object) -> Path:
    path = folder / f"picture.{kind}"
    channels = 3 if kind == "jpg" else 4
    Image.fromarray(GRAIN[..., :channels]).save(path, **options)
    return path


def read(path: Path) -> np.ndarray:
    return read_pixels(read_file(path))


FILES = [
    ("png", {}),
    ("png", {"compress_level": 1}),
    ("jpg", {"quality": 95}),
    ("jpg", {"quality": 60, "subsampling": "4:4:4"}),
    ("jpg", {"quality": 85, "progressive": True}),
]


@pytest.mark.parametrize(("kind", "options"), FILES)
def test_files_are_read_alike(kind: str, options: dict, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    path = saved(tmp_path, kind, **options)
    data = path.read_bytes()
    assert (codecs.fast_png if kind == "png" else codecs.fast_jpeg)(data) is not None
    fast = read(path)
    request.getfixturevalue("without")
    assert (codecs.fast_png(data), codecs.fast_jpeg(data)) == (None, None)
    plain = read(path)
    assert fast.dtype == plain.dtype and fast.shape == plain.shape
    assert (fast == plain).all()


@pytest.mark.parametrize("kind", ["png", "jpg"])
def test_damaged_files_are_told_alike(kind: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    path = saved(tmp_path, kind)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    told = []
    for part in ("with", "without"):
        if part == "without":
            request.getfixturevalue("without")
        try:
            told.append(read(path).tobytes())
        except PictureError as error:
            told.append(error.reason)
    assert told[0] == told[1]


@pytest.mark.parametrize("samples", [GRAIN, PLAIN, GRAIN[..., :3].astype(np.uint16) * 257])
def test_png_files_hold_the_same_samples(samples: np.ndarray, request: pytest.FixtureRequest) -> None:
    assert codecs.deflate() is not zlib
    fast = encode_png(samples)
    request.getfixturevalue("without")
    assert codecs.deflate() is zlib
    for data in (fast, encode_png(samples)):
        found = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
        assert (found[..., [2, 1, 0, 3][: samples.shape[2]]] == samples).all()
        with Image.open(io.BytesIO(data)) as picture:
            picture.verify()


@pytest.mark.parametrize("quality", [60, 92])
def test_jpeg_files_are_the_same_bytes(quality: int, request: pytest.FixtureRequest) -> None:
    cut = GRAIN[..., :3].copy()[10:180, 20:290]  # as a delivery cuts the frame, not contiguous
    assert codecs.fast_jpeg_file(cut, quality, True) is not None
    fast = [encode_jpeg(samples, quality, SRGB.icc, (300.0, 300.0)) for samples in (cut, GRAIN[..., :3])]
    request.getfixturevalue("without")
    assert fast == [encode_jpeg(samples, quality, SRGB.icc, (300.0, 300.0)) for samples in (cut, GRAIN[..., :3])]
