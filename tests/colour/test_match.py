"""The match moves colours as light does, and no farther than it can be trusted; against truth: tests/truth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.colour.match import NEUTRAL_GROUND_FRACTION, PAINT_STOPS, Evidence, matching_gain

SHARES = st.floats(0.01, 1.0)
EVIDENCE = st.builds(Evidence, st.tuples(SHARES, SHARES, SHARES), SHARES, SHARES)


@given(EVIDENCE)
def test_no_match_changes_nothing(evidence: Evidence) -> None:
    assert np.array_equal(matching_gain(evidence, 0.0), np.ones(3))


@given(EVIDENCE, st.floats(0.1, 0.9))
def test_part_of_a_match_is_that_part_of_its_stops(evidence: Evidence, part: float) -> None:
    whole = np.log2(matching_gain(evidence, 1.0))
    assert np.log2(matching_gain(evidence, part)) == pytest.approx(part * whole, abs=1e-12)


def test_like_light_asks_for_nothing() -> None:
    ground = (NEUTRAL_GROUND_FRACTION,) * 3
    assert matching_gain(Evidence(ground, 0.5, 0.4), 1.0) == pytest.approx(np.ones(3), abs=1e-12)


@given(EVIDENCE, st.permutations([0, 1, 2]))
def test_channels_are_alike(evidence: Evidence, order: list[int]) -> None:
    turned = Evidence(tuple(evidence.ground[i] for i in order), evidence.plate_highlight, evidence.element_highlight)
    assert matching_gain(turned, 1.0) == pytest.approx(matching_gain(evidence, 1.0)[order], abs=1e-12)


@given(EVIDENCE)
def test_warm_ground_warms(evidence: Evidence) -> None:
    gain = matching_gain(evidence, 1.0)
    order = np.argsort(evidence.ground)
    assert np.all(np.diff(gain[order]) >= -1e-12)


@given(EVIDENCE)
def test_a_darker_element_is_not_lifted(evidence: Evidence) -> None:
    """Dark paint is no evidence of little light: an element darker than the plate gets what any dark one gets."""
    dark = Evidence(evidence.ground, 0.9, 0.01)
    assert np.array_equal(matching_gain(dark, 1.0), matching_gain(Evidence(evidence.ground, 0.9, 0.5), 1.0))


@given(EVIDENCE)
def test_bounded(evidence: Evidence) -> None:
    """Whatever is seen: a third of a stop from the ground; of the highlights' excess an eighth as far as it may be
    paint, and never more than there is."""
    excess = max(0.0, np.log2(evidence.element_highlight / evidence.plate_highlight))
    stops = np.log2(matching_gain(evidence, 1.0))
    taken = min(excess, PAINT_STOPS) / 8 + max(0.0, excess - PAINT_STOPS)
    assert taken <= excess
    assert np.all(np.abs(stops + taken) <= 1 / 3)


@pytest.mark.parametrize("darker_stops", [2.0, 3.0, 4.0])
def test_a_dark_plate_takes_white_things_down(darker_stops: float) -> None:
    """A white thing (0.85) in a place that shows the light of a grey card's 0.18 darkened by stops: in that light it
    could show no more than 0.85 / 0.18 of the card, which the match reaches to within what paint can explain."""
    ground = 0.18 * 2.0**-darker_stops
    gain = matching_gain(Evidence((ground,) * 3, ground, 0.85), 1.0)
    assert np.log2(0.85 * gain[1] / ground) <= PAINT_STOPS
