"""Faster codecs that may be installed beside the base packages (extra `fast`).

They save time and never change a pixel: a decoder that refuses a file leaves it to the base packages, and what they
compress is decoded to the same samples. tests/files/test_files_codecs.py reads and writes with and without them.
"""

import zlib
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.installed import installed_version

_DISTRIBUTIONS = {"simplejpeg": "simplejpeg", "imagecodecs": "imagecodecs", "zlib_ng": "zlib-ng"}


@cache
def optional(name: str) -> ModuleType | None:
    """A module, or None where it is not installed."""
    try:
        return import_module(name)
    except ImportError:
        return None


def versions() -> dict[str, str]:
    """Of those that are there, by the names under which they are installed; none of them is loaded for it."""
    return {name: installed_version(name) for module, name in _DISTRIBUTIONS.items() if find_spec(module) is not None}


def deflate() -> Any:
    """zlib, or what compresses as it does in half the time."""
    return optional("zlib_ng.zlib_ng") or zlib


def fast_jpeg(data: bytes) -> Pixels | None:
    """R G B (h, w, 3) of a JPEG file of three channels; None where no faster decoder is there, or it refuses."""
    library = optional("simplejpeg")
    if library is None:
        return None
    try:
        samples: Pixels = library.decode_jpeg(data, "RGB")
    except ValueError:
        return None
    return samples


def fast_jpeg_file(samples: Pixels, quality: int, full_colour: bool) -> bytes | None:
    """A JPEG file of R G B (h, w, 3), by the same encoder as OpenCV's but without a copy in its order of channels; None
    where it is not there."""
    library = optional("imagecodecs")
    if library is None:
        return None
    try:
        data: bytes = library.jpeg8_encode(samples, level=quality, subsampling="444" if full_colour else "420")
    except ValueError:  # pixels that do not lie side by side
        return None
    return data


def fast_png(data: bytes) -> Pixels | None:
    """Samples (h, w, 3 or 4), R G B first, of an 8-bit PNG file; None where no faster decoder is there, or it refuses.

    The file's checksums have to be checked before: they are not looked at here.
    """
    library = optional("imagecodecs")
    if library is None:
        return None
    try:
        samples: Pixels = library.png_decode(data)
    except (RuntimeError, ValueError):
        return None
    return samples if samples.ndim == 3 and samples.dtype == np.uint8 else None
