"""Structural similarity of two pictures."""

from compositor.base.arrays import Pixels
from compositor.base.opencv import cv2

_WINDOW_PX, _SIGMA_PX = 11, 1.5
_K1, _K2 = 0.01, 0.03


def structural_similarity(first: Pixels, second: Pixels, full: float) -> Pixels:
    """Map of SSIM of two grey pictures (h, w) of floats whose range is 0..full: (h - 10, w - 10), 1 = the same.

    Only windows that lie wholly inside, so both sides must be 11 px or longer. Source: Z. Wang, A. C. Bovik, H. R.
    Sheikh, E. P. Simoncelli, Image Quality Assessment: From Error Visibility to Structural Similarity, IEEE
    Transactions on Image Processing 13(4), 2004, equation 13 with its Gaussian window.
    """
    c1, c2 = (_K1 * full) ** 2, (_K2 * full) ** 2
    mean_1, mean_2 = _windowed(first), _windowed(second)
    variance_1 = _windowed(first * first) - mean_1 * mean_1
    variance_2 = _windowed(second * second) - mean_2 * mean_2
    covariance = _windowed(first * second) - mean_1 * mean_2
    above = (2 * mean_1 * mean_2 + c1) * (2 * covariance + c2)
    below = (mean_1 * mean_1 + mean_2 * mean_2 + c1) * (variance_1 + variance_2 + c2)
    result: Pixels = above / below
    return result


def _windowed(values: Pixels) -> Pixels:
    margin = _WINDOW_PX // 2
    blurred = cv2.GaussianBlur(values, (_WINDOW_PX, _WINDOW_PX), _SIGMA_PX)
    return blurred[margin:-margin, margin:-margin]
