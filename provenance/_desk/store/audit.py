"""The audit as a page: how every bundle stands, what does not fit, and why it was settled."""

from __future__ import annotations

from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._base.progress import Progress
from provenance._catalogue.audit.audit import audit_place, compare_in_store, settle_in_store
from provenance._catalogue.audit.audit_report import audit_html, audit_json
from provenance._catalogue.audit.standing import WORDS
from provenance._catalogue.build import index_place
from provenance._desk.answers import Answer, Done, Page, Sent, Work
from provenance._desk.asked import Asked
from provenance._desk.jobs import Stopped
from provenance._desk.pages import Pages
from provenance._desk.store.common import opened
from provenance._store.acts import AUDITED, SETTLED
from provenance._store.paper import read_anchor_line

pages = Pages()


@pages.shown("/store/{store}/audit", title=N_("Audit"), group=N_("Store"))
def audit(asked: Asked) -> Answer:
    """Every bundle with its state, and the findings that are open, by what was examined before."""
    store = opened(asked)
    values: dict[str, Any] = {
        "store_acts": [one for one in store.acts if one.kind == AUDITED and one.reason],
        "settled": [one for one in reversed(store.acts) if one.kind == SETTLED],
        "words": WORDS,
        "reports": [(one, asked.query[one]) for one in ("html", "json") if one in asked.query],
        "state": None,
        "standing": [],
        "numbers": {act.kept_at.partition("/")[0]: act.number for act in store.accessions},
    }
    if not (asked.desk.read_only or asked.desk.jobs.running()):
        standing, state = compare_in_store(store.folder, index_place(store.folder))
        root = store.folder.absolute()
        values |= {
            "state": state,
            "standing": [one | {"at": one["path"].removeprefix(f"{root}/")} for one in standing],
        }
    return Page("store/audit.html", values)


@pages.done("/store/{store}/audit")
def start(asked: Asked) -> Answer:
    """Verify the bundles, the longest unchecked first."""
    folder = asked.store
    minutes = asked.text("minutes")
    if minutes and not (minutes.isascii() and minutes.isdigit()):
        raise UnusableInput(f"'{minutes}' is not a number of minutes; write 30, or leave it blank")
    line = asked.text("anchor")
    anchors = [read_anchor_line(line)] if line else []
    anew = asked.text("anew") == "yes"

    def work(progress: Progress) -> Done:
        try:
            done = audit_place(
                folder,
                index_place(folder),
                minutes=float(minutes) if minutes else None,
                anew=anew,
                anchors=anchors,
                progress=progress,
            )
        except Stopped:
            said = _("Stopped. What was examined is kept; the next audit goes on from there.")
            return Done(asked.at("audit"), said)
        said = _("{examined} bundles examined, {left} left for the next audit.").format(
            examined=done.examined, left=done.left
        )
        state = done.store.in_words if done.store else ""
        clock = done.update.clock
        html, data = (text(done).encode("utf-8") for text in (audit_html, audit_json))
        made = {
            "html": asked.desk.made(Sent(html, "audit.html", "text/html")),
            "json": asked.desk.made(Sent(data, "audit.json", "application/json")),
        }
        return Done(asked.at("audit", **made), "\n".join(filter(None, (said, state, clock))))

    return Work(_("Auditing the store"), work)


@pages.done("/store/{store}/audit/settle")
def settle(asked: Asked) -> Answer:
    """Settle a finding with a reason, which the register keeps."""
    reason = asked.needed("reason", _("Reason"))
    folder = asked.store
    finding = asked.needed("finding", _("Finding"))
    one = settle_in_store(folder, index_place(folder), finding, reason=reason, by=asked.by)
    said = _("Settled: {kind} {about}").format(kind=one.kind, about=one.about)
    return Done(asked.at("audit"), said)
