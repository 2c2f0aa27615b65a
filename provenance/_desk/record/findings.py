"""What the check finds in a record, in groups of one thing to do; accepted with a reason."""

from __future__ import annotations

from provenance._base.languages import N_, _
from provenance._checks.grouped import grouped
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._history.deciding import Refused, accept
from provenance._model.spoken import spoken

pages = Pages()

SHOWN = 50
"""Findings of one kind on the page; `?rule=` shows all of one."""


@pages.shown("/record/{record}/findings", title=N_("Findings"), group=N_("Record"))
def findings(asked: Asked) -> Answer:
    """All findings, errors first, each with what to do; and those that were accepted."""
    report = asked.open_record.findings()
    rule = asked.query.get("rule", "")
    groups = grouped(report, 0 if rule else SHOWN)
    accepted = report.accepted.to_dicts() if report.accepted is not None else []
    return Page(
        "record/findings.html",
        {
            "groups": [one for one in groups if rule in ("", one.rule)],
            "accepted": accepted,
            "report": report,
            "rule": rule,
            "titles": {one.name: one.title for one in spoken(asked.record.model).tables.values()},
        },
    )


@pages.shown("/record/{record}/checked")
def checked(asked: Asked) -> Answer:
    """What a page says that was shown before the check had run."""
    asked.open_record.findings()
    return Page("record/checked.html", whole=False)


@pages.done("/record/{record}/findings/accept")
def accept_finding(asked: Asked) -> Answer:
    """Accept what a rule says of a row, with a reason."""
    named = (asked.needed("rule", _("Rule")), asked.needed("table", _("Table")), asked.text("key"))
    why = asked.needed("why", _("The reason"))
    found = asked.open_record.findings().to_accept(*named)
    if not found:
        raise Refused(_("The check does not find this any more."))
    asked.open_record.decide(accept(found), by=asked.by, why=why)
    return Done(asked.text("back") or asked.at("findings"), _("Accepted."))
