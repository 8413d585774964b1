"""Headers and pixels of every container; the files are made by Pillow, OpenCV and tifffile."""

import io
import shutil
import struct
import warnings
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

from compositor.base.errors import PictureError
from compositor.files.decode import read_pixels
from compositor.files.header import read_file, read_header

RANDOM = np.random.default_rng(11)
SMOOTH = cv2.resize(RANDOM.integers(0, 256, (3, 4, 3), dtype=np.uint8), (40, 24), interpolation=cv2.INTER_LINEAR)
NOISE_16 = RANDOM.integers(0, 65536, (24, 40, 3), dtype=np.uint16)


def stored_as(upright: np.ndarray, orientation: int) -> np.ndarray:
    """The stored rows of an upright picture. Exif 2.32 table: which corner the 0th row and 0th column stand for."""
    turned = upright if orientation < 5 else upright.transpose(1, 0, *range(2, upright.ndim))
    flip_rows = orientation in (3, 4, 6, 7)  # the 0th row is the bottom or the right-hand side
    flip_columns = orientation in (2, 3, 7, 8)  # the 0th column is the right-hand side or the bottom
    turned = turned[::-1] if flip_rows else turned
    return np.ascontiguousarray(turned[:, ::-1] if flip_columns else turned)


def exif_bytes(orientation: int) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    return exif.tobytes()


def png_with_exif(samples: np.ndarray, orientation: int, late: bool = False) -> bytes:
    data = cv2.imencode(".png", samples[..., ::-1])[1].tobytes()
    block = exif_bytes(orientation).removeprefix(b"Exif\0\0")
    chunk = struct.pack(">I", len(block)) + b"eXIf" + block + struct.pack(">I", zlib.crc32(b"eXIf" + block))
    place = len(data) - 12 if late else 33
    return data[:place] + chunk + data[place:]


def by_pillow(container: str) -> Callable[[np.ndarray, int], bytes]:
    def write(samples: np.ndarray, orientation: int) -> bytes:
        options = {"JPEG": {"quality": 95, "subsampling": 0}, "WEBP": {"lossless": True}}[container]
        buffer = io.BytesIO()
        Image.fromarray(samples).save(buffer, container, exif=exif_bytes(orientation), **options)
        return buffer.getvalue()

    return write


def by_tifffile(**options: object) -> Callable[[np.ndarray, int], bytes]:
    def write(samples: np.ndarray, orientation: int) -> bytes:
        buffer = io.BytesIO()
        tag = (274, "H", 1, orientation, True)
        tifffile.imwrite(buffer, samples, photometric="rgb", extratags=[tag], **options)
        return buffer.getvalue()

    return write


WRITERS = {
    "jpeg": (SMOOTH, by_pillow("JPEG")),
    "webp": (SMOOTH, by_pillow("WEBP")),
    "png-8": (SMOOTH, png_with_exif),
    "png-16": (NOISE_16, png_with_exif),
    "tiff-8": (SMOOTH, by_tifffile()),
    "tiff-16": (NOISE_16, by_tifffile()),
    "tiff-16-deflate-big-endian": (NOISE_16, by_tifffile(compression="zlib", predictor=True, byteorder=">")),
    "tiff-16-64-bit": (NOISE_16, by_tifffile(bigtiff=True)),
}


@pytest.mark.parametrize("name", WRITERS)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_gives_one_array(tmp_path: Path, name: str, orientation: int) -> None:
    upright, write = WRITERS[name]
    path = tmp_path / "picture"
    path.write_bytes(write(stored_as(upright, orientation), orientation))
    file = read_file(path)
    header, samples = file.header, read_pixels(file)
    assert header.orientation == orientation
    assert header.size_px == (40, 24)
    assert header.depth_bits == samples.dtype.itemsize * 8
    assert samples.dtype == upright.dtype
    difference = np.abs(samples.astype(int) - upright)
    if name == "jpeg":  # its blocks fall otherwise on a turned picture; 40×24 are whole blocks, so very nearly the same
        assert difference.max() <= 12
        assert difference.mean() < 1.5
    else:
        assert difference.max() == 0


def test_orientation_after_the_pixels(tmp_path: Path) -> None:
    path = tmp_path / "late.png"
    path.write_bytes(png_with_exif(stored_as(SMOOTH, 6), 6, late=True))
    assert (read_pixels(read_file(path)) == SMOOTH).all()


@pytest.mark.parametrize(("orientation"), [0, 9, 77])
def test_junk_orientation_means_upright(tmp_path: Path, orientation: int) -> None:
    path = tmp_path / "picture.png"
    path.write_bytes(png_with_exif(SMOOTH, orientation))
    assert (read_pixels(read_file(path)) == SMOOTH).all()


