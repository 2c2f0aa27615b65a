"""What reading a sheet gives: rows meant for tables, and cells that could not be read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from provenance._base.findings import Finding
from provenance._intake.lines.places import Place


@dataclass(frozen=True, slots=True)
class ReadRow:
    """One row meant for one table: filled fields only; `headings` say where each field stands.

    `written` has the text of the cells as it was written, where the value says it otherwise.
    """

    table: str
    key: str
    values: Mapping[str, str]
    headings: Mapping[str, str]
    place: Place
    written: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class UnreadCell:
    """A cell whose text could not become a value; `why` says what to write instead.

    `key` is '' when the row itself could not be told; `rule` is the finding's: 'cell_unread',
    'conflict' (another line says otherwise) or 'not_overwritten'.
    """

    table: str
    key: str
    field: str
    text: str
    why: str
    place: Place
    rule: str = "cell_unread"


@dataclass
class SheetReading:
    """All that one sheet gave; `tables` are those that its rules fill."""

    place: Place
    tables: frozenset[str]
    rows: list[ReadRow] = field(default_factory=list)
    unread: list[UnreadCell] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    lines: int = 0
    spacers: int = 0
