"""Copy fitted into boxes: drawn ink stays inside, no larger size would fit, lines are even, scripts are shaped."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageFont

from compositor.base.errors import PictureError
from compositor.base.lettering import Ink
from compositor.files import typeface
from compositor.files.typeface import OpenTypeface
from compositor.solve.copyfitting import Block, Setting

FONTS = Path(__file__).parents[2] / "scenes" / "campaign" / "fonts"
LATIN, ARABIC = FONTS / "manrope-extrabold.ttf", FONTS / "noto-kufi-arabic-bold.ttf"


class Typewriter:
    """A face whose every character is 0.5 wide and 0.7 high: line breaks can be worked out by hand."""

    cap_height = 0.7

    def ink(self, text: str, rightwards: bool) -> Ink:
        return Ink(0.0, -0.7, 0.5 * len(text), 0.2)

    def missing(self, text: str) -> tuple[str, ...]:
        return ()


def lines(text: str, box: tuple[float, float], **more: object) -> list[str]:
    setting = Setting(**{"leading": 1.0, "size_px": None, "smallest_px": 1.0, "most_lines": None, **more})  # type: ignore[arg-type]
    fitted = Block(text, Typewriter(), setting.leading).fit(setting, box)
    assert fitted is not None
    return list(fitted.lines)


def test_lines_are_even_and_not_filled_up_one_after_the_other() -> None:
    # At 10 px a character is 5 px wide, so 50 px hold ten. Filled up: "aaa bbb cc" / "dd"; even: five to seven each.
    assert lines("aaa bbb cc dd", (50.0, 100.0), size_px=10.0) == ["aaa bbb", "cc dd"]


def test_breaks_that_are_written_are_kept() -> None:
    assert lines("aa\nbbb\n\ncc", (50.0, 100.0), size_px=10.0) == ["aa", "bbb", "", "cc"]


def test_size_by_hand() -> None:
    # One line of four: 2 type sizes wide and 0.9 high: 100 px wide allow 50, 27 px high allow 30.
    setting = Setting(1.0, None, 1.0, 1)
    fitted = Block("abcd", Typewriter(), 1.0).fit(setting, (100.0, 27.0))
    assert fitted is not None and fitted.size_px == pytest.approx(30.0, abs=0.26)
    fitted = Block("abcd", Typewriter(), 1.0).fit(setting, (100.0, 90.0))
    assert fitted is not None and fitted.size_px == pytest.approx(50.0, abs=0.26)


def test_fewer_lines_than_it_would_take_are_small_type() -> None:
    free, one = (
        Block("aaa bbb ccc", Typewriter(), 1.0).fit(Setting(1.0, None, 1.0, most), (60.0, 60.0)) for most in (None, 1)
    )
    assert free is not None and one is not None
    assert len(free.lines) == 3 and len(one.lines) == 1 and one.size_px < free.size_px


def test_what_does_not_fit_at_the_smallest_size_is_refused() -> None:
    assert Block("abcdefghij", Typewriter(), 1.0).fit(Setting(1.0, None, 12.0, None), (50.0, 50.0)) is None


@given(
    st.lists(st.text(alphabet="abcdefgh", min_size=1, max_size=8), min_size=1, max_size=12),
    st.floats(20, 400),
    st.floats(10, 300),
    st.none() | st.integers(1, 5),
)
def test_fitted_copy_stays_in_its_box_and_no_larger_size_does(
    words: list[str], width: float, height: float, most_lines: int | None
) -> None:
    block = Block(" ".join(words), Typewriter(), 1.1)
    fitted = block.fit(Setting(1.1, None, 2.0, most_lines), (width, height))
    if fitted is None:
        assert block.fit(Setting(1.1, 2.0, 2.0, most_lines), (width, height)) is None
        return
    assert fitted.width_px <= width + 1e-3 and fitted.height_px <= height + 1e-3
    assert " ".join(fitted.lines) == " ".join(words)
    assert block.fit(Setting(1.1, fitted.size_px + 0.5, 2.0, most_lines), (width, height)) is None


needs_shaping = pytest.mark.needs_shaping


@needs_shaping
def test_lines_never_touch() -> None:
    """Vowel signs over and under Arabic lines need more room than the leading that is asked for."""
    face = OpenTypeface(ARABIC)
    fitted = Block("طاولةٍ\nوظلٍّ", face, 0.8).fit(Setting(0.8, 40.0, 8.0, None), (400.0, 400.0))
    assert fitted is not None and len(fitted.inks) == 2
    first, second = fitted.inks
    assert fitted.pitch > 1.0 and first.bottom < fitted.pitch + second.top
    latin = Block("SEA\nSUN", OpenTypeface(LATIN), 0.8).fit(Setting(0.8, 40.0, 8.0, None), (400.0, 400.0))
    assert latin is not None and latin.pitch == 0.8  # capitals alone may stand closer


@needs_shaping
@pytest.mark.parametrize(("font", "text"), [(LATIN, "The afternoon, jagged."), (ARABIC, "ظلٌّ يدوم حيث تريده")])
@pytest.mark.parametrize("size_px", [9.0, 23.5, 80.0])
def test_drawn_ink_is_where_it_was_measured(font: Path, text: str, size_px: float) -> None:
    face = OpenTypeface(font)
    ink = face.ink(text, font == LATIN)
    mask, left, top = face.draw(text, font == LATIN, size_px, (30.3, 60.7))
    rows, columns = np.nonzero(mask.max(axis=1) > 40)[0], np.nonzero(mask.max(axis=0) > 40)[0]
    slack = 1.0 + 0.01 * size_px
    assert left + columns[0] == pytest.approx(30.3 + ink.left * size_px, abs=slack)
    assert left + columns[-1] + 1 == pytest.approx(30.3 + ink.right * size_px, abs=slack)
    assert top + rows[0] == pytest.approx(60.7 + ink.top * size_px, abs=slack)
    assert top + rows[-1] + 1 == pytest.approx(60.7 + ink.bottom * size_px, abs=slack)


@needs_shaping
def test_cap_height_is_the_fonts_own() -> None:
    """Against the value in the font's OS/2 table (OpenType 1.9, sCapHeight), read by fontTools."""
    from fontTools.ttLib import TTFont

    with TTFont(LATIN) as font:
        stated = font["OS/2"].sCapHeight / font["head"].unitsPerEm
    assert OpenTypeface(LATIN).cap_height == pytest.approx(stated, abs=0.01)


