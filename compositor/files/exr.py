"""OpenEXR files (openexr.com, Technical Introduction): linear light, half floats, a named part for each layer.

Written by the library OpenEXR, which is an extra.
"""

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from compositor.base.arrays import Floats, Pixels

REC_709 = (0.64, 0.33, 0.30, 0.60, 0.15, 0.06, 0.3127, 0.3290)
"""Primaries and white that readers take where a file names none (ITU-R BT.709)."""


@dataclass(frozen=True)
class Part:
    """One part. samples: (h, w, 4) linear, premultiplied, 0..1 float. offset_px: of its corner in the whole picture."""

    name: str
    samples: Pixels
    offset_px: tuple[int, int]
    operator: str


def can_write() -> bool:
    """Whether the library is there."""
    return find_spec("OpenEXR") is not None


def encode_parts(parts: Sequence[Part], frame_px: tuple[int, int], chromaticities: tuple[float, ...]) -> bytes:
    """The file's bytes. Every part has the channels R, G, B and A, and a text attribute `operator`."""
    openexr: Any = import_module("OpenEXR")  # an extra without types

    width, height = frame_px
    display = (np.array([0, 0], np.int32), np.array([width - 1, height - 1], np.int32))
    made = []
    for part in parts:
        (left, top), (high, wide) = part.offset_px, part.samples.shape[:2]
        header: dict[str, Any] = {
            "compression": openexr.ZIP_COMPRESSION,
            "type": openexr.scanlineimage,
            "displayWindow": display,
            "dataWindow": (np.array([left, top], np.int32), np.array([left + wide - 1, top + high - 1], np.int32)),
            "chromaticities": tuple(float(value) for value in chromaticities),
            "operator": part.operator,
        }
        channels = {
            name: np.ascontiguousarray(part.samples[..., index], dtype=np.float16) for index, name in enumerate("RGBA")
        }
        made.append(openexr.Part(header, channels, name=part.name))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "layers.exr"
        openexr.File(made).write(str(path))
        return path.read_bytes()


def chromaticities_of(to_xyz: Floats) -> tuple[float, ...]:
    """x, y of red, green, blue and white of a matrix R G B to X Y Z (3×3)."""
    columns = [*np.asarray(to_xyz).T, np.asarray(to_xyz).sum(axis=1)]
    return tuple(float(value / column.sum()) for column in columns for value in column[:2])
