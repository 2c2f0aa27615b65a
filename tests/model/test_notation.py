"""Date notation of laboratories.

Meaning of the symbols: common practice of archaeological tree-ring dating in the American
Southwest, cited from memory. Years: ISO 8601-1 (0000 is 1 BC).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnreadableValue
from provenance._model.notation import (
    Cutting,
    DateNotation,
    YearMark,
    cutting_class,
    parse_notation,
    parse_year,
    write_ends,
    write_mark,
    write_year,
)
from provenance._model.profile import load_model

MODEL = load_model()
SYMBOLS = MODEL.vocabularies["result_symbol"]
REASONS = MODEL.vocabularies["undated_reason"]


def read(text: str) -> DateNotation:
    return parse_notation(text, SYMBOLS, REASONS)


@pytest.mark.parametrize(
    ("text", "inner", "outer"),
    [
        ("1702p - 1781B", (1702, ("p",)), (1781, ("B",))),
        ("1702p–1781B", (1702, ("p",)), (1781, ("B",))),
        ("1702 p to 1781 L c", (1702, ("p",)), (1781, ("c", "L"))),
        ("1702±p 1781vv", (1702, ("np",)), (1781, ("vv",))),
        ("987fp - 1045++vv", (987, ("fp",)), (1045, ("++", "vv"))),
        ("1702 - 1781+r", (1702, ()), (1781, ("+", "r"))),
        ("- 1781 rGB inc", None, (1781, ("r", "G", "B", "inc"))),
        ("1781vv", None, (1781, ("vv",))),
        ("1702p -", (1702, ("p",)), None),
        ("p - B", (None, ("p",)), (None, ("B",))),
        ("45 BC - AD 23 r", (-44, ()), (23, ("r",))),
        ("45 - 30 BC v", (-44, ()), (-29, ("v",))),
        ("-44 - 23B", (-44, ()), (23, ("B",))),
    ],
)
def test_a_notation_says_years_and_symbols(text, inner, outer) -> None:
    assert read(text) == DateNotation(
        inner=YearMark(*inner) if inner else None, outer=YearMark(*outer) if outer else None
    )


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("felled 1781 - 1785", (1781, 1785)),
        ("felled 1780 ± 5", (1775, 1785)),
        ("felled 1780 +/- 5", (1775, 1785)),
        ("felled 1781", (1781, 1781)),
        ("felled 45 - 40 BC", (-44, -39)),
    ],
)
def test_an_estimate_of_the_felling_is_a_span(text, span) -> None:
    assert read(text).felled == span


def test_undated_keeps_its_reason() -> None:
    assert read("undated: too few rings") == DateNotation(
        undated=True, undated_reason="too_few_rings"
    )
    assert read("n.d.") == DateNotation(undated=True)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1702x - 1781", "'x' at the inside year"),
        ("1702 - 1781Q", "'Q' at the outside year"),
        ("1702 - 1781p", "'p' at the outside year"),
        ("1781B - 1702", "'B' at the inside year"),
        ("1781 - 1702", "before the inside year"),
        ("1702 - 1781BB", "twice"),
        ("AD 0 - 5", "no year"),
        ("BC 45 AD", "twice"),
        ("felled later", "not a year|no year after"),
        ("felled 1785 - 1781", "backwards"),
        ("undated: the dog ate it", "too few rings"),
        ("", "empty"),
        ("17O2 - 1781", "'O2"),
    ],
)
def test_what_is_not_understood_is_refused_and_never_guessed(text, says) -> None:
    with pytest.raises(UnreadableValue, match=says):
        read(text)


@pytest.mark.parametrize(("text", "year"), [("1 BC", 0), ("2 BCE", -1), ("AD 1", 1), ("CE 23", 23)])
def test_there_is_no_year_zero_between_bc_and_ad(text, year) -> None:
    """ISO 8601-1: year 0000 is 1 BC, year -0001 is 2 BC."""
    assert parse_year(text) == year


@given(st.integers(-12000, 2200))
def test_every_year_round_trips(year) -> None:
    assert parse_year(write_year(year)) == year


def of_side(side: str):
    codes = [term.code for term in SYMBOLS.terms if term.attributes["side"] in (side, "both")]
    rank = {term.code: (term.attributes["rank"], term.code) for term in SYMBOLS.terms}
    return st.sets(st.sampled_from(codes), max_size=4).map(
        lambda chosen: tuple(sorted(chosen, key=rank.__getitem__))
    )


YEARS = st.integers(-12000, 2200)


def written(notation: DateNotation) -> str:
    """A notation in this project's own layout, of the parts that the writers put together."""
    if notation.undated:
        reason = notation.undated_reason
        return f"undated: {REASONS.label(reason).lower()}" if reason else "undated"
    if notation.felled is not None:
        return "felled " + " - ".join(write_year(year) for year in dict.fromkeys(notation.felled))
    inner = None if notation.inner is None else write_mark(notation.inner)
    return write_ends(inner, "" if notation.outer is None else write_mark(notation.outer))


@st.composite
def notations(draw) -> DateNotation:
    kind = draw(st.sampled_from(["ends", "felled", "undated"]))
    if kind == "undated":
        reason = draw(st.none() | st.sampled_from(REASONS.codes))
        return DateNotation(undated=True, undated_reason=reason)
    first, last = sorted((draw(YEARS), draw(YEARS)))
    if kind == "felled":
        return DateNotation(felled=(first, last))
    inner = draw(st.none() | of_side("inner").map(lambda codes: YearMark(first, codes)))
    outer = draw(of_side("outer").map(lambda codes: YearMark(last, codes)))
    return DateNotation(inner=inner, outer=outer)


@given(notations())
def test_every_notation_round_trips(notation) -> None:
    assert read(written(notation)) == notation


@pytest.mark.parametrize(
    ("codes", "cutting"),
    [
        (("B",), Cutting.CUTTING),
        (("G", "r"), Cutting.CUTTING),
        (("L",), Cutting.CUTTING),
        (("c", "+"), Cutting.CUTTING),
        (("v",), Cutting.NEAR),
        (("vv",), Cutting.NON_CUTTING),
        (("vv", "++"), Cutting.NON_CUTTING),
        (("r", "++"), Cutting.NON_CUTTING),
        ((), Cutting.UNSTATED),
        (("inc",), Cutting.UNSTATED),
    ],
)
def test_symbols_say_whether_the_outside_year_is_a_cutting_date(codes, cutting) -> None:
    """Bark, galleries, patina and continuous outer rings make one; 'v' nearly; 'vv' does not.

    Common practice in the trade, cited from memory.
    """
    assert cutting_class(codes, SYMBOLS) is cutting
