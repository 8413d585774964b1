"""Where the captions of an overlay go: legend first, then horizon and elements, then what may be left out."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot

import numpy as np

from compositor.audit.findings import Finding
from compositor.base.arrays import Floats
from compositor.geometry.camera import Camera
from compositor.overlay.bars import CONTACT_RING, HeightBar, height_bar
from compositor.overlay.boxes import Box, Point, between, clip
from compositor.overlay.captions import Caption, caption_size_px
from compositor.overlay.grid import GroundLine
from compositor.overlay.horizons import AGREES_PX, own_horizon
from compositor.overlay.labels import Board, Wish, leader
from compositor.overlay.perspective import Vanishing, point_box
from compositor.overlay.style import Kind, Scale, TextSize
from compositor.overlay.wording import (
    TextLine,
    element_lines,
    horizon_text,
    legend_lines,
    step_text,
    summary,
    vanishing_text,
    wrapped,
)
from compositor.plan.model import Delivery, PlacedElement, Plan, PlatePlan

# All in thousandths of the diagonal, by eye.
_MARGIN = 6.0
_GAP = 3.0
_LABEL_WIDTH = 150.0
_LEGEND_WIDTH = 230.0
_LONGEST_LEADER = 200.0

_HIGHEST_BLOCK = 0.8
"""By eye: no block of text is higher than this share of the frame."""


@dataclass(frozen=True)
class Leader:
    """The line from a label to what it names."""

    start_px: Point
    end_px: Point


@dataclass(frozen=True)
class Numbered:
    """A number in place of a label that found no room; the legend has the label under that number."""

    number: int
    box: Box


@dataclass(frozen=True)
class Subject:
    """What an element brings: its bar, the convex hull of its matte in the plate and its box, the label's lines."""

    element: PlacedElement
    bar: HeightBar
    hull_px: Floats
    outline: Box
    lines: tuple[TextLine, ...]

    @staticmethod
    def of(element: PlacedElement, camera: Camera, findings: Sequence[Finding], scale: Scale) -> "Subject":
        """Measure an element."""
        bar = height_bar(element, camera, scale)
        hull = seen_hull(element)
        lines = wrapped(element_lines(element, findings), scale.px(_LABEL_WIDTH), scale)
        return Subject(element, bar, hull, Box.around(np.vstack([hull, [bar.contact_px], [bar.head_px]])), lines)


def seen_hull(element: PlacedElement) -> Floats:
    """The convex hull (n, 2) of what an element covers in the plate; its contact alone where that is not in front."""
    own = np.column_stack([np.array(element.own_hull_px).reshape(-1, 2), np.ones(len(element.own_hull_px))])
    mapped = own @ element.homography_matrix.T
    if len(own) < 3 or not (mapped[:, 2] > 0).all():
        return np.array([element.contact_px])
    hull: Floats = mapped[:, :2] / mapped[:, 2:]
    return hull


