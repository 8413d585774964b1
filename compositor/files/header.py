"""What a picture file says of itself before its pixels are decoded."""

import io
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, Literal

from PIL import AvifImagePlugin, Image, ImageFile, JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

from compositor.base.errors import PictureError
from compositor.base.limits import LARGEST_PICTURE_PX, too_large
from compositor.files.containers import PNG_SIGNATURE, png_exif
from compositor.files.exif import DAMAGE, Exif, ExifLens, exif_facts, orientation_of, read_exif

Container = Literal["jpeg", "png", "tiff", "webp", "avif"]

_GREY = ("1", "L", "I;16", "I;16B")
_COLOUR = ("RGB", "P", "YCbCr")
_WITH_ALPHA = ("LA", "La", "PA", "RGBA", "RGBa")

_quiet = threading.Lock()  # warning filters are shared by all threads: one header at a time changes them


@dataclass(frozen=True)
class Header:
    """A picture file, before decoding.

    size_px: (width, height) upright, orientation (Exif, 1 to 8) applied. depth_bits: 8 or 16. mode: Pillow's name of
    the samples. icc: the embedded profile. dpi: horizontal and vertical. dcf_optional: no profile needed to know that
    the camera used the DCF optional colour space.
    """

    path: Path
    format: Container
    size_px: tuple[int, int]
    depth_bits: int
    mode: str
    has_alpha: bool
    orientation: int
    icc: bytes | None
    dpi: tuple[float, float] | None
    lens: ExifLens | None
    dcf_optional: bool


@dataclass(frozen=True)
class PictureFile:
    """A picture file that was read once, for all that is made of it: what it says of itself, and all of its bytes."""

    header: Header
    data: bytes = field(repr=False)


def read_header(path: Path, limit_px: int = LARGEST_PICTURE_PX) -> Header:
    """Read a JPEG, PNG, TIFF, WebP or AVIF header. Raises PictureError (missing, not a picture, too large, refused)."""
    with _opened(path) as file:
        return _header(path, file, limit_px)


def read_file(path: Path, limit_px: int = LARGEST_PICTURE_PX) -> PictureFile:
    """Read all of such a file, nothing decoded. Raises PictureError as above."""
    with _opened(path) as file:
        _container(path, file)  # before the bytes of whatever else it is are read
        data = file.read()
    return PictureFile(_header(path, io.BytesIO(data), limit_px), data)


@contextmanager
def _opened(path: Path) -> Iterator[BinaryIO]:
    """Raises PictureError."""
    if path.is_dir():
        raise PictureError(path, "is a folder, not a picture")
    try:
        with path.open("rb", buffering=0) as file:  # what is skipped over is not read
            yield file
    except FileNotFoundError as error:
        raise PictureError(path, "no such file") from error
    except OSError as error:
        raise PictureError(path, f"cannot be opened ({error.strerror})") from error


def _header(path: Path, file: BinaryIO, limit_px: int) -> Header:
    container = _container(path, file)
    with _quiet, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            header = _parse(path, file, container)
        except Image.DecompressionBombError as error:  # of the WebP reader
            raise PictureError(
                path, "has too many pixels for a WebP picture: make it smaller, or save it as PNG"
            ) from error
        except DAMAGE as error:
            raise PictureError(
                path, f"cannot be read as {container.upper()} (damaged, or a kind not supported)"
            ) from error
    reason = too_large(header.size_px, limit_px)
    if reason is not None:
        raise PictureError(path, reason)
    return header


def _container(path: Path, file: BinaryIO) -> Container:
    """The file's format by its first bytes; leaves it at its start. Raises PictureError."""
    head = file.read(64)
    file.seek(0)
    if head.startswith(PNG_SIGNATURE):
        return "png"
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "tiff"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "webp"
    if head[4:12] in (b"ftypavif", b"ftypavis"):
        return "avif"
    if head.startswith(b"version https://git-lfs"):
        raise PictureError(path, "is a Git LFS pointer, not the picture: run git lfs pull")
    reason = "is empty" if not head else "is not a picture that can be read (JPEG, PNG, TIFF, WebP or AVIF)"
    raise PictureError(path, reason)


