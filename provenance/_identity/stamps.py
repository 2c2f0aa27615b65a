"""Reserves stamp numbers so that no two plugs of a site can be read for each other.

A number given out is never given out again, whether it was used or not; within a crew the numbers
only rise, so that a crew's plugs can be put in order of time. Two people who reserve at once wait
for each other (the package is locked while the list is read and written).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from provenance._base.errors import TreenailError
from provenance._history.deciding import enter_table
from provenance._identity.rotation import turned
from provenance._record.origin import read_origin

if TYPE_CHECKING:
    from provenance._record.package import Package

DIES = "0123456789"
"""A whole set of steel dies."""

LARGEST = 99_999_999
"""The schema allows eight characters."""


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
) -> Iterator[str]:
    """The numbers from `first` to `last` that may still be struck, in rising order.

    Left out are: numbers already taken; numbers with a digit that the die set lacks; and, unless
    all stamps are `marked` for the right way up, numbers that upside down read as one that is
    taken or that came earlier in this run.

    >>> list(free_numbers({"66"}, first=95, last=101))
    ['95', '96', '97', '98', '100', '101']
    """
    used = set(taken)
    for number in range(first, last + 1):
        text = str(number)
        if text in used or any(digit not in dies for digit in text):
            continue
        upside_down = turned(text)
        if not marked and upside_down is not None and upside_down != text and upside_down in used:
            continue
        used.add(text)
        yield text


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

    Raises NoNumbersLeft when the range does not hold that many, TreenailError for a count below 1,
    an unknown site, an unknown mark or an empty die set; nothing is reserved then.
    """
    if count < 1:
        raise TreenailError(f"{count} numbers cannot be reserved; ask for at least 1")
    if not crew.strip():
        raise TreenailError("say which crew the numbers are for")
    if not dies or any(die not in DIES for die in dies):
        raise TreenailError(f"the die set '{dies}' is not made of digits; write it as 0123456789")
    marks = package.model.vocabularies["orientation_mark"]
    if orientation_mark not in marks.codes:
        raise TreenailError(f"'{orientation_mark}' is no mark; there are {', '.join(marks.codes)}")

    if first is not None and last is not None and last < first:
        raise TreenailError(f"the range from {first} to {last} runs backwards; swap the two")
    with package.locked():
        site_id = _site(package, site_id)
        before = package.tables.rows("reservation")
        taken = _taken(package)
        crews_own = [
            int(row["sample_id"])
            for row in before
            if row["crew"] == crew and row["sample_id"].isdigit()
        ]
        start = _start(taken, crews_own, first)
        end = last if last is not None else LARGEST
        marked = orientation_mark != "none"
        chosen: list[str] = []
        for number in free_numbers(taken, first=start, last=end, dies=dies, marked=marked):
            chosen.append(number)
            if len(chosen) == count:
                break
        if len(chosen) < count:
            raise NoNumbersLeft(
                f"crew '{crew}': only {len(chosen)} of {count} numbers are left from {start} to "
                f"{end} with the dies {dies}; widen the range, or use an orientation mark"
            )
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


def _taken(package: Package) -> set[str]:
    """Every number that stands anywhere: reserved, sampled, punched into a plug, or once was so.

    The last are those of the bundle that the package was unpacked from, and of those before it.
    """
    taken = set(package.tables.column("reservation", "sample_id"))
    taken |= set(package.tables.column("sample", "sample_id"))
    taken |= set(package.tables.column("plug", "stamp"))
    if origin := read_origin(package.folder):
        taken |= origin.taken
    return taken - {""}


def _start(taken: set[str], crews_own: list[int], first: int | None) -> int:
    behind_own = max(crews_own, default=0) + 1
    if first is not None:
        return max(first, behind_own)
    if crews_own:
        return behind_own
    return max((int(number) for number in taken if number.isdigit()), default=100) + 1
