"""The overlay over a finished picture: what the plan says, drawn where it says so."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from compositor.audit.findings import Finding
from compositor.overlay.captions import draw_caption, draw_number
from compositor.overlay.ink import Frame, Pen, draw_band, draw_disc, draw_line, draw_ring
from compositor.overlay.layout import Leader
from compositor.overlay.marks import Band, Mark, Ring, Stroke
from compositor.overlay.sheet import lay_out
from compositor.overlay.style import CASING_WIDTH, LINES, TEXT, Kind, Scale, TextSize
from compositor.plan.model import Plan

_BAND_OPACITY = 0.16  # by eye
_FINEST_PX = 0.6  # by eye: a thinner line is no longer seen


def draw_overlay(plan: Plan, findings: Sequence[Finding], frame: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Draw the overlay of a plan over its composite.

    frame: (height, width, 3) uint8, the encoded composite in the full plate frame; it is left as it was.
    Returns an array of the same kind. Equal inputs give equal bytes. Raises ValueError for a frame of another
    shape or type than the plan's.
    """
    width, height = plan.plate.size_px
    if frame.shape != (height, width, 3) or frame.dtype != np.uint8:
        raise ValueError(f"a uint8 frame of shape {(height, width, 3)} wanted, got {frame.dtype} of {frame.shape}")
    sheet, scale, result = lay_out(plan, findings), Scale.of((width, height)), frame.copy()
    for mark in (*sheet.ground, *sheet.marks):
        _draw(result, mark, scale)
    for leader in sheet.leaders:
        _draw_leader(result, leader, scale)
    for caption in sheet.captions:
        draw_caption(result, caption, scale)
    for numbered in sheet.numbers:
        draw_number(result, numbered.number, numbered.box.centre, scale.text_px(TextSize.BODY))
    return result


def _draw(frame: Frame, mark: Mark, scale: Scale) -> None:
    if isinstance(mark, Band):
        draw_band(frame, mark.upper_px, mark.lower_px, Pen(LINES[mark.kind].colour, 0.0, _BAND_OPACITY))
    elif isinstance(mark, Ring):
        _draw_ring(frame, mark, scale)
    else:
        _draw_stroke(frame, mark, scale)


def _draw_stroke(frame: Frame, stroke: Stroke, scale: Scale) -> None:
    style = LINES[stroke.kind]
    width_px = max(scale.px(style.width * stroke.width_ratio), _FINEST_PX)
    dash = tuple(scale.px(part) for part in style.dash) if stroke.dashed else ()
    for colour, opacity, wider in (
        (style.casing, style.casing_opacity, 2 * scale.px(CASING_WIDTH)),
        (style.colour, style.opacity, 0.0),
    ):
        draw_line(frame, stroke.start_px, stroke.end_px, Pen(colour, width_px + wider, opacity, stroke.fade, dash))


def _draw_ring(frame: Frame, ring: Ring, scale: Scale) -> None:
    style, more = LINES[ring.kind], scale.px(CASING_WIDTH)
    if ring.filled:
        draw_disc(frame, ring.centre_px, ring.radius_px + more, style.casing, style.casing_opacity)
        draw_disc(frame, ring.centre_px, ring.radius_px, style.colour)
        return
    width_px = max(scale.px(style.width), _FINEST_PX)
    draw_ring(frame, ring.centre_px, ring.radius_px, Pen(style.casing, width_px + 2 * more, style.casing_opacity))
    draw_ring(frame, ring.centre_px, ring.radius_px, Pen(style.colour, width_px))


def _draw_leader(frame: Frame, leader: Leader, scale: Scale) -> None:
    style, width_px = LINES[Kind.ELEMENT], max(scale.px(0.5), _FINEST_PX)
    line = (leader.start_px, leader.end_px)
    draw_line(frame, *line, Pen(style.casing, width_px + 2 * scale.px(CASING_WIDTH), 0.45))
    draw_line(frame, *line, Pen(TEXT, width_px, 0.9))