class _Tiff(TiffImagePlugin.TiffImageFile):
    """Pillow's reader without its own pixel limit, which comes after ours and cannot be set for one picture."""

    def load_prepare(self) -> None:
        ImageFile.ImageFile.load_prepare(self)


def open_picture(file: BinaryIO, container: Container) -> Image.Image:
    """The file by Pillow's reader of that format, nothing decoded; unlike Image.open without a limit of its own."""
    if container == "png":
        return PngImagePlugin.PngImageFile(file)
    if container == "jpeg":
        return JpegImagePlugin.JpegImageFile(file)
    if container == "tiff":
        return _Tiff(file)
    if container == "avif":
        return AvifImagePlugin.AvifImageFile(file)
    return WebPImagePlugin.WebPImageFile(file)


def _parse(path: Path, file: BinaryIO, container: Container) -> Header:
    with open_picture(file, container) as picture:
        stored_px, exif = picture.size, Exif()
        if isinstance(picture, TiffImagePlugin.TiffImageFile):
            tags = picture.tag_v2
            stored_px = (int(tags[256]), int(tags[257]))
            facts = exif_facts(picture.getexif())
            exif = Exif(orientation_of(tags.get(274)), facts.lens, facts.dcf_optional)
        elif container == "png":
            exif = read_exif(png_exif(file))
        else:
            exif = read_exif(picture.info.get("exif"))
        has_alpha = picture.mode in _WITH_ALPHA or "transparency" in picture.info
        _refuse_mode(path, picture)
        return Header(
            path=path,
            format=container,
            size_px=stored_px if exif.orientation < 5 else (stored_px[1], stored_px[0]),
            depth_bits=_depth_bits(path, file, picture),
            mode=picture.mode,
            has_alpha=has_alpha,
            orientation=exif.orientation,
            icc=picture.info.get("icc_profile") or None,
            dpi=_dpi(picture.info.get("dpi")),
            lens=exif.lens,
            dcf_optional=exif.dcf_optional,
        )


def _refuse_mode(path: Path, picture: Image.Image) -> None:
    if picture.mode in ("CMYK", "LAB", "HSV"):
        raise PictureError(path, f"is {picture.mode.replace('LAB', 'Lab')}, RGB or grey wanted: convert it first")
    if picture.mode not in (*_GREY, *_COLOUR, *_WITH_ALPHA):
        raise PictureError(path, "has samples of a kind not supported (8 or 16 bits wanted)")


def _depth_bits(path: Path, file: BinaryIO, picture: Image.Image) -> int:
    """8 or 16. Raises PictureError for TIFF samples that are not plain integers of that many bits."""
    if isinstance(picture, PngImagePlugin.PngImageFile):
        file.seek(24)
        return 16 if file.read(1)[0] == 16 else 8
    if not isinstance(picture, TiffImagePlugin.TiffImageFile):
        return 8
    bits = max(picture.tag_v2.get(258, (1,)))
    if bits > 16 or 8 < bits < 16 or max(picture.tag_v2.get(339, (1,))) != 1:
        raise PictureError(path, "has samples of a kind not supported (8 or 16 bits wanted)")
    if bits == 16 and picture.tag_v2.get(284, 1) == 2:
        raise PictureError(path, "stores each colour apart (planar), interleaved samples wanted: save it interleaved")
    return 16 if bits == 16 else 8


def _dpi(value: Any) -> tuple[float, float] | None:
    try:
        across, down = float(value[0]), float(value[1])
    except (TypeError, ValueError, IndexError, ZeroDivisionError):
        return None
    return (across, down) if 1 <= across <= 100_000 and 1 <= down <= 100_000 else None
