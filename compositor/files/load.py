"""Pictures as the scene means them: a plate, a cut-out element, a matte."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.errors import PictureError
from compositor.base.opencv import cv2
from compositor.colour.coding import convert_linear, decode, decode_float, same_primaries
from compositor.colour.space import Space
from compositor.files.cutting import Cut, cut_clean
from compositor.files.decode import read_pixels
from compositor.files.header import Header, PictureFile
from compositor.files.outline import outline_coverage
from compositor.files.profile import in_known_space
from compositor.files.straight import premultiply
from compositor.pixels.late_mips import LateMips
from compositor.pixels.mips import Mips
from compositor.pixels.picture import Picture

_ROWS = 32  # strips that stay in the processor's cache while several passes go over them
_FULL = 65535
Outline = Sequence[tuple[float, float]]
"""A polygon's vertices (u, v), continuous pixels of its picture."""

_LUMINANCE = np.array([[0.2126, 0.7152, 0.0722]])  # ITU-R BT.709


@dataclass(frozen=True)
class EncodedPlate:
    """A plate as it is stored: encoded R G B (h, w, 3), uint8 or uint16, and the space that gives them a meaning."""

    samples: Pixels
    space: Space
    notices: tuple[str, ...]
    header: Header

    @property
    def deep(self) -> bool:
        """16-bit work."""
        return bool(self.samples.dtype == np.uint16)


@dataclass(frozen=True)
class Coded:
    """A cut-out that needs nothing but its curve and its alpha: stored uint8 R G B A (h, w, 4), straight, and its alpha
    (h, w) by itself, which is looked at again and again."""

    samples: Pixels
    space: Space
    alpha: Pixels


@dataclass(frozen=True)
class LoadedElement:
    """A cut-out in the plate's primaries, and what had to be assumed to get there."""

    made: Picture | Coded
    notices: tuple[str, ...]
    header: Header

    @property
    def picture(self) -> Picture:
        """All of it, made where it is stored only."""
        made = self.made
        if isinstance(made, Picture):
            return made
        linear = np.empty(made.samples.shape, np.uint16)
        premultiply(made.space, made.samples, made.alpha, linear)
        return Picture(linear)

    def mips(self, again: Callable[[], "LoadedElement"] | None = None) -> Mips:
        """Its pyramid, which makes linear what is looked at. again: opens it anew after its samples were let go."""
        if isinstance(self.made, Picture):
            return Mips(self.made.samples)
        stored = None if again is None else lambda: again().made.samples
        return LateMips(self.made.samples, partial(premultiply, self.made.space), self.made.alpha, stored)

    def alpha(self) -> tuple[Pixels, float]:
        """Coverage (h, w), and its value where it is full."""
        if isinstance(self.made, Coded):
            return self.made.alpha, 255.0
        return cv2.extractChannel(self.made.samples, 3), self.made.full


def load_plate(file: PictureFile) -> EncodedPlate:
    """Open a plate. Raises PictureError, also for a plate with transparent pixels."""
    header, samples = file.header, read_pixels(file)
    if samples.shape[2] == 4:
        if int(samples[..., 3].min()) < np.iinfo(samples.dtype).max:
            raise PictureError(header.path, "has transparent pixels; a plate is opaque: flatten it first")
        samples = np.ascontiguousarray(samples[..., :3])
    samples, space, notices = in_known_space(header, _three_channels(samples))
    return EncodedPlate(samples, space, notices, header)


def load_element(
    file: PictureFile,
    matte: PictureFile | None,
    working: Space,
    deep: bool,
    outline_px: Outline | None = None,
    cut: Cut | None = None,
) -> LoadedElement:
    """Open an element as linear, premultiplied R G B A in the working space's primaries.

    deep False gives uint16, True float32. Its own alpha, the matte and the outline multiply. Colours stored where
    nothing is seen end here. cut: work on its edges; None = they stay as they are stored. Raises PictureError, also
    where nothing is left ("empty matte").
    """
    header = file.header
    samples, space, notices = in_known_space(header, _three_channels(read_pixels(file)))
    coverage = _coverage(matte, outline_px, header.size_px)
    plain = (
        not deep and cut is None and coverage is None and samples.dtype == np.uint8 and same_primaries(space, working)
    )
    if plain and samples.shape[2] == 4 and cv2.hasNonZero(alpha := cv2.extractChannel(samples, 3)):
        return LoadedElement(Coded(samples, space, alpha), notices, header)
    result = np.empty((*samples.shape[:2], 4), np.float32 if deep else np.uint16)
    clean = None if cut is None else cut_clean(samples, _as_share(coverage), space, cut)
    seen = False
    for top in range(0, len(samples), _ROWS):
        rows = slice(top, top + _ROWS)
        if clean is not None:
            seen |= _premultiply(_in_primaries(clean[rows], space, working, deep), None, result[rows])
            continue
        if plain:
            straight = samples[rows] if samples.shape[2] == 4 else cv2.cvtColor(samples[rows], cv2.COLOR_RGB2RGBA)
            alpha = cv2.extractChannel(straight, 3)
            premultiply(space, straight, alpha, result[rows])
            seen |= bool(alpha.any())
            continue
        straight = _linear(samples[rows], space, working, deep)
        seen |= _premultiply(straight, None if coverage is None else coverage[rows], result[rows])
    if not seen:
        raise PictureError((matte or file).header.path, "empty matte: no pixel of the element would be seen")
    return LoadedElement(Picture(result), notices, header)


