"""Reads dates written with words: 'c. 1987', 'summer 1987', 'before 1990', '12-14 June 1987'.

An interval in the result says between which days the date lies. 'before' and 'after' leave out the
date named, 'by', 'until', 'since' and 'from' take it in. A decade or century is read as its shared
digits: the 1980s are 198X, the 19th century 18XX (which by strict count lacks the year 1900).
English only; a mapping may add names of months.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from types import MappingProxyType

from provenance._base.errors import UnreadableValue
from provenance._model.edtf import bounds, is_edtf

_SEASONS: Mapping[str, str] = MappingProxyType(
    {"spring": "21", "summer": "22", "autumn": "23", "fall": "23", "winter": "24"}
)
_ABOUT = re.compile(
    r"(?:c\.?(?=\s*[0-9(])|(?:c\.|ca\.?|circa|about|abt\.?|around|approx\.?|approximately)(?=[\s0-9])"
    r"|[~≈])\s*",
    re.IGNORECASE,
)
_PERHAPS = re.compile(r"(?:(?:probably|prob\.|possibly|perhaps|maybe)\s|\?)\s*", re.IGNORECASE)
_DOUBT_BEHIND = re.compile(r"\s*(?:\(\?\)|\(\s*probably\s*\)|\?)$")
_NOT_KNOWN = re.compile(
    r"[?-]+|n\.?\s?d\.?|n/a|no date|undated|unknown|not (?:known|recorded)", re.IGNORECASE
)
_PART_OF_PERIOD = re.compile(
    r"\b(?:early|mid|middle|late|end|beginning|begin|start|first half|second half)\b", re.IGNORECASE
)
_YEAR = r"(?:[0-9]{4}|'?[0-9]{2})"
_ORDINAL = r"[0-9]{1,2}(?:st|nd|rd|th)?"
_GAP = r"[\s.,/-]+(?:of\s+)?"
_WEEKDAY = re.compile(
    r"(?:mon|tue|tues|wed|wednes|thu|thur|thurs|fri|sat|satur|sun)(?:day)?[.,]?\s+", re.IGNORECASE
)
_BOUNDARY = (
    (re.compile(r"(?:before|bef\.|earlier than|prior to)\s+(.+)", re.I), "before"),
    (re.compile(r"(?:after|aft\.|later than)\s+(.+)", re.I), "after"),
    (
        re.compile(
            r"(?:by|until|till|up to|no later than|not later than|on or before)\s+(.+)", re.I
        ),
        "by",
    ),
    (re.compile(r"(.+?),?\s+or\s+(?:earlier|before)", re.I), "by"),
    (
        re.compile(
            r"(?:since|not before|no earlier than|on or after|from)\s+(.+?)(?:\s+onwards?)?", re.I
        ),
        "since",
    ),
    (re.compile(r"(.+?),?\s+(?:or\s+(?:later|after)|onwards?)", re.I), "since"),
)
_SPANS = (
    re.compile(r"between\s+(.+?)\s+(?:and|-)\s+(.+)", re.IGNORECASE),
    re.compile(r"from\s+(.+?)\s+(?:to|until|till|-)\s+(.+)", re.IGNORECASE),
    re.compile(r"(.+?)\s+(?:to|-)\s+(.+)", re.IGNORECASE),
)

ReadPlainly = Callable[[str], str | None]
WholeYear = Callable[[int], int]


class _Words:
    """The reading of one cell; carries what every step needs."""

    def __init__(
        self,
        shown: str,
        read_plainly: ReadPlainly,
        whole_year: WholeYear,
        month_names: Mapping[str, int],
    ) -> None:
        self.shown = shown
        self.read_plainly = read_plainly
        self.whole_year = whole_year
        self.month_names = month_names
        names = "|".join(sorted(map(re.escape, month_names), key=len, reverse=True))
        self.month = rf"(?:{names})\.?"

    def refuse(self, expected: str) -> UnreadableValue:
        return UnreadableValue(self.shown, expected)

    def year_of(self, text: str) -> str:
        digits = text.lstrip("'")
        return digits if len(digits) == 4 else f"{self.whole_year(int(digits)):04}"

    def month_of(self, text: str) -> str:
        return f"{self.month_names[text.rstrip('.').casefold()]:02}"

    def whole(self, pattern: str, text: str) -> re.Match[str] | None:
        return re.fullmatch(pattern, text, re.IGNORECASE)

    def read(self, text: str) -> str | None:
        """EDTF of a date in words with its marks of doubt, or None."""
        if re.match(r"(?:between|from)\s", text, re.IGNORECASE) and (spanning := self.span(text)):
            return spanning  # a mark of doubt in front of either end is that end's own
        bare, mark = _without_doubt(text)
        if mark:
            found = self.read(bare)
            return None if found is None else self.with_mark(found, mark)
        if _PART_OF_PERIOD.search(text):
            raise self.refuse(
                "names a part of a period, which has no fixed days; write the first and last "
                "that it can have been, such as 1987-06-01/1987-06-10"
            )
        return self.boundary(text) or self.span(text) or self.single(text)

    def single(self, text: str) -> str | None:
        """One date: plain, by month name, a season, a decade or a century."""
        found = (
            self.read_plainly(text)
            or self.by_month_name(_WEEKDAY.sub("", text, count=1))
            or self.period(text)
        )
        if found is not None and not is_edtf(found):
            raise self.refuse(f"names a day that never was ({found}); check the figures")
        return found

    def by_month_name(self, text: str) -> str | None:
        month, gap = self.month, _GAP
        for pattern in (
            rf"(?P<d>{_ORDINAL})(?:{gap}|(?=[a-z]))(?P<m>{month})(?:{gap}|(?<=\.)|(?='))(?P<y>{_YEAR})",
            rf"(?P<m>{month}){gap}(?P<d>{_ORDINAL})(?:,\s*|\s+|-|/)(?P<y>{_YEAR})",
            rf"(?P<y>[0-9]{{4}}){gap}(?P<m>{month}){gap}(?P<d>{_ORDINAL})",
        ):
            match = self.whole(pattern, text)
            if match:
                day = int(re.sub(r"\D", "", match["d"]))
                return f"{self.year_of(match['y'])}-{self.month_of(match['m'])}-{day:02}"
        match = self.whole(rf"(?P<m>{month})(?:{gap}|(?='))(?P<y>{_YEAR})", text) or self.whole(
            rf"(?P<y>[0-9]{{4}}){gap}(?P<m>{month})", text
        )
        if match:
            if len(match["y"]) == 2 and 1 <= int(match["y"]) <= 31:
                raise self.refuse(
                    "can be a day or a year of two digits; write 14 June 1987 or June 1987"
                )
            return f"{self.year_of(match['y'])}-{self.month_of(match['m'])}"
        if self.whole(rf"{_ORDINAL}{gap}{month}|{month}", text):
            raise self.refuse("has no year; write 14 June 1987 or June 1987")
        return None

    def period(self, text: str) -> str | None:
        names = "|".join(_SEASONS)
        match = self.whole(rf"(?P<s>{names})(?:,|\s+of)?\s+(?P<y>{_YEAR})", text) or self.whole(
            rf"(?P<y>[0-9]{{4}})\s+(?P<s>{names})", text
        )
        if match:
            return f"{self.year_of(match['y'])}-{_SEASONS[match['s'].casefold()]}"
        if self.whole(rf"(?:{names})\b.*[0-9][-/][0-9].*", text):
            raise self.refuse(
                "names a season of two years; write its first and last month, such as "
                "1987-12/1988-02"
            )
        match = self.whole(r"(?:the\s+)?(?P<y>[0-9]{4}|'?[0-9]{2})'?s", text)
        if match:
            return self.decade(match["y"].lstrip("'"))
        match = self.whole(r"(?:the\s+)?(?P<n>[0-9]{1,2})(?:st|nd|rd|th)\s+(?:century|c\.)", text)
        if match and int(match["n"]) > 0:
            return f"{int(match['n']) - 1:02}XX"
        return None

    def decade(self, digits: str) -> str | None:
        if not digits.endswith("0"):
            return None
        if len(digits) == 2:
            first, last = self.whole_year(int(digits)), self.whole_year(int(digits) + 9)
            if first // 10 != last // 10:
                raise self.refuse("is a decade that the mapping's century_pivot cuts in two")
            return f"{first // 10:03}X"
        if digits.endswith("00"):
            raise self.refuse(
                f"can be ten years or a hundred; write {digits[:3]}X or {digits[:2]}XX"
            )
        return f"{digits[:3]}X"

    def boundary(self, text: str) -> str | None:
        for pattern, kind in _BOUNDARY:
            match = pattern.fullmatch(text)
            if match is None:
                continue
            bare, mark = _without_doubt(match[1])
            found = self.single(bare)
            if found is None or "/" in found or "T" in found:
                continue
            if found[-1] in "?~%":
                found, mark = found[:-1], found[-1]
            first, last = _first_and_last(found)
            if kind == "before":
                return f"../{self.stepped(first, -1)}{mark}"
            if kind == "after":
                return f"{self.stepped(last, 1)}{mark}/.."
            return f"../{last}{mark}" if kind == "by" else f"{first}{mark}/.."
        return None

    def stepped(self, text: str, step: int) -> str:
        """The year, month or day before (-1) or after (1) one of the same precision."""
        earliest, latest = bounds(text)
        if earliest is None or latest is None:  # pragma: no cover - single dates have both
            raise self.refuse("has an open end")
        year, month = earliest.year, earliest.month
        if re.fullmatch(r"-?[0-9]{4}", text):
            stepped = f"{year + step:04}"
        elif re.fullmatch(r"-?[0-9]{4}-(0[1-9]|1[0-2])", text):
            months = year * 12 + month - 1 + step
            stepped = f"{months // 12:04}-{months % 12 + 1:02}"
        elif re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            try:
                stepped = (date.fromisoformat(text) + timedelta(days=step)).isoformat()
            except (ValueError, OverflowError):
                raise self.refuse("names a day that never was; check the figures") from None
        else:
            raise self.refuse(
                "cannot be said before or after a season; write a month, such as before June 1987"
            )
        if not is_edtf(stepped):
            raise self.refuse("goes beyond the years 0000 to 9999; check the year")
        return stepped

    def span(self, text: str) -> str | None:
        joint = r"\s*(?:-|/|\bto\b|\band\b)\s*"
        month, gap = self.month, _GAP
        body = re.sub(r"^(?:between|from)\s+", "", text, flags=re.IGNORECASE)
        match = self.whole(rf"([0-9]{{4}}){joint}'?([0-9]{{2}})", body)
        if match:
            return self.years(match[1], match[2])
        match = self.whole(r"([0-9]{4})\s*-\s*([0-9]{4})", body)
        if match:
            return f"{match[1]}/{match[2]}"
        match = self.whole(rf"({month}){joint}({month}){gap}({_YEAR})", body)
        if match:
            year = self.year_of(match[3])
            return f"{year}-{self.month_of(match[1])}/{year}-{self.month_of(match[2])}"
        match = self.whole(rf"({_ORDINAL}){joint}({_ORDINAL}{gap}{month}{gap}{_YEAR})", body)
        if match:
            return self.days(match[1], self.by_month_name(match[2]))
        match = self.whole(rf"({month}{gap})({_ORDINAL}){joint}({_ORDINAL})(,?\s+{_YEAR})", body)
        if match:
            return self.days(match[2], self.by_month_name(match[1] + match[3] + match[4]))
        match = self.whole(
            rf"({_ORDINAL}{gap}{month}|{month}{gap}{_ORDINAL}){joint}(.*?)(,?\s+{_YEAR})", body
        )
        if match:
            return self.from_to(match[1] + match[3], match[2] + match[3])
        for pattern in _SPANS:
            match = pattern.fullmatch(text)
            if match:
                return self.from_to(match[1], match[2])
        return None

    def from_to(self, start: str, end: str) -> str | None:
        ends = []
        for place, part in enumerate((start, end)):
            bare, mark = _without_doubt(part)
            found = self.single(bare)
            if found is None or "/" in found or "T" in found:
                return None
            if found[-1] in "?~%":
                found, mark = found[:-1], found[-1]
            ends.append(_first_and_last(found)[place] + mark)
        return "/".join(ends)

    def years(self, first: str, second: str) -> str:
        """1987-88: the second year shares the century of the first."""
        if int(second) <= 12:
            raise self.refuse(
                "can be a month or a span of years; write 2001-05 for May 2001, or 2001/2005"
            )
        if int(second) <= int(first[2:]):
            raise self.refuse("is a span that runs backwards; write both years in full")
        return f"{first}/{first[:2]}{second}"

    def days(self, first_day: str, last: str | None) -> str | None:
        if last is None:
            return None
        day = int(re.sub(r"\D", "", first_day))
        return f"{last[:-2]}{day:02}/{last}"

    def with_mark(self, found: str, mark: str) -> str:
        """The date with ? ~ or % on every dated end."""
        if "T" in found:
            raise self.refuse("has a time of day and a doubt; write the day alone")
        ends = []
        for place, part in enumerate(found.split("/") if "/" in found else _first_and_last(found)):
            if part in ("", ".."):
                ends.append(part)
                continue
            both = {mark, part[-1]} & set("?~%")
            bare = part.rstrip("?~%")
            ends.append(bare + ("%" if len(both) > 1 or "%" in both else mark))
            if place == 0 and re.fullmatch(r"-?[0-9]{4}-2[1-4]", bare):
                raise self.refuse(
                    "is a season with a doubt, which EDTF cannot say; write its months, such as "
                    f"{bare[:-3]}-06~/{bare[:-3]}-08~"
                )
        return ends[0] if len(ends) == 2 and ends[0] == ends[1] else "/".join(ends)


def _without_doubt(text: str) -> tuple[str, str]:
    """The text without its marks of doubt, and the EDTF mark that says the same ('' for none)."""
    about = perhaps = False
    changed = True
    while changed and text:
        changed = False
        if match := _ABOUT.match(text):
            text, about, changed = text[match.end() :], True, True
        elif match := _PERHAPS.match(text):
            text, perhaps, changed = text[match.end() :], True, True
        elif match := _DOUBT_BEHIND.search(text):
            text, perhaps, changed = text[: match.start()], True, True
    return text, "%" if about and perhaps else "~" if about else "?" if perhaps else ""


def _first_and_last(found: str) -> tuple[str, str]:
    """A date as the two ends of an interval: itself twice, or the ends of what is left open."""
    if "X" not in found:
        return found, found
    if "-XX" in found:
        known = found.replace("-XX", "")
        return known, known
    return found.replace("X", "0"), found.replace("X", "9")


def read_worded_date(
    text: str,
    shown: str,
    read_plainly: ReadPlainly,
    whole_year: WholeYear,
    month_names: Mapping[str, int],
) -> str | None:
    """EDTF of a date in words, or None when no word of it is known.

    `shown` is the cell as found, for messages; `read_plainly` reads a date without words or gives
    None; `whole_year` completes a year of two digits. The result may still name a day that never
    was. Raises UnreadableValue for what is understood but cannot be said, with what to write.
    """
    if _NOT_KNOWN.fullmatch(text):
        raise UnreadableValue(
            shown,
            "says that the date is not known; leave the cell empty and say so in the remarks",
        )
    return _Words(shown, read_plainly, whole_year, month_names).read(text)
