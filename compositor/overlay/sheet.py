"""The sheet: all marks and captions of an overlay in their places, before any pixel is touched."""

from collections.abc import Sequence
from dataclasses import dataclass

from compositor.audit.findings import Finding
from compositor.base.arrays import Floats
from compositor.overlay.bars import bar_marks
from compositor.overlay.boxes import Box, between, outside
from compositor.overlay.captions import Caption
from compositor.overlay.critique import judged, judged_marks
from compositor.overlay.grid import GroundLine, ground_grid
from compositor.overlay.horizons import own_horizon_marks, plate_horizon
from compositor.overlay.layout import Layout, Leader, Numbered, Subject
from compositor.overlay.marks import Mark, Stroke
from compositor.overlay.perspective import Vanishing, edge_marks, point_marks, vanishing
from compositor.overlay.style import Kind, Scale
from compositor.overlay.windows import window_marks
from compositor.plan.model import Plan

_GRID_GAP = 24.0  # thousandths of the diagonal between grid lines across, by eye
_GRID_FADE = 70.0  # thousandths of the diagonal under the horizon over which the grid fades, by eye
_CROSS_ARM = 8.0


@dataclass(frozen=True)
class Sheet:
    """Everything to draw, in order: ground, marks, leaders, captions, numbers."""

    ground: tuple[Mark, ...]
    marks: tuple[Mark, ...]
    leaders: tuple[Leader, ...]
    captions: tuple[Caption, ...]
    numbers: tuple[Numbered, ...]


def lay_out(plan: Plan, findings: Sequence[Finding]) -> Sheet:
    """Compute the sheet of a plan: deterministic, captions inside the frame and never over one another."""
    plate, camera = plan.plate, plan.plate.camera
    scale, frame = Scale.of(plate.size_px), Box(0.0, 0.0, *plate.size_px)
    subjects = (
        *(Subject.of(element, camera, findings, scale) for element in plan.elements),
        *(judged(plan, mark, findings, scale) for mark in plan.marks),
    )
    points = tuple(vanishing(group, frame) for group in plate.edge_groups)
    grid = ground_grid(camera, scale.px(_GRID_GAP))
    horizon = camera.horizon_line()
    ground = tuple(stroke for line in grid for stroke in _ground_strokes(line, horizon, scale, subjects))
    marks: list[Mark] = []
    for group, seen in zip(plate.edge_groups, points, strict=True):
        marks += [*edge_marks(group, seen, frame), *point_marks(seen, scale)]
    marks += plate_horizon(plate, scale)
    marks += _optical_centre(camera.principal_px, scale)
    for subject in subjects:
        marks += own_horizon_marks(subject.element, camera, scale)
    for subject in subjects:
        marks += bar_marks(subject.bar, scale)
    for mark in plan.marks:
        marks += judged_marks(plan, mark, scale)
    for delivery in plan.deliveries:
        marks += window_marks(delivery, plate.size_px)
    layout = _placed(plan, findings, subjects, points, _kinds(ground, marks))
    layout.add_vanishing(points)
    layout.add_gaps(subjects)
    layout.add_windows(plan.deliveries)
    layout.add_distances(grid)
    return Sheet(ground, tuple(marks), tuple(layout.leaders), tuple(layout.captions), tuple(layout.numbers))


def _placed(
    plan: Plan,
    findings: Sequence[Finding],
    subjects: tuple[Subject, ...],
    points: tuple[Vanishing, ...],
    kinds: tuple[Kind, ...],
) -> Layout:
    """Legend, horizon and elements in their places.

    An element's label without room moves into the legend under a number; the legend grows by it and may crowd out
    another one, so this goes round until none is left over.
    """
    numbered: tuple[Subject, ...] = ()
    while True:
        layout = Layout(plan.plate, subjects, points)
        layout.add_legend(plan, findings, kinds)
        layout.add_horizon()
        listed = layout.add_list(numbered)
        layout.add_numbers(numbered[:listed])
        crowded = layout.add_labels([subject for subject in subjects if subject not in numbered])
        if not crowded:
            return layout
        numbered = tuple(subject for subject in subjects if subject in (*numbered, *crowded))


def _ground_strokes(line: GroundLine, horizon: Floats, scale: Scale, subjects: Sequence[Subject]) -> tuple[Stroke, ...]:
    """A grid line, which runs behind the elements and fades towards the horizon.

    Its opacity is linear in the distance from the horizon.
    """
    parts = [(line.start_px, line.end_px)]
    for subject in subjects:
        parts = [
            (between(part, first), between(part, last))
            for part in parts
            for first, last in outside(*part, subject.hull_px)
        ]
    fade = scale.px(_GRID_FADE)
    a, b, c = horizon
    return tuple(
        Stroke(
            Kind.GROUND,
            *part,
            fade=(
                float(a * part[0][0] + b * part[0][1] + c) / fade,
                float(a * part[1][0] + b * part[1][1] + c) / fade,
            ),
        )
        for part in parts
    )


def _optical_centre(centre: tuple[float, float], scale: Scale) -> tuple[Mark, ...]:
    (u, v), arm = centre, scale.px(_CROSS_ARM)
    return (
        Stroke(Kind.CENTRE, (u - arm, v), (u + arm, v)),
        Stroke(Kind.CENTRE, (u, v - arm), (u, v + arm)),
    )


def _kinds(ground: Sequence[Mark], marks: Sequence[Mark]) -> tuple[Kind, ...]:
    """The kinds on a sheet, in the key's order."""
    present = {mark.kind for mark in (*ground, *marks)}
    return tuple(kind for kind in Kind if kind in present)
