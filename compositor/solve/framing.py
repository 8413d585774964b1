"""The window of the full frame that a delivery shows.

Before all else the window keeps what it is laid around whole; then it lies inside the frame, keeps the margins free,
follows the rule of composition, and is no smaller than the delivery has pixels; what comes later gives way.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, floor, inf

from compositor.base.errors import Fault, FaultyScene

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in px."""


@dataclass(frozen=True)
class Window:
    """Left, top, width, height in px of the full frame; by how many of these px margin and rule could not be kept."""

    left: float
    top: float
    width: float
    height: float
    margin_short_px: float = 0.0
    rule_short_px: float = 0.0


@dataclass(frozen=True)
class Rule:
    """A point of the frame that shall lie at a share of the window, along one axis."""

    point_px: float
    share: float


@dataclass(frozen=True)
class Wanted:
    """What a window shall be.

    size_px: the delivery's pixels. aspect: its shape where it has no size; neither: the shape of what it is laid
    around. margins: left, top, right, bottom, shares of the window. across, down: rules; none = in the middle.
    """

    size_px: tuple[int, int] | None = None
    aspect: tuple[float, float] | None = None
    margins: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    across: Rule | None = None
    down: Rule | None = None

    @property
    def shape(self) -> float | None:
        """Width by height."""
        sides = self.size_px or self.aspect
        return None if sides is None else sides[0] / sides[1]


@dataclass(frozen=True)
class _Axis:
    """One direction: the frame's length, what is kept whole, margins before and after it, and the rule."""

    frame_px: float
    low: float
    high: float
    before: float
    after: float
    rule: Rule | None

    @property
    def anchor(self) -> Rule:
        """The rule, or the middle of what is kept in the middle between the margins."""
        middle = self.before + (1.0 - self.before - self.after) / 2.0
        return self.rule or Rule((self.low + self.high) / 2.0, middle)

    @property
    def need_px(self) -> float:
        """The shortest window that keeps the box and its margins."""
        return (self.high - self.low) / (1.0 - self.before - self.after)

    @property
    def least_px(self) -> float:
        """The shortest window that keeps box and margins with the anchor where it shall be; inf: there is none."""
        point, share = self.anchor.point_px, self.anchor.share
        spans = ((point - self.low, share - self.before), (self.high - point, 1.0 - share - self.after))
        lengths = [length / room if room > 0.0 else inf for length, room in spans if length > 0.0]
        return max(lengths, default=0.0)

    @property
    def most_px(self) -> float:
        """The longest window inside the frame that follows the rule."""
        if self.rule is None:
            return self.frame_px
        point, share = self.rule.point_px, self.rule.share
        return max(0.0, min(point / share, (self.frame_px - point) / (1.0 - share)))

    def start_px(self, length: float) -> float:
        """Where a window of that length begins."""
        start = self.anchor.point_px - self.anchor.share * length
        latest, earliest = self.low - self.before * length, self.high + self.after * length - length
        start = (latest + earliest) / 2.0 if earliest > latest else min(max(start, earliest), latest)
        start = min(max(start, self.high - length), self.low)
        return min(max(start, 0.0), self.frame_px - length)

    def margin_short_px(self, start: float, length: float) -> float:
        """By how much the worse margin falls short."""
        return max(self.before * length - (self.low - start), self.after * length - (start + length - self.high))

    def rule_short_px(self, start: float, length: float) -> float:
        """How far the rule's point lies from where it should."""
        return 0.0 if self.rule is None else abs(self.rule.point_px - start - self.rule.share * length)


def window(frame_px: tuple[int, int], wanted: Wanted, kept: Mapping[str, Box]) -> Window:
    """The window for a delivery that keeps named boxes whole (none: as much of the frame as there is).

    Raises FaultyScene (key `size` or `aspect`) where they cannot be kept whole in this shape, with names and lack.
    """
    wide, high = float(frame_px[0]), float(frame_px[1])
    box = union(list(kept.values())) if kept else None
    shape = wanted.shape
    if shape is None:
        return Window(0.0, 0.0, wide, high) if box is None else _loose(frame_px, box, wanted.margins)
    largest = min(wide, high * shape)
    if box is not None and largest < max(box[2] - box[0], (box[3] - box[1]) * shape) * (1.0 - 1e-9):
        raise FaultyScene([_too_large(kept, largest, largest / shape, wanted)])
    axes = _axes(frame_px, wanted, box)
    width = _width(axes, shape, largest, wanted, box is not None)
    if wanted.size_px is None:
        whole = (min(ceil(width), floor(largest)), 0)
        length = (max(whole[0], 1), min(max(round(whole[0] / shape), 1), frame_px[1]))
        if box is not None and (length[0] < box[2] - box[0] or length[1] < box[3] - box[1]):
            length = (min(ceil(box[2] - box[0]), frame_px[0]), min(ceil(box[3] - box[1]), frame_px[1]))
        return _placed(axes, (float(length[0]), float(length[1])), box)
    return _placed(axes, (width, width / shape), box)


