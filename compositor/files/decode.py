"""Picture files to arrays: upright, R G B order, straight alpha, the depth they were stored in."""

import io
import struct

import numpy as np
from PIL import Image, TiffImagePlugin

from compositor.base.arrays import Pixels
from compositor.base.errors import PictureError
from compositor.base.opencv import cv2
from compositor.files.codecs import fast_jpeg, fast_png
from compositor.files.containers import Damaged, check_png, tiff_upright
from compositor.files.header import Header, PictureFile, open_picture

_TURNS = {3: cv2.ROTATE_180, 6: cv2.ROTATE_90_CLOCKWISE, 7: cv2.ROTATE_180, 8: cv2.ROTATE_90_COUNTERCLOCKWISE}
_ASSOCIATED = 1  # TIFF 6.0, ExtraSamples: colours already multiplied by alpha
_MIN_IS_WHITE = 0  # TIFF 6.0, PhotometricInterpretation


def read_pixels(file: PictureFile) -> Pixels:
    """The whole picture, (h, w, 1 | 3 | 4) uint8 or uint16, alpha straight. Raises PictureError, never gives a part."""
    header = file.header
    try:
        samples = _decode(header, tiff_upright(file.data) if header.format == "tiff" else file.data)
    except Damaged as error:
        raise PictureError(header.path, str(error)) from error
    except (OSError, SyntaxError, ValueError, EOFError, struct.error, cv2.error) as error:
        truncated = "truncated" in str(error).lower()
        raise PictureError(header.path, f"the file is {'truncated' if truncated else 'damaged'}") from error
    if samples.ndim == 2:
        samples = samples[..., np.newaxis]
    return upright(samples, header.orientation)


def upright(samples: Pixels, orientation: int) -> Pixels:
    """Turn stored samples (h, w, channels) by the Exif orientation (1 to 8); contiguous."""
    channels = samples.shape[2]
    turned = samples
    if orientation in (2, 4):
        turned = cv2.flip(samples, 1 if orientation == 2 else 0)
    if orientation in (5, 7):
        turned = cv2.transpose(samples)
    if orientation in _TURNS:
        turned = cv2.rotate(turned, _TURNS[orientation])
    return turned.reshape(*turned.shape[:2], channels)  # OpenCV drops a single channel's axis


def _decode(header: Header, data: bytes) -> Pixels:
    if header.format == "png":
        check_png(data)  # whole and undamaged, before a decoder complains on its own
    plain = not header.has_alpha or header.mode == "RGBA"
    colours = header.mode in ("RGB", "RGBA") and plain
    if header.format == "png" and (header.depth_bits == 16 or colours):
        fast = fast_png(data) if colours and header.depth_bits == 8 else None
        return _to_rgb(_cv2_decode(data, cv2.IMREAD_UNCHANGED)) if fast is None else fast
    if header.format == "jpeg" and header.mode == "RGB":
        fast = fast_jpeg(data)
        return _cv2_decode(data, cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION) if fast is None else fast
    if header.format == "tiff" and header.depth_bits == 16:
        return _tiff_16(header, data)
    with open_picture(io.BytesIO(data), header.format) as picture:
        picture.load()
        return np.asarray(_plain_mode(picture, header.has_alpha))


def _plain_mode(picture: Image.Image, has_alpha: bool) -> Image.Image:
    """L, RGB or RGBA."""
    if has_alpha:
        return picture if picture.mode == "RGBA" else picture.convert("RGBA")
    if picture.mode == "1":
        return picture.convert("L")
    return picture if picture.mode in ("L", "RGB") else picture.convert("RGB")


def _cv2_decode(data: bytes, flags: int) -> Pixels:
    samples = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if samples is None:
        raise ValueError("not decoded")
    return samples


def _to_rgb(samples: Pixels) -> Pixels:
    """OpenCV's B G R (A) to R G B (A), in place."""
    if samples.ndim == 2:
        return samples
    code = cv2.COLOR_BGR2RGB if samples.shape[2] == 3 else cv2.COLOR_BGRA2RGBA
    return cv2.cvtColor(samples, code, dst=samples)


def _tiff_16(header: Header, data: bytes) -> Pixels:
    """16-bit TIFF; OpenCV gives the samples as they are stored, whatever they mean."""
    with open_picture(io.BytesIO(data), "tiff") as picture:
        assert isinstance(picture, TiffImagePlugin.TiffImageFile)
        extra = picture.tag_v2.get(338, ())
        white_is_zero = picture.tag_v2.get(262) == _MIN_IS_WHITE
    samples = _to_rgb(_cv2_decode(data, cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION))
    if samples.dtype != np.uint16:
        raise ValueError("not decoded at its depth")
    if white_is_zero:
        return np.invert(samples)
    if samples.ndim == 3 and samples.shape[2] == 4:
        if not header.has_alpha:
            return np.ascontiguousarray(samples[..., :3])
        if extra[:1] == (_ASSOCIATED,):
            return _straight(samples)
    return samples


def _straight(samples: Pixels) -> Pixels:
    """uint16 with associated alpha to straight alpha."""
    alpha = samples[..., 3:].astype(np.float32)
    colour = samples[..., :3] * (65535 / np.maximum(alpha, 1))
    result = samples.copy()
    result[..., :3] = np.rint(np.minimum(colour, 65535))
    return result
