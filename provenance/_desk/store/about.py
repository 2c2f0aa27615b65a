"""What a store is: its figures, what is due, and how one is started."""

from __future__ import annotations

import json
from datetime import date

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._base.resources import shipped
from provenance._catalogue.query import belonging
from provenance._collection.loans import loans_in, requests_of
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.inputs import Input
from provenance._desk.pages import Pages
from provenance._desk.store.common import (
    bundles_here,
    day_of,
    fresh_index,
    opened,
    plain_input,
    typed,
)
from provenance._desk.uploads import harmless_name
from provenance._store.acts import AUDITED, ends_of, first_fault
from provenance._store.current import standing_accessions
from provenance._store.settings import settings_in
from provenance._store.starting import put_settings
from provenance._store.terms import reminders

pages = Pages()
USUAL_PATTERN = "{year}.{serial:04}"


def settings_inputs() -> list[Input]:
    """What a repository says of itself, as a form asks it."""
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
        "folder",
        _("Name of the folder"),
        _("It is made in the folder of this desk."),
        section=_("Settings"),
        required=True,
    )
    return Page("store/start.html", {"inputs": [folder, *settings_inputs()], "values": values})


@pages.done("/start-store")
def start(asked: Asked) -> Answer:
    """Start a store with its settings."""
    if not asked.desk.is_shelf:
        raise UnusableInput(
            _("This desk has one thing open alone. Open the folder around it to start a store.")
        )
    name = harmless_name(asked.needed("folder", _("Name of the folder")))
    values = typed(asked, [one.name for one in settings_inputs()])
    put_settings(asked.desk.folder / name, values, **day_of(asked))
    return Done(f"/store/{name}", _("The store is started. Take in the first bundle."))


@pages.shown("/store/{store}", title=N_("Overview"), group=N_("Store"))
def overview(asked: Asked) -> Answer:
    """Holdings in figures, what is overdue, what the last audit found."""
    store, today = opened(asked), date.today()
    standing = standing_accessions(store.acts)
    audits = [act for act in store.acts if act.kind == AUDITED and act.reason]
    fault = first_fault(store.acts)
    held, lent = belonging(fresh_index(asked), settings_in(store.folder).party_id)
    loans = [one for one in loans_in(store) if one.days_over(today.isoformat())]
    return Page(
        "store/overview.html",
        {
            "name": settings_in(store.folder).in_words,
            "records": len({act.record_id for act in standing} - {""}),
            "accessions": len(standing),
            "withdrawn": len(store.withdrawn),
            "held": held,
            "lent": lent,
            "audit": audits[-1] if audits else None,
            "fault": fault,
            "ends": len(ends_of(store.acts)),
            "due": reminders(store, today),
            "loans": loans,
            "today": today.isoformat(),
            "requests": [one for one in requests_of(store) if not one.decision],
            "bundles": bundles_here(asked),
            "newest": standing[-1:-6:-1],
        },
    )
