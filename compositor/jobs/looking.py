"""Pictures opened to be looked at and compared, and the small ones that stand for them."""

import hashlib
import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from compositor.base.arrays import Pixels
from compositor.base.errors import LocatedFault, PictureError, UnusableInput
from compositor.base.opencv import cv2
from compositor.colour.coding import as_eight_bits
from compositor.files.decode import read_pixels
from compositor.files.header import read_file
from compositor.files.jpeg import encode_jpeg
from compositor.files.profile import in_known_space
from compositor.measure.comparison import Shown

_QUALITY = 90  # the least at which colour is kept at full resolution
_SMALLER = 0.85
_LEAST_SIDE_PX = 256
_LIGHT_QUALITY = 80


@dataclass(frozen=True)
class Allowance:
    """What a picture that stands for a large one may take: its longer side and its file."""

    side_px: int
    size_bytes: int


SMALL = Allowance(1024, 200_000)
"""At 1024 px a move of 1 in 3000 is still measured, and 200 kB of each keep a page of many light."""

PAGE_BYTES = 12_000_000
"""Of all pictures on one page: with what their text form adds, still a page that can be mailed."""

_LARGE_SIDE_PX, _LARGE_BYTES = 4096, 3_000_000


@dataclass(frozen=True)
class Look:
    """A picture file. coverage: alpha (h, w), None where all is opaque. profile: the embedded one."""

    shown: Shown
    coverage: Pixels | None
    depth_bits: int
    profile: bytes | None

    @property
    def facts(self) -> dict[str, object]:
        """What is kept of it beside a small picture. hash: of the decoded pixels, not of the file."""
        digest = hashlib.sha256(f"{self.shown.samples.shape} {self.shown.samples.dtype}".encode())
        digest.update(self.profile or b"")
        digest.update(np.ascontiguousarray(self.shown.samples).data)
        if self.coverage is not None:
            digest.update(np.ascontiguousarray(self.coverage).data)
        return {
            "hash": f"sha256:{digest.hexdigest()}",
            "size": list(self.shown.size_px),
            "depth_bits": self.depth_bits,
            "profile": self.profile is not None,
            "transparent": self.coverage is not None,
        }

    def on(self, level: float) -> Shown:
        """As it looks on a plain ground, 0 black to 1 white (encoded values)."""
        if self.coverage is None:
            return self.shown
        samples, full = self.shown.samples, float(np.iinfo(self.shown.samples.dtype).max)
        alpha = self.coverage[..., np.newaxis].astype(np.float32) / np.float32(full)
        mixed = samples * alpha + np.float32(level * full) * (1 - alpha)
        return Shown(np.rint(mixed).astype(samples.dtype), self.shown.space)


def open_look(path: Path) -> Look:
    """Open a picture file. Raises PictureError."""
    file = read_file(path)
    header, samples = file.header, read_pixels(file)
    coverage = None
    if samples.shape[2] == 4:
        full = np.iinfo(samples.dtype).max
        coverage = None if samples[..., 3].min() == full else np.ascontiguousarray(samples[..., 3])
        samples = np.ascontiguousarray(samples[..., :3])
    if samples.shape[2] == 1:
        samples = cv2.cvtColor(samples, cv2.COLOR_GRAY2RGB)
    samples, space, _ = in_known_space(header, samples)
    return Look(Shown(samples, space), coverage, header.depth_bits, header.icc)


@contextmanager
def unusable_pictures() -> Iterator[None]:
    """A picture that cannot be read becomes a fault of its file."""
    try:
        yield
    except PictureError as error:
        raise UnusableInput([LocatedFault(str(error.path), 1, 1, "", error.reason)]) from error


def fact_changes(approved: dict[str, object], new: dict[str, object]) -> list[str]:
    """What of two pictures' facts differs, the size apart, in words."""
    found = []
    if approved["profile"] != new["profile"]:
        found.append(f"colour profile {'lost' if approved['profile'] else 'added'}")
    if approved["depth_bits"] != new["depth_bits"]:
        found.append(f"{new['depth_bits']} bits per colour instead of {approved['depth_bits']}")
    if approved["transparent"] != new["transparent"]:
        found.append("transparency lost" if approved["transparent"] else "parts are transparent")
    return found


def small_jpeg(shown: Shown, side_px: int | None = None, allowance: Allowance = SMALL) -> tuple[bytes, int]:
    """A JPEG that stands for a picture, and its longer side: reduced to a side, or to whatever there is room for."""
    wanted = allowance.side_px if side_px is None else side_px
    while True:
        small = reduced(shown, wanted)
        data = encode_jpeg(as_eight_bits(small.samples), _QUALITY, small.space.icc)
        if len(data) <= allowance.size_bytes or side_px is not None or wanted < _LEAST_SIDE_PX:
            return data, max(small.size_px)
        wanted = int(max(small.size_px) * _SMALLER)


def allowance_for(views: int) -> Allowance:
    """What each of so many pictures on a page may take: few are shown pixel by pixel, many are small."""
    size_bytes = min(PAGE_BYTES // max(views, 1), _LARGE_BYTES)
    return SMALL if size_bytes <= SMALL.size_bytes else Allowance(_LARGE_SIDE_PX, size_bytes)


def lighter_jpeg(data: bytes, side_px: int) -> bytes:
    """A small JPEG made smaller still, for a page of very many; its profile stays."""
    with Image.open(io.BytesIO(data)) as picture:
        icc = picture.info.get("icc_profile")
        picture.thumbnail((side_px, side_px), Image.Resampling.BOX)
        return encode_jpeg(np.asarray(picture.convert("RGB")), _LIGHT_QUALITY, icc)


def reduced(shown: Shown, side_px: int) -> Shown:
    """Its longer side made that long by averaging; a smaller picture as it is."""
    width, height = shown.size_px
    ratio = side_px / max(width, height)
    if ratio >= 1:
        return shown
    size = (max(round(width * ratio), 1), max(round(height * ratio), 1))
    return Shown(cv2.resize(shown.samples, size, interpolation=cv2.INTER_AREA), shown.space)
