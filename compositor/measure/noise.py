"""The noise of a picture by brightness, channel by channel as a sensor has it, told from its texture.

The picture is filtered by a mask that is blind to even slopes; in small patches the median absolute deviation of what
is left gives a standard deviation that a line crossing the patch cannot spoil; of all patches of one brightness the
calmest show the noise alone.
Sources: J. Immerkær, Fast noise variance estimation, Computer Vision and Image Understanding 64(2), 1996 (the mask);
P. J. Rousseeuw & C. Croux, Alternatives to the median absolute deviation, JASA 88, 1993 (1.4826 for normal noise).
"""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, Pixels

_MAD = 1.4826
PATCH_PX = 18
"""Side of a patch: 16 px and a rim that the mask looks at."""
_MOST_PATCHES = 4096
_CALMEST_FRACTION = 0.1
_BINS = 12
_FEWEST_PATCHES = 8
_CLIPPED = 0.985  # nearly white: the noise is cut off there


@dataclass(frozen=True)
class Noise:
    """levels: (n, 3) of R, G, B in linear light, each rising. deviations: (n, 3) what the mask leaves of R, G, B in
    linear light at each, as a standard deviation; that of the noise itself where every pixel has its own. together:
    (3, 3) correlation of the channels. grain_px: deviation of the bell that makes white noise as coarse as this."""

    levels: Floats
    deviations: Floats
    together: Floats
    grain_px: float

    def at(self, light: Pixels) -> Pixels:
        """Deviation (..., 3) of R, G, B of linear light (..., 3), each by its own; the nearest known one beyond both
        ends. A red thing has the noise of a little blue in its blue, whatever its brightness."""
        channels = [np.interp(light[..., c], self.levels[:, c], self.deviations[:, c]) for c in range(3)]
        return np.stack(channels, axis=-1).astype(np.float32)

    def scaled(self, ratio: float) -> "Noise":
        """The noise with deviations that much larger."""
        return Noise(self.levels, self.deviations * ratio, self.together, self.grain_px)


def patches_of(picture: Pixels, side_px: int = PATCH_PX, most: int = _MOST_PATCHES) -> Pixels:
    """Patches (n, side, side[, c]) spread evenly over a picture (h, w[, c]), no more than are needed."""
    rows, columns = (length // side_px for length in picture.shape[:2])
    cut = picture[: rows * side_px, : columns * side_px]
    cut = cut.reshape(rows, side_px, columns, side_px, *picture.shape[2:]).swapaxes(1, 2)
    every = max(1, int(np.ceil(np.sqrt(rows * columns / most))))
    chosen = cut[every // 2 :: every, every // 2 :: every]
    return chosen.reshape(-1, side_px, side_px, *picture.shape[2:])


def noise_of(patches: Pixels) -> Noise | None:
    """The noise of patches (n, 18, 18, 3) float32 in linear light 0..1; None where too few of them can be used."""
    light = patches.mean(axis=(1, 2, 3))
    good = (patches.max(axis=(1, 2, 3)) < _CLIPPED) & (light > 0.0)
    patches, light = patches[good], light[good]
    if len(patches) < _FEWEST_PATCHES:
        return None
    rest = _masked(patches)
    deviations = _deviation(rest, (1, 2))
    levels, found, chosen = _calm(patches.mean(axis=(1, 2)), deviations)
    together = _correlation(rest[chosen].reshape(len(chosen), -1, 3), deviations[chosen])
    return Noise(levels, found, together, _grain(patches[chosen].mean(axis=3)))


def _masked(patches: Pixels) -> Pixels:
    """What Immerkær's mask leaves of patches (n, h, w[, c]), a pixel less on every side; unit gain for white noise."""
    across = patches[:, :, :-2] - 2.0 * patches[:, :, 1:-1] + patches[:, :, 2:]
    result: Pixels = (across[:, :-2] - 2.0 * across[:, 1:-1] + across[:, 2:]) / 6.0
    return result


def _deviation(rest: Pixels, axes: tuple[int, int]) -> Floats:
    result: Floats = _MAD * np.median(np.abs(rest), axis=axes)
    return result


def _calm(light: Pixels, deviations: Floats) -> tuple[Floats, Floats, Pixels]:
    """Per bin of equally many patches (n, 3): light and deviation of its calmest patches, each channel rising; and
    which patches those are."""
    order = np.argsort(light.mean(axis=1), kind="stable")
    levels, found, chosen = [], [], []
    for part in np.array_split(order, min(_BINS, len(order) // _FEWEST_PATCHES)):
        count = max(3, int(_CALMEST_FRACTION * len(part)))
        calmest = part[np.argsort(deviations[part].sum(axis=1), kind="stable")[:count]]
        levels.append(light[calmest].mean(axis=0, dtype=np.float64))
        found.append(np.median(deviations[calmest], axis=0))
        chosen.append(calmest)
    light_of, noise_of_it = np.array(levels), np.array(found)
    rising = np.argsort(light_of, axis=0, kind="stable")
    ordered, of_these = (np.take_along_axis(values, rising, axis=0) for values in (light_of, noise_of_it))
    return ordered, of_these, np.concatenate(chosen)


def _correlation(rest: Pixels, deviations: Floats) -> Floats:
    """Correlation of the channels over patches (n, m, 3), outliers cut at three deviations."""
    scale = np.maximum(deviations, 1e-9)[:, np.newaxis, :]
    unit = np.clip(rest / scale, -3.0, 3.0).reshape(-1, 3).astype(np.float64)
    product = unit.T @ unit
    size = np.sqrt(np.maximum(np.diag(product), 1e-12))
    result: Floats = np.clip(product / np.outer(size, size), -0.95, 0.95)
    np.fill_diagonal(result, 1.0)
    return result


def _grain(patches: Pixels) -> float:
    """The bell that makes white noise as coarse as that of patches (n, 18, 18): by what means of 2 × 2 px leave."""
    halves = patches.reshape(len(patches), PATCH_PX // 2, 2, PATCH_PX // 2, 2).mean(axis=(2, 4))
    fine, coarse = (float(np.median(_deviation(_masked(some), (1, 2)))) for some in (patches, halves))
    return 0.0 if fine <= 0.0 else _bell_of(coarse / fine)


def _bell_of(ratio: float) -> float:
    """The bell whose noise has this ratio of deviations at half and full size under the mask (white noise: 0.5)."""
    sigmas = np.linspace(0.0, 1.0, 21)
    ratios = [_ratio_of(float(sigma)) for sigma in sigmas]
    return float(np.interp(ratio, ratios, sigmas))


def _ratio_of(sigma_px: float) -> float:
    """That ratio for white noise under a bell, from the filters' own energies."""
    at = np.arange(-8, 9)
    bell = np.exp(-0.5 * (at / sigma_px) ** 2) if sigma_px > 0 else (at == 0).astype(float)
    bell /= bell.sum()
    line = np.array([1.0, -2.0, 1.0])
    spread = np.array([1.0, 0.0, -2.0, 0.0, 1.0])  # the mask at half size, in full-size px
    fine = np.convolve(bell, line)
    coarse = np.convolve(np.convolve(bell, [0.5, 0.5]), spread)
    return float((coarse**2).sum() / (fine**2).sum())  # the square of one axis' ratio of deviations: two axes
