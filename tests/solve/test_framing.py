"""Windows of deliveries keep what they are laid around, leave margins and follow their rule."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.errors import FaultyScene
from compositor.solve.framing import Box, Rule, Wanted, Window, union, window

sizes = st.tuples(st.integers(40, 3000), st.integers(40, 3000))
margins = st.tuples(*[st.floats(0, 0.45)] * 4)


@st.composite
def framed(draw: st.DrawFn) -> tuple[tuple[int, int], dict[str, Box]]:
    wide, high = draw(sizes)
    boxes = {}
    for name in ("chair", "table")[: draw(st.integers(1, 2))]:
        left, right = sorted((draw(st.floats(0, wide)), draw(st.floats(0, wide))))
        top, bottom = sorted((draw(st.floats(0, high)), draw(st.floats(0, high))))
        boxes[name] = (min(left, wide - 1e-3), min(top, high - 1e-3), max(right, left + 1e-3), max(bottom, top + 1e-3))
    return (wide, high), boxes


@st.composite
def rules(draw: st.DrawFn) -> tuple[Rule | None, Rule | None]:
    shares = st.floats(0.05, 0.95)
    across = draw(st.none() | st.builds(Rule, st.floats(-500, 3500), shares))
    return across, draw(st.none() | st.builds(Rule, st.floats(-500, 3500), shares))


def keeps(found: Window, frame_px: tuple[int, int], box: Box) -> None:
    slack = 1e-6
    assert found.left >= -slack and found.top >= -slack
    assert found.left + found.width <= frame_px[0] + slack and found.top + found.height <= frame_px[1] + slack
    assert found.left <= box[0] + slack and found.top <= box[1] + slack
    assert found.left + found.width >= box[2] - slack and found.top + found.height >= box[3] - slack


@given(framed(), sizes, margins, rules())
def test_boxes_are_kept_whole_or_the_lack_is_said(
    frame_and_boxes: tuple[tuple[int, int], dict[str, Box]],
    size_px: tuple[int, int],
    margin: tuple[float, float, float, float],
    rule: tuple[Rule | None, Rule | None],
) -> None:
    frame_px, boxes = frame_and_boxes
    box, shape = union(list(boxes.values())), size_px[0] / size_px[1]
    try:
        found = window(frame_px, Wanted(size_px, None, margin, *rule), boxes)
    except FaultyScene as error:
        fault = error.faults[0]
        largest = min(frame_px[0], frame_px[1] * shape)
        assert fault.key == ("size",) and "px short" in fault.what and any(name in fault.what for name in boxes)
        assert box[2] - box[0] > largest * 0.999 or box[3] - box[1] > largest / shape * 0.999
        return
    keeps(found, frame_px, box)
    assert found.width / found.height == pytest.approx(shape, rel=1e-6)
    if found.margin_short_px == 0.0:
        assert found.left + margin[0] * found.width <= box[0] + 1.001
        assert found.top + found.height - margin[3] * found.height >= box[3] - 1.001
    for at, start, length in ((rule[0], found.left, found.width), (rule[1], found.top, found.height)):
        if at is not None and found.rule_short_px == 0.0:
            assert start + at.share * length == pytest.approx(at.point_px, abs=1.001)


@given(framed(), sizes, margins)
def test_windows_of_a_shape_are_whole_pixels(
    frame_and_boxes: tuple[tuple[int, int], dict[str, Box]],
    aspect: tuple[int, int],
    margin: tuple[float, float, float, float],
) -> None:
    frame_px, boxes = frame_and_boxes
    try:
        found = window(frame_px, Wanted(None, aspect, margin), boxes)
    except FaultyScene as error:
        assert error.faults[0].key == ("aspect",)
        return
    keeps(found, frame_px, union(list(boxes.values())))
    assert (found.width, found.height) == (round(found.width), round(found.height))


@given(framed(), margins)
def test_window_of_the_box_itself(
    frame_and_boxes: tuple[tuple[int, int], dict[str, Box]], margin: tuple[float, float, float, float]
) -> None:
    frame_px, boxes = frame_and_boxes
    found = window(frame_px, Wanted(margins=margin), boxes)
    keeps(found, frame_px, union(list(boxes.values())))
    assert (found.left, found.width) == (round(found.left), round(found.width))


def test_centre_crops_of_a_photograph() -> None:
    # Centre-crop arithmetic from 6000 × 4000 (photographic aspect ratios: common practice, no source).
    for size, (width, height) in {
        (1, 1): (4000, 4000),
        (4, 5): (3200, 4000),
        (16, 9): (6000, 3375),
        (9, 16): (2250, 4000),
        (728, 90): (6000, 741.758),
        (160, 600): (1066.667, 4000),
        (970, 250): (6000, 1546.392),
    }.items():
        found = window((6000, 4000), Wanted(size), {})
        assert (found.width, found.height) == pytest.approx((width, height), abs=1e-3)
        assert found.left + found.width / 2 == pytest.approx(3000, abs=0.5)


def test_no_narrower_than_the_delivery_has_pixels() -> None:
    found = window((3000, 2000), Wanted((1080, 1080), None, (0.1,) * 4), {"a": (1000.0, 1000.0, 1100.0, 1100.0)})
    assert (found.width, found.height) == (1080.0, 1080.0)
    assert found.margin_short_px == 0.0


def test_short_margin_is_told() -> None:
    found = window((1000, 1000), Wanted((1000, 1000), None, (0.1,) * 4), {"a": (10.0, 0.0, 990.0, 1000.0)})
    assert found.margin_short_px == pytest.approx(100.0)


def test_a_horizon_goes_to_its_height_in_the_largest_window() -> None:
    # By hand: horizon at row 800 of 2000, wanted at a quarter: 800 above is a quarter of 3200, but 1200 below is three
    # quarters of 1600, so 1600 high, from row 400.
    found = window((3000, 2000), Wanted((1000, 1000), down=Rule(800.0, 0.25)), {})
    assert (found.top, found.height, found.rule_short_px) == (400.0, 1600.0, 0.0)


def test_a_thing_goes_to_a_third() -> None:
    # By hand: 300 wide about column 700 at one third with a tenth free: 150 / (1/3 - 1/10) = 642.9 wide.
    wanted = Wanted((100, 100), None, (0.1,) * 4, across=Rule(700.0, 1 / 3))
    found = window((3000, 2000), wanted, {"a": (550.0, 900.0, 850.0, 1000.0)})
    assert found.width == pytest.approx(150 / (1 / 3 - 0.1))
    assert found.left + found.width / 3 == pytest.approx(700.0)


def test_a_rule_that_the_frame_does_not_allow_is_told() -> None:
    wanted = Wanted((100, 100), None, (0.0,) * 4, across=Rule(60.0, 2 / 3))
    found = window((3000, 2000), wanted, {"a": (0.0, 500.0, 120.0, 620.0)})
    assert found.left == 0.0 and found.width == pytest.approx(120.0)
    assert found.rule_short_px == pytest.approx(20.0)


def test_what_does_not_fit_is_named_with_its_lack() -> None:
    boxes = {"mast": (100.0, 0.0, 140.0, 1900.0), "boat": (0.0, 1500.0, 900.0, 1900.0)}
    with pytest.raises(FaultyScene) as caught:
        window((3000, 2000), Wanted((728, 90)), boxes)
    what = caught.value.faults[0].what
    # The largest window of this shape is 3000 × 370.9 px.
    assert "mast" in what and "1529 px short down" in what and "3000 × 371 px in the frame" in what


def test_union() -> None:
    assert union([(0, 5, 10, 15), (-3, 6, 4, 20)]) == (-3, 5, 10, 20)
