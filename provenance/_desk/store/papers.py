"""The papers of a store: its settings, its register, and what is taken over from a copy."""

from __future__ import annotations

from provenance._base.disk import write_bytes
from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._bundle.preservation import PreservationEvent, preservation_events_csv
from provenance._desk.answers import Answer, Done, Page, Sent
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.store.about import settings_inputs
from provenance._desk.store.common import CSV, day_of, opened, typed
from provenance._desk.things import STORE, things_in
from provenance._desk.uploads import harmless_name
from provenance._store.acts import ends_of
from provenance._store.copies import merge_copy, split_store
from provenance._store.paper import anchor_line, print_anchor
from provenance._store.preservation import preservation_events
from provenance._store.settings import settings_in
from provenance._store.starting import put_settings
from provenance._store.store import open_store

pages = Pages()
MOST_ACTS = 200


@pages.shown("/store/{store}/settings", title=N_("Settings"), group=N_("Papers"))
def settings(asked: Asked) -> Answer:
    """What the repository says of itself."""
    now = settings_in(asked.store)
    values = {one: getattr(now, one) for one in ("name", "postal_address", "contact", "party_id")}
    values |= {"notice": now.notice, "number_pattern": now.pattern.text if now.pattern else ""}
    return Page("store/settings.html", {"inputs": settings_inputs(), "values": values})


@pages.done("/store/{store}/settings")
def save_settings(asked: Asked) -> Answer:
    """Give the store other settings."""
    values = typed(asked, [one.name for one in settings_inputs()])
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


@pages.done("/store/{store}/register/split")
def split(asked: Asked) -> Answer:
    """Make a new store of some accessions, which are withdrawn here."""
    if not asked.desk.is_shelf:
        raise UnusableInput(_("Open the folder around the store to make another one beside it."))
    name = harmless_name(asked.needed("folder", _("Name of the new store")))
    numbers = asked.needed("numbers", _("Accession numbers")).replace(",", " ").split()
    reason = asked.needed("reason", _("Reason"))
    out = asked.desk.folder / name
    left = split_store(opened(asked), out, numbers, reason=reason, **day_of(asked))
    said = [_("Give it a pattern of its own for its numbers, in its settings.")]
    gone = _("It went there; remove it here, or the audit tells of it: {path}")
    return Done(f"/store/{name}", "\n".join([*said, *(gone.format(path=one) for one in left)]))


@pages.shown("/store/{store}/preservation.csv")
def preservation(asked: Asked) -> Answer:
    """Accessions, withdrawals and fixity checks as preservation events."""
    events = [PreservationEvent(**one) for one in preservation_events(opened(asked))]
    path = asked.desk.scratch() / "preservation-events.csv"
    write_bytes(path, preservation_events_csv(events))
    return Sent(path, path.name, CSV)
