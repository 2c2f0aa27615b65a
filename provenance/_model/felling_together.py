"""Combines what several samples say of the felling of one tree."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from enum import StrEnum

from provenance._model.felling import SAME_YEAR, Basis, Cutting, Felling, when_in_words
from provenance._model.notation import write_year

_FINER = {"growing": {"spring", "summer", "autumn"}, "dormant": {"winter"}}
"""Seasons that say more than another one and agree with it."""


class FellingClass(StrEnum):
    """What kind of date the years of a felling are: the codes of the list `felling_class`."""

    CUTTING = "cutting"
    NEAR = "near"
    RANGE = "range"
    AFTER = "after"
    BEFORE = "before"
    NOT_KNOWN = "not_known"


def class_of(felling: Felling | None) -> FellingClass:
    """What kind of date it is.

    A cutting date is a last ring grown with its year or the winter behind it; where a laboratory
    puts the felling of such a sample into more years than these two, it is a range.
    """
    if felling is None or (felling.earliest is None and felling.latest is None):
        return FellingClass.NOT_KNOWN
    if felling.earliest is None:
        return FellingClass.BEFORE
    if felling.cutting is Cutting.NEAR:
        return FellingClass.NEAR
    if felling.latest is None:
        return FellingClass.AFTER
    is_cutting = felling.cutting is Cutting.CUTTING and felling.latest - felling.earliest <= 1
    return FellingClass.CUTTING if is_cutting else FellingClass.RANGE


def combine(fellings: Sequence[Felling]) -> Felling | None:
    """The years that all of them allow, which are samples of one tree; None where no year is left.

    A cutting date stays one whatever stands beside it. A near-cutting date stays one where no other
    sample has a later ring; with one, the tree was felled after that. The season is kept where all
    that tell one agree, the finer before the coarser; one in which the last ring grows narrows a
    cutting date to the year of that ring. The basis is that of the narrowest of those that set the
    earliest or the latest year. The order of the samples makes no difference.
    """
    earliest = max((y for one in fellings if (y := one.earliest) is not None), default=None)
    latest = min((y for one in fellings if (y := one.latest) is not None), default=None)
    if earliest is not None and latest is not None and earliest > latest:
        return None
    classes = [class_of(one) for one in fellings]
    season = _season_of_all({one.season for one in fellings if one.season})
    if FellingClass.CUTTING in classes:
        cutting = Cutting.CUTTING
        latest = earliest if season in SAME_YEAR else latest
    elif any(one.cutting is Cutting.NEAR and one.earliest == earliest for one in fellings):
        cutting = Cutting.NEAR
    else:
        said = {one.cutting for one in fellings}
        cutting = Cutting.NON_CUTTING if Cutting.NON_CUTTING in said else Cutting.UNSTATED
    setting = [
        one
        for one in fellings
        if (earliest is not None and one.earliest == earliest)
        or (latest is not None and one.latest == latest)
    ]
    narrowest = min(setting, key=_width_and_basis, default=None)
    return Felling(earliest, latest, cutting, narrowest.basis if narrowest else None, season)


def at_odds(fellings: Sequence[Felling]) -> tuple[int, int] | None:
    """Which two leave no common year: that with the latest beginning and that with the earliest
    end, as places in the sequence; None where all meet.
    """
    begun = [place for place, one in enumerate(fellings) if one.earliest is not None]
    ended = [place for place, one in enumerate(fellings) if one.latest is not None]
    if not begun or not ended:
        return None
    late = max(begun, key=lambda place: fellings[place].earliest or 0)
    early = min(ended, key=lambda place: fellings[place].latest or 0)
    apart = (fellings[late].earliest or 0) > (fellings[early].latest or 0)
    return (late, early) if apart else None


def together_in_words(felling: Felling | None, disagreement: str) -> str:
    """What all samples of one tree say, in a sentence; '' where they say nothing of years.

    `disagreement` is a code of the list `felling_disagreement`, '' where the samples agree.
    """
    if felling is None:
        whose = "timbers of its tree" if disagreement == "tree" else "samples"
        return f"The felling year is not known: the dated {whose} share no possible year."
    kind = class_of(felling)
    if kind is FellingClass.NOT_KNOWN:
        return ""
    signs = {FellingClass.CUTTING: " (cutting date)", FellingClass.NEAR: " (near-cutting date)"}
    assumed = ", by the most rings assumed lost" if felling.basis is Basis.NEAR_CUTTING else ""
    when = when_in_words(felling)
    first, season = felling.earliest, felling.season
    if (
        kind is FellingClass.CUTTING
        and not season
        and first is not None
        and first != felling.latest
    ):
        when = f"in {write_year(first)} or before growth began in {write_year(first + 1)}"
    return f"The tree was felled {when}{signs.get(kind, '')}{assumed}."


def _width_and_basis(felling: Felling) -> tuple[float, int]:
    open_side = felling.earliest is None or felling.latest is None
    width = float("inf") if open_side else (felling.latest or 0) - (felling.earliest or 0)
    return width, list(Basis).index(felling.basis) if felling.basis else len(Basis)


def _season_of_all(seasons: Collection[str]) -> str | None:
    told = [one for one in seasons if not _FINER.get(one, set()) & set(seasons)]
    return told[0] if len(told) == 1 else None
