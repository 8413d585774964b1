"""What the terminal says in words: how a camera was held, the sun of a brief, findings that several variants share."""

import pytest

from compositor.audit.findings import Finding, Remedy
from compositor.audit.wording import held
from compositor.report.brief_text import direction
from compositor.report.text import told_of_several


@pytest.mark.parametrize(
    ("pitch_deg", "roll_deg", "said"),
    [
        (-4.5, 0.0, ["tilted 4.50° down"]),
        (9.0, 0.8, ["tilted 9.00° up", "horizon rising 0.80° to the right"]),
        (-0.001, -2.0, ["aimed level", "horizon rising 2.00° to the left"]),
    ],
)
def test_how_a_camera_was_held(pitch_deg: float, roll_deg: float, said: list[str]) -> None:
    assert held(pitch_deg, roll_deg) == said


@pytest.mark.parametrize(
    ("beside_deg", "said"),
    [
        (-74.0, "from the left, a little behind the subject"),
        (90.0, "from the right, square to the view"),
        (110.0, "from the right, a little behind the camera"),
    ],
)
def test_a_sun_at_the_side_is_said_to_be_before_or_behind(beside_deg: float, said: str) -> None:
    assert direction(beside_deg).startswith(said)


def test_what_reads_the_same_is_told_once() -> None:
    """Findings whose second way out differs are told in one line, and where all ways out are is said at the end."""
    first, others = Remedy("Move it.", ()), (Remedy("Lift it.", ()), Remedy("Turn it.", ()))
    pair = [Finding("code", "warning", "post", "The post is off.", (first, other)) for other in others]
    lines = told_of_several([("one", pair[:1], ()), ("two", pair[1:], ())]).splitlines()
    assert lines[2:4] == ["warning: The post is off. [all variants]", "    Move it."]
    assert "--variant NAME" in lines[4] and len(lines) == 5
