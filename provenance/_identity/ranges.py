"""Says which stamp numbers a copy of a package may give out, so that no two copies give out one.

A fresh package needs none of this: the copy in which it was begun owns every number. It grants a
range to another copy, which claims it by its code; that copy can grant a part of it in turn. An
unknown copy owns nothing.
"""

from __future__ import annotations

import hmac
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING

from provenance._base.errors import TreenailError, UnusablePackage
from provenance._history.acts import short_code
from provenance._history.entering import enter_table
from provenance._history.history import moment_text, record_key
from provenance._identity.naming import folded_number
from provenance._model.schema import AS_FOUND
from provenance._record.cells import whole_of
from provenance._record.copies import Copy, note_copy, this_copy
from provenance._record.origin import read_origin

if TYPE_CHECKING:
    from provenance._record.package import Package

TABLE = "number_range"
LARGEST = 99_999_999
"""The schema allows eight characters."""
_EVERYTHING = ("0", str(LARGEST))
Row = Mapping[str, str]
_CODE = re.compile(r"(\d{1,8})-(\d{1,8})-[A-Z]{8}")


class NotTheOwner(TreenailError):
    """This copy of the record may not give out these numbers."""


@dataclass(frozen=True)
class Granted:
    """Numbers from `first` to `last` for another copy, which claims them with the code."""

    code: str
    first: int
    last: int


def owned_numbers(package: Package, copy: Copy | None) -> list[range]:
    """The numbers that a copy owns, in rising order."""
    owned: list[range] = []
    for part, _ in _owned_parts(package, copy):
        start = owned.pop().start if owned and owned[-1].stop == part.start else part.start
        owned.append(range(start, part.stop))
    return owned


def _owned_parts(package: Package, copy: Copy | None) -> list[tuple[range, range | None]]:
    """The numbers that a copy owns by one range each, with that range; None: it began."""
    if copy is None:
        return []
    ranges = [(_numbers(package, one), one) for one in package.tables.rows(TABLE)]
    edges = {0, LARGEST + 1}
    for numbers, _ in ranges:
        edges |= {numbers.start, numbers.stop}
    parts: list[tuple[range, range | None]] = []
    for start, stop in pairwise(sorted(edges)):
        by, owner = _owner(ranges, start)
        if owner["owner"] == copy.token if owner else copy.began:
            if parts and parts[-1][1] == by and parts[-1][0].stop == start:
                start = parts.pop()[0].start
            parts.append((range(start, stop), by))
    return parts


def _numbers(package: Package, one: Row) -> range:
    first, last = whole_of(one["first"]), whole_of(one["last"])
    if first is None or last is None or not 0 <= first <= last <= LARGEST:
        raise UnusablePackage(
            f"{package.table_path(TABLE)}: the range {one['range_id']} goes from '{one['first']}' "
            f"to '{one['last']}'; it needs two whole numbers, at most {LARGEST}, the smaller first"
        )
    return range(first, last + 1)


def _owner(
    ranges: Iterable[tuple[range, Row]], number: int
) -> tuple[range, Row] | tuple[None, None]:
    """The range that counts for a number: the narrowest, and of two alike the later."""
    around = [(numbers, one) for numbers, one in ranges if number in numbers]
    around.sort(key=lambda pair: (pair[1]["granted_on"], pair[1]["range_id"]), reverse=True)
    return min(around, key=lambda pair: len(pair[0]), default=(None, None))


def copy_that_owns(package: Package) -> tuple[Copy, list[range]]:
    """This copy and its numbers; raises NotTheOwner that says whose they are and what to do."""
    copy = this_copy(package)
    if copy is None and TABLE not in package.model.tables:
        # of a version in which every copy gave out numbers
        copy = note_copy(package, began=True)
    owned = owned_numbers(package, copy)
    if copy is not None and owned:
        return copy, owned
    names = [
        f"'{one['owner_name'] or 'another copy'}' ({_in_words(one)})"
        for one in package.tables.rows(TABLE)
    ]
    if not any((one["first"], one["last"]) == _EVERYTHING for one in package.tables.rows(TABLE)):
        names.insert(0, "the copy in which the record was begun")
    owners = ", ".join(names)
    raise NotTheOwner(
        f"{package.folder} is a copy of a record that is kept elsewhere too, and owns no stamp "
        f"numbers, so that no two copies give out one number. They are given out by {owners}. "
        "Ask there for a range ('treenail stamps FOLDER --grant 100 --to NAME') and claim it here "
        f"('treenail stamps {package.folder} --claim CODE'). If no other copy will give out "
        f"numbers any more, say 'treenail stamps {package.folder} --take-over --why REASON'"
    )


def _in_words(one: Row) -> str:
    if (one["first"], one["last"]) == _EVERYTHING:
        return "all others"
    return f"{one['first']} to {one['last']}"


