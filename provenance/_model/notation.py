"""Reads and writes the dates of a sample as laboratories write them: years with symbols.

    1702p - 1781B              pith inside, bark outside
    987fp - 1045++vv           far from the pith; counted at the end; no estimate of what is lost
    45 BC - AD 23 +r           the year zero does not exist in BC/AD; stored years are astronomical
    - 1781 rGB inc             outside year alone
    1540 - 1655 H/S            the last ring is the last of the heartwood
    1540 - 1655 H/S 1643, 12 sapwood rings
    1540 - 1655 ½C, felled summer 1655
    felled winter 1655/6       the laboratory's word on the felling
    felled after 1720          in 1720 or later, as sums with the fewest rings of sapwood mean it
    felled 1710-45 (95 %; the estimate it rests on)
    felled 1780 ± 5            a range, written another way
    undated: too few rings

Years are stored astronomically (ISO 8601-1: 0000 is 1 BC, -0001 is 2 BC). Symbols and seasons with
their other spellings come from the vocabularies; layout and wording are this project's own.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from provenance._base.errors import UnreadableValue
from provenance._model.schema import Term, Vocabulary


@dataclass(frozen=True)
class YearMark:
    """One end of a sample: astronomical year and the symbols beside it, in the trade's order.

    Symbols may stand without a year: a sample can have bark and yet no date.
    """

    year: int | None
    symbols: tuple[str, ...] = ()


@dataclass(frozen=True)
class DateNotation:
    """All that one notation says.

    `felled` is the laboratory's range of the felling (first and last year, both included, None
    where that side is open), `season` a code of the vocabulary 'felling_season', `percent` the
    probability of the range and `source` the estimate it rests on. `heartwood_year` is the year of
    the last ring of heartwood.
    """

    inner: YearMark | None = None
    outer: YearMark | None = None
    heartwood_year: int | None = None
    sapwood_count: int | None = None
    felled: tuple[int | None, int | None] | None = None
    season: str | None = None
    percent: float | None = None
    source: str | None = None
    undated: bool = False
    undated_reason: str | None = None


MOST_CHARACTERS = 500
"""A longer text is no notation; reading it could take long."""
_DASH = r"[-‐‑‒–—−]"
_ERA = r"(?:BCE|BC|AD|CE|B\.C\.E\.|B\.C\.|A\.D\.|C\.E\.)"
_YEAR = re.compile(
    rf"(?:(?P<before>{_ERA})\s*)?(?P<year>{_DASH}?\d{{1,5}})(?:\s*(?P<after>{_ERA})(?![A-Za-z]))?"
)
_SEPARATOR = re.compile(rf"\s+to\s+|\s*{_DASH}\s*|\s*/\s*|\s{{2,}}|\s+(?=(?:{_ERA}\s*)?\d)")
_UNDATED = re.compile(
    r"(?:undated|not dated|no date|n\.?d\.?)\b\s*[:;,(]?\s*(?P<reason>[^)]*)\)?", re.I
)
_FELLED = re.compile(r"(?:^|[\s,;]+)(?:felled|felling|cut|death)\b[:\s]*", re.I)
_PLUS_MINUS = re.compile(r"\s*±\s*(\d{1,3})\s*$")
_PLUS_MINUS_TYPED = re.compile(r"\+\s?/\s?-|\+-")
_SAPWOOD = re.compile(
    r"[\s,;]*(?:with\s+)?(?:(?<!\d)(?P<before>\d{1,3})\s*(?:sapwood(?:\s+rings?)?|sap)"
    r"|sapwood(?:\s+rings)?:?\s*(?P<after>\d{1,3}))(?!\w)[\s,;]*",
    re.I,
)
_IN_BRACKETS = re.compile(r"\s*\((?P<said>.*)\)$", re.S)
_PERCENT = re.compile(
    r"(?P<percent>\d{1,2}(?:\.\d{1,4})?|100)\s*%(?:\s*(?:probability|confidence))?\s*(?:[;,]\s*|$)"
)
_BARE_PERCENT = re.compile(rf"(?:,\s*|\s+)(?:at\s+)?({_PERCENT.pattern})$")
_OPEN_END = re.compile(
    r"(?:(?:in\s+or\s+)?after|from|no\s+earlier\s+than)\s+(?P<year>.+)|(?P<later>.+?)\s+or\s+later",
    re.I,
)
_OPEN_START = re.compile(
    r"(?:(?:in\s+or\s+)?before|by|no\s+later\s+than)\s+(?P<year>.+)|(?P<earlier>.+?)\s+or\s+earlier",
    re.I,
)
_BETWEEN = re.compile(r"between\s+(.+?)\s+and\s+(.+)", re.I)

EXPECTED = (
    "is not a date notation; write inside and outside year with their symbols, such as "
    "'1702p - 1781B', '- 1781 vv', '1540 - 1655 H/S', 'felled 1710 - 1745', 'felled after 1720' or "
    "'undated: too few rings'"
)


def parse_year(text: str) -> int:
    """One year into astronomical numbering; 'BC' and 'AD' may stand before or after.

    >>> parse_year("45 BC"), parse_year("1 BC"), parse_year("AD 23"), parse_year("-0044")
    (-44, 0, 23, -44)

    Raises UnreadableValue for anything else, and for a year 0 with BC or AD, which does not exist.
    """
    match = _YEAR.fullmatch(text.strip())
    if match is None:
        raise UnreadableValue(text, "is not a year; write 1781, AD 23, 45 BC, or -44 (for 45 BC)")
    return _year_of(match, text)


def _year_of(match: re.Match[str], text: str) -> int:
    eras = {e.replace(".", "").rstrip("E") for e in (match["before"], match["after"]) if e}
    eras = {"AD" if era == "C" else era for era in eras}
    digits = match["year"]
    negative = not digits[0].isdigit()
    number = int(digits[1:] if negative else digits)
    if not eras:
        return -number if negative else number
    if negative or len(eras) > 1:
        raise UnreadableValue(text, "names its era twice; write 45 BC or -44, not both")
    if number == 0:
        raise UnreadableValue(text, "is not a year: 1 BC is followed by AD 1; write 1 BC or AD 1")
    return 1 - number if eras == {"BC"} else number


def write_year(year: int) -> str:
    """An astronomical year as people write it: '45 BC', 'AD 23', '1781'.

    >>> write_year(-44), write_year(0), write_year(23), write_year(1781)
    ('45 BC', '1 BC', 'AD 23', '1781')
    """
    if year <= 0:
        return f"{1 - year} BC"
    return f"AD {year}" if year < 1000 else str(year)


def parse_notation(
    text: str,
    symbols: Vocabulary,
    reasons: Vocabulary | None = None,
    seasons: Vocabulary | None = None,
) -> DateNotation:
    """What a laboratory's notation says.

    `symbols` is the vocabulary 'result_symbol', `reasons` the vocabulary 'undated_reason' and
    `seasons` the vocabulary 'felling_season', which packages of older versions do not have.
    Raises UnreadableValue that names the part that is not understood; nothing is guessed.
    """
    said = " ".join(text.replace("\t", "  ").split(" ")).strip()
    if not said:
        raise UnreadableValue(text, "is empty; leave the result out, or write 'undated' and why")
    if len(said) > MOST_CHARACTERS:
        raise UnreadableValue(
            f"{said[:40]} …",
            f"is longer than {MOST_CHARACTERS} characters; keep the dates alone here, and enter "
            "the rest under 'notes'",
        )
    undated = _UNDATED.fullmatch(said)
    if undated:
        return DateNotation(undated=True, undated_reason=_reason(undated["reason"], reasons, text))
    felled = _FELLED.search(said)
    if felled is None:
        return _ends(said, symbols, text)
    before = said[: felled.start()].strip(" ,;")
    found = _ends(before, symbols, text) if before else DateNotation()
    return _felling(found, said[felled.end() :], seasons, text)


def _reason(written: str, reasons: Vocabulary | None, text: str) -> str | None:
    wanted = written.strip(" .").casefold()
    if not wanted:
        return None
    for term in reasons.terms if reasons else ():
        if wanted in {s.casefold() for s in (term.code, term.label, *term.synonyms)}:
            return term.code
    known = ", ".join(term.label.lower() for term in reasons.terms) if reasons else "none"
    raise UnreadableValue(text, f"gives a reason that is not in the list; known are: {known}")


def _felling(
    found: DateNotation, written: str, seasons: Vocabulary | None, text: str
) -> DateNotation:
    """`found` with season, range, probability and source that are written behind 'felled'."""
    brackets = _IN_BRACKETS.search(written)
    if brackets:
        written = written[: brackets.start()]
        said = brackets["said"].strip()
        percent = _PERCENT.match(said)
        source = said[percent.end() :] if percent else said
        found = replace(
            found, percent=float(percent["percent"]) if percent else None, source=source or None
        )
    elif bare := _BARE_PERCENT.search(written):
        written = written[: bare.start()]
        found = replace(found, percent=float(bare["percent"]))
    written = written.strip()
    for term in seasons.terms if seasons else ():
        for word in (term.label, *term.synonyms):
            if match := re.match(rf"(?:in\s+)?(?:the\s+)?{re.escape(word)}\b\s*", written, re.I):
                found = replace(found, season=term.code)
                written = re.sub(r"^of\s+", "", written[match.end() :])
    if not written and found.season is not None:
        return found
    years = _span(re.sub(r"^in\s+(?=\S+$)", "", written), text)
    named = seasons.term(found.season) if seasons and found.season else None
    if named is not None and named.attributes.get("two_years") and years[0] == years[1]:
        raise UnreadableValue(
            text, "names one year for a winter, which lies in two; write 'felled winter 1655/56'"
        )
    return replace(found, felled=years)


def _span(written: str, text: str) -> tuple[int | None, int | None]:
    if opened := _OPEN_END.fullmatch(written):
        return parse_year(opened["year"] or opened["later"]), None
    if opened := _OPEN_START.fullmatch(written):
        return None, parse_year(opened["year"] or opened["earlier"])
    written = _PLUS_MINUS_TYPED.sub("±", _BETWEEN.sub(r"\1 to \2", written))
    spread = _PLUS_MINUS.search(written)
    if spread:
        middle = parse_year(written[: spread.start()])
        return middle - int(spread[1]), middle + int(spread[1])
    first = _YEAR.match(written.strip())
    if first is None:
        raise UnreadableValue(
            text, "has no year after 'felled'; write 'felled 1781 - 1785' or 'felled after 1781'"
        )
    rest = written.strip()[first.end() :]
    start = _year_of(first, text)
    if not rest:
        return start, start
    gap = _SEPARATOR.match(rest)
    if gap is None:
        raise UnreadableValue(text, f"has '{rest.strip()}' after the year, which is not understood")
    last = rest[gap.end() :]
    bare = first["before"] is None and first["after"] is None
    if bare and start >= 100 and re.fullmatch(r"\d{1,2}", last):
        # '1710-45' and '1655/6': the last digits alone, as people write it
        last = first["year"][: -len(last)] + last
    end = parse_year(last)
    # the era at the end holds for both ('45 - 40 BC'), as people write it
    if end <= 0 < start and bare:
        start = 1 - start
    if end < start:
        raise UnreadableValue(text, "runs backwards; write the earlier year first")
    return start, end


def _ends(said: str, symbols: Vocabulary, text: str) -> DateNotation:
    """The two ends of a sample, with boundary and rings of its sapwood.

    Spellings that hold what parts the ends ('H/S', '+/-p') are written otherwise first, and the
    numbers that are not the year of an end are taken out.
    """
    said = _PLUS_MINUS_TYPED.sub("±", said)
    for spelling, code in _awkward_spellings(symbols):
        # a pattern is slow to make, and most notations hold none of them
        if spelling in said:
            said = re.sub(rf"\s*{re.escape(spelling)}(?!\w)", f" {code}", said).strip()
    heartwood_year: int | None = None
    for code in heartwood_boundary_signs(symbols):
        if code not in said:
            continue
        if boundary := re.search(rf"\b{code}\s*(?:at|in|:)?\s*({_YEAR.pattern})(?!\d)", said):
            heartwood_year = parse_year(boundary[1])
            said = said[: boundary.start()] + code + said[boundary.end() :]
    sapwood = _SAPWOOD.search(said)
    if sapwood:
        said = _SAPWOOD.sub(", ", said, count=1).strip(" ,;")
    found = _both_ends(said, symbols, text) if said else DateNotation()
    count = int(sapwood["before"] or sapwood["after"]) if sapwood else None
    return replace(found, heartwood_year=heartwood_year, sapwood_count=count)


def _awkward_spellings(symbols: Vocabulary) -> list[tuple[str, str]]:
    """(spelling, code) of those with a blank or slash, which also part the ends; longest first."""
    found = [(one, term.code) for term in symbols.terms for one in term.synonyms]
    return sorted(((a, b) for a, b in found if re.search(r"[\s/]", a)), key=lambda p: -len(p[0]))


def heartwood_boundary_signs(symbols: Vocabulary) -> list[str]:
    """The symbols that say where the heartwood ends."""
    return [term.code for term in symbols.terms if term.attributes.get("heartwood_boundary")]


def _both_ends(said: str, symbols: Vocabulary, text: str) -> DateNotation:
    inner: YearMark | None = None
    rest = said
    alone = re.match(rf"{_DASH}\s+", said)
    first: re.Match[str] | None = None
    if alone:
        rest = said[alone.end() :]
    else:
        first = _YEAR.match(said)
        split = _SEPARATOR.search(said, first.end() if first else 0)
        # '±p' and '+/-' hold no separator, so look for one with a year or symbols behind it
        if split is not None and said[split.end() :].strip():
            inner = _mark(said[: split.start()], symbols, "inner", text, first)
            rest = said[split.end() :]
        elif split is not None:
            return DateNotation(inner=_mark(said[: split.start()], symbols, "inner", text, first))
    outer = _mark(rest, symbols, "outer", text, _YEAR.match(rest))
    if inner is not None and inner.year is not None and outer.year is not None:
        second = _YEAR.match(rest)
        bare = first is not None and first["before"] is None and first["after"] is None
        inside = inner.year
        if second is not None and bare and outer.year <= 0 < inside and second["after"]:
            inside = 1 - inside
            inner = YearMark(inside, inner.symbols)
        if outer.year < inside:
            raise UnreadableValue(
                text, "has an outside year before the inside year; look at the report again"
            )
    return DateNotation(inner=inner, outer=outer)


def _mark(
    part: str, symbols: Vocabulary, side: str, text: str, year: re.Match[str] | None
) -> YearMark:
    year = _YEAR.match(part) if year is None or not part.startswith(year[0]) else year
    number = _year_of(year, text) if year else None
    written = part[year.end() :] if year else part
    found = _symbols(written, symbols, side, text)
    if number is None and not found:
        raise UnreadableValue(text, EXPECTED)
    return YearMark(number, found)


def _symbols(written: str, symbols: Vocabulary, side: str, text: str) -> tuple[str, ...]:
    spellings: dict[str, Term] = {}
    for term in symbols.terms:
        if term.attributes.get("side") in (side, "both"):
            spellings |= dict.fromkeys((term.code, *term.synonyms), term)
    longest_first = sorted(spellings, key=len, reverse=True)
    found: list[Term] = []
    rest = written.strip(" ,;")
    while rest:
        spelling = next((one for one in longest_first if rest.startswith(one)), "")
        if not spelling:
            known = " ".join(dict.fromkeys(term.code for term in spellings.values()))
            ends = {"inner": "inside", "outer": "outside"}
            raise UnreadableValue(
                text,
                f"has '{rest}' at the {ends[side]} year, which is no known symbol; known there "
                f"are: {known}. Ask the laboratory what it means, or add it to the profile",
            )
        if spellings[spelling].code in [term.code for term in found]:
            raise UnreadableValue(text, f"has the symbol '{spelling}' twice")
        found.append(spellings[spelling])
        rest = rest[len(spelling) :].lstrip(" ,;")
    return _in_order(found)


def _in_order(terms: Iterable[Term]) -> tuple[str, ...]:
    ranked = sorted(terms, key=lambda term: (int(term.attributes.get("rank", 99)), term.code))
    return tuple(term.code for term in ranked)


def write_notation(
    said: DateNotation,
    symbols: Vocabulary,
    reasons: Vocabulary | None = None,
    seasons: Vocabulary | None = None,
) -> str:
    """The notation in this project's own layout; `parse_notation` reads the same from it."""
    if said.undated:
        if said.undated_reason is None or reasons is None:
            return "undated"
        return f"undated: {reasons.label(said.undated_reason).lower()}"
    return ", ".join(_parts(said, symbols, seasons))