class Layout:
    """A frame that fills with captions."""

    def __init__(self, plate: PlatePlan, subjects: Sequence[Subject], points: Sequence[Vanishing]) -> None:
        self.captions: list[Caption] = []
        self.leaders: list[Leader] = []
        self.numbers: list[Numbered] = []
        self._plate, self._scale = plate, Scale.of(plate.size_px)
        self._frame = Box(0.0, 0.0, *plate.size_px)
        inner = self._frame.grown(-float(round(self._scale.px(_MARGIN))))
        self._board = Board(inner, self._scale.px(_GAP))
        for subject in subjects:
            self._protect(subject)
        for seen in points:
            self._board.taken.append(point_box(seen, self._scale))
        self._protect_line(plate.horizon_px, 2.0)
        self._board.precious.append((Box.around(np.array([plate.camera.principal_px]), self._scale.px(8.0)), 10.0))

    def _protect(self, subject: Subject) -> None:
        bar, precious = subject.bar, self._board.precious
        precious.append((subject.outline, 0.7))
        precious.append((Box.around(np.array([bar.head_px]), self._scale.px(5.0)), 30.0))
        self._board.taken.append(Box.around(np.array([bar.contact_px]), self._scale.px(5.0)))
        self._protect_line((bar.contact_px, bar.head_px), 15.0)
        self._board.shafts.append((bar.contact_px, bar.head_px))
        piece = own_horizon(subject.element, self._plate.camera, self._scale)
        if piece is not None:
            self._protect_line(piece, 6.0)

    def _protect_line(self, line: tuple[Point, Point], weight: float) -> None:
        """A line as a row of small boxes, so that a slanted one costs no more than it hides."""
        seen = clip(*line, self._frame)
        if seen is None:
            return
        aslant_px = min(abs(seen[1][0] - seen[0][0]), abs(seen[1][1] - seen[0][1]))
        steps = np.linspace(seen[0], seen[1], 2 + min(int(aslant_px / self._scale.px(6.0)), 8))
        for begin, end in pairwise(steps):
            self._board.precious.append((Box.around(np.array([begin, end]), self._scale.px(3.0)), weight))

    def add_legend(self, plan: Plan, findings: Sequence[Finding], kinds: Sequence[Kind]) -> None:
        """The caption block in the corner where it hides least; where it is too large it loses its end."""
        width_px = min(self._scale.px(_LEGEND_WIDTH), 0.45 * self._frame.width)
        lines = wrapped(legend_lines(plan, findings, kinds), width_px, self._scale)
        while lines and not self._add_block(lines):
            lines = lines[:-1]

    def add_list(self, numbered: Sequence[Subject]) -> int:
        """The labels without room as a list under numbers, in blocks at the borders; how many got in."""
        width_px = min(self._scale.px(_LEGEND_WIDTH), 0.9 * self._frame.width)
        entries = [
            TextLine(summary(subject.element, subject.lines), TextSize.SMALL, number)
            for number, subject in enumerate(numbered, 1)
        ]
        listed, end = 0, len(entries)
        while end > listed:
            if self._add_block(wrapped(entries[listed:end], width_px, self._scale)):
                listed, end = end, len(entries)
            else:
                end -= 1
        return listed

    def _add_block(self, lines: tuple[TextLine, ...]) -> bool:
        size = caption_size_px(lines, self._scale)
        if size[1] > _HIGHEST_BLOCK * self._frame.height:
            return False
        box = self._board.take_clearest(size, _borders(self._board.bounds, size))
        if box is not None:
            self.captions.append(Caption(box, lines, None))
        return box is not None

    def add_horizon(self) -> None:
        """The horizon's label on the line, or at the frame's border that is nearest to it."""
        text = horizon_text(self._plate)
        seen = clip(*self._plate.horizon_px, self._board.bounds)
        lines = wrapped([TextLine(text)], self._frame.width, self._scale)
        size = caption_size_px(lines, self._scale)
        if seen is None:
            row = self._board.bounds.nearest(self._plate.horizon_px[0])[1]
            seen = ((self._board.bounds.left, row), (self._board.bounds.right, row))
        self._add_on_line(lines, seen, Kind.HORIZON, self._scale.px(_GAP) + size[1] / 2)

    def add_numbers(self, numbered: Sequence[Subject]) -> None:
        """Numbers by the contacts of elements whose label is in the legend."""
        side = float(round(1.7 * self._scale.text_px(TextSize.BODY)))
        for number, subject in enumerate(numbered, 1):
            target = self._target(subject)
            wish = Wish((side, side), target, _around(target[0], (side, side), self._scale.px(7.0)), np.inf)
            box = self._board.place(wish) or self._board.take_nearest((side, side), target[0])
            if box is not None:
                self.numbers.append(Numbered(number, box))
                self._lead(box, target)

    def add_labels(self, subjects: Sequence[Subject]) -> tuple[Subject, ...]:
        """A label for each element, the gravest and nearest first; those without room come back."""
        crowded = []
        for subject in sorted(subjects, key=lambda subject: (-len(subject.lines), subject.element.distance_m)):
            size, target = caption_size_px(subject.lines, self._scale), self._target(subject)
            beside = _beside(subject.outline, size, self._scale.px(6.0))
            box = self._board.place(Wish(size, target, beside, self._scale.px(_LONGEST_LEADER)))
            if box is None:
                crowded.append(subject)
                continue
            self.captions.append(Caption(box, subject.lines, Kind.ELEMENT))
            self._lead(box, target)
        return tuple(crowded)

    def add_vanishing(self, points: Sequence[Vanishing]) -> None:
        """A label at each vanishing point or arrow, as far as there is room."""
        for seen in points:
            lines = wrapped([TextLine(vanishing_text(seen), TextSize.SMALL)], self._frame.width, self._scale)
            size = caption_size_px(lines, self._scale)
            mark = point_box(seen, self._scale)
            target = (mark.centre, mark.centre)
            beside = _beside(mark, size, 2 * self._scale.px(_GAP))
            box = self._board.place(Wish(size, target, beside, self._scale.px(80.0)))
            if box is not None:
                self.captions.append(Caption(box, lines, Kind.EDGE))

    def add_gaps(self, subjects: Sequence[Subject]) -> None:
        """How far off an element's horizon is, beside it, as far as there is room (its label says it too)."""
        for subject in subjects:
            piece = own_horizon(subject.element, self._plate.camera, self._scale)
            gap = subject.element.horizon_gap_px
            if piece is not None and gap is not None and abs(gap) > AGREES_PX:
                self._add_small(f"{abs(gap):.0f} px", [piece[1], piece[0]], self._scale.px(2.0), Kind.OWN_HORIZON)

    def add_windows(self, deliveries: Sequence[Delivery]) -> None:
        """A delivery's name at its window, as far as there is room and that is not the whole frame."""
        for delivery in deliveries:
            left, top, width, height = delivery.window_px
            if (round(width), round(height)) != self._plate.size_px:
                sides = (((left, row), (left + width, row)) for row in (top, top + height))
                places = [between(side, share) for side in sides for share in (0.0, 1.0, 0.1, 0.3, 0.5, 0.7, 0.9)]
                self._add_small(delivery.name, places, self._scale.px(2.0), Kind.WINDOW)

    def add_distances(self, grid: Sequence[GroundLine]) -> None:
        """The distance at each line across, at its ends before its middle, as far as there is room."""
        for line in grid:
            seen = clip(line.start_px, line.end_px, self._board.bounds)
            if line.distance_m is not None and seen is not None:
                places = [between(seen, share) for share in (0.0, 1.0, 0.05, 0.95, 0.1, 0.9, 0.2, 0.8, 0.4, 0.6)]
                self._add_small(step_text(line.distance_m), places, 0.0, None)

    def _add_small(self, text: str, places: Sequence[Point], away_px: float, kind: Kind | None) -> None:
        """A word without ground at the first place that is free: to its right, to its left, over it."""
        lines = wrapped([TextLine(text, TextSize.SMALL)], self._frame.width, self._scale)
        width, height = size = caption_size_px(lines, self._scale, plated=False)
        corners = [(u + shift, v - height / 2) for u, v in places for shift in (away_px, -width - away_px, -width / 2)]
        box = self._board.take_clearest(size, np.array(corners))
        if box is not None:
            self.captions.append(Caption(box, lines, kind, plated=False))

    def _add_on_line(self, lines: tuple[TextLine, ...], line: tuple[Point, Point], kind: Kind, lift_px: float) -> None:
        """A caption over a line (or under it) at the first place that is free, from its ends inwards."""
        width, height = size = caption_size_px(lines, self._scale)
        corners = []
        for share in (0.0, 1.0, 0.15, 0.85, 0.3, 0.7, 0.5):
            u, v = between(line, share)
            left = min(max(u - width * share, self._board.bounds.left), self._board.bounds.right - width)
            corners += [(left, v - lift_px - height / 2), (left, v + lift_px - height / 2)]
        box = self._board.take_clearest(size, np.array(corners))
        if box is not None:
            self.captions.append(Caption(box, lines, kind))

    def _target(self, subject: Subject) -> tuple[Point, Point]:
        """The part of an element's bar that is in the frame, or the frame's nearest point."""
        seen = clip(subject.bar.contact_px, subject.bar.head_px, self._board.bounds)
        near = self._board.bounds.nearest(subject.bar.contact_px)
        return (near, near) if seen is None else seen

    def _lead(self, box: Box, target: tuple[Point, Point]) -> None:
        start, end = leader(box, target)
        length, ring = hypot(end[0] - start[0], end[1] - start[1]), self._scale.px(CONTACT_RING)
        if end == target[0]:  # stop at the ring around the contact
            if length <= ring:
                return
            end = between((start, end), 1.0 - ring / length)
        self.leaders.append(Leader(start, end))


