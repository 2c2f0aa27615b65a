"""Says when a tree was felled, as far as the dates of a sample tell, and why, in plain sentences.

No estimate of sapwood is built in: where a person gives one with its published source, it is
applied and named.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from provenance._base.languages import N_, _
from provenance._model.determination import SapwoodEstimate, estimate_of, notation_of
from provenance._model.notation import DateNotation, YearMark, heartwood_boundary_signs, write_year
from provenance._model.schema import Model, Vocabulary

SAME_YEAR = ("spring", "summer", "autumn", "growing")
"""Seasons that lie in the year in which the last ring grew."""
_AT_BEST_BEFORE = {"+": "near", "++": "no"}
"""What older packages, whose list of symbols does not say it, mean by the two."""


class Cutting(StrEnum):
    """What an outside year says of the year in which the tree died."""

    CUTTING = "cutting"
    NEAR = "near"
    NON_CUTTING = "non_cutting"
    UNSTATED = "unstated"


class Basis(StrEnum):
    """What the years of a felling rest on."""

    LABORATORY = "laboratory"
    SAPWOOD = "sapwood"
    LAST_RING = "last_ring"
    NEAR_CUTTING = "near_cutting"


@dataclass(frozen=True)
class Felling:
    """The years in which the tree can have been felled, both included; None where a side is open.

    `cutting` is what the last ring says by its symbols. `refused` is true where the sample has more
    sapwood than the estimate allows, which then is not applied.
    """

    earliest: int | None
    latest: int | None
    cutting: Cutting
    basis: Basis | None
    season: str | None = None
    refused: bool = False


def what_is_left(symbols: Vocabulary) -> dict[str, str]:
    """Symbols that take a cutting date away → what is left of it at best: 'near' or 'no'."""
    said = {
        term.code: str(term.attributes["at_best"])
        for term in symbols.terms
        if "at_best" in term.attributes
    }
    return said or {
        code: _AT_BEST_BEFORE[code] for code in symbols.codes if code in _AT_BEST_BEFORE
    }


def cutting_class(outer_symbols: tuple[str, ...], symbols: Vocabulary) -> Cutting:
    """What the symbols at the outside year say: a cutting, near-cutting or non-cutting date.

    The vocabulary says which symbols make a cutting date, and which take one away. Without any
    symbol that speaks of it, the answer is UNSTATED, not a guess.
    """
    terms = [term for term in map(symbols.term, outer_symbols) if term is not None]
    classes = {term.attributes.get("cutting") for term in terms}
    spoken = classes & {"yes", "near", "no"}
    if not spoken:
        at_boundary = any(term.attributes.get("heartwood_boundary") for term in terms)
        return Cutting.NON_CUTTING if at_boundary else Cutting.UNSTATED
    left = what_is_left(symbols)
    spoken |= {left[term.code] for term in terms if term.code in left}
    if "no" in spoken:
        return Cutting.NON_CUTTING
    return Cutting.NEAR if "near" in spoken else Cutting.CUTTING


def felling_of(
    said: DateNotation, symbols: Vocabulary, estimate: SapwoodEstimate | None = None
) -> Felling:
    """The years of felling that a determination allows.

    The laboratory's own range comes first, then a last ring that is the last one grown, then the
    estimate of sapwood, then the last ring as a limit. A last ring that was complete says that the
    tree was felled in its year or before growth began in the next. An estimate counts from the last
    ring of heartwood; where that is not known, the rings of the sample are taken for heartwood and
    nothing is said of the latest year. No year is earlier than the last ring.
    """
    outer = said.outer or YearMark(None)
    last, signs = outer.year, outer.symbols
    cutting = Cutting.UNSTATED if last is None else cutting_class(signs, symbols)
    season = said.season or _season_of(signs, symbols)
    if said.felled is not None:
        first = said.felled[0] if said.felled[0] is not None else last
        return Felling(first, said.felled[1], cutting, Basis.LABORATORY, season)
    if last is None:
        return Felling(None, None, cutting, None, season)
    if cutting is Cutting.CUTTING:
        end = last if season in SAME_YEAR else last + 1
        return Felling(last, end, cutting, Basis.LAST_RING, season)
    limit = Felling(last, None, cutting, Basis.LAST_RING, season)
    if estimate is None or cutting is Cutting.NEAR or _has_last_ring(signs, symbols):
        return limit
    boundary = heartwood_end(said, symbols)
    if boundary is None:
        if estimate.least is None:
            return limit
        return Felling(last + estimate.least, None, cutting, Basis.SAPWOOD, season)
    latest = None if estimate.most is None else boundary + estimate.most
    if latest is not None and latest < last:
        return Felling(last, None, cutting, Basis.LAST_RING, season, refused=True)
    return Felling(
        max(last, boundary + (estimate.least or 0)), latest, cutting, Basis.SAPWOOD, season
    )


def heartwood_end(said: DateNotation, symbols: Vocabulary) -> int | None:
    """Year of the last ring of heartwood, where the determination tells it."""
    if said.heartwood_year is not None or said.outer is None or said.outer.year is None:
        return said.heartwood_year
    if said.sapwood_count:
        return said.outer.year - said.sapwood_count
    at_boundary = set(said.outer.symbols) & set(heartwood_boundary_signs(symbols))
    return said.outer.year if at_boundary else None


def _has_last_ring(signs: tuple[str, ...], symbols: Vocabulary) -> bool:
    terms = map(symbols.term, signs)
    return any(term is not None and term.attributes.get("cutting") == "yes" for term in terms)


def _season_of(signs: tuple[str, ...], symbols: Vocabulary) -> str | None:
    terms = map(symbols.term, signs)
    seasons = [str(one.attributes["season"]) for one in terms if one and "season" in one.attributes]
    # 'inc' beside '¼C' says less than that
    return min(seasons, key=("growing", "dormant").__contains__, default=None)


# -- sentences -------------------------------------------------------------------------------------


def dates_in_words(row: Mapping[str, Any], model: Model) -> str:
    """What a row of `lab_result` says, in plain sentences; '' where it says nothing of years."""
    symbols = model.vocabularies["result_symbol"]
    said = notation_of(row, symbols)
    sentences = list(_sentences(said, model, estimate_of(row)))
    if sentences and row.get("outcome") == "tentative":
        sentences.append("These years are proposed, not certain.")
    return " ".join(sentences)


def felling_in_words(row: Mapping[str, Any], model: Model) -> str:
    """The last word of `dates_in_words` alone, for labels and sheets: 'felled after 1655'."""
    symbols = model.vocabularies["result_symbol"]
    said = notation_of(row, symbols)
    felling = felling_of(said, symbols, estimate_of(row))
    if felling.basis is None:
        return ""
    if felling.basis is Basis.LAST_RING:
        return _("felled {when}").format(when=_by_last_ring(felling, said, symbols))
    words = _("felled {when} by a sapwood estimate")
    if felling.basis is Basis.LABORATORY:
        words = _("felled {when} by the laboratory")
    return words.format(when=when_in_words(felling))


def _sentences(said: DateNotation, model: Model, estimate: SapwoodEstimate | None) -> Iterator[str]:
    symbols = model.vocabularies["result_symbol"]
    if said.undated:
        reasons = model.vocabularies["undated_reason"]
        reason = said.undated_reason and reasons.label(said.undated_reason)
        yield "No year was found for the rings" + (f": {_lower(reason)}." if reason else ".")
        return
    if said.inner is not None:
        yield _sentence("innermost", said.inner.year, _clauses(said.inner, symbols))
    felling = felling_of(said, symbols, estimate)
    clauses = []
    if said.heartwood_year is not None:
        clauses.append(f"the last ring of heartwood grew in {write_year(said.heartwood_year)}")
    if said.sapwood_count is not None:
        rings = "1 ring" if said.sapwood_count == 1 else f"{said.sapwood_count or 'no'} rings"
        clauses.append(f"{rings} of sapwood {'was' if rings == '1 ring' else 'were'} counted")
    # the signs stand next to the conclusion that follows from them
    clauses += [] if said.outer is None else _clauses(said.outer, symbols)
    last = said.outer.year if said.outer is not None else None
    if felling.basis is Basis.LAST_RING and not felling.refused:
        if felling.cutting is Cutting.UNSTATED:
            clauses.append("whether rings are lost from the outside is not stated")
        yield _sentence("outermost", last, clauses, _by_last_ring(felling, said, symbols))
    elif last is not None or clauses:
        yield _sentence("outermost", last, clauses)
    if felling.basis is Basis.LABORATORY:
        yield (
            f"The laboratory dates the felling {when_in_words(felling)}"
            f"{_in_brackets(said.percent, said.source)}."
        )
    elif felling.basis is None and felling.season:
        yield f"The tree was felled in {_season_words(felling.season)}."
    elif estimate is not None and felling.basis is Basis.SAPWOOD:
        yield (
            f"With {_rings_expected(estimate, whole=felling.latest is not None)}"
            f"{_in_brackets(estimate.percent, estimate.source)} the tree was felled "
            f"{when_in_words(felling)}."
        )
    elif estimate is not None and felling.refused:
        yield (
            f"The sample has more rings of sapwood than the {estimate.least or 0} to "
            f"{estimate.most} expected{_in_brackets(estimate.percent, estimate.source)}, so that "
            f"estimate is not applied: the tree was felled in {write_year(felling.earliest or 0)} "
            "or later."
        )


def _clauses(mark: YearMark, symbols: Vocabulary) -> list[str]:
    """The definitions of the symbols beside a year, as clauses; an unknown one is named.

    What takes a cutting date away comes last, next to the conclusion.
    """
    found = []
    for code in sorted(mark.symbols, key=what_is_left(symbols).__contains__):
        term = symbols.term(code)
        found.append(_lower(term.definition.rstrip(". ")) if term else f"'{code}' is not explained")
    return found


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _sentence(ring: str, year: int | None, clauses: list[str], conclusion: str = "") -> str:
    parts = [f"the {ring} ring grew in {write_year(year)}"] if year is not None else []
    said = "; ".join(parts + clauses)
    if conclusion:
        said += f", so the tree was felled {conclusion}"
    return f"{said[:1].upper()}{said[1:]}."


def _by_last_ring(felling: Felling, said: DateNotation, symbols: Vocabulary) -> str:
    """When the tree was felled, by the last ring alone."""
    year = felling.earliest or 0
    if felling.cutting is Cutting.CUTTING:
        if felling.season is None:
            before = _("in {year} or before growth began in {next}")
            return before.format(year=write_year(year), next=write_year(year + 1))
        in_season = _("in {season} of {year}")
        return in_season.format(
            season=_season_words(felling.season), year=_years_of(felling.season, year)
        )
    if felling.cutting is Cutting.NEAR:
        return _("in {year} or a few years later").format(year=write_year(year))
    signs = said.outer.symbols if said.outer is not None else ()
    some_gone = felling.cutting is Cutting.NON_CUTTING and not _has_last_ring(signs, symbols)
    words = _("after {year}") if some_gone else _("in {year} or later")
    return words.format(year=write_year(year))


def when_in_words(felling: Felling) -> str:
    """The years of a felling and its season: 'between 1710 and 1745', 'in 1720 or later'.

    The felling has at least one year.
    """
    first, last, season = felling.earliest, felling.latest, felling.season
    if first is None or last is None:
        year = first if last is None else last
        words = _("in {year} or later") if last is None else _("in {year} or earlier")
        return words.format(year=write_year(year or 0)) + _season_behind(season)
    if season and (first == last or (_over_winter(season) and last == first + 1)):
        in_season = _("in {season} of {year}")
        return in_season.format(season=_season_words(season), year=_years_of(season, first))
    if first == last:
        return _("in {year}").format(year=write_year(first))
    words = _("between {first} and {last}")
    return words.format(first=write_year(first), last=write_year(last)) + _season_behind(season)


def _over_winter(season: str) -> bool:
    return season in ("winter", "dormant")


_SEASONS = {
    "spring": N_("the spring"),
    "summer": N_("the summer"),
    "autumn": N_("the autumn"),
    "winter": N_("the winter"),
    "growing": N_("the growing season"),
    "dormant": N_("the dormant season"),
}


def _season_words(season: str) -> str:
    return _(_SEASONS[season]) if season in _SEASONS else f"the {season}"


def _season_behind(season: str | None) -> str:
    return _(", in {season}").format(season=_season_words(season)) if season else ""


def _years_of(season: str, year: int) -> str:
    """The year of a season; a winter lies in two."""
    if not _over_winter(season):
        return write_year(year)
    if year < 1000:
        return f"{write_year(year)} to {write_year(year + 1)}"
    return f"{year}/{(year + 1) % 100:02}"


def _rings_expected(estimate: SapwoodEstimate, *, whole: bool) -> str:
    least, most = estimate.least, estimate.most
    if whole and least is not None:
        return f"{least} to {most} rings of sapwood"
    return (
        f"at most {most} rings of sapwood"
        if least is None
        else (f"at least {least} rings of sapwood")
    )


def _in_brackets(percent: float | None, source: str | None) -> str:
    likely = "" if percent is None else f"{percent:.10g} % probability"
    said = "; ".join(one for one in (likely, source) if one)
    return f" ({said})" if said else ""