def load_matte(file: PictureFile, size_px: tuple[int, int]) -> Pixels:
    """A matte as linear coverage, (h, w) uint16 0..65535: values stand for coverage as they are, without a curve.

    Its alpha counts where it has one that is not full everywhere, else its grey value (of colours, the luminance).
    size_px: what it belongs to. Raises PictureError, also for another size and for an empty matte.
    """
    header = file.header
    if header.size_px != size_px:
        (width, height), (wanted_width, wanted_height) = header.size_px, size_px
        reason = f"is {width}×{height} px and its picture {wanted_width}×{wanted_height}: the sizes must be equal"
        raise PictureError(header.path, reason)
    coverage = _matte_values(read_pixels(file))
    if coverage.dtype == np.uint8:
        coverage = coverage.astype(np.uint16) * np.uint16(257)
    if coverage.max() == 0:
        raise PictureError(header.path, "empty matte: no pixel above 0")
    return coverage


def _matte_values(samples: Pixels) -> Pixels:
    if samples.shape[2] == 4 and samples[..., 3].min() < np.iinfo(samples.dtype).max:
        return np.ascontiguousarray(samples[..., 3])
    if samples.shape[2] == 1:
        return samples[..., 0]
    return cv2.transform(np.ascontiguousarray(samples[..., :3]), _LUMINANCE)


def _three_channels(samples: Pixels) -> Pixels:
    """Grey as R G B; anything else as it is."""
    return cv2.cvtColor(samples, cv2.COLOR_GRAY2RGB) if samples.shape[2] == 1 else samples


def _coverage(file: PictureFile | None, outline_px: Outline | None, size_px: tuple[int, int]) -> Pixels | None:
    """Matte times outline, (h, w) uint16; None where neither is given."""
    matte = None if file is None else load_matte(file, size_px)
    if outline_px is None:
        return matte
    outline = outline_coverage(np.array(outline_px, dtype=np.float64), size_px)
    drawn = np.rint(outline * _FULL).astype(np.uint16)
    return drawn if matte is None else cv2.multiply(drawn, matte, scale=1 / _FULL)


def _as_share(coverage: Pixels | None) -> Pixels | None:
    return None if coverage is None else coverage.astype(np.float32) / np.float32(_FULL)


def _linear(encoded: Pixels, space: Space, working: Space, deep: bool) -> Pixels:
    """Straight linear samples in the working primaries, inside 0..1, uint16 or float32."""
    if encoded.dtype == np.uint8 and not deep:
        return convert_linear(decode(encoded, space), space, working)
    return _in_primaries(decode_float(encoded, space), space, working, deep)


def _in_primaries(straight: Pixels, space: Space, working: Space, deep: bool) -> Pixels:
    """Linear float32 in a space's primaries to the working ones, inside 0..1, uint16 or float32."""
    linear = np.clip(convert_linear(straight, space, working), 0, 1)
    return linear if deep else np.rint(linear * _FULL).astype(np.uint16)


def _premultiply(straight: Pixels, coverage: Pixels | None, out: Pixels) -> bool:
    """straight (h, w, 3 or 4) and coverage (h, w) uint16 to premultiplied R G B A in `out`; whether any is seen."""
    if straight.shape[2] == 3:
        straight = cv2.cvtColor(straight, cv2.COLOR_RGB2RGBA)
    full = _FULL if out.dtype == np.uint16 else 1.0
    alpha = cv2.extractChannel(straight, 3)
    if coverage is not None:
        matte = coverage if out.dtype == np.uint16 else coverage.astype(np.float32) / np.float32(_FULL)
        alpha = cv2.multiply(alpha, matte, scale=1 / full)
        straight = cv2.insertChannel(alpha, straight, 3)
    factor = cv2.cvtColor(alpha, cv2.COLOR_GRAY2RGBA)  # alpha for each colour, full for alpha itself
    cv2.multiply(straight, factor, dst=out, scale=1 / full)
    return bool(alpha.any())
