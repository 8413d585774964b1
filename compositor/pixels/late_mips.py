"""A pyramid of a picture that stays as it is stored, and is made linear where it is looked at.

A cut-out that is shown small in one picture is looked at once, strip by strip: its linear samples are made for each
strip, used and forgotten, in the processor's cache. Whoever looks at it again and again gets all of it made at once.
"""

import threading
from collections.abc import Callable
from functools import cached_property, partial

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2
from compositor.pixels.mips import Box, Mips, content_box, corner_sums, halved

_MOST_HALVINGS = 6
_ROWS = 2**_MOST_HALVINGS  # in a strip, which can be halved so often by itself
_MOST_PARTS = 1.5
"""Once the parts that were asked for are together as large as this many pictures, the whole is made."""
Linear = Callable[[Pixels, Pixels, Pixels, bool], None]


class LateMips(Mips):
    """Of uint8 samples (h, w, 4) with straight alpha.

    linear: puts the uint16 premultiplied linear samples of any rectangle of them and of their alpha into an array, or
    quarters of them, each pixel by itself. What comes out is the same, bit by bit, as of a pyramid over all of them.
    alpha: theirs alone, (h, w). again: opens the samples anew, for who looks at them after they were let go; None =
    they are never let go.
    """

    def __init__(
        self,
        stored: Pixels,
        linear: Linear,
        alpha: Pixels,
        again: Callable[[], Pixels] | None = None,
    ) -> None:
        self.edge = "transparent"
        self.origin_px = (0, 0)
        self._samples: Pixels | None = stored
        self._linear, self._alpha, self._again = linear, alpha, again
        self._whole: Pixels | None = None
        self._whole_means: Pixels | None = None
        self._smaller: list[Pixels] = []
        self._coverages: dict[int, Pixels] = {}
        self._asked_px = {False: 0, True: 0}  # of pixels and of means
        self._lock = threading.Lock()

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height) of the samples themselves."""
        return self._alpha.shape[1], self._alpha.shape[0]

    @property
    def channels(self) -> tuple[int, ...]:
        """Always (4,)."""
        return (4,)

    @property
    def dtype(self) -> np.dtype[np.generic]:
        """Of what is given: uint16."""
        return np.dtype(np.uint16)

    @property
    def held_bytes(self) -> int:
        """Memory of what is stored and of all levels, made or to come."""
        return self._alpha.size * 5 + self._alpha.size * 8 * 4 // 3

    @cached_property
    def content_px(self) -> Box:
        """(left, top, right, bottom) of what is not empty."""
        return content_box(self._alpha)

    def level(self, number: int) -> Pixels:
        """The samples of a level, 0 = the picture itself."""
        with self._lock:
            if number == 0:
                return self._all()
            if not self._smaller:
                self._smaller.append(_halved_by_strips(self._made, self._stored(), self._alpha))
            while len(self._smaller) < number:
                self._smaller.append(halved(self._smaller[-1], self.edge))
            return self._smaller[number - 1]

    def part(self, box: Box, number: int = 0) -> Pixels:
        """The samples inside a box (left, top, right, bottom) of a level's own pixels; not to be written into."""
        if number > 0:
            return super().part(box, number)
        left, top, right, bottom = box
        part = np.s_[top:bottom, left:right]
        with self._lock:
            whole = self._all() if self._often(False, box) else self._whole
            if whole is not None:
                return whole[part]
            stored = self._stored()
        return self._made(stored[part], self._alpha[part])

    def means(self, box: Box, number: int = 0) -> Pixels:
        """As of any pyramid; all of them are made at once where they are asked for again and again."""
        left, top, right, bottom = box
        if number > 0:
            return super().means(box, number)
        with self._lock:
            if self._whole_means is None and self._whole is None and self._often(True, box):
                width, height = self.size_px
                everywhere = 0, 0, width + 1, height + 1
                self._whole_means = self._by_strips(everywhere, partial(self._put_means, self._stored()))
            if self._whole_means is not None:
                return self._whole_means[top:bottom, left:right]
            stored = self._stored() if self._whole is None else None
        return super().means(box) if stored is None else self._by_strips(box, partial(self._put_means, stored))

    def coverage(self, number: int) -> Pixels:
        """The alpha (h, w) of a level."""
        with self._lock:
            if number == 0:
                return _wider(self._alpha)
            if number not in self._coverages:
                coverage = _halved_by_strips(_wider, self._alpha, times=min(number, _MOST_HALVINGS))
                for _ in range(_MOST_HALVINGS, number):
                    coverage = halved(coverage, self.edge)
                self._coverages[number] = coverage
            return self._coverages[number]

    def let_go(self) -> None:
        """The alpha stays, and smaller levels that are there; the rest is opened anew if somebody looks after all."""
        if self._again is not None:
            with self._lock:
                self._samples = self._whole = self._whole_means = None

    def _stored(self) -> Pixels:
        if self._samples is None:
            assert self._again is not None
            self._samples = self._again()
        return self._samples

    def _all(self) -> Pixels:
        if self._whole is None:
            self._whole_means = None  # one of both is enough, and there is no room for both
            self._whole = self._made(self._stored(), self._alpha)
        return self._whole

    def _often(self, means: bool, box: Box) -> bool:
        left, top, right, bottom = box
        self._asked_px[means] += (right - left) * (bottom - top)
        return self._asked_px[means] > _MOST_PARTS * self._alpha.size

    def _made(self, stored: Pixels, alpha: Pixels) -> Pixels:
        result = np.empty(stored.shape, np.uint16)
        self._linear(stored, alpha, result, False)
        return result

    def _put_means(self, stored: Pixels, box: Box, out: Pixels) -> None:
        corner_sums(self._quarters(stored, box), out)

    def _quarters(self, stored: Pixels, box: Box) -> Pixels:
        """Inside a box that may reach beyond the frame, where nothing is."""
        (left, top, right, bottom), (width, height) = box, self.size_px
        inside = max(left, 0), max(top, 0), min(right, width), min(bottom, height)
        result = (np.empty if inside == box else np.zeros)((bottom - top, right - left, 4), np.uint16)
        part = np.s_[inside[1] : inside[3], inside[0] : inside[2]]
        there = result[inside[1] - top : inside[3] - top, inside[0] - left : inside[2] - left]
        self._linear(stored[part], self._alpha[part], there, True)
        return result


def _halved_by_strips(wanted: Callable[..., Pixels], *stored: Pixels, times: int = 1) -> Pixels:
    """A level of what is made of stored samples, of which never more than a strip is there, nor of levels between."""
    rows = len(stored[0])
    result: Pixels | None = None
    for top in range(0, rows, _ROWS):
        strip = wanted(*(each[top : top + _ROWS] for each in stored))
        for _ in range(times):
            strip = halved(strip, "transparent")
        if result is None:
            result = np.empty((-(-rows >> times), *strip.shape[1:]), strip.dtype)
        result[top >> times : (top >> times) + len(strip)] = strip
    assert result is not None
    return result


def _wider(alpha: Pixels) -> Pixels:
    """uint8 to uint16: 257 times a byte is the byte twice."""
    return cv2.merge([alpha, alpha]).view(np.uint16)[..., 0]
