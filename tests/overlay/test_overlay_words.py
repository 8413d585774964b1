"""What the overlay says, in letters its font has."""

from dataclasses import replace

import pytest
from overlay_plans import PLATE_1, PLATE_2, placed, plan_of

from compositor.audit.findings import Finding
from compositor.base.letters import NO_BREAK, SIGNS, STAND_INS, printable
from compositor.overlay.perspective import Vanishing
from compositor.overlay.style import Kind, Scale, TextSize, font, text_width_px
from compositor.overlay.wording import (
    TextLine,
    element_lines,
    horizon_text,
    legend_lines,
    metres,
    vanishing_text,
    wrapped,
)

SCALE = Scale.of((3000, 2000))
FITTING = replace(
    placed(PLATE_1, "person", (0.0, 6.25), "Anna"),
    horizon_gap_px=0.4,
    view_elevation_mismatch_deg=0.2,
    enlargement_ratio=0.8,
    scale_ratio=0.674,
)


def words(lines: tuple[TextLine, ...]) -> list[str]:
    return [line.text.replace(NO_BREAK, " ") for line in lines]


def test_what_fits_has_two_lines() -> None:
    assert words(element_lines(FITTING, [])) == ["Anna", "6.25 m · 67 % · 1.72 m high"]
    assert "deep" in element_lines(replace(FITTING, stance="flat"), [])[1].text


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"horizon_gap_px": 12.3}, "horizon 12 px below the plate's"),  # its horizon lies under the plate's
        ({"horizon_gap_px": -3.0}, "horizon 3 px above the plate's"),
        ({"view_elevation_mismatch_deg": 3.14}, "taken from 3.1° lower"),  # the plate looks down more steeply
        ({"view_elevation_mismatch_deg": -2.0}, "taken from 2.0° higher"),
        ({"enlargement_ratio": 1.4}, "enlarged 1.40 x"),
    ],
)
def test_what_differs_is_said_without_alarm(change: dict[str, float], said: str) -> None:
    lines = element_lines(replace(FITTING, **change), [])  # type: ignore[arg-type]
    assert words(lines)[2:] == [said]
    assert lines[2].sign is None


def test_findings_of_weight_go_to_their_element_errors_first() -> None:
    findings = [
        Finding("a", "warning", "Anna", "first"),
        Finding("b", "error", "Anna", "second", (), "two"),
        Finding("c", "info", "Anna", "third"),
        Finding("d", "error", "Ben", "fourth"),
        Finding("e", "warning", None, "fifth"),
    ]
    lines = element_lines(FITTING, findings)[2:]
    assert [(line.text, line.sign) for line in lines] == [("two", "error"), ("first", "warning")]
    legend = legend_lines(plan_of(PLATE_1, (FITTING,)), findings, [Kind.HORIZON])
    assert ("fifth", "warning") in [(line.text, line.sign) for line in legend]
    assert not {"first", "second", "third", "fourth"} & set(words(legend))


@pytest.mark.parametrize(
    ("code", "change"),
    [
        ("horizons-apart", {"horizon_gap_px": 12.3}),
        ("seen-from-another-height", {"view_elevation_mismatch_deg": 3.14}),
        ("enlarged", {"enlargement_ratio": 1.4}),
    ],
)
def test_a_finding_and_a_difference_do_not_say_the_same_twice(code: str, change: dict[str, float]) -> None:
    finding = Finding(code, "warning", "Anna", "a sentence", (), "few words")
    lines = element_lines(replace(FITTING, **change), [finding])  # type: ignore[arg-type]
    assert words(lines)[2:] == ["few words"]


def test_the_legend_tells_the_camera_and_what_was_assumed() -> None:
    plan = plan_of(PLATE_2, (replace(FITTING, assumed=("camera as high as the plate's",)),))
    text = words(legend_lines(plan, [], [Kind.GROUND]))
    assert text == [
        "Terrace, late afternoon",
        "camera 2.75 m high",
        "tilted 13.0 ± 0.3° down",
        "horizon rising 0.8° to the right",
        "focal length 1650 px",
        "assumed: lens 50 mm equivalent (normal lens)",
        "assumed for Anna: camera as high as the plate's",
        "in front: lamp-post, 4.25 m",
        "ground, squares in metres",
    ]


