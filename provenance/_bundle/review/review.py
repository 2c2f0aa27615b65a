"""Says what of a package waits for a person's word before it is public, and how the rest stands."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.errors import UnusablePackage
from provenance._bundle.redaction.decisions import keeps_reviews, shape_of
from provenance._bundle.redaction.gathering import Known
from provenance._bundle.redaction.redact import ask_everything
from provenance._bundle.redaction.release import FILE, PICTURE, WAITING, Asked
from provenance._record.edition_key import EDITION_KEY, edition_key, is_public, new_edition_key
from provenance._record.package import Package

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("kind", "where", "text", "times", "state", "found", "why", "rule", "identity")
OLDER = (
    "its schemas are of a version without reviews, so nothing can be released; 'treenail new "
    "--update' updates the package"
)


@dataclass(frozen=True)
class Review:
    """Everything in a package that needs a person's word before it is public.

    `waiting` says how much nobody has decided about; `frame` lists all of it, a text or file a row.
    """

    package: Package = field(repr=False)
    known: Known = field(repr=False)

    @cached_property
    def items(self) -> Sequence[Asked]:
        """All of it, in the order of the tables."""
        return tuple(self.known.release.asked.values())

    @property
    def states(self) -> Mapping[str, str]:
        """The protections and consents that decisions rest on, as they are now."""
        return self.known.release.states

    @property
    def can_be_decided(self) -> bool:
        """Whether the package has the tables that keep decisions."""
        return keeps_reviews(self.package)

    @property
    def open(self) -> list[Asked]:
        """What waits, by field, form and text; what the search found something in comes first."""
        waiting = [one for one in self.items if one.state == WAITING]
        fields = list(dict.fromkeys(one.where for one in waiting))
        found = {one.where for one in waiting if one.hits}

        def order(one: Asked) -> tuple[int, bool, int, bool, str, str]:
            # files and photos last, since they take another kind of look
            look = (FILE, PICTURE).index(one.kind) + 1 if one.kind in (FILE, PICTURE) else 0
            place = (look, one.where not in found, fields.index(one.where))
            return (*place, not one.hits, shape_of(one.text), one.text)

        return sorted(waiting, key=order)

    @property
    def waiting(self) -> int:
        """How many different texts and files nobody has decided about."""
        return sum(one.state == WAITING for one in self.items)

    @property
    def with_hits(self) -> int:
        """In how many of those that wait the search finds something."""
        return sum(one.state == WAITING and bool(one.hits) for one in self.items)

    def write_list(self, out: str | Path) -> int:
        """Write what waits as a list to fill in, .xlsx or .csv; returns how many rows wait."""
        from provenance._bundle.review.sheet import write_list

        return write_list(self, Path(out))

    def write_page(self, out: str | Path) -> int:
        """Write what waits as a page with photos; returns how much waits."""
        from provenance._bundle.review.page import write_page

        return write_page(self, Path(out))

    def counts(self) -> Mapping[tuple[str, str], Counter[str]]:
        """(kind, where) → how many are in each state, and 'hits': how many of those wait with."""
        found: dict[tuple[str, str], Counter[str]] = {}
        for one in self.items:
            counted = found.setdefault((one.kind, one.where), Counter())
            counted[one.state] += 1
            counted["hits"] += one.state == WAITING and bool(one.hits)
        return found

    @cached_property
    def frame(self) -> pd.DataFrame:
        """One row a text or file: COLUMNS, with `state` 'waiting', 'release', 'withhold', …"""
        import pandas as pd

        rows = [
            (one.kind, one.where, one.text, one.count, one.state, "; ".join(one.found), one.why,
             one.by_rule, one.identity)
            for one in self.items
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(COLUMNS))


def review_package(package: Package) -> Review:
    """What a public edition of the package would need a person's word for, and how it stands.

    A package from before there were editions is given an edition key.
    Raises UnusablePackage for a public edition, and when a table cannot be read.
    """
    if is_public(package):
        raise UnusablePackage(
            f"{package.folder} is a public edition; what may be public is decided in the package "
            "of the full one"
        )
    if edition_key(package) is None:
        with package.locked():
            package = package.with_descriptor({EDITION_KEY: new_edition_key()})
    with package.locked_for_reading():
        return Review(package, ask_everything(package.hold()))
