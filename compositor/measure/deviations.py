"""What of a comparison is beyond its tolerance, in words, with its place."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Floats, Pixels
from compositor.base.opencv import cv2
from compositor.base.tolerances import PictureTolerances
from compositor.measure.movement import REACH_PX, Movement

_MOVED_IF_EXPLAINED = 0.5  # by eye: a change of which moving explains less than half is not a movement
_SURE, _SURELY = 2.0, 3.0  # standard deviations
_OF_MEDIAN = 1.4826  # standard deviation of a bell over the median of its absolute values
_FEWEST_PX = 256  # by eye: of fewer pixels nothing sure can be said
_MOST = 8  # deviations told: the worst say enough
WHOLE = "the whole picture"

Box = tuple[int, int, int, int]
Outline = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Deviation:
    """One thing beyond its tolerance: in words, its box (left, top, right, bottom, px of the picture meant), and how
    many times its tolerance it is."""

    text: str
    box_px: Box
    excess_ratio: float


@dataclass(frozen=True)
class Parts:
    """Everything measured. Arrays have an entry per tile or per named region, the last region being the whole.

    sizes: pixels of each region. excess (h, w): visible difference beyond the tolerance.
    """

    tile_boxes: list[Box]
    tiles: Movement
    likeness: Floats
    names: tuple[str, ...]
    outlines: tuple[Outline, ...]
    regions: Movement
    sizes: Floats
    excess: Pixels


def deviations(
    parts: Parts, tolerances: PictureTolerances, reduced_ratio: float
) -> tuple[dict[str, float], tuple[Deviation, ...]]:
    """Figures by name, and what is beyond tolerance, worst first."""
    judge = _Judge(parts, tolerances, reduced_ratio)
    found = [*judge.regions(), *judge.moved(), *judge.recoloured(), *judge.unlike(), *judge.patches()]
    return judge.figures, tuple(sorted(found, key=lambda each: -each.excess_ratio)[:_MOST])


class _Judge:
    def __init__(self, parts: Parts, tolerances: PictureTolerances, reduced_ratio: float) -> None:
        self.parts, self.tolerances, self.ratio = parts, tolerances, reduced_ratio
        self.figures: dict[str, float] = {}

    def regions(self) -> Iterator[Deviation]:
        """Brightness and colour of whole regions, where coding noise averages out."""
        shift, judged = self.parts.regions.shift, self.parts.sizes >= _FEWEST_PX
        lightness = np.where(judged, np.abs(shift[:, 0]), 0)
        colour = np.where(judged, np.hypot(shift[:, 1], shift[:, 2]), 0)
        self.figures |= {"region_lightness": float(lightness.max()), "region_colour": float(colour.max())}
        limits = np.full(len(shift), self.tolerances.region_lightness)
        limits[-1] = self.tolerances.whole_lightness
        tiles = self.parts.tiles.shift
        limits += self.unsure(np.abs(tiles[:, 0]))
        colour_limits = self.tolerances.region_colour + self.unsure(np.hypot(tiles[:, 1], tiles[:, 2]))
        height, width = self.parts.excess.shape
        outlines = [*self.parts.outlines, ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))]
        for index, name in enumerate((*self.parts.names, WHOLE)):
            box = self.box(_around(outlines[index]))
            if lightness[index] > limits[index]:
                text = (
                    f"{name} {abs(shift[index, 0]):.2f} levels of 255 {'lighter' if shift[index, 0] > 0 else 'darker'}"
                )
                yield Deviation(text, box, float(lightness[index] / limits[index]))
            if colour[index] > colour_limits[index]:
                by = f"a* {shift[index, 1]:+.2f}, b* {shift[index, 2]:+.2f}"
                text = f"{name} another colour by {colour[index]:.2f} in CIELAB ({by})"
                yield Deviation(text, box, float(colour[index] / colour_limits[index]))

    def unsure(self, tiles: Floats) -> Floats:
        """What a region's mean may be off by: its own scatter, and that of all tiles, which is the coding's.

        Most of a picture shows nothing new, so the median tile tells how much coding moves a tile (0 where nothing was
        coded anew); a region has the scatter of as many tiles as it is large.
        """
        scatter = _OF_MEDIAN * float(np.median(tiles))
        alike = np.sqrt(np.maximum(self.parts.sizes * len(tiles) / self.parts.excess.size, 1.0))
        result: Floats = _SURE * self.parts.regions.shift_plus_minus + _SURELY * scatter / alike
        return result

    def moved(self) -> Iterator[Deviation]:
        """The tile that surely moved farthest."""
        tiles = self.parts.tiles
        length = np.hypot(tiles.moved_px[:, 0], tiles.moved_px[:, 1])
        sure = np.where(tiles.explained_fraction >= _MOVED_IF_EXPLAINED, length - _SURE * tiles.moved_plus_minus_px, 0)
        worst = int(sure.argmax())
        measured = min(max(float(sure[worst]), 0.0), REACH_PX) / self.ratio
        self.figures["moved_px"] = measured
        if measured > self.tolerances.moved_px:
            right, down = (float(value) / self.ratio for value in tiles.moved_px[worst])
            within = length[worst] <= REACH_PX
            far = _towards(right, down) if within else f"by more than {REACH_PX / self.ratio:.0f} px"
            text = f"{self.where(worst)} moved {far}"
            yield Deviation(text, self.box(self.parts.tile_boxes[worst]), measured / self.tolerances.moved_px)

    def recoloured(self) -> Iterator[Deviation]:
        """The tile whose colour changed most."""
        tiles = self.parts.tiles
        unsure = _SURE * tiles.shift_plus_minus
        lightness = np.maximum(np.abs(tiles.shift[:, 0]) - unsure, 0) / self.tolerances.tile_lightness
        colour = np.maximum(np.hypot(tiles.shift[:, 1], tiles.shift[:, 2]) - unsure, 0) / self.tolerances.tile_colour
        self.figures["tile_lightness"] = float(lightness.max()) * self.tolerances.tile_lightness
        self.figures["tile_colour"] = float(colour.max()) * self.tolerances.tile_colour
        for ratio, kind in ((lightness, "levels"), (colour, "a*b*")):
            worst = int(ratio.argmax())
            if ratio[worst] > 1:
                text = f"{self.where(worst)} {self.recolouring(worst, kind)}"
                yield Deviation(text, self.box(self.parts.tile_boxes[worst]), float(ratio[worst]))

    def recolouring(self, tile: int, kind: str) -> str:
        shift = self.parts.tiles.shift[tile]
        if kind == "a*b*":
            return f"another colour by {np.hypot(*shift[1:]):.1f} in CIELAB (a* {shift[1]:+.1f}, b* {shift[2]:+.1f})"
        return f"{abs(shift[0]):.1f} levels of 255 {'lighter' if shift[0] > 0 else 'darker'}"

    def unlike(self) -> Iterator[Deviation]:
        """The tile with the least similar structure."""
        worst, least = int(self.parts.likeness.argmin()), self.tolerances.tile_similarity
        similarity = float(self.parts.likeness[worst])
        self.figures |= {"similarity": float(self.parts.likeness.mean()), "tile_similarity": similarity}
        if similarity < least:
            text = f"{self.where(worst)} of another structure (similarity {similarity:.2f} of 1)"
            yield Deviation(text, self.box(self.parts.tile_boxes[worst]), (1 - similarity) / (1 - least))

    def patches(self) -> Iterator[Deviation]:
        """The heaviest connected patch that can be seen."""
        excess = self.parts.excess
        seen = excess > 0
        self.figures["visible_fraction"] = float(seen.mean())
        count, labels = cv2.connectedComponents(seen.astype(np.uint8), connectivity=8)
        if count < 2:
            self.figures["patch"] = 0.0
            return
        weights = np.bincount(labels.ravel(), excess.ravel(), count) / self.ratio**2  # px of the picture meant
        weights[0] = 0
        worst = int(weights.argmax())
        self.figures["patch"] = float(weights[worst])
        if weights[worst] > self.tolerances.patch:
            rows, columns = np.nonzero(labels == worst)
            box = (int(columns.min()), int(rows.min()), int(columns.max()) + 1, int(rows.max()) + 1)
            size = len(rows) / self.ratio**2
            mean = float(weights[worst]) / size + self.tolerances.visible
            text = f"{self.named(box)} a patch of {size:.0f} px differs by {mean:.1f} on average (CIEDE2000)"
            yield Deviation(text, self.box(box), float(weights[worst]) / self.tolerances.patch)

    def where(self, tile: int) -> str:
        """A tile in words."""
        return self.named(self.parts.tile_boxes[tile])

    def named(self, box: Box) -> str:
        """A place by the smallest region that holds its middle, and by its pixel."""
        middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
        inside = [
            (_area(outline), name)
            for name, outline in zip(self.parts.names, self.parts.outlines, strict=True)
            if cv2.pointPolygonTest(np.array(outline, np.float32), middle, False) >= 0
        ]
        u, v = (round(value / self.ratio) for value in middle)
        return f"{min(inside)[1]} at ({u}, {v})" if inside else f"at ({u}, {v})"

    def box(self, box: Box) -> Box:
        """A box in pixels of the picture meant."""
        left, top, right, bottom = (round(value / self.ratio) for value in box)
        return left, top, right, bottom


def _around(outline: Outline) -> Box:
    points = np.array(outline)
    left, top = np.floor(points.min(axis=0))
    right, bottom = np.ceil(points.max(axis=0))
    return int(left), int(top), int(right), int(bottom)


def _area(outline: Outline) -> float:
    return float(cv2.contourArea(np.array(outline, np.float32)))


def _towards(right_px: float, down_px: float) -> str:
    parts = []
    if abs(right_px) >= 0.1:
        parts.append(f"{abs(right_px):.1f} px to the {'right' if right_px > 0 else 'left'}")
    if abs(down_px) >= 0.1:
        parts.append(f"{abs(down_px):.1f} px {'down' if down_px > 0 else 'up'}")
    return " and ".join(parts)
