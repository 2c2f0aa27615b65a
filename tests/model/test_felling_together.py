"""Intervals of felling worked by hand; what follows from them is common practice, no source."""

from __future__ import annotations

from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from provenance._model.felling import Basis, Cutting, Felling
from provenance._model.felling_together import (
    FellingClass,
    at_odds,
    class_of,
    combine,
    together_in_words,
)

LAB, SAPWOOD, RING = Basis.LABORATORY, Basis.SAPWOOD, Basis.LAST_RING


def cutting(year: int, season: str | None = None) -> Felling:
    last = year if season in ("spring", "summer") else year + 1
    return Felling(year, last, Cutting.CUTTING, RING, season)


def near(year: int) -> Felling:
    return Felling(year, None, Cutting.NEAR, RING)


def after(year: int) -> Felling:
    return Felling(year, None, Cutting.NON_CUTTING, RING)


def between(
    first: int | None, last: int | None, basis: Basis = LAB, season: str | None = None
) -> Felling:
    return Felling(first, last, Cutting.UNSTATED, basis, season)


BY_HAND = (
    # what the samples say, then: years, class, basis, season
    ((cutting(1781),), (1781, 1782), "cutting", RING, None),
    ((cutting(1781), after(1779)), (1781, 1782), "cutting", RING, None),
    # rings to 1782 on the second sample: the winter behind 1781 is the only year left
    ((cutting(1781), after(1782)), (1782, 1782), "cutting", RING, None),
    # 1664 to 1696 by sapwood, no earlier than the ring of 1671, no later than 1690
    (
        (between(1664, 1696, SAPWOOD), after(1671), between(None, 1690)),
        (1671, 1690),
        "range",
        LAB,
        None,
    ),
    ((between(1664, 1696, SAPWOOD), between(1680, 1710)), (1680, 1696), "range", LAB, None),
    ((after(1655), after(1660)), (1660, None), "after", RING, None),
    ((between(None, 1745), between(None, 1750)), (None, 1745), "before", LAB, None),
    ((near(1781), after(1770)), (1781, None), "near", RING, None),
    # a later ring than that of the near-cutting date: felled after that
    ((near(1781), after(1785)), (1785, None), "after", RING, None),
    ((near(1781), between(1775, 1783)), (1781, 1783), "near", LAB, None),
    # the finer season before the coarser; seasons that differ say nothing
    ((cutting(1781, "spring"), between(1780, 1790, LAB, "growing")), (1781, 1781), "cutting", RING,
     "spring"),
    ((cutting(1781, "winter"), between(1780, 1790, LAB, "spring")), (1781, 1782), "cutting", RING,
     None),
    # felled while a ring grew, and the last one is of 1781
    ((cutting(1781), between(1780, 1790, LAB, "summer")), (1781, 1781), "cutting", RING, "summer"),
    ((between(None, None),), (None, None), "not_known", LAB, None),
)  # fmt: skip
APART = (
    (cutting(1781), cutting(1785)),
    (cutting(1781), after(1790)),
    (between(None, 1700), near(1702)),
    (between(1664, 1680, SAPWOOD), between(1681, 1690)),
)


def test_samples_of_one_tree_give_the_years_that_all_of_them_allow() -> None:
    for samples, years, kind, basis, season in BY_HAND:
        for ordered in permutations(samples):
            found = combine(ordered)
            assert found is not None, samples
            assert (found.earliest, found.latest) == years, samples
            assert class_of(found) == kind, samples
            if years != (None, None):
                assert found.basis is basis, samples
            assert found.season == season, samples
            assert at_odds(ordered) is None, samples


def test_samples_without_a_common_year_are_at_odds_and_named() -> None:
    for samples in APART:
        for ordered in permutations((*samples, after(1500))):
            assert combine(ordered) is None, samples
            late, early = at_odds(ordered) or (0, 0)
            assert {ordered[late], ordered[early]} == set(samples)
    assert class_of(None) is FellingClass.NOT_KNOWN


def test_a_wide_range_beside_the_sign_of_a_cutting_date_is_a_range() -> None:
    assert class_of(Felling(1781, 1790, Cutting.CUTTING, LAB)) is FellingClass.RANGE


SOME_YEAR = st.none() | st.integers(0, 12)


@given(st.lists(st.tuples(SOME_YEAR, SOME_YEAR), min_size=1, max_size=4))
def test_the_years_left_are_just_those_in_every_interval(sides: list[tuple[int, int]]) -> None:
    """Held against sets of years, of which each interval is one."""
    forward = [(a, b) for a, b in sides if a is None or b is None or a <= b]
    if not forward:
        return
    samples = [between(a, b) for a, b in forward]
    sets = [
        {year for year in range(-1, 14) if (a is None or a <= year) and (b is None or year <= b)}
        for a, b in forward
    ]
    left = set.intersection(*sets)
    found = combine(samples)
    if found is None:
        assert left == set()
        assert at_odds(samples) is not None
    else:
        low = -1 if found.earliest is None else found.earliest
        high = 13 if found.latest is None else found.latest
        assert left == set(range(low, high + 1))


def test_what_all_samples_say_is_told_in_a_sentence() -> None:
    for felling, disagreement, words in (
        (
            cutting(1781),
            "",
            "The tree was felled in 1781 or before growth began in 1782 (cutting date).",
        ),
        (
            cutting(1781, "winter"),
            "",
            "The tree was felled in the winter of 1781/82 (cutting date).",
        ),
        (cutting(1781, "spring"), "", "The tree was felled in the spring of 1781 (cutting date)."),
        (near(1781), "", "The tree was felled in 1781 or later (near-cutting date)."),
        (
            Felling(1781, 1785, Cutting.NEAR, Basis.NEAR_CUTTING),
            "",
            "The tree was felled between 1781 and 1785 (near-cutting date), by the most rings "
            "assumed lost.",
        ),
        (between(None, 1745), "", "The tree was felled in 1745 or earlier."),
        (between(None, None), "", ""),
        (
            None,
            "samples",
            "The felling year is not known: the dated samples share no possible year.",
        ),
        (
            None,
            "tree",
            "The felling year is not known: the dated timbers of its tree share no possible year.",
        ),
    ):
        assert together_in_words(felling, disagreement) == words