def saved(tmp_path: Path, picture: Image.Image, name: str, **options: object) -> Path:
    path = tmp_path / name
    picture.save(path, **options)
    return path


RGBA = RANDOM.integers(0, 256, (6, 7, 4), dtype=np.uint8)


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_modes_of_eight_bits(tmp_path: Path, name: str) -> None:
    """Each mode's meaning as Pillow converts it to RGBA or L."""
    colour = Image.fromarray(RGBA)
    modes = {"1": 1, "L": 1, "LA": 4, "RGB": 3, "RGBA": 4, "P": 3}
    for mode, channels in modes.items():
        picture = colour.convert(mode) if mode != "P" else colour.convert("RGB").quantize(16)
        file = read_file(saved(tmp_path, picture, name))
        header, samples = file.header, read_pixels(file)
        wanted = picture.convert({1: "L", 3: "RGB", 4: "RGBA"}[channels])
        assert samples.shape == (6, 7, channels)
        assert (samples == np.asarray(wanted).reshape(samples.shape)).all()
        assert header.has_alpha == (channels == 4)


def test_transparent_colour_and_palette(tmp_path: Path) -> None:
    flat = np.full((4, 4, 3), 200, np.uint8)
    flat[1:3, 1:3] = (10, 20, 30)
    for picture, key in ((Image.fromarray(flat), (10, 20, 30)), (Image.fromarray(flat).quantize(2), None)):
        if key is None:
            key = picture.getpixel((1, 1))
        file = read_file(saved(tmp_path, picture, "t.png", transparency=key))
        header, samples = file.header, read_pixels(file)
        assert header.has_alpha
        assert (samples[1:3, 1:3, 3] == 0).all()
        assert samples[..., 3].sum() == 12 * 255
        assert (samples[0, 0] == [200, 200, 200, 255]).all()


