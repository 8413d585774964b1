"""Every format as read back by a library that did not write it: size, depth, samples, profile, DPI, orientation.

PNG is written here, JPEG, WebP and AVIF by Pillow, TIFF by tifffile; they are read by OpenCV, Pillow and OpenImageIO.
"""

from pathlib import Path

import cv2
import numpy as np
import OpenImageIO as oiio  # noqa: N813
import pytest
from PIL import Image

from compositor.colour.space import DCF_OPTIONAL
from compositor.deliver.writing import ENDINGS, encode_delivery
from compositor.plan.model import Delivery

WIDTH, HEIGHT = 96, 64
RAMP = np.linspace(0, 65535, WIDTH * HEIGHT).astype(np.uint16).reshape(HEIGHT, WIDTH)
DEEP = np.dstack([RAMP, RAMP[:, ::-1], RAMP.T.reshape(HEIGHT, WIDTH)])
SMOOTH = cv2.GaussianBlur(np.rint(DEEP / 257).astype(np.uint8), (0, 0), 9)


def written(kind: str, samples: np.ndarray, folder: Path, **more: object) -> Path:
    delivery = Delivery("wide", kind, 95, (0, 0, WIDTH, HEIGHT), (WIDTH, HEIGHT), **more)  # type: ignore[arg-type]
    path = folder / f"wide.{ENDINGS[kind]}"
    path.write_bytes(encode_delivery(samples, DCF_OPTIONAL, delivery, dpi=(240.0, 240.0)))
    return path


def by_opencv(path: Path) -> np.ndarray:
    samples = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_UNCHANGED)
    return samples[..., ::-1]


@pytest.mark.parametrize("kind", ["png", "tiff"])
@pytest.mark.parametrize("depth", [8, 16])
def test_lossless_formats_hold_every_sample(kind: str, depth: int, tmp_path: Path) -> None:
    path = written(kind, DEEP, tmp_path, depth_bits=depth)
    wanted = DEEP if depth == 16 else np.rint(DEEP / 257).astype(np.uint8)
    assert (by_opencv(path) == wanted).all() and by_opencv(path).dtype == wanted.dtype
    read = oiio.ImageBuf(str(path))
    assert (read.spec().width, read.spec().height, read.spec().nchannels) == (WIDTH, HEIGHT, 3)
    kinds = {8: oiio.UINT8, 16: oiio.UINT16}
    assert (read.get_pixels(kinds[depth]) == wanted).all()


@pytest.mark.parametrize(("kind", "worst"), [("jpeg", 5), ("webp", 6), ("avif", 5)])
def test_lossy_formats_are_near_and_eight_bits(kind: str, worst: int, tmp_path: Path) -> None:
    """Bounds by eye: a few codes of 255 at quality 95 on a smooth picture."""
    for samples in (SMOOTH, SMOOTH.astype(np.uint16) * 257):
        read = by_opencv(written(kind, samples, tmp_path))
        assert read.dtype == np.uint8 and read.shape == SMOOTH.shape
        assert np.abs(read.astype(int) - SMOOTH).max() <= worst


@pytest.mark.parametrize("kind", ["png", "jpeg", "tiff"])
def test_profile_resolution_and_orientation_by_openimageio(kind: str, tmp_path: Path) -> None:
    spec = oiio.ImageBuf(str(written(kind, SMOOTH, tmp_path))).spec()
    assert bytes(spec.getattribute("ICCProfile")) == DCF_OPTIONAL.icc
    assert spec.get_int_attribute("Orientation", 1) == 1
    per_unit = spec.get_float_attribute("XResolution")
    unit = spec.get_string_attribute("ResolutionUnit")
    in_inches = per_unit * {"in": 1, "inch": 1, "cm": 2.54}[unit]
    assert in_inches == pytest.approx(240, abs=0.5)


@pytest.mark.parametrize("kind", ["webp", "avif"])
def test_profile_and_exif_of_web_formats_by_opencv(kind: str, tmp_path: Path) -> None:
    data = np.frombuffer(written(kind, SMOOTH, tmp_path, dpi=144.0).read_bytes(), np.uint8)
    _, kinds, metadata = cv2.imdecodeWithMetadata(data, flags=cv2.IMREAD_COLOR)
    blocks = dict(zip(kinds, metadata, strict=True))
    if kind == "webp":
        assert bytes(np.asarray(blocks[cv2.IMAGE_METADATA_ICCP]).ravel()) == DCF_OPTIONAL.icc
    else:  # OpenCV does not tell it: the ColourInformationBox (ISO/IEC 14496-12) holds `prof` and then the profile
        assert data.tobytes().split(b"colrprof")[1].startswith(DCF_OPTIONAL.icc or b"?")
    exif = Image.Exif()
    exif.load(bytes(np.asarray(blocks[cv2.IMAGE_METADATA_EXIF]).ravel()))
    assert (exif.get(0x0112, 1), float(exif[0x011A]), float(exif[0x011B]), exif[0x0128]) == (1, 144.0, 144.0, 2)


@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_lossless_formats_by_pillow(kind: str, tmp_path: Path) -> None:
    with Image.open(written(kind, SMOOTH, tmp_path, dpi=300.0)) as picture:
        assert picture.format == kind.upper()
        assert (np.asarray(picture) == SMOOTH).all()
        assert picture.info["icc_profile"] == DCF_OPTIONAL.icc
        assert tuple(map(float, picture.info["dpi"])) == pytest.approx((300, 300), abs=0.02)


@pytest.mark.parametrize("kind", list(ENDINGS))
def test_same_picture_gives_the_same_bytes(kind: str, tmp_path: Path) -> None:
    first = written(kind, SMOOTH, tmp_path).read_bytes()
    assert written(kind, SMOOTH.copy(), tmp_path).read_bytes() == first
