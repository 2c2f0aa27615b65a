"""Reserves stamp numbers so that no two plugs of a site can be read for each other.

A number given out is never given out again, whether it was used or not; within a crew the numbers
only rise, so that a crew's plugs can be put in order of time. Two people who reserve at once wait
for each other (the package is locked while the list is read and written).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from provenance._base.errors import TreenailError
from provenance._history.entering import enter_table
from provenance._identity.ranges import LARGEST, copy_that_owns, first_behind, taken_numbers
from provenance._identity.rotation import turned
from provenance._record.copies import note_given

if TYPE_CHECKING:
    from provenance._record.package import Package

DIES = "0123456789"
"""A whole set of steel dies."""


class NoNumbersLeft(TreenailError):
    """The range holds fewer usable numbers than were asked for."""


@dataclass(frozen=True)
class Reservation:
    """One number for one crew; `orientation_mark` is a code of the vocabulary of that name."""

    sample_id: str
    site_id: str
    crew: str
    orientation_mark: str
    reserved_on: str


def free_numbers(
    taken: Collection[str],
    *,
    first: int,
    last: int,
    dies: str = DIES,
    marked: bool = False,
    owned: Sequence[range] = (range(LARGEST + 1),),
) -> Iterator[str]:
    """The numbers from `first` to `last` that may still be struck, in rising order.

    Left out are: numbers already taken; numbers that another copy of the record gives out (`owned`
    are those of this one); numbers with a digit that the die set lacks; and, unless all stamps are
    `marked` for the right way up, numbers that upside down read as one that is taken, that came
    earlier in this run, or that is smaller and another copy's.

    >>> list(free_numbers({"66"}, first=95, last=101))
    ['95', '96', '97', '98', '100', '101']
    """
    used = set(taken)
    for number in (n for part in owned for n in _both(part, first, last)):
        text = str(number)
        if text in used or any(digit not in dies for digit in text):
            continue
        upside_down = turned(text)
        if not marked and upside_down is not None and upside_down != text:
            another_copys = (
                not upside_down.startswith("0")
                and int(upside_down) < number
                and not any(int(upside_down) in part for part in owned)
            )
            if upside_down in used or another_copys:
                continue
        used.add(text)
        yield text


def _both(part: range, first: int, last: int) -> range:
    return range(max(part.start, first), min(part.stop, last + 1))


def reserve_stamps(
    package: Package,
    count: int,
    *,
    crew: str,
    reserved_on: str,
    site_id: str | None = None,
    first: int | None = None,
    last: int | None = None,
    dies: str = DIES,
    orientation_mark: str = "none",
) -> tuple[Reservation, ...]:
    """Give `count` numbers to a crew and write them into the table `reservation`.

    `first` and `last` bound the crew's range (both included); left out, the crew goes on behind its
    last number, or behind the highest of the package. `orientation_mark` 'bar' or 'dot' keeps plain
    counting: every number that would read as another upside down is to be struck with the mark.
    `reserved_on` is EDTF.

    Raises NoNumbersLeft when the range does not hold that many, NotTheOwner in a copy that owns no
    numbers, TreenailError for a count below 1, an unknown site, an unknown mark or an empty die
    set; nothing is reserved then.
    """
    if count < 1:
        raise TreenailError(f"{count} numbers cannot be reserved; ask for at least 1")
    if not crew.strip():
        raise TreenailError("say which crew the numbers are for")
    if not dies or any(die not in DIES for die in dies):
        raise TreenailError(f"the die set '{dies}' is not made of digits; write it as 0123456789")
    marks = package.model.vocabularies["orientation_mark"]
    if orientation_mark not in marks.codes:
        raise TreenailError(f"'{orientation_mark}' is not one of {', '.join(marks.codes)}")

    if first is not None and last is not None and last < first:
        raise TreenailError(f"the range from {first} to {last} runs backwards; swap the two")
    with package.locked():
        site_id = _site(package, site_id)
        copy, owned = copy_that_owns(package)
        before = package.tables.rows("reservation")
        taken = taken_numbers(package) | copy.given
        crews_own = [
            int(row["sample_id"])
            for row in before
            if row["crew"] == crew and row["sample_id"].isdigit()
        ]
        start = _start(taken, crews_own, first, owned)
        end = last if last is not None else LARGEST
        marked = orientation_mark != "none"
        chosen: list[str] = []
        for number in free_numbers(
            taken, first=start, last=end, dies=dies, marked=marked, owned=owned
        ):
            chosen.append(number)
            if len(chosen) == count:
                break
        if len(chosen) < count:
            raise NoNumbersLeft(
                f"crew '{crew}': only {len(chosen)} of {count} numbers are left from {start} to "
                f"{end} with the dies {dies}{_of_this_copy(owned)}; widen the range, or use an "
                "orientation mark"
            )
        note_given(package, chosen)
        reserved = tuple(
            Reservation(
                sample_id=number,
                site_id=site_id,
                crew=crew,
                orientation_mark=orientation_mark if _may_mislead(number) else "none",
                reserved_on=reserved_on,
            )
            for number in chosen
        )
        rows = [*before, *(vars(one) for one in reserved)]
        enter_table(package, "reservation", rows, why="stamps", who=crew)
    return reserved


def _may_mislead(number: str) -> bool:
    upside_down = turned(number)
    return upside_down is not None and upside_down != number


def _site(package: Package, site_id: str | None) -> str:
    sites = package.tables.column("site", "site_id")
    if site_id is None and len(sites) == 1:
        return str(sites[0])
    if site_id in sites:
        return str(site_id)
    if not sites:
        raise TreenailError(
            "the package has no site yet; fill in the sheet 'Site' of the workbook and import it"
        )
    known = ", ".join(sites)
    if site_id is None:
        raise TreenailError(f"say for which site with --site: {known}")
    raise TreenailError(f"there is no site '{site_id}'; there are {known}")


def _start(taken: set[str], crews_own: list[int], first: int | None, owned: Sequence[range]) -> int:
    behind_own = max(crews_own, default=0) + 1
    if first is not None:
        return max(first, behind_own)
    if crews_own:
        return behind_own
    return first_behind(taken, owned)


def _of_this_copy(owned: Sequence[range]) -> str:
    if list(owned) == [range(LARGEST + 1)]:
        return ""
    parts = ", ".join(f"{one.start} to {one.stop - 1}" for one in owned)
    return f" among those of this copy ({parts})"