def _parts(said: DateNotation, symbols: Vocabulary, seasons: Vocabulary | None) -> Iterator[str]:
    inner, outer = (None if one is None else write_mark(one) for one in (said.inner, said.outer))
    if said.heartwood_year is not None:
        boundary = heartwood_boundary_signs(symbols)[0]
        year = f"{boundary} {write_year(said.heartwood_year)}"
        outer, found = re.subn(rf"\b{boundary}\b", year, outer or "")
        outer = outer if found else f"{outer} {year}".strip()
    if inner is not None or outer is not None:
        yield write_ends(inner, outer or "")
    if said.sapwood_count is not None:
        yield f"{said.sapwood_count} sapwood ring{'' if said.sapwood_count == 1 else 's'}"
    if said.felled is None and said.season is None:
        return
    season = seasons.label(said.season).lower() if said.season and seasons else ""
    years = write_range(*said.felled) if said.felled is not None else ""
    percent = "" if said.percent is None else f"{said.percent:.10g} %"
    brackets = "; ".join(one for one in (percent, said.source) if one)
    yield " ".join(one for one in ("felled", season, years) if one) + (
        f" ({brackets})" if brackets else ""
    )


def write_range(first: int | None, last: int | None) -> str:
    """A range of years in this project's own layout.

    >>> write_range(1781, 1785), write_range(1781, 1781), write_range(1720, None)
    ('1781 - 1785', '1781', 'after 1720')
    """
    if first is None or last is None:
        side = "by" if first is None else "after"
        year = last if first is None else first
        return "" if year is None else f"{side} {write_year(year)}"
    return " - ".join(write_year(year) for year in dict.fromkeys((first, last)))


def write_ends(inner: str | None, outer: str) -> str:
    """The two ends, each as `write_mark` has it, in one text; `inner` is None when it is not known.

    >>> write_ends("1702 p", "1781 B"), write_ends(None, "1781 vv"), write_ends("1702", "")
    ('1702 p - 1781 B', '- 1781 vv', '1702 -')
    """
    return f"- {outer}" if inner is None else f"{inner} - {outer}".rstrip()


def write_mark(mark: YearMark) -> str:
    """One end in this project's own layout.

    >>> write_mark(YearMark(-44, ("++", "v")))
    '45 BC ++ v'
    """
    year = "" if mark.year is None else write_year(mark.year)
    return f"{year} {' '.join(mark.symbols)}".strip()
