"""Understands a selection of samples as people write it: '201-245,260'."""

from __future__ import annotations

import re
from collections.abc import Sequence

from provenance._base.errors import TreenailError

_DIGITS = re.compile(r"([0-9]+)")
_RANGE = re.compile(r"([A-Z]*)(\d+)\s*-\s*\1(\d+)")


def number_order(number: str) -> list[int | str]:
    """The key that sorts sample numbers as people file them: letters by letter, digits by value.

    >>> sorted(["N10", "231", "N9", "86"], key=number_order)
    ['86', '231', 'N9', 'N10']
    """
    # text and digits take turns, so a text never meets a number
    return [int(part) if place % 2 else part for place, part in enumerate(_DIGITS.split(number))]


def select_samples(known: Sequence[str], selection: str, *, noun: str = "sample") -> list[str]:
    """The samples of `known` that a selection names, in the order of the selection, none twice.

    A single number must be known; a range takes those that are. 'all' takes every one, in the order
    of their numbers.
    Raises TreenailError that names the part which selects nothing; `noun` is what is selected.

    >>> select_samples(["201", "202", "204", "260"], "260, 201-204")
    ['260', '201', '202', '204']
    """
    if selection.strip().lower() == "all":
        return sorted(known, key=number_order)
    chosen: list[str] = []
    for part in (part.strip().upper() for part in selection.split(",")):
        span = _RANGE.fullmatch(part)
        if part in known:
            chosen.append(part)
        elif span is not None:
            chosen.extend(_within(known, span, part, noun))
        elif part:
            raise TreenailError(f"there is no {noun} '{part}'; write numbers as 201-245,260 or all")
    if not chosen:
        raise TreenailError(f"'{selection}' selects no {noun}; write numbers as 201-245,260 or all")
    return list(dict.fromkeys(chosen))


def _within(known: Sequence[str], span: re.Match[str], part: str, noun: str) -> list[str]:
    prefix, first, last = span[1], int(span[2]), int(span[3])
    if last < first:
        raise TreenailError(f"the range '{part}' runs backwards; write the smaller number first")
    numbers = {}
    for sample in known:
        digits = sample.removeprefix(prefix)
        if sample.startswith(prefix) and digits.isdigit() and first <= int(digits) <= last:
            numbers[int(digits)] = sample
    if not numbers:
        raise TreenailError(f"no {noun} lies in the range '{part}'")
    return [numbers[number] for number in sorted(numbers)]