def test_the_horizon_is_named_by_its_row_at_the_centre() -> None:
    plate = plan_of(PLATE_2, (), plus_minus={"horizon_left_px": 12.0, "horizon_right_px": 8.0}).plate
    assert horizon_text(plate) == "horizon 219 ± 10 px"  # (231.6 + 206.5) / 2, from the terrace's record
    above = plan_of(replace(PLATE_1, pitch_deg=-40.0), (), plus_minus={}).plate
    assert horizon_text(above) == "horizon -1098 px, above the frame"  # 1000 − 2500·tan 40°
    below = plan_of(replace(PLATE_1, pitch_deg=40.0), (), plus_minus={}).plate
    assert horizon_text(below).endswith(", below the frame")


def test_vanishing_points_say_where_they_are() -> None:
    assert vanishing_text(Vanishing((1.0, 1.0), (1.0, 0.0), 0.0)) == "vanishing point"
    assert vanishing_text(Vanishing((1.0, 1.0), (1.0, 0.0), 1240.4)) == "vanishing point 1240 px outside"
    assert vanishing_text(Vanishing((1.0, 1.0), (1.0, 0.0), None)) == "vanishing point at infinity"


def test_metres_are_rounded_to_what_matters() -> None:
    assert [metres(value).replace(NO_BREAK, " ") for value in (0.524, 6.2, 12.34, 250.0)] == [
        "0.52 m",
        "6.20 m",
        "12.3 m",
        "250 m",
    ]


def test_every_letter_kept_is_in_the_font() -> None:
    face = font(40)
    missing = bytes(face.getmask("\uffff"))
    assert all(bytes(face.getmask(sign)) != missing for sign in SIGNS)
    letters = [chr(code) for code in range(33, 127)]
    assert all(bytes(face.getmask(letter)) != missing for letter in letters)
    assert all(printable(stand_in) == stand_in for stand_in in STAND_INS.values())
    assert bytes(face.getmask("ä")) == missing  # why stand-ins are needed at all


def test_other_letters_lose_accents_or_become_question_marks() -> None:
    assert printable("Fauteuil à bascule, Größe 3 × 2") == "Fauteuil a bascule, Grosse 3 x 2"
    assert printable("椅子") == "??"
    assert printable("a\u0301b\u200d") == "ab?"


def test_a_long_message_is_cut_after_four_lines() -> None:
    parts = wrapped([TextLine("the same words over and over " * 9, sign="error")], 400.0, SCALE)
    assert len(parts) == 4
    assert parts[-1].text.endswith("…") and not parts[-2].text.endswith("…")
    size = SCALE.text_px(TextSize.BODY)
    assert all(part.indent_px + text_width_px(part.text, size) <= 400.0 for part in parts)


def test_a_number_stays_with_its_unit() -> None:
    for width in range(60, 400, 10):
        for part in wrapped(element_lines(FITTING, []), float(width), SCALE):
            assert part.text not in ("m", "%", "high") and not part.text.startswith(("m ", "% ", "high "))


def test_long_lines_are_broken_between_words_and_no_line_is_too_wide() -> None:
    line = TextLine(
        "photographed from much too near and also from a long-unbreakable-word-of-some-length", sign="warning"
    )
    parts = wrapped([line], 300.0, SCALE)
    size = SCALE.text_px(TextSize.BODY)
    assert len(parts) > 2
    assert all(part.indent_px + text_width_px(part.text, size) <= 300.0 for part in parts)
    assert [part.sign for part in parts] == ["warning"] + [None] * (len(parts) - 1)
    assert any(part.text.endswith("…") for part in parts)
