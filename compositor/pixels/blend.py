"""How one layer meets what stands below it: premultiplied, linear light, in place.

Sources: Porter & Duff, Compositing digital images, SIGGRAPH 1984 (source-over); W3C, Compositing and Blending
Level 1 (multiply as a separable blend mode, co = cs·(1 − ab) + cb·(1 − as) + cs·cb on premultiplied colours).
"""

import numpy as np

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2


def over_opaque(below: Pixels, layer: Pixels) -> None:
    """below becomes layer over below; both (h, w, 4), uint16 or float32 alike. What is below is opaque everywhere, as
    plates are, and stays so."""
    cv2.add(layer, _product(below, _open_colours(layer)), dst=below)


def multiply_opaque(below: Pixels, layer: Pixels) -> None:
    """below becomes darker by the layer's colour as far as its alpha reaches; both (h, w, 4), of one kind. What is
    below is opaque everywhere, so nothing of the layer can stand alone."""
    cv2.multiply(below, cv2.add(_open_colours(layer), layer), dst=below, scale=1.0 / _full(below))


def masked(samples: Pixels, coverage: Pixels) -> Pixels:
    """Premultiplied samples (h, w, 4) cut out by a coverage (h, w) of the same kind."""
    return _product(samples, cv2.merge([coverage] * 4))


def _open_colours(layer: Pixels) -> Pixels:
    """1 − alpha in the colours. Of uint16 the fourth channel is full, which costs less to make: sums stop there, so
    that an opaque backdrop stays opaque."""
    rest = _rest(layer)
    return cv2.cvtColor(rest, cv2.COLOR_GRAY2RGBA) if layer.dtype == np.uint16 else cv2.merge([rest] * 4)


def _rest(layer: Pixels) -> Pixels:
    """1 − alpha, (h, w)."""
    alpha = cv2.extractChannel(layer, 3)
    return np.invert(alpha, out=alpha) if layer.dtype == np.uint16 else np.subtract(np.float32(1.0), alpha, out=alpha)


def _product(first: Pixels, second: Pixels) -> Pixels:
    """first · second, both 0..full; uint16 is rounded to the nearest."""
    result: Pixels = cv2.multiply(first, second, scale=1.0 / _full(first))
    return result


def _full(samples: Pixels) -> float:
    return 65535.0 if samples.dtype == np.uint16 else 1.0
