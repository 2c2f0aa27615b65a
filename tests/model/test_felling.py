"""When a tree was felled by the dates of a sample, and the sentences that say so.

Meaning of the symbols: common practice in the trade, cited from memory. Estimates of sapwood are
invented: the project has none of its own.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._model.determination import SapwoodEstimate, columns_of, estimate_of
from provenance._model.felling import (
    Basis,
    Cutting,
    cutting_class,
    dates_in_words,
    felling_in_words,
    felling_of,
)
from provenance._model.notation import DateNotation, YearMark, parse_notation
from provenance._model.profile import load_model
from provenance._model.schema import Term, Vocabulary

MODEL = load_model()
SYMBOLS = MODEL.vocabularies["result_symbol"]
EXPECTED = {
    "sapwood_least": "9",
    "sapwood_most": "41",
    "estimate_percent": "95",
    "estimate_source": "Oak of Northfold (invented)",
}
BY = "(95 % probability; Oak of Northfold (invented))"


def said_by(text: str) -> DateNotation:
    lists = MODEL.vocabularies
    return parse_notation(text, SYMBOLS, lists["undated_reason"], lists["felling_season"])


def words(text: str, **columns: str) -> str:
    return dates_in_words(columns_of(said_by(text)) | columns, MODEL)


def last_ring(rest: str) -> str:
    return f"The outermost ring grew in 1655; {rest}."


BARK = "bark is on the sample: the last ring is the last one grown"
SIGN_BY_SIGN = {
    "1502p -": "The innermost ring grew in 1502; the pith is in the sample.",
    "1502fp -": "The innermost ring grew in 1502; the innermost ring is far from the pith.",
    "1502np -": "The innermost ring grew in 1502; the innermost ring is near the pith; the "
    "distance is an estimate.",
    "1502±p -": "The innermost ring grew in 1502; the pith is in the sample, but the year of its "
    "ring was counted and is not exact.",
    "1502± -": "The innermost ring grew in 1502; the year of the innermost ring, which is not the "
    "pith, was counted and is not exact.",
    "1655": last_ring(
        "whether rings are lost from the outside is not stated, so the tree was felled in 1655 or "
        "later"
    ),
    "1655B": last_ring(
        f"{BARK}, so the tree was felled in 1655 or before growth began in 1656"
    ),
    "1655G": last_ring(
        "bark-beetle galleries are on the surface: the last ring is the last one grown, so the "
        "tree was felled in 1655 or before growth began in 1656"
    ),
    "1655L": last_ring(
        "the patina or smoothness of the surface shows that it was just below the bark, so the tree was "
        "felled in 1655 or before growth began in 1656"
    ),
    "1655c": last_ring(
        "the outermost ring is continuous around the whole circumference, so the tree was "
        "felled in 1655 or before growth began in 1656"
    ),
    "1655r": last_ring(
        "less than the whole section is present, and the outermost ring is continuous around "
        "what is present, so the tree was felled in 1655 or before growth began in 1656"
    ),
    "1655v": last_ring(
        "in the analyst's judgment few rings, if any, are lost from the outside, so the tree was "
        "felled in 1655 or a few years later"
    ),
    "1655vv": last_ring(
        "the number of rings lost from the outside is not known, so the tree was felled after 1655"
    ),
    "1655+B": last_ring(
        f"{BARK}; one or a few rings near the end may be missing; the series does not reach far "
        "enough to test it, so the tree was felled in 1655 or a few years later"
    ),
    "1655++B": last_ring(
        f"{BARK}; beyond a certain point rings could only be counted, not matched, so the tree was "
        "felled in 1655 or later"
    ),
    "1655B inc": last_ring(
        f"{BARK}; the last ring had not finished growing, so the tree was felled in the growing "
        "season of 1655"
    ),
    "1655B comp": last_ring(
        f"{BARK}; the last ring had finished growing, so the tree was felled in the dormant season "
        "of 1655/56"
    ),
    "1655B (comp)": last_ring(
        f"{BARK}; the dates are those of a composite of several samples of one tree, so the tree "
        "was felled in 1655 or before growth began in 1656"
    ),
    "1655 H/S": last_ring(
        "the boundary of heartwood and sapwood is in the sample, so the tree was felled after 1655"
    ),
    "1655 be": last_ring(
        "the sapwood is complete: the last ring is the last one grown, so the tree was felled in "
        "1655 or before growth began in 1656"
    ),
    "1655C": last_ring(
        "the sapwood is complete, and its last ring had finished growing, so the tree was felled "
        "in the winter of 1655/56"
    ),
    "1655½C": last_ring(
        "the sapwood is complete, and its last ring was about half grown, so the tree was felled "
        "in the summer of 1655"
    ),
    "1655¼C": last_ring(
        "the sapwood is complete, and its last ring had only begun to grow, so the tree was felled "
        "in the spring of 1655"
    ),
    "1655B, 12 sapwood rings": last_ring(
        f"12 rings of sapwood were counted; {BARK}, so the tree was felled in 1655 or before "
        "growth began in 1656"
    ),
    "felled 1655": "The laboratory puts the felling in 1655.",
    "felled winter 1655/6": "The laboratory puts the felling in the winter of 1655/56.",
    "felled after 1720": "The laboratory puts the felling in 1720 or later.",
    "felled by 1745": "The laboratory puts the felling in 1745 or earlier.",
    "felled 1710-45": "The laboratory puts the felling between 1710 and 1745.",
    "felled 45 - 40 BC (95 %)": "The laboratory puts the felling between 45 BC and 40 BC (95 % "
    "probability).",
    "undated: too few rings": "No year was found for the rings: too few rings.",
}  # fmt: skip
ESTIMATED = {
    # boundary 1655 + 9 and + 41
    "1655 H/S": f"With 9 to 41 rings of sapwood {BY} the tree was felled between 1664 and 1696.",
    # boundary 1643 + 9 is before the last ring
    "1655, 12 sapwood rings": f"With 9 to 41 rings of sapwood {BY} the tree was felled between "
    "1655 and 1684.",
    # how much heartwood is gone is not known
    "1655vv": f"With at least 9 rings of sapwood {BY} the tree was felled in 1664 or later.",
    "1655, 50 sapwood rings": "The sample has more rings of sapwood than the 9 to 41 expected "
    f"{BY}, so that estimate is not applied: the tree was felled in 1655 or later.",
}


def test_every_sign_has_its_sentence() -> None:
    """Each of these was read by eye; a sign that is in the list has to be here."""
    for text, sentence in SIGN_BY_SIGN.items():
        assert words(text) == sentence, text
    asked = {
        code
        for text in SIGN_BY_SIGN
        for mark in (said_by(text).inner, said_by(text).outer)
        for code in (mark.symbols if mark else ())
    }
    assert asked == set(SYMBOLS.codes)


def test_an_estimate_of_sapwood_is_applied_and_named_where_it_says_something() -> None:
    """Worked by hand: the last ring of heartwood, and 9 to 41 rings, never before the last ring."""
    for text, sentence in ESTIMATED.items():
        assert words(text, **EXPECTED).endswith(sentence), text
    # the last ring, and a laboratory's word, need none; and none is applied without its source
    for text in ("1655B", "1655+B", "1655v", "1655++B"):
        assert words(text, **EXPECTED) == SIGN_BY_SIGN[text]
    assert "1720 or later" in words("1655 H/S, felled after 1720", **EXPECTED)
    assert estimate_of(EXPECTED | {"estimate_source": ""}) is None
    assert words("1655vv", **EXPECTED | {"estimate_source": " "}) == SIGN_BY_SIGN["1655vv"]


def test_a_date_that_is_proposed_is_said_to_be_so() -> None:
    assert words("1655vv", outcome="tentative").endswith("These years are proposed, not settled.")
    assert dates_in_words({"outcome": "pending"}, MODEL) == ""
    assert dates_in_words({"outer_year": "16S5"}, MODEL) == ""


def test_the_last_word_alone_stands_on_cards_and_sheets() -> None:
    for text, said in {
        "1655vv": "felled after 1655",
        "1655C": "felled in the winter of 1655/56",
        "felled 1710-45": "felled between 1710 and 1745 by the laboratory",
        "undated": "",
    }.items():
        assert felling_in_words(columns_of(said_by(text)), MODEL) == said
    estimated = columns_of(said_by("1655 H/S")) | EXPECTED
    assert felling_in_words(estimated, MODEL) == (
        "felled between 1664 and 1696 by a sapwood estimate"
    )


SIGNS = st.sets(st.sampled_from([t.code for t in SYMBOLS.terms if t.attributes["side"] == "outer"]))


@given(
    signs=SIGNS,
    sapwood=st.none() | st.integers(0, 60),
    estimate=st.none()
    | st.tuples(st.none() | st.integers(0, 40), st.none() | st.integers(40, 80)).map(
        lambda ends: SapwoodEstimate(*ends, source="Oak of Northfold (invented)")
    ),
)
def test_no_tree_is_felled_before_its_last_ring_nor_without_end(signs, sapwood, estimate) -> None:
    """And a date is exact to the year only where the last ring is there and nothing is doubtful."""
    said = DateNotation(outer=YearMark(1655, tuple(sorted(signs))), sapwood_count=sapwood)
    found = felling_of(said, SYMBOLS, estimate)
    assert found.earliest is not None
    assert found.earliest >= 1655
    assert found.latest is None or found.latest >= found.earliest
    exact = found.cutting is Cutting.CUTTING
    assert exact == (found.basis is Basis.LAST_RING and found.latest is not None)
    assert not (exact and signs & {"+", "++", "v", "vv"})


@pytest.mark.parametrize(
    ("codes", "cutting"),
    [
        (("B",), Cutting.CUTTING),
        (("G", "r"), Cutting.CUTTING),
        (("L",), Cutting.CUTTING),
        (("½C",), Cutting.CUTTING),
        (("c", "+"), Cutting.NEAR),
        (("v",), Cutting.NEAR),
        (("v", "+"), Cutting.NEAR),
        (("v", "++"), Cutting.NON_CUTTING),
        (("vv",), Cutting.NON_CUTTING),
        (("vv", "++"), Cutting.NON_CUTTING),
        (("r", "++"), Cutting.NON_CUTTING),
        (("HS",), Cutting.NON_CUTTING),
        ((), Cutting.UNSTATED),
        (("inc",), Cutting.UNSTATED),
        (("+",), Cutting.UNSTATED),
    ],
)
def test_symbols_say_whether_the_outside_year_is_a_cutting_date(codes, cutting) -> None:
    """Bark, galleries, patina and continuous outer rings make one; 'v' nearly; 'vv' does not."""
    assert cutting_class(codes, SYMBOLS) is cutting


def test_the_list_decides_what_takes_a_cutting_date_away() -> None:
    """A laboratory's own sign needs no change of the program; older lists mean + and ++."""
    bark = SYMBOLS.term("B")
    assert bark is not None
    own = Term("?", "Doubtful", "The end is doubtful.", "invented", attributes={"at_best": "no"})
    lists = [Vocabulary("result_symbol", "", "", "", terms) for terms in ((bark, own), (bark,))]
    assert cutting_class(("B", "?"), lists[0]) is Cutting.NON_CUTTING
    older = Term("+", "", "", "", attributes={"cutting": "qualifies"})
    assert cutting_class(("B", "+"), Vocabulary("", "", "", "", (bark, older))) is Cutting.NEAR