@needs_shaping
def test_letters_are_joined_and_marks_take_no_room() -> None:
    """Arabic letters joined are narrower than each alone; vowel signs stand over them and add no width; Pillow's basic
    layout, which shapes nothing, gives another picture."""
    face = OpenTypeface(ARABIC)
    joined = face.ink("بيت", False).width
    assert joined < 0.9 * sum(face.ink(letter, False).width for letter in "بيت")
    assert face.ink("بَيْتٌ", False).width == pytest.approx(joined, abs=0.12)
    assert face.ink("بَيْتٌ", False).top < face.ink("بيت", False).top - 0.05
    basic = ImageFont.truetype(ARABIC, 256, layout_engine=ImageFont.Layout.BASIC)
    assert abs(basic.getlength("بيت") / 256 - joined) > 0.2


@needs_shaping
def test_words_of_a_right_to_left_line_run_from_the_right() -> None:
    """The first word lies at the right end of the mask: there the columns of ink are those of that word alone."""
    face = OpenTypeface(ARABIC)
    both, _, _ = face.draw("ظل بحر", False, 60.0, (10.0, 80.0))
    first, _, _ = face.draw("ظل", False, 60.0, (10.0, 80.0))
    width = first.shape[1] - 8
    assert np.corrcoef(both[: first.shape[0], -width:].sum(axis=0), first[:, -width:].sum(axis=0))[0, 1] > 0.8


@needs_shaping
def test_latin_inside_arabic_keeps_its_direction() -> None:
    """A number and a product's name inside a right-to-left line read from left to right (UAX #9)."""
    face = OpenTypeface(ARABIC)
    alone, _, _ = face.draw("١٢٣", True, 60.0, (10.0, 80.0))
    turned, _, _ = face.draw("١٢٣", False, 60.0, (10.0, 80.0))
    assert np.abs(alone.astype(int) - turned).max() <= 2


@needs_shaping
def test_missing_characters_are_named_once_and_invisible_ones_never() -> None:
    assert OpenTypeface(LATIN).missing("a한b한\u00ad\u200f\nظ") == ("한", "ظ")
    assert OpenTypeface(ARABIC).missing("ظل\u200c") == ()


def test_no_font_no_picture(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match="no such font file"):
        OpenTypeface(tmp_path / "nowhere.ttf")


@needs_shaping
def test_a_file_that_is_no_font(tmp_path: Path) -> None:
    (tmp_path / "text.ttf").write_text("no font")
    with pytest.raises(PictureError, match="is not a font"):
        OpenTypeface(tmp_path / "text.ttf")
    (tmp_path / "half.ttf").write_bytes(LATIN.read_bytes()[:3000])
    with pytest.raises(PictureError, match="is not a font"):
        OpenTypeface(tmp_path / "half.ttf")


def test_without_the_shaping_library_copy_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(typeface.features, "check", lambda name: name != "fribidi")
    with pytest.raises(PictureError, match=r"FriBiDi is missing.*libfribidi0"):
        OpenTypeface(LATIN)
