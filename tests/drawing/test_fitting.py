"""Text shrinks, breaks and is cut by rule, and never leaves its box."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._drawing.fitting import fit_block, fit_line
from provenance._drawing.fonts import (
    BOLD,
    CAP_HEIGHT,
    MONO,
    PLAIN,
    SUBSTITUTE,
    Typeface,
    printable,
    unprintable_characters,
)

ANY_TEXT = st.text(max_size=120).map(lambda text: printable(text, PLAIN))


def test_a_short_text_keeps_its_largest_size() -> None:
    fitted = fit_line("beam", PLAIN, 100, largest=10, smallest=6)
    assert (fitted.lines, fitted.size, fitted.whole) == (("beam",), 10, True)


def test_a_longer_text_shrinks_before_it_is_cut() -> None:
    text = "tie beam of the north house"
    fitted = fit_line(text, PLAIN, PLAIN.width(text, 7), largest=10, smallest=6)
    assert fitted.lines == (text,)
    assert 6 <= fitted.size <= 7


def test_what_does_not_fit_at_the_smallest_size_ends_in_an_ellipsis() -> None:
    fitted = fit_line("tie beam of the north house", PLAIN, 40, largest=10, smallest=6)
    assert not fitted.whole
    assert fitted.size == 6
    assert fitted.lines[0].endswith("…")


def test_a_block_breaks_at_blanks_when_there_is_room_below() -> None:
    fitted = fit_block("tie beam of the north house", PLAIN, 50, 40, largest=10, smallest=6)
    assert fitted.whole
    assert len(fitted.lines) > 1
    assert " ".join(fitted.lines) == "tie beam of the north house"


def test_a_word_wider_than_the_line_breaks_anywhere() -> None:
    fitted = fit_block("x" * 60, PLAIN, 50, 60, largest=8, smallest=6)
    assert "".join(fitted.lines) == "x" * 60


@given(ANY_TEXT, st.floats(0.5, 120), st.floats(1, 80), st.floats(4, 9), st.floats(9, 24))
def test_fitted_text_never_leaves_its_box(
    text: str, width: float, height: float, smallest: float, largest: float
) -> None:
    """Whatever the text and the box; an empty result is the way out of an impossible box."""
    block = fit_block(text, PLAIN, width, height, largest=largest, smallest=smallest)
    assert block.height <= height + 1e-6
    line = fit_line(text, PLAIN, width, largest=largest, smallest=smallest)
    for fitted in (block, line):
        for one in fitted.lines:
            assert PLAIN.width(one, fitted.size) <= width + 1e-5
        assert smallest - 1e-9 <= fitted.size <= largest


@given(ANY_TEXT, st.floats(5, 120))
def test_a_block_that_is_whole_says_every_word(text: str, width: float) -> None:
    block = fit_block(text, PLAIN, width, 400, largest=9, smallest=5)
    if block.whole:
        assert "".join("".join(block.lines).split()) == "".join(text.split())


def test_latin_cyrillic_and_greek_have_shapes_in_every_face() -> None:
    for text in ("Ďáblík ÅØÆŁŐß", "Двір Ґанок Ўцёс", "Σπίτι Ήλιος", "0123456789 ½ ⅝ × – ″"):
        for face in (PLAIN, BOLD, MONO):
            assert unprintable_characters(text, face) == ()


def test_a_missing_shape_becomes_a_box_and_is_named() -> None:
    assert printable("Fir 🌲 row", PLAIN) == f"Fir {SUBSTITUTE} row"
    assert unprintable_characters("Fir 🌲 row 🌲", PLAIN) == ("🌲",)


def test_control_characters_and_direction_marks_do_not_reach_the_page() -> None:
    assert printable("North\x00 house\r\n\u202eesrever\u2066", PLAIN) == "North house esrever"


def test_hebrew_stands_in_the_order_in_which_it_is_read() -> None:
    """Unicode Bidirectional Algorithm (UAX #9): the first letter stands rightmost."""
    assert printable("בית 12", PLAIN) == "12 תיב"


@pytest.mark.parametrize("face", [PLAIN, BOLD, MONO])
def test_the_height_of_digits_is_as_the_size_rule_takes_it(face: Typeface) -> None:
    """Read from the outline of the digit 1 in the font file by another library."""
    from PIL import ImageFont

    font = ImageFont.truetype(str(face.file), 2048)
    _, top, _, foot = font.getbbox("1", anchor="ls")
    assert foot - top == pytest.approx(CAP_HEIGHT * 2048, abs=3)
