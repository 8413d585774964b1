"""Do two pictures look the same? Judged where it would be seen, never by one mean over the whole.

Parts are judged: every tile, every region that the caller names (an element's outline), and the whole. Of each it is
asked how far it moved, how its colour changed, how alike its structure is, and whether there is a patch that nothing of
this explains. What survives re-encoding and what is caught stands in tests/measure/test_damage.py; the widths were
chosen by tests/studies/picture_tolerances.py.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.base.tolerances import PICTURE, PictureTolerances
from compositor.colour.difference import ciede2000
from compositor.colour.lab import lab_from_encoded, luma_from_encoded
from compositor.colour.space import Space
from compositor.measure.deviations import Deviation, Parts, deviations
from compositor.measure.movement import moments, movement
from compositor.measure.visible import unexplained_difference
from compositor.pixels.similarity import structural_similarity
from compositor.pixels.strips import run_all

TILE_PX = 32
_BAND_TILES = 6  # rows of tiles worked on at once
_MARGIN_PX = 8  # no filter here looks farther
_AROUND_PX = 3  # what coarser colour takes from an outline's inside it puts here: together both are as before

Box = tuple[int, int, int, int]


@dataclass(frozen=True)
class Shown:
    """A picture as it would be shown: encoded R G B (h, w, 3), uint8 or uint16, and the space they are in."""

    samples: Pixels
    space: Space

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height)."""
        return self.samples.shape[1], self.samples.shape[0]


@dataclass(frozen=True)
class Region:
    """A part that is judged by itself: its name and outline in continuous pixels of the pictures."""

    name: str
    outline_px: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Comparison:
    """What was found. figures: by name, with units in the names; deviations: beyond tolerance, worst first."""

    figures: dict[str, float]
    deviations: tuple[Deviation, ...]

    @property
    def alike(self) -> bool:
        """Whether nothing is beyond its tolerance."""
        return not self.deviations


def compare_pictures(
    approved: Shown,
    new: Shown,
    regions: Sequence[Region] = (),
    tolerances: PictureTolerances = PICTURE,
    reduced_ratio: float = 1.0,
) -> Comparison:
    """Compare two pictures of the same size. Raises ValueError for different sizes.

    reduced_ratio: of their pixels to those of the pictures meant, where both were made smaller (1/3 of the size:
    0.333). Lengths in figures and deviations are in pixels of the pictures meant.
    """
    if approved.size_px != new.size_px:
        raise ValueError(f"{approved.size_px} px and {new.size_px} px cannot be compared")
    sheet = _Sheet(approved, new, regions, min(tolerances.moved_px * reduced_ratio, 1.0), tolerances.visible)
    bands = run_all([partial(sheet.band, index) for index in range(len(sheet.band_edges) - 1)])
    counts = np.diff(sheet.rows)[:, np.newaxis] * np.diff(sheet.columns)
    tiles = np.concatenate([band.tiles for band in bands])
    likeness = np.concatenate([band.likeness for band in bands]) / counts
    excess = np.concatenate([band.excess for band in bands])
    named = np.sum([band.regions for band in bands], axis=0)
    sizes = np.sum([band.region_sizes for band in bands], axis=0)
    parts = Parts(
        tile_boxes=sheet.tile_boxes,
        tiles=movement(tiles.reshape(-1, tiles.shape[-1]), counts.reshape(-1).astype(np.float64)),
        likeness=likeness.reshape(-1),
        names=tuple(region.name for region in regions),
        outlines=tuple(region.outline_px for region in regions),
        regions=movement(named, np.maximum(sizes, 1.0)),
        sizes=sizes,
        excess=excess,
    )
    figures, found = deviations(parts, tolerances, reduced_ratio)
    differences = [band.difference for band in bands]
    pixels = approved.samples.shape[0] * approved.samples.shape[1]
    figures["mean_difference"] = float(sum(total for total, _ in differences) / pixels)
    figures["largest_difference"] = float(max(largest for _, largest in differences))
    return Comparison({name: float(f"{value:.4g}") for name, value in figures.items()}, found)


@dataclass(frozen=True)
class _Band:
    tiles: Floats  # sums of moments, (rows of tiles, columns of tiles, n)
    likeness: Floats  # sums of SSIM
    regions: Floats  # sums of moments, (regions + the whole, n)
    region_sizes: Floats
    excess: Pixels  # what is visible beyond the tolerance, (h, w)
    difference: tuple[float, float]  # sum and largest of CIEDE2000