def test_16_bit_kinds(tmp_path: Path) -> None:
    path = tmp_path / "picture"
    four = RANDOM.integers(1, 65536, (5, 6, 4), dtype=np.uint16)
    path.write_bytes(cv2.imencode(".png", four[..., [2, 1, 0, 3]])[1].tobytes())
    assert (read_pixels(read_file(path)) == four).all()
    path.write_bytes(cv2.imencode(".png", four[..., 0])[1].tobytes())
    assert (read_pixels(read_file(path)) == four[..., :1]).all()
    tifffile.imwrite(path, four, photometric="rgb", extrasamples=["unassalpha"])
    assert (read_pixels(read_file(path)) == four).all()
    tifffile.imwrite(path, four, photometric="rgb", extrasamples=["unspecified"])
    assert (read_pixels(read_file(path)) == four[..., :3]).all()
    tifffile.imwrite(path, four[..., 0], photometric="miniswhite")
    assert (read_pixels(read_file(path))[..., 0] == 65535 - four[..., 0]).all()
    half = np.dstack([four[..., :3] // 2, np.full((5, 6), 32768, np.uint16)])
    tifffile.imwrite(path, half, photometric="rgb", extrasamples=["assocalpha"])
    assert np.abs(read_pixels(read_file(path))[..., :3].astype(int) - half[..., :3] * 65535.0 / 32768).max() < 0.51
    lzw = cv2.imencode(".tif", NOISE_16[..., ::-1], [cv2.IMWRITE_TIFF_COMPRESSION, 5])[1]
    path.write_bytes(lzw.tobytes())
    assert (read_pixels(read_file(path)) == NOISE_16).all()


def test_16_bit_grey_with_alpha_in_png(tmp_path: Path) -> None:
    """Colour type 4, depth 16, filter 0, written here by the standard (PNG section 11.2.1)."""
    grey, alpha = RANDOM.integers(0, 65536, (2, 3, 5), dtype=np.uint16)
    rows = b"".join(b"\0" + np.dstack([grey[r], alpha[r]]).astype(">u2").tobytes() for r in range(3))
    parts = ((b"IHDR", struct.pack(">IIBBBBB", 5, 3, 16, 4, 0, 0, 0)), (b"IDAT", zlib.compress(rows)), (b"IEND", b""))
    data = b"\x89PNG\r\n\x1a\n"
    for name, content in parts:
        data += struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
    path = tmp_path / "ga.png"
    path.write_bytes(data)
    header = read_header(path)
    assert header.has_alpha
    assert (read_pixels(read_file(path)) == np.dstack([grey, grey, grey, alpha])).all()


def test_lens_resolution_and_profile(tmp_path: Path) -> None:
    exif = Image.Exif()
    photo = exif.get_ifd(0x8769)
    photo[0x920A], photo[0xA405] = 24.5, 36
    path = saved(tmp_path, Image.fromarray(SMOOTH), "p.jpg", exif=exif, dpi=(240, 240), icc_profile=b"anything")
    header = read_header(path)
    assert header.lens is not None
    assert header.lens.focal_mm == pytest.approx(24.5)
    assert header.lens.equivalent_mm == 36
    assert header.dpi == (240, 240)
    assert header.icc == b"anything"
    assert not header.dcf_optional
    photo[0x920A], photo[0xA405] = 5000.0, 0
    photo[0xA005] = {1: "R03"}
    header = read_header(saved(tmp_path, Image.fromarray(SMOOTH), "q.jpg", exif=exif))
    assert header.lens is None
    assert header.dcf_optional


def test_damaged_exif_is_no_exif(tmp_path: Path) -> None:
    path = saved(tmp_path, Image.fromarray(SMOOTH), "p.jpg", exif=b"Exif\0\0II*\0\xff\xff\xff\x7f")
    header = read_header(path)
    assert (header.orientation, header.lens) == (1, None)


def _refusal(path: Path, **options: int) -> str:
    with pytest.raises(PictureError) as caught:
        read_pixels(read_file(path, **options))
    assert caught.value.path == path
    return caught.value.reason


def test_what_is_refused(tmp_path: Path) -> None:
    bad = tmp_path / "bad"
    assert _refusal(bad) == "no such file"
    assert _refusal(tmp_path) == "is a folder, not a picture"
    bad.write_bytes(b"")
    assert _refusal(bad) == "is empty"
    bad.write_text("scene: 1\n")
    assert "not a picture" in _refusal(bad)
    bad.write_text("version https://git-lfs.github.com/spec/v1\noid sha256:4d7a\nsize 12345\n")
    assert "git lfs pull" in _refusal(bad)
    cmyk = Image.fromarray(SMOOTH).convert("CMYK")
    assert "CMYK" in _refusal(saved(tmp_path, cmyk, "c.jpg"))
    assert "CMYK" in _refusal(saved(tmp_path, cmyk, "c.tif"))
    assert "Lab" in _refusal(saved(tmp_path, Image.new("LAB", (4, 4)), "l.tif"))
    tifffile.imwrite(bad, np.zeros((4, 4, 3), np.float32), photometric="rgb")
    assert _refusal(bad)
    tifffile.imwrite(bad, np.zeros((4, 4), np.float32))
    assert "8 or 16 bits" in _refusal(bad)
    tifffile.imwrite(bad, np.zeros((3, 4, 5), np.uint16), photometric="rgb", planarconfig="separate")
    assert "planar" in _refusal(bad)


def test_pixel_limit(tmp_path: Path) -> None:
    """Also a small file that claims to be huge: refused by its header, at once."""
    reason = _refusal(saved(tmp_path, Image.fromarray(SMOOTH), "p.png"), limit_px=900)
    assert "40×24" in reason
    assert "make it smaller" in reason
    data = bytearray((tmp_path / "p.png").read_bytes())
    data[16:24] = struct.pack(">II", 50_000, 50_000)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    (tmp_path / "p.png").write_bytes(data)
    assert "2500 megapixels" in _refusal(tmp_path / "p.png")


def test_large_photographs_warn_of_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pillow warns and then refuses above its own limit, which stays as it is for everybody else."""
    path = saved(tmp_path, Image.fromarray(SMOOTH), "p.tif")
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 100)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert (read_pixels(read_file(path)) == SMOOTH).all()
    assert Image.MAX_IMAGE_PIXELS == 100


@pytest.mark.parametrize("name", WRITERS)
def test_no_half_pictures(tmp_path: Path, name: str) -> None:
    upright, write = WRITERS[name]
    whole = write(upright, 1)
    path = tmp_path / "cut"
    for share in (0.3, 0.6, 0.9, 0.99):
        path.write_bytes(whole[: int(len(whole) * share)])
        assert _refusal(path)
    if name.startswith("png"):
        middle = len(whole) // 2
        path.write_bytes(whole[:middle] + bytes([whole[middle] ^ 0x55]) + whole[middle + 1 :])
        assert "damaged" in _refusal(path)


def test_a_folder_without_permission_is_a_fact(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = saved(tmp_path, Image.fromarray(SMOOTH), "p.png")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert _refusal(path) == "cannot be opened (Permission denied)"


def test_names_say_nothing(tmp_path: Path) -> None:
    path = saved(tmp_path, Image.fromarray(SMOOTH), "p.png")
    shutil.copy(path, tmp_path / "really-a-png.jpg")
    assert read_header(tmp_path / "really-a-png.jpg").format == "png"