def _borders(bounds: Box, size: tuple[float, float]) -> Floats:
    """Top-left corners of a box in the four corners of the bounds, then along its sides."""
    right, bottom = bounds.right - size[0], bounds.bottom - size[1]
    across = [bounds.left, right, *np.linspace(bounds.left, right, 21)[1:-1]]
    level = [(left, top) for left in across for top in (bounds.top, bottom)]
    return np.array([*level, *((left, top) for top in np.linspace(bounds.top, bottom, 21) for left in across[:2])])


def _around(point: Point, size: tuple[float, float], away_px: float) -> Floats:
    """Top-left corners of boxes on eight sides of a point."""
    (u, v), (width, height) = point, size
    across = (u + away_px, u - away_px - width, u - width / 2)
    down = (v - height / 2, v - away_px - height, v + away_px)
    return np.array([(left, top) for left in across for top in down if (left, top) != (u - width / 2, v - height / 2)])


def _beside(outline: Box, size: tuple[float, float], away_px: float) -> Floats:
    """Top-left corners of boxes along the four sides of an outline."""
    width, height = size
    rows = np.linspace(outline.top, outline.bottom - height, 9)
    columns = np.linspace(outline.left, outline.right - width, 5)
    sides = [(left, row) for row in rows for left in (outline.right + away_px, outline.left - away_px - width)]
    ends = [(column, top) for column in columns for top in (outline.top - away_px - height, outline.bottom + away_px)]
    return np.array([*sides, *ends])