class _Sheet:
    """Two pictures cut into tiles and bands of tiles."""

    def __init__(self, approved: Shown, new: Shown, regions: Sequence[Region], reach_px: float, visible: float) -> None:
        self.approved, self.new, self.regions = approved, new, regions
        self.reach_px, self.visible = reach_px, visible
        width, height = approved.size_px
        self.columns, self.rows = _edges(width), _edges(height)
        steps = range(0, len(self.rows) - 1, _BAND_TILES)
        self.band_edges = [*steps, len(self.rows) - 1]

    @property
    def tile_boxes(self) -> list[Box]:
        """Left, top, right, bottom of each tile."""
        rows, columns = self.rows.tolist(), self.columns.tolist()
        return [(left, top, right, bottom) for top, bottom in pairwise(rows) for left, right in pairwise(columns)]

    def band(self, index: int) -> _Band:
        first, last = self.band_edges[index : index + 2]
        edges = self.rows[first : last + 1]
        top, bottom = int(edges[0]), int(edges[-1])
        bands = [self._band(picture, top, bottom) for picture in (self.approved, self.new)]
        one, other = (lab_from_encoded(*band) for band in bands)
        lumas = [luma_from_encoded(*band) for band in bands]
        summed = _inner(moments(*(_in_luma(*pair) for pair in zip((one, other), lumas, strict=True))))
        likeness = structural_similarity(lumas[0], lumas[1], 255.0)
        trimmed = _MARGIN_PX - 5  # the map is 5 px smaller on each side already
        difference = ciede2000(_inner(one), _inner(other))
        sums, sizes = self._regions(summed, top)
        return _Band(
            tiles=_by_tile(summed, edges - top, self.columns),
            likeness=_by_tile(likeness[trimmed:-trimmed, trimmed:-trimmed, np.newaxis], edges - top, self.columns)[
                ..., 0
            ],
            regions=sums,
            region_sizes=sizes,
            excess=np.maximum(_inner(unexplained_difference(one, other, self.reach_px)) - self.visible, 0),
            difference=(float(difference.sum(dtype=np.float64)), float(difference.max())),
        )

    def _band(self, picture: Shown, top: int, bottom: int) -> tuple[Pixels, Space]:
        """A band and a margin around it; beyond the picture's edge its last pixels are repeated."""
        rows = np.clip(np.arange(top - _MARGIN_PX, bottom + _MARGIN_PX), 0, len(picture.samples) - 1)
        samples = picture.samples[rows[0] : rows[-1] + 1][rows - rows[0]]
        samples = cv2.copyMakeBorder(samples, 0, 0, _MARGIN_PX, _MARGIN_PX, cv2.BORDER_REPLICATE)
        return samples, picture.space

    def _regions(self, summed: Pixels, top: int) -> tuple[Floats, Floats]:
        """Sums of moments over each region's part of a band and over the band, and numbers of pixels."""
        height, width = summed.shape[:2]
        sums, sizes = [], []
        for region in self.regions:
            mask = np.zeros((height + 2 * _AROUND_PX, width), np.uint8)
            outline = np.floor(np.array(region.outline_px) - [0, top - _AROUND_PX]).astype(np.int32)
            cv2.fillPoly(mask, [outline], 1)
            mask = cv2.dilate(mask, np.ones((2 * _AROUND_PX + 1,) * 2, np.uint8))[_AROUND_PX:-_AROUND_PX]
            inside = summed[mask.astype(bool)]
            sums.append(inside.sum(axis=0, dtype=np.float64))
            sizes.append(float(len(inside)))
        sums.append(summed.sum(axis=(0, 1), dtype=np.float64))
        sizes.append(float(height * width))
        return np.array(sums), np.array(sizes)


def _in_luma(lab: Pixels, luma: Pixels) -> Pixels:
    """Luma, a*, b*."""
    return cv2.merge([luma, *cv2.split(lab)[1:]])


def _edges(length_px: int) -> NDArray[np.int64]:
    """Edges of tiles that share a side out evenly."""
    count = max(1, round(length_px / TILE_PX))
    return np.rint(np.linspace(0, length_px, count + 1)).astype(np.int64)


def _inner(values: Pixels) -> Pixels:
    return values[_MARGIN_PX:-_MARGIN_PX, _MARGIN_PX:-_MARGIN_PX]


def _by_tile(values: Pixels, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> Floats:
    """Sums over tiles of values (h, w, n)."""
    by_row = np.add.reduceat(values, rows[:-1], axis=0, dtype=np.float64)
    sums: Floats = np.add.reduceat(by_row, columns[:-1], axis=1)
    return sums
