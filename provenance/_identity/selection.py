"""Understands a selection of samples as people write it: '201-245,260'."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Sequence
from typing import TYPE_CHECKING

from provenance._base.errors import TreenailError, UnreadableValue
from provenance._identity.naming import SampleNames
from provenance._identity.payload import is_inside, is_scan, split_scans
from provenance._record.attempts import failed_attempts

if TYPE_CHECKING:
    from provenance._record.snapshot import Snapshot

Inside = Callable[[str], Sequence[str]]
"""What gives the samples in the box, drawer or parcel of a code that was scanned."""

_DIGITS = re.compile(r"([0-9]+)")
# names of sites in the codes of labels of before, and addresses
_WITH_COMMAS = re.compile(r"^\S+\s+\d+\s|\ssee\s", re.IGNORECASE)
# what a comma ends, but not one between double quotes
_PIECE = re.compile(r'(?:\s*"[^"\n]*"\s*(?=,|$))|[^,]+')
_DASH = re.compile(r"\s*[-‐‑‒–—−]\s*")
_COUNTED = re.compile(r"(.*?)([0-9]{1,9})")
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
    inside: Inside | None = None,
    noun: str = "sample",
) -> list[str]:
    """The samples of `known` that a selection names, in the order of the selection, none twice.

    A single number must be known, a number with a comma in it as it is or in double quotes; a range
    takes those that are. 'all' takes every one, in the order
    of their numbers. With `names` a sample may be named as on its label or by its code, too, and
    with `inside` all that lie in a box, drawer or parcel by its code. Raises TreenailError that
    names the part which selects nothing; `noun` is what is selected.

    >>> select_samples(["201", "202", "204", "260"], "260, 201-204")
    ['260', '201', '202', '204']
    """
    if selection.strip().lower() == "all":
        return sorted(known, key=number_order)
    chosen: list[str] = []
    there = set(known)
    for part in _parts(selection, there):
        if part in there:
            chosen.append(part)
        elif (span := _RANGE.fullmatch(part.upper())) is not None:
            chosen.extend(_checked_or_within(known, span, part, names, noun))
        elif ends := _ends_of_range(part, there):
            chosen.extend(_within(known, *ends, part, noun))
        elif inside is not None and is_inside(part):
            chosen.extend(_of_known(known, one) for one in inside(part))
        elif names is not None:
            chosen.append(_of_known(known, names.sample(part).sample_id))
        else:
            chosen.append(_of_known(known, part.upper(), noun))
    if not chosen:
        raise TreenailError(f"'{selection}' selects no {noun}; write numbers as 201-245,260 or all")
    return list(dict.fromkeys(chosen))


def samples_of_package(tables: Snapshot, selection: str, inside: Inside | None = None) -> list[str]:
    """As `select_samples`, of all samples of a package and by all that they are named by.

    'all' leaves out holes and cuts that gave none; one that is named alone, or in a range, stays.
    """
    known = tables.column("sample", "sample_id")
    if selection.strip().lower() == "all":
        failed = failed_attempts(tables)
        known = [one for one in known if one not in failed] or known
    return select_samples(known, selection, SampleNames.of(tables), inside=inside)


def renamed_in(tables: Snapshot, selection: str) -> dict[str, str]:
    """Numbers that a selection or scanned lines name and that samples bore before → those of now.

    What can be read of it is looked at, and nothing raised.
    """
    names = SampleNames.of(tables)
    found = {}
    for part in _parts(selection, set(tables.column("sample", "sample_id"))):
        try:
            called = names.called_before(part)
        except UnreadableValue:
            continue
        if called is not None:
            found[called[0]] = called[1]
    return found


def sample_of_package(tables: Snapshot, text: str) -> str:
    """The number of the one sample of a package that the text names; raises TreenailError."""
    named = SampleNames.of(tables).sample(text).sample_id
    return _of_known(tables.column("sample", "sample_id"), named)


def select_scanned(
    tables: Snapshot, lines: str, inside: Inside | None = None
) -> dict[str, list[int]]:
    """The samples of a package that a scanner's lines name, with the lines on which they stand.

    With `inside` the code of a box, drawer or parcel names all samples in it. Raises
    TreenailError that lists every line that names none; nothing is passed over.
    """
    known, names = tables.column("sample", "sample_id"), SampleNames.of(tables)
    scanned: dict[str, list[int]] = {}
    faults = []
    for line, text in split_scans(lines):
        try:
            if inside is not None and is_inside(text):
                named = inside(text)
            else:
                named = [names.sample(text).sample_id]
            for sample in [_of_known(known, one) for one in named]:
                scanned.setdefault(sample, []).append(line)
        except TreenailError as error:
            faults.append(f"  line {line}: {error}")
    if faults:
        raise TreenailError(
            "not every line names a sample, so none is taken:\n" + "\n".join(faults)
        )
    if not scanned:
        raise TreenailError("no line names a sample; scan their labels, one after the other")
    return scanned


def _parts(selection: str, known: Collection[str]) -> Iterator[str]:
    """What commas and line ends part; a code that may hold commas itself is one part.

    So is what stands between double quotes, and a number of `known` with commas in it.
    """
    most = max((one.count(",") for one in known), default=0)
    for _, text in split_scans(selection):
        if is_scan(text) and _WITH_COMMAS.search(text):
            yield text
            continue
        pieces = [one[0] for one in _PIECE.finditer(text)]
        while pieces:
            for count in range(min(most + 1, len(pieces)), 0, -1):
                part = ",".join(pieces[:count]).strip()
                if count == 1 or part in known:
                    break
            pieces = pieces[count:]
            if part and part not in known and part[0] == part[-1] == '"' and len(part) > 1:
                part = part[1:-1]
            if part:
                yield part


def _ends_of_range(part: str, known: Collection[str]) -> tuple[str, int, int] | None:
    """What numbers as found begin with, and the first and last of a range of them: AF-1–AF-9."""
    for dash in _DASH.finditer(part):
        ends = [_COUNTED.fullmatch(one) for one in (part[: dash.start()], part[dash.end() :])]
        if ends[0] and ends[1] and ends[0][1] == ends[1][1] and ends[0][0] in known:
            return ends[0][1], int(ends[0][2]), int(ends[1][2])
    return None


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
    return _within(known, span[1], int(span[2]), int(span[3]), part, noun)


def _within(
    known: Sequence[str], prefix: str, first: int, last: int, part: str, noun: str
) -> list[str]:
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
