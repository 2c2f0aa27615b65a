"""What a store is: its figures, what is due, its settings, its register, and how one is begun."""

from __future__ import annotations

import json
from datetime import date

from provenance._base.disk import write_bytes
from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._base.resources import shipped
from provenance._bundle.preservation import PreservationEvent, preservation_events_csv
from provenance._collection.loans import loans_in, requests_of
from provenance._collection.year import count_years
from provenance._desk.answers import Answer, Done, Page, Sent
from provenance._desk.asked import Asked
from provenance._desk.inputs import Input
from provenance._desk.pages import Pages
from provenance._desk.store.common import CSV, day_of, opened, plain_input, typed
from provenance._desk.things import STORE, things_in
from provenance._desk.uploads import harmless_name
from provenance._store.acts import AUDITED, ends_of, first_fault
from provenance._store.copies import merge_copy
from provenance._store.current import standing_accessions
from provenance._store.paper import anchor_line, print_anchor
from provenance._store.preservation import preservation_events
from provenance._store.settings import settings_in
from provenance._store.starting import put_settings
from provenance._store.store import open_store
from provenance._store.terms import reminders

pages = Pages()
USUAL_PATTERN = "{year}.{serial:04}"
MOST_ACTS = 200


def _settings_inputs() -> list[Input]:
    raw = json.loads((shipped("schemas") / "repository.schema.json").read_text(encoding="utf-8"))
    return [
        plain_input(
            name,
            one["title"],
            one.get("description", ""),
            section=_("Settings"),
            required=name in raw["required"],
        )
        for name, one in raw["properties"].items()
    ]


@pages.shown("/start-store")
def starting(asked: Asked) -> Answer:
    """The form that starts a store."""
    values = {"folder": "store", "number_pattern": USUAL_PATTERN}
    folder = plain_input(
        "folder", _("Name of the folder"), _("It is made in this folder."), required=True
    )
    return Page("store/start.html", {"inputs": [folder, *_settings_inputs()], "values": values})


@pages.done("/start-store")
def start(asked: Asked) -> Answer:
    """Start a store with its settings."""
    if not asked.desk.is_shelf:
        raise UnusableInput(
            _("This desk has one thing open alone. Open the folder around it to start a store.")
        )
    name = harmless_name(asked.needed("folder", _("Name of the folder")))
    values = typed(asked, [one.name for one in _settings_inputs()])
    put_settings(asked.desk.folder / name, values, **day_of(asked))
    return Done(f"/store/{name}", _("The store is started. Take in the first bundle."))


@pages.shown("/store/{store}", title=N_("Overview"), group=N_("Store"))
def overview(asked: Asked) -> Answer:
    """Holdings in figures, what is overdue, what the last audit found."""
    store, today = opened(asked), date.today()
    standing = standing_accessions(store.acts)
    audits = [act for act in store.acts if act.kind == AUDITED and act.reason]
    fault = first_fault(store.acts)
    loans = [one for one in loans_in(store) if one.days_over(today.isoformat())]
    return Page(
        "store/overview.html",
        {
            "name": settings_in(store.folder).in_words,
            "records": len({act.record_id for act in standing} - {""}),
            "accessions": len(standing),
            "withdrawn": len(store.withdrawn),
            "figures": count_years(store, today.year).counts[today.year],
            "audit": audits[-1] if audits else None,
            "fault": fault,
            "ends": len(ends_of(store.acts)),
            "due": reminders(store, today),
            "loans": loans,
            "today": today.isoformat(),
            "requests": [one for one in requests_of(store) if not one.decision],
            "newest": standing[-1:-6:-1],
        },
    )


@pages.shown("/store/{store}/settings", title=N_("Settings"), group=N_("Papers"))
def settings(asked: Asked) -> Answer:
    """What the repository says of itself."""
    now = settings_in(asked.store)
    values = {one: getattr(now, one) for one in ("name", "postal_address", "contact", "party_id")}
    values |= {"notice": now.notice, "number_pattern": now.pattern.text if now.pattern else ""}
    return Page("store/settings.html", {"inputs": _settings_inputs(), "values": values})


@pages.done("/store/{store}/settings")
def save_settings(asked: Asked) -> Answer:
    """Give the store other settings."""
    values = typed(asked, [one.name for one in _settings_inputs()])
    put_settings(asked.store, values, **day_of(asked))
    return Done(asked.at("settings"), _("Saved."))


@pages.shown("/store/{store}/register", title=N_("Register"), group=N_("Papers"))
def register(asked: Asked) -> Answer:
    """The acts of the store, the newest first."""
    store = opened(asked)
    others = [one.name for one in things_in(asked.desk.folder) if one.kind == STORE]
    return Page(
        "store/register.html",
        {
            "acts": store.acts[: -MOST_ACTS - 1 : -1],
            "count": len(store.acts),
            "line": anchor_line(store.acts) if len(ends_of(store.acts)) == 1 else "",
            "others": [one for one in others if one != asked.address["store"]],
        },
    )


@pages.done("/store/{store}/register/anchor")
def anchor(asked: Asked) -> Answer:
    """The end of the register as a line to keep on paper."""
    line = print_anchor(opened(asked), **day_of(asked))
    said = _("Print this page, or copy the line, and keep it away from the store: {line}")
    return Done(asked.at("register"), said.format(line=line))


@pages.done("/store/{store}/register/merge")
def merge(asked: Asked) -> Answer:
    """Take over what was done in a copy of the store; the copy is not changed."""
    copy = asked.desk.path(asked.needed("copy", _("Copy of this store")), STORE)
    merged = merge_copy(opened(asked), open_store(copy), **day_of(asked))
    said = _("{acts} acts, {accessions} accessions and the events of {ledgers} records came.")
    counted = said.format(
        acts=merged.acts, accessions=len(merged.accessions), ledgers=len(merged.ledgers)
    )
    return Done(asked.at("audit"), "\n".join([counted, *merged.differing]))


@pages.shown("/store/{store}/preservation.csv")
def preservation(asked: Asked) -> Answer:
    """Accessions, withdrawals and fixity checks as preservation events."""
    events = [PreservationEvent(**one) for one in preservation_events(opened(asked))]
    path = asked.desk.scratch() / "preservation-events.csv"
    write_bytes(path, preservation_events_csv(events))
    return Sent(path, path.name, CSV)