def union(boxes: Sequence[Box]) -> Box:
    """The smallest box around boxes (at least one)."""
    left, top, right, bottom = zip(*boxes, strict=True)
    return min(left), min(top), max(right), max(bottom)


def _axes(frame_px: tuple[int, int], wanted: Wanted, box: Box | None) -> tuple[_Axis, _Axis]:
    left, top, right, bottom = wanted.margins
    if box is None:  # nothing is kept: the rule's point alone counts, or the middle of the frame
        u = frame_px[0] / 2.0 if wanted.across is None else wanted.across.point_px
        v = frame_px[1] / 2.0 if wanted.down is None else wanted.down.point_px
        across = _Axis(float(frame_px[0]), u, u, 0.0, 0.0, wanted.across)
        return across, _Axis(float(frame_px[1]), v, v, 0.0, 0.0, wanted.down)
    return (
        _Axis(float(frame_px[0]), box[0], box[2], left, right, wanted.across),
        _Axis(float(frame_px[1]), box[1], box[3], top, bottom, wanted.down),
    )


def _width(axes: tuple[_Axis, _Axis], shape: float, largest: float, wanted: Wanted, around: bool) -> float:
    """The window's width: as narrow as margins and rule allow but no narrower than the delivery has pixels; without
    anything to lay it around, as wide as frame and rule allow."""
    across, down = axes
    most = min(across.most_px, down.most_px * shape)
    if not around:
        return most if 0.0 < most < largest else largest
    need = min(max(across.need_px, down.need_px * shape), largest)
    least = max(across.least_px, down.least_px * shape)
    pixels = 0.0 if wanted.size_px is None else float(wanted.size_px[0])
    width = max(need if least > max(most, need) else least, need, min(pixels, max(most, need)))
    return min(max(width, min(most, least)) if least < inf else width, largest)


def _placed(axes: tuple[_Axis, _Axis], size: tuple[float, float], box: Box | None) -> Window:
    """A window of that size in its place, on whole pixels where that keeps the box, with what it lacks."""
    (across, down), (width, height) = axes, size
    left = _on_pixels(across.start_px(width), width, across)
    top = _on_pixels(down.start_px(height), height, down)
    short = max(across.margin_short_px(left, width), down.margin_short_px(top, height))
    off = max(across.rule_short_px(left, width), down.rule_short_px(top, height))
    margin_short_px = short if box is not None and short > 1.0 else 0.0
    return Window(left, top, width, height, margin_short_px, off if off > 1.0 else 0.0)


def _loose(frame_px: tuple[int, int], box: Box, margins: tuple[float, float, float, float]) -> Window:
    """A window of the box's own shape: the box, its margins, whole pixels, cut at the frame's edges."""
    left, top, right, bottom = box
    across = (right - left) / (1.0 - margins[0] - margins[2])
    down = (bottom - top) / (1.0 - margins[1] - margins[3])
    x0, y0 = max(0, floor(left - across * margins[0])), max(0, floor(top - down * margins[1]))
    x1 = min(frame_px[0], ceil(right + across * margins[2]))
    y1 = min(frame_px[1], ceil(bottom + down * margins[3]))
    placed = Window(float(x0), float(y0), float(x1 - x0), float(y1 - y0))
    axes = _axes(frame_px, Wanted(margins=margins), box)
    short = max(axes[0].margin_short_px(x0, placed.width), axes[1].margin_short_px(y0, placed.height))
    return replace(placed, margin_short_px=short if short > 1.0 else 0.0)


def _on_pixels(start: float, length: float, axis: _Axis) -> float:
    """A window's start on a whole pixel, where its length is whole too and what it keeps stays inside; else as it is.

    An unscaled window on whole pixels shows the plate's own pixels, not means of neighbours.
    """
    if length != round(length):
        return start
    for whole in (round(start), floor(start), ceil(start)):
        if whole <= axis.low and axis.high <= whole + length and 0 <= whole <= axis.frame_px - length:
            return float(whole)
    return start


def _too_large(kept: Mapping[str, Box], width: float, height: float, wanted: Wanted) -> Fault:
    """Which of them do not fit into the largest window there is, and by how much."""
    alone = [name for name, (left, top, right, bottom) in kept.items() if right - left > width or bottom - top > height]
    names = alone or list(kept)
    left, top, right, bottom = union([kept[name] for name in names])
    lacks = [f"{right - left - width:.0f} px short across"] if right - left > width else []
    lacks += [f"{bottom - top - height:.0f} px short down"] if bottom - top > height else []
    what = (
        f"a window of this shape cannot keep {' and '.join(names)} whole: it is {' and '.join(lacks)} "
        f"({right - left:.0f} × {bottom - top:.0f} px wanted, {width:.0f} × {height:.0f} px in the frame); extend the "
        "plate, or choose another shape"
    )
    if wanted.size_px is None:
        return Fault(("aspect",), what)
    return Fault(("size",), what, f"[{wanted.size_px[0]}, {wanted.size_px[1]}]")
