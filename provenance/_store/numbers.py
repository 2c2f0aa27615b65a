"""Makes accession numbers by a repository's own pattern, and puts them on bags.

The pattern language:

    {year}       the year of the accession, four digits
    {month}      the month, two digits
    {serial}     the running number, 1, 2, 3 …
    {serial:04}  the running number with at least four digits (1 to 9 may be asked for)

All else stands for itself: letters, digits, blank, '.', '-', '_' and '/'. A pattern has exactly one
{serial}. The running number begins at 1 again whenever the year or month in the number changes, and
goes on for ever where there is neither. Two things that may both be digits do not touch, because
nobody could tell where one ends: '{year}{serial}' is refused, '{year}.{serial}' is fine.

A number is put on a bag without touching a byte of what it holds: it goes into bag-info.txt, which
is no payload (RFC 8493 section 2.2.2); the lists of the tag files' checksums are the only other
files that change, but for a signature of the repository.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import MappingProxyType

from provenance._bag.tag_files import BAG_INFO, info_bytes, info_lines, with_tag_manifests
from provenance._base.errors import TreenailError
from provenance._bundle.describe.lineage import ACCESSION_TAG

LONGEST = 60
_PIECE = re.compile(r"\{([^{}]*)\}|([^{}]+)")
_FIELD = re.compile(r"year|month|serial(?::0([1-9]))?")
_LITERAL = re.compile(r"[A-Za-z0-9 ._/-]+")
_WIDTHS = {"year": 4, "month": 2}


class UnusableNumber(TreenailError):
    """A pattern or number that cannot be used."""


@dataclass(frozen=True)
class NumberPattern:
    """A checked pattern; `pieces` are (field, literal, least digits), one of the first two ''."""

    text: str
    pieces: tuple[tuple[str, str, int], ...]

    def number(self, serial: int, day: date) -> str:
        """The number of that serial for an accession on that day."""
        values = {"year": f"{day.year:04}", "month": f"{day.month:02}"}
        return "".join(
            f"{serial:0{width}}" if field == "serial" else values[field] if field else literal
            for field, literal, width in self.pieces
        )

    def series_of(self, number: str) -> tuple[tuple[str, ...], int] | None:
        """(what stands for year and month, serial) of a number of this pattern, else None."""
        match = re.fullmatch(self._expression(), number, re.ASCII)
        if match is None:
            return None
        series = tuple(match[one] for one in _WIDTHS if one in match.groupdict())
        return series, int(match["serial"])

    def next_number(self, taken: Iterable[str], day: date) -> str:
        """The number behind the highest of its series; `taken` are all that ever were given out.

        >>> number_pattern("{year}.{serial:03}").next_number(["2026.007"], date(2026, 3, 1))
        '2026.008'
        """
        here = self.series_of(self.number(1, day))
        assert here is not None
        known = [one for one in map(self.series_of, taken) if one and one[0] == here[0]]
        return self.number(max((serial for _, serial in known), default=0) + 1, day)

    def renumbered(self, series: tuple[str, ...], serial: int) -> str:
        """The number of a serial in a series, both as `series_of` gives them."""
        year, month = (*series, "1", "1")[:2] if series else ("1", "1")
        return self.number(serial, date(int(year), int(month), 1))

    def _expression(self) -> str:
        parts = []
        for field, literal, width in self.pieces:
            if field == "serial":
                # leading noughts only up to the width, so that a number is written in one way
                parts.append(
                    rf"(?P<serial>(?!0{{{width}}})[0-9]{{{width}}}|[1-9][0-9]{{{width},8}})"
                )
            elif field:
                parts.append(rf"(?P<{field}>[0-9]{{{_WIDTHS[field]}}})")
            else:
                parts.append(re.escape(literal))
        return "".join(parts)


def number_pattern(text: str) -> NumberPattern:
    """Check a pattern; raises UnusableNumber that says what is wrong with it.

    >>> number_pattern("HR {year}/{serial}").number(12, date(2026, 3, 1))
    'HR 2026/12'
    """

    def refuse(why: str) -> UnusableNumber:
        return UnusableNumber(
            f"the pattern '{text}' cannot be used: {why}. Write for example {{year}}.{{serial:04}}"
        )

    pieces: list[tuple[str, str, int]] = []
    if "".join(match[0] for match in _PIECE.finditer(text)) != text or not text:
        raise refuse("a brace is not closed, or nothing is written")
    for match in _PIECE.finditer(text):
        if match[2] is None:
            field = _FIELD.fullmatch(match[1])
            if field is None:
                raise refuse(
                    f"{{{match[1]}}} is none of {{year}}, {{month}}, {{serial}}, {{serial:04}}"
                )
            name = match[1].partition(":")[0]
            pieces.append((name, "", int(field[1] or 1)))
        else:
            if not _LITERAL.fullmatch(match[2]):
                raise refuse(
                    "only letters, digits, blank, '.', '-', '_' and '/' are allowed outside "
                    "the braces"
                )
            pieces.append(("", match[2], 0))
    names = [name for name, _, _ in pieces if name]
    if names.count("serial") != 1:
        raise refuse("it needs {serial} exactly once")
    if len(set(names)) != len(names):
        raise refuse("a part occurs in it twice")
    if "month" in names and "year" not in names:
        raise refuse("with {month} and without {year} numbers would repeat after a year")
    for (one, literal, _), (other, following, _) in itertools.pairwise(pieces):
        ends = one or literal[-1].isdigit()
        begins = other or following[0].isdigit()
        if ends and begins:
            raise refuse("two numbers touch; put a '.', '-' or letter between them")
    pattern = NumberPattern(text, tuple(pieces))
    plain_number(pattern.number(999_999_999, date(2026, 12, 31)))
    return pattern


def plain_number(text: str) -> str:
    """A number that a person gave, if it can be one; raises UnusableNumber otherwise."""
    if not _LITERAL.fullmatch(text) or text != text.strip() or len(text) > LONGEST:
        raise UnusableNumber(
            f"'{text[:80]}' cannot be an accession number: use letters, digits, spaces, "
            f"'.', '-', '_' and '/' only, no space at either end, and at most {LONGEST} characters"
        )
    if not folder_name(text).strip(".-_") or folder_name(text).startswith("."):
        raise UnusableNumber(
            f"'{text}' cannot be an accession number: begin it with a letter or digit"
        )
    return text


def folder_name(number: str) -> str:
    """The folder that holds what was accessioned under a number.

    >>> folder_name("HR 2026/12")
    'HR-2026-12'
    """
    return number.replace("/", "-").replace(" ", "-")


FORMER_TAG = "Former-Accession-Number"
"""Where the number of another repository goes that a bundle came with."""


def numbered_tags(
    folder: Path, number: str, more: Mapping[str, bytes] = MappingProxyType({})
) -> dict[str, bytes]:
    """The tag files that change when the bag in `folder` gets a number: name → new content.

    `more` are other tag files that are put in or changed in the same step. Raises UnusableInput for
    a tag file in another encoding, which a bag may be in (RFC 8493).
    """
    entries = [
        f"{FORMER_TAG}{entry.removeprefix(ACCESSION_TAG)}" if label == ACCESSION_TAG else entry
        for label, entry in info_lines(folder)
    ]
    info = info_bytes([*entries, f"{ACCESSION_TAG}: {number}"])
    return with_tag_manifests(folder, {BAG_INFO: info, **more})