def grant_range(
    package: Package, count: int, *, to: str, moment: datetime | None = None
) -> Granted:
    """Give another copy so many numbers in a row, behind all that this copy gave out.

    So the other copy need not know which those are: it leaves out what upside down is a smaller
    number of this one. Raises NotTheOwner when this copy owns no such row of numbers.
    """
    if count < 1 or not to.strip():
        raise TreenailError("say how many numbers, at least 1, and with --to for which copy")
    with package.locked():
        copy, owned = copy_that_owns(package)
        start = first_behind(taken_numbers(package) | copy.given, owned)
        # out of one range of this copy and less than all of it: a range that reached into another
        # would give only those numbers that no narrower one has, and nobody there would know
        for part, by in _owned_parts(package, copy):
            first = max(part.start, start)
            if part.stop - first >= count and by != range(first, first + count):
                break
        else:
            raise NotTheOwner(
                f"this copy owns no {count} numbers in a row from {start} on; grant fewer, or ask "
                "the copy it has its own range from"
            )
        last = first + count - 1
        code = _code(package, first, last)
        row = {
            "range_id": code,
            "first": str(first),
            "last": str(last),
            "owner_name": to,
            "granted_on": moment_text(moment),
        }
        _enter(package, [*package.tables.rows(TABLE), row], "numbers granted", to, moment)
    return Granted(code, first, last)


def taken_numbers(package: Package) -> set[str]:
    """Every number that stands anywhere: reserved, sampled, punched into a plug, or once was so.

    The last are those of the bundle that the package was unpacked from, and of those before it.
    """
    taken = set(package.tables.column("reservation", "sample_id"))
    taken |= set(package.tables.column("sample", "sample_id"))
    taken |= set(package.tables.column("plug", "stamp"))
    if origin := read_origin(package.folder):
        taken |= origin.taken
    if package.model.numbering == AS_FOUND:
        # 1-01 and 101 are taken for each other
        taken |= {folded_number(one).upper() for one in taken}
    return taken - {""}


def first_behind(taken: Iterable[str], owned: Sequence[range]) -> int:
    """The first number behind all taken ones that a copy owns; 101 where there is none."""
    numbers = (int(number) for number in taken if number.isdigit())
    highest = max((one for one in numbers if any(one in part for part in owned)), default=None)
    return highest + 1 if highest is not None else max(101, owned[0].start)


def claim_range(
    package: Package, code: str, *, name: str = "", moment: datetime | None = None
) -> Granted:
    """Make this copy the owner of a range that was granted to it.

    Raises TreenailError for a code that is none of this record, or was claimed by another copy.
    """
    written = code.strip().upper()
    found = _CODE.fullmatch(written)
    if found is None or _code(package, int(found[1]), int(found[2])) != written:
        raise TreenailError(
            f"'{code}' is not a code of a range of this record; type it as 'treenail stamps FOLDER "
            "--grant' showed it, such as 101-200-ABCDEFGH"
        )
    with package.locked():
        copy = note_copy(package, began=False)
        rows = [dict(row) for row in package.tables.rows(TABLE)]
        row = next((one for one in rows if one["range_id"] == written), None)
        if row is None:
            # the copy was made before the range was granted
            row = {"range_id": written, "first": found[1], "last": found[2]}
            rows.append(row)
        if row.get("owner") not in (None, "", copy.token):
            raise TreenailError(
                f"{written} was claimed by another copy already; ask for a range of your own"
            )
        row["owner"] = copy.token
        if name:
            row["owner_name"] = name
        _enter(package, rows, "numbers claimed", name, moment)
    return Granted(written, int(found[1]), int(found[2]))


def take_over(
    package: Package, *, why: str, name: str = "", moment: datetime | None = None
) -> None:
    """Make this copy the owner of all numbers that no range gives to another.

    For a record whose first copy will give out none any more: a laptop that was lost, a bundle
    that is unpacked years later. Raises TreenailError without a reason.
    """
    if not why.strip():
        raise TreenailError("say with --why for which reason this copy takes the numbers over")
    with package.locked():
        copy = note_copy(package, began=False)
        on = moment_text(moment)
        row = {
            "range_id": short_code("ALL", copy.token, on),
            **dict(zip(("first", "last"), _EVERYTHING, strict=True)),
            "owner": copy.token,
            "owner_name": name,
            "granted_on": on,
            "reason": why,
        }
        _enter(package, [*package.tables.rows(TABLE), row], "numbers taken over", name, moment)


def _code(package: Package, first: int, last: int) -> str:
    """A code that tells a slip of the pen: its letters go with the numbers and the record."""
    digest = hmac.digest(record_key(package), f"{first}-{last}".encode(), "sha256").hex()
    return short_code(f"{first}-{last}", digest)


def _enter(
    package: Package, rows: Sequence[Row], why: str, who: str, moment: datetime | None
) -> None:
    when = moment_text(moment)
    enter_table(package, TABLE, rows, why=why, who=who, when=when)
