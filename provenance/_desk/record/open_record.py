"""A record as long as the desk is open: what people enter, and what the check says of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from provenance._checks.check import check_package
from provenance._history import deciding
from provenance._record.package import Package

if TYPE_CHECKING:
    from provenance._base.findings import Finding, Report


class Cell(NamedTuple):
    """A cell as a person typed it, and what stood there when she began."""

    table: str
    key: str
    field: str
    before: str
    after: str


@dataclass(frozen=True)
class OpenRecord:
    """One record at the desk; the same one for all its pages."""

    package: Package

    def findings(self) -> Report:
        """What the check says now."""
        return check_package(self.package)

    def decide(self, decision: deciding.Deciding, *, by: str, why: str) -> deciding.Done:
        """Record a decision; raises Refused."""
        return deciding.decide(self.package, decision, who=by, why=why)


def of_row(found: Iterable[Finding], table: str, key: str) -> dict[str, list[Finding]]:
    """The findings about a row, by field; those about the row as a whole under ''."""
    fields: dict[str, list[Finding]] = {}
    for one in found:
        if (one.table, one.key) == (table, key):
            fields.setdefault(one.field, []).append(one)
    return fields
