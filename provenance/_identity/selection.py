"""Understands a selection of samples as people write it: '201-245,260'."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence

from provenance._base.errors import TreenailError
from provenance._identity.naming import SampleNames
from provenance._identity.payload import is_scan, split_scans

_DIGITS = re.compile(r"([0-9]+)")
# box labels are printed with an en dash
_RANGE = re.compile(r"([A-Z]*)(\d+)\s*[-‐‑‒–—−]\s*\1(\d+)")


def number_order(number: str) -> list[int | str]:
    """The key that sorts sample numbers as people file them: letters by letter, digits by value.

    >>> sorted(["N10", "231", "N9", "86"], key=number_order)
    ['86', '231', 'N9', 'N10']
    """
    # text and digits take turns, so a text never meets a number
    return [int(part) if place % 2 else part for place, part in enumerate(_DIGITS.split(number))]


def select_samples(
    known: Sequence[str],
    selection: str,
    names: SampleNames | None = None,
    *,
    noun: str = "sample",
) -> list[str]:
    """The samples of `known` that a selection names, in the order of the selection, none twice.

    A single number must be known; a range takes those that are. 'all' takes every one, in the order
    of their numbers. With `names` a sample may be named as on its label or by its code, too.
    Raises TreenailError that names the part which selects nothing; `noun` is what is selected.

    >>> select_samples(["201", "202", "204", "260"], "260, 201-204")
    ['260', '201', '202', '204']
    """
    if selection.strip().lower() == "all":
        return sorted(known, key=number_order)
    chosen: list[str] = []
    for part in _parts(selection):
        if part in known:
            chosen.append(part)
        elif (span := _RANGE.fullmatch(part.upper())) is not None:
            chosen.extend(_checked_or_within(known, span, part, names, noun))
        elif names is not None:
            chosen.append(_of_known(known, names.sample(part).sample_id))
        else:
            chosen.append(_of_known(known, part.upper(), noun))
    if not chosen:
        raise TreenailError(f"'{selection}' selects no {noun}; write numbers as 201-245,260 or all")
    return list(dict.fromkeys(chosen))


def select_scanned(
    known: Sequence[str], lines: str, names: SampleNames
) -> tuple[list[str], dict[str, int]]:
    """The samples that a scanner's lines name, and how often those that came more than once.

    Raises TreenailError that names every line that names no sample of `known`.
    """
    scanned: list[str] = []
    faults = []
    for number, text in split_scans(lines):
        try:
            scanned.append(_of_known(known, names.sample(text).sample_id))
        except TreenailError as error:
            faults.append(f"  line {number}: {error}")
    if faults:
        raise TreenailError("these lines name no sample that is meant:\n" + "\n".join(faults))
    if not scanned:
        raise TreenailError("no line names a sample; scan the labels, one after the other")
    return list(dict.fromkeys(scanned)), {
        number: times for number, times in Counter(scanned).items() if times > 1
    }


def _parts(selection: str) -> Iterator[str]:
    """What commas and line ends part; the code of a label is one part."""
    for _, text in split_scans(selection):
        parts = [text] if is_scan(text) else text.split(",")
        yield from filter(None, (part.strip() for part in parts))


def _of_known(known: Sequence[str], number: str, noun: str = "sample") -> str:
    if number not in known:
        raise TreenailError(f"there is no {noun} '{number}'; write numbers as 201-245,260 or all")
    return number


def _checked_or_within(
    known: Sequence[str], span: re.Match[str], part: str, names: SampleNames | None, noun: str
) -> list[str]:
    """The samples of a range; or of one number, where what follows it is its check character."""
    named = names.samples(part) if names is not None else []
    forwards = int(span[2]) <= int(span[3])
    if named and forwards:
        one = named[0]
        raise TreenailError(
            f"'{part}' could be a range, or {one.sample_id} with its check character; write "
            f"{one.site_id}-{one.sample_id}-{one.check}, or the numbers with commas"
        )
    if names is not None and not forwards and len(span[3]) == 1:
        return [_of_known(known, names.sample(part).sample_id)]
    return _within(known, span, part, noun)


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
