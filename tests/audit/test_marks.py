"""Things already in a picture: which disagree with the rest, by how much, and what puts them right.

On level ground an object as tall as the camera touches the horizon wherever it stands (perspective drawing; common
practice, no source), so contact and horizon give a height (Criminisi, Reid, Zisserman, Single View Metrology, 2000).
"""

from typing import Any

import pytest
from audit_scenes import PLATE, of, solved
from hypothesis import given
from hypothesis import strategies as st

between = st.floats


def mark(name: str, ground_m: tuple[float, float], tall_m: float, drawn: float = 1.0, **keys: Any) -> dict[str, Any]:
    """A thing of a height at a ground point, drawn `drawn` times as high in the picture."""
    (u, v), (top_u, top_v) = PLATE.project([(*ground_m, 0.0), (*ground_m, tall_m)])
    top = [float(u + drawn * (top_u - u)), float(v + drawn * (top_v - v))]
    return {"name": name, "contact": [float(u), float(v)], "top": top, **keys}


def picture(*marks: dict[str, Any], height: float | None = None) -> dict[str, Any]:
    camera: dict[str, Any] = {"horizon": {"pitch": PLATE.pitch_deg}, "lens": {"pixels": PLATE.focal_px}}
    if height is not None:
        camera["height"] = height
    return {"scene": 1, "plate": {"image": "plate.png", "camera": camera}, "marks": list(marks)}


FITTING = (mark("man", (0.0, 6.0), 1.75, height=1.75), mark("door", (1.5, 9.0), 2.05, kind="door"))


def test_things_that_agree_are_left_alone() -> None:
    plan, findings = solved(picture(*FITTING, height=1.6))
    assert findings == ()
    assert [m.height_m for m in plan.marks] == pytest.approx([1.75, 2.05])


def test_the_rest_tells_the_height_of_a_camera_that_nobody_states() -> None:
    odd = mark("crate", (-1.0, 5.0), 0.6, 1.5, height=0.6)
    plan, findings = solved(picture(*FITTING, odd, mark("post", (-2.0, 8.0), 1.1, height=1.1)))
    assert plan.plate.camera.height_m == pytest.approx(1.6, rel=1e-6)
    assert "most of the marks agree" in plan.plate.assumed[0]
    (found,) = of(findings, "out-of-scale")
    assert found.element == "crate" and "% too large" in found.message and "the other marks" in found.message


@given(between(0.4, 2.2), between(3.0, 15.0), between(0.5, 2.0))
def test_scaling_or_moving_puts_a_thing_right(tall_m: float, away_m: float, drawn: float) -> None:
    odd = mark("odd", (0.3, away_m), tall_m, drawn, height=tall_m)
    words = picture(*FITTING, odd, height=1.6)
    plan, findings = solved(words)
    off = plan.marks[2].height_m / tall_m - 1.0
    found = of(findings, "out-of-scale")
    assert bool(found) == (abs(off) > 0.05)
    if found:
        assert f"{abs(off):.0%} too {'large' if off > 0 else 'small'}" in found[0].message
        assert found[0].remedies[0].mends
        for remedy in found[0].remedies:
            after, left = solved(words, remedy.settings)
            assert of(left, "out-of-scale") == []
            assert after.marks[2].height_m == pytest.approx(tall_m, rel=2e-3)


def test_scale_and_move_are_told_in_numbers() -> None:
    """With a level camera a top moves by the share of the height, and a foot by the same share of its way down."""
    level = picture(mark("odd", (0.0, 8.0), 1.0, height=1.0), height=1.6)
    level["plate"]["camera"]["horizon"] = {"pitch": 0}
    level["marks"][0] = {"name": "odd", "contact": [1500, 1480], "top": [1500, 1180], "height": 0.8}
    (found,) = of(solved(level)[1], "out-of-scale")  # horizon at row 1000: 300/480 of 1.6 m = 1 m
    assert found.message.startswith("By the plate's camera, odd is drawn 1.00 m high where it stands")
    assert [r.text for r in found.remedies] == [
        "Move it 120 px down, nearer, its size kept.",
        "Scale it to 80.0% about its foot.",
    ]
    assert found.remedies[0].settings == (
        ("marks.odd.contact", "[1500.00, 1600.00]"),
        ("marks.odd.top", "[1500.00, 1300.00]"),
    )


def test_a_horizon_of_its_own_is_held_against_the_plates() -> None:
    row = PLATE.horizon_row(1500.0)
    for off_px, said in ((135.0, "too little"), (-135.0, "too much")):  # 2400 px: 3.2°
        words = picture(mark("jar", (0.0, 6.0), 0.5, horizon=row + off_px), height=1.6)
        (found,) = of(solved(words)[1], "horizons-apart")
        assert said in found.message
        assert of(solved(words, found.remedies[0].settings)[1], "horizons-apart") == []
    assert solved(picture(mark("jar", (0.0, 6.0), 0.5, horizon=row + 120.0), height=1.6))[1] == ()
