"""Reads and writes the dates of a sample as laboratories write them: years with symbols.

    1702p - 1781B          pith inside, bark outside
    987fp - 1045++vv       far from the pith; counted at the end; no estimate of what is lost
    45 BC - AD 23 +r       the year zero does not exist in BC/AD; stored years are astronomical
    - 1781 rGB inc         outside year alone
    felled 1781 - 1785     the laboratory's estimate of the felling
    felled 1780 ± 5        the same, written another way
    undated: too few rings

Years are stored astronomically (ISO 8601-1: 0000 is 1 BC, -0001 is 2 BC). Symbols and their other
spellings come from the vocabulary 'result_symbol'; layout and wording are this project's own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from provenance._base.errors import UnreadableValue
from provenance._model.schema import Term, Vocabulary


class Cutting(StrEnum):
    """What an outside year says of the year in which the tree died."""

    CUTTING = "cutting"
    NEAR = "near"
    NON_CUTTING = "non_cutting"
    UNSTATED = "unstated"


@dataclass(frozen=True)
class YearMark:
    """One end of a sample: astronomical year and the symbols beside it, in the trade's order.

    Symbols may stand without a year: a sample can have bark and yet no date.
    """

    year: int | None
    symbols: tuple[str, ...] = ()


@dataclass(frozen=True)
class DateNotation:
    """All that one notation says; `felled` is an estimate (first, last year), both included."""

    inner: YearMark | None = None
    outer: YearMark | None = None
    felled: tuple[int, int] | None = None
    undated: bool = False
    undated_reason: str | None = None


_DASH = r"[-‐‑‒–—−]"
_ERA = r"(?:BCE|BC|AD|CE|B\.C\.E\.|B\.C\.|A\.D\.|C\.E\.)"
_YEAR = re.compile(
    rf"(?:(?P<before>{_ERA})\s*)?(?P<year>{_DASH}?\d{{1,5}})(?:\s*(?P<after>{_ERA})(?![A-Za-z]))?"
)
_SEPARATOR = re.compile(rf"\s+to\s+|\s*{_DASH}\s*|\s*/\s*|\s{{2,}}|\s+(?=(?:{_ERA}\s*)?\d)")
_UNDATED = re.compile(
    r"(?:undated|not dated|no date|n\.?d\.?)\b\s*[:;,(]?\s*(?P<reason>[^)]*)\)?", re.I
)
_FELLED = re.compile(r"(?:felled|felling|cut|death)\b[:\s]*", re.I)
_PLUS_MINUS = re.compile(r"\s*(?:±|\+/-|\+-)\s*(\d{1,3})\s*$")

EXPECTED = (
    "is not a date notation; write inside and outside year with their symbols, such as "
    "'1702p - 1781B', '- 1781 vv', 'felled 1780 ± 5' or 'undated: too few rings'"
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
        raise UnreadableValue(text, "is no year: 1 BC is followed by AD 1; write 1 BC or AD 1")
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
    text: str, symbols: Vocabulary, reasons: Vocabulary | None = None
) -> DateNotation:
    """What a laboratory's notation says.

    `symbols` is the vocabulary 'result_symbol', `reasons` the vocabulary 'undated_reason'.
    Raises UnreadableValue that names the part that is not understood; nothing is guessed.
    """
    said = " ".join(text.replace("\t", "  ").split(" ")).strip()
    if not said:
        raise UnreadableValue(text, "is empty; leave the result out, or write 'undated' and why")
    undated = _UNDATED.fullmatch(said)
    if undated:
        return DateNotation(undated=True, undated_reason=_reason(undated["reason"], reasons, text))
    felled = _FELLED.match(said)
    if felled:
        return DateNotation(felled=_span(said[felled.end() :], text))
    return _ends(said, symbols, text)


def _reason(written: str, reasons: Vocabulary | None, text: str) -> str | None:
    wanted = written.strip(" .").casefold()
    if not wanted:
        return None
    for term in reasons.terms if reasons else ():
        if wanted in {s.casefold() for s in (term.code, term.label, *term.synonyms)}:
            return term.code
    known = ", ".join(term.label.lower() for term in reasons.terms) if reasons else "none"
    raise UnreadableValue(text, f"gives a reason that is not in the list; known are: {known}")


def _span(written: str, text: str) -> tuple[int, int]:
    spread = _PLUS_MINUS.search(written)
    if spread:
        middle = parse_year(written[: spread.start()])
        return middle - int(spread[1]), middle + int(spread[1])
    first = _YEAR.match(written.strip())
    if first is None:
        raise UnreadableValue(text, "has no year after 'felled'; write 'felled 1781 - 1785'")
    rest = written.strip()[first.end() :]
    start = _year_of(first, text)
    if not rest:
        return start, start
    gap = _SEPARATOR.match(rest)
    if gap is None:
        raise UnreadableValue(text, f"has '{rest.strip()}' after the year, which is not understood")
    end = parse_year(rest[gap.end() :])
    # the era at the end holds for both ('45 - 40 BC'), as people write it
    if end <= 0 < start and first["before"] is None and first["after"] is None:
        start = 1 - start
    if end < start:
        raise UnreadableValue(text, "runs backwards; write the earlier year first")
    return start, end


def _ends(said: str, symbols: Vocabulary, text: str) -> DateNotation:
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
    found.sort(key=lambda term: (int(term.attributes.get("rank", 99)), term.code))
    return tuple(term.code for term in found)


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


def cutting_class(outer_symbols: tuple[str, ...], symbols: Vocabulary) -> Cutting:
    """What the symbols at the outside year say: a cutting, near-cutting or non-cutting date.

    A '++' never makes a cutting date: rings counted at the end may be too few (common practice,
    no source). Without any symbol that speaks of it, the answer is UNSTATED, not a guess.
    """
    classes = set()
    for code in outer_symbols:
        term = symbols.term(code)
        if term is not None:
            classes.add(term.attributes.get("cutting"))
    if "no" in classes:
        return Cutting.NON_CUTTING
    if "near" in classes:
        return Cutting.NEAR
    if "yes" in classes:
        return Cutting.NON_CUTTING if "++" in outer_symbols else Cutting.CUTTING
    return Cutting.UNSTATED
