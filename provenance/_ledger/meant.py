"""Says which samples a person means by numbers, labels and codes that were typed or scanned."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from provenance._identity.selection import renamed_in, samples_of_package, select_scanned
from provenance._ledger.inside import samples_inside

if TYPE_CHECKING:
    from provenance._record.snapshot import Snapshot


class Meant(NamedTuple):
    """The samples in the order in which they were named, and what a person should know of it."""

    samples: tuple[str, ...]
    notes: tuple[str, ...]


def samples_named(tables: Snapshot, selection: str) -> Meant:
    """The samples of a selection: '231,233-240', 'all', a label, the code of a box or parcel.

    Raises TreenailError that names the part which selects nothing.
    """
    noted: list[str] = []
    samples = samples_of_package(tables, selection, lambda code: _inside(tables, code, noted))
    return Meant(tuple(samples), (*noted, *_renamed(tables, selection)))


def samples_scanned(tables: Snapshot, lines: str) -> Meant:
    """The samples of scanned codes, line by line; a code that was scanned twice counts once.

    Raises TreenailError that lists every line that names none.
    """
    noted: list[str] = []
    found = select_scanned(tables, lines, lambda code: _inside(tables, code, noted))
    twice = [
        f"{sample} was scanned {len(on)} times, on lines {', '.join(map(str, on))}; it counts once"
        for sample, on in found.items()
        if len(on) > 1
    ]
    return Meant(tuple(found), (*noted, *twice, *_renamed(tables, lines)))


def _inside(tables: Snapshot, code: str, noted: list[str]) -> tuple[str, ...]:
    found = samples_inside(tables, code)
    count = len(found.samples)
    noted.append(f"{count:,} sample{'' if count == 1 else 's'} in {found.words}")
    return found.samples


def _renamed(tables: Snapshot, text: str) -> Iterator[str]:
    """Which of the numbers named are former ones."""
    for old, now in renamed_in(tables, text).items():
        yield f"{old} is called {now} now"
