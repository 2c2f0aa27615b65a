"""The code on a sheet is read back to what was printed, and nothing else is taken for one."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from provenance._base.errors import UnreadableValue
from provenance._drawing.qr import encode_to_fit
from provenance._identity.sheet_code import SheetCode, compose_sheet_code, read_sheet_code
from provenance._printing.sheets.frame import CODE_MM

words = st.text("abcXYZ0189._/-", min_size=1, max_size=48).filter(lambda text: text != "-")


@given(words, words, words)
def test_a_code_is_read_back(key: str, package: str, profile: str) -> None:
    code = SheetCode("element", key=key, package=package[:40], profile=profile[:40])
    assert read_sheet_code(compose_sheet_code(code)) == code


# letters of two and three bytes, in keys as long as a code can tell
@example(*("0" * 18 + "\u00a1" * 9 + "\u0cbc" * 2 + "\u0f00" * 2 for _ in range(3)))
@given(st.text(max_size=300), st.text(max_size=300), st.text(max_size=300))
def test_no_text_can_add_a_line_or_be_too_large_to_print(
    key: str, first: str, package: str
) -> None:
    code = SheetCode("sample", key=key, row="7", first=first, last=first, package=package)
    text = compose_sheet_code(code)
    read = read_sheet_code(text)
    assert read.table == "sample"
    assert read.key in ("", key)
    assert read.row == ("7" if key and not read.key else "")
    encode_to_fit(text, CODE_MM)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is not a sheet"),
        ("treenail 1 HOLL-231 H", "is not a sheet"),
        ("treenail-sheet 1 element", "not complete"),
        ("treenail-sheet 2 element B1", "another layout"),
        ("treenail-sheet 1 element B1\nowner somebody", "not a line"),
        ("treenail-sheet 1 element B1\nrow 2\nrow 3", "not a line"),
        ("treenail-sheet 1 element " + "B" * 2000, "far longer"),
    ],
)
def test_what_is_no_sheet_is_refused_with_a_word(text: str, message: str) -> None:
    with pytest.raises(UnreadableValue, match=message):
        read_sheet_code(text)
