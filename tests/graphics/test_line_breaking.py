"""Where lines of copy break. Source: Unicode Standard Annex #14 (classes SP, HY, BA, ID, CL, OP, GL, soft hyphens) and
Annex #9 (rules P2 and P3 for the direction of a paragraph)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.solve.breaking import pieces, runs_rightwards, shown


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("a bc d", ["a ", "bc ", "d"]),
        ("sea-side view", ["sea-", "side ", "view"]),
        ("from -5 to 5", ["from ", "-5 ", "to ", "5"]),
        ("from\u00a0£349 now", ["from\u00a0£349 ", "now"]),
        ("Sonnen\u00adliege", ["Sonnen\u00ad", "liege"]),
        ("a – b", ["a ", "– ", "b"]),
        ("テラスの午後。", ["テ", "ラ", "ス", "の", "午", "後。"]),
        ("「午後」へ", ["「午", "後」", "へ"]),
        ("a\u200bb", ["a\u200b", "b"]),
        ("بعد الظهر", ["بعد ", "الظهر"]),
        ("", [""]),
    ],
)
def test_places(text: str, parts: list[str]) -> None:
    assert pieces(text) == parts


@given(st.text(alphabet=st.sampled_from("ab -–。「午ア\u00ad\u00a0ب9"), max_size=40))
def test_pieces_are_the_text(text: str) -> None:
    assert "".join(pieces(text)) == text
    assert all(not part.startswith(" ") for part in pieces(text.strip())[1:])


def test_soft_hyphens_show_at_the_end_of_a_line_only() -> None:
    assert shown("Sonnen\u00adlie\u00ad") == "Sonnenlie-"
    assert shown("Sonnen\u00adliege ") == "Sonnenliege"


def test_direction_is_that_of_the_first_strong_character() -> None:
    assert runs_rightwards("12 a ب") and not runs_rightwards("12 ب a")
    assert not runs_rightwards("«שלום»") and runs_rightwards("2026")
