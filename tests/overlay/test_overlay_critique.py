"""Things judged in a finished picture are drawn with a ring where their top belongs, and say so."""

from dataclasses import replace

import pytest
from overlay_plans import PLATE_1, plan_of

from compositor.audit.marks import marks as judge
from compositor.overlay.critique import judged, judged_marks
from compositor.overlay.marks import Ring, Stroke
from compositor.overlay.sheet import lay_out
from compositor.overlay.style import Kind, Scale
from compositor.plan.model import Mark

SCALE = Scale.of(PLATE_1.size_px)


def mark(drawn_m: float, claimed_m: float) -> Mark:
    """A thing 6 m away, drawn as high as drawn_m, that is claimed_m high."""
    contact, top = PLATE_1.project([(0.5, 6.0, 0.0), (0.5, 6.0, drawn_m)])
    claim = (claimed_m, claimed_m, claimed_m)
    return Mark("jar", tuple(contact), tuple(top), (0.5, 6.0), drawn_m, claim, f"{claimed_m} m high")


def test_the_ring_stands_where_the_top_belongs() -> None:
    odd = mark(1.2, 1.0)
    plan = replace(plan_of(PLATE_1, ()), marks=(odd,))
    ring, _ = judged_marks(plan, odd, SCALE)
    assert isinstance(ring, Ring)
    assert ring.centre_px == pytest.approx(tuple(PLATE_1.project([(0.5, 6.0, 1.0)])[0]), abs=0.3)
    words = [line.text for line in judged(plan, odd, tuple(judge(plan)), SCALE).lines]
    assert "20% too large: 1.20 m, not 1.00 m" in words and "ring: where its top belongs" in words


def test_what_is_right_has_no_ring() -> None:
    right = mark(1.02, 1.0)
    plan = replace(plan_of(PLATE_1, ()), marks=(right,))
    assert judged_marks(plan, right, SCALE) == ()
    assert len(judged(plan, right, (), SCALE).lines) == 2


def test_a_horizon_of_its_own_is_drawn_at_its_row() -> None:
    own = replace(mark(1.0, 1.0), own_horizon_row_px=900.0)
    plan = replace(plan_of(PLATE_1, ()), marks=(own,))
    (piece,) = judged_marks(plan, own, SCALE)
    assert isinstance(piece, Stroke) and piece.kind is Kind.OWN_HORIZON
    assert piece.start_px[1] == piece.end_px[1] == 900.0


def test_marks_have_labels_in_the_sheet() -> None:
    odd = mark(1.2, 1.0)
    plan = replace(plan_of(PLATE_1, ()), marks=(odd,))
    sheet = lay_out(plan, tuple(judge(plan)))
    assert any(line.text == "jar" for caption in sheet.captions for line in caption.lines)
