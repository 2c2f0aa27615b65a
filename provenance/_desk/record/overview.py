"""The first page of a record: what it holds, what is open, what was entered last."""

from __future__ import annotations

from provenance._base.languages import N_
from provenance._desk.answers import Answer, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._model.spoken import spoken

pages = Pages()

MAIN_TABLES = ("site", "place", "element", "sample", "plug", "lab_result")
LATEST = 10


@pages.shown("/record/{record}", title=N_("Overview"), group=N_("Record"))
def overview(asked: Asked) -> Answer:
    """Counts, findings, and the latest acts."""
    package = asked.record
    tables = package.tables
    model = spoken(package.model)
    main = [model.table(one) for one in MAIN_TABLES if one in model.tables]
    report = asked.open_record.findings()
    acts = [row for row in tables.rows("act") if row["kind"] != "begun"][-LATEST:]
    return Page(
        "record/overview.html",
        {
            "package": package,
            "counts": [(one, tables.count(one.name)) for one in main],
            "severities": {one: report.count(one) for one in ("error", "warning", "note")},
            "conflicts": tables.count("conflict") if "conflict" in package.model.tables else 0,
            "acts": acts[::-1],
        },
    )
