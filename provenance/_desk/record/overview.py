"""The first page of a record: what it holds, what is open, what was entered last."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from provenance._base.languages import N_
from provenance._desk.answers import Answer, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._history.told import file_name, kind_in_words
from provenance._model.spoken import spoken

if TYPE_CHECKING:
    from provenance._base.findings import Report
    from provenance._record.snapshot import Snapshot

pages = Pages()

MAIN_TABLES = ("site", "place", "element", "sample", "plug", "lab_result")
LATEST = 10


@pages.shown("/record/{record}", title=N_("Overview"), group=N_("Record"))
def overview(asked: Asked) -> Answer:
    """Counts, the latest acts, and what is open as far as it is known; the check comes after."""
    tables = asked.open_record.tables
    model = spoken(tables.model)
    main = [model.table(one) for one in MAIN_TABLES if one in model.tables]
    acts = [row for row in tables.rows("act") if row["kind"] != "begun"][-LATEST:]
    return Page(
        "record/overview.html",
        {
            "record_title": asked.open_record.title,
            "cautions": model.cautions,
            "counts": [(one, tables.count(one.name)) for one in main],
            "acts": [
                (
                    row,
                    kind_in_words(row["kind"], row["why"]),
                    row["source_id"] and file_name(tables, row["source_id"]),
                )
                for row in acts[::-1]
            ],
            **_open(tables, asked.open_record.last_report),
        },
    )


@pages.shown("/record/{record}/open")
def what_is_open(asked: Asked) -> Answer:
    """The part of the page that waits for the check."""
    report = asked.open_record.findings()
    values = _open(asked.open_record.tables, report)
    return Page("record/open.html", {"at": asked.at, **values}, whole=False)


def _open(tables: Snapshot, report: Report | None) -> dict[str, Any]:
    counted = ("error", "warning")
    counts = None if report is None else {one: report.count(one) for one in counted}
    conflicts = tables.count("conflict") if "conflict" in tables.model.tables else 0
    return {"severities": counts, "conflicts": conflicts}
