"""What came back beside what was sent and what the field saw, worked off line by line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from provenance._base.disk import write_text
from provenance._base.findings import Finding
from provenance._base.languages import N_, _
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.inputs import Input, inputs_of
from provenance._desk.pages import Pages
from provenance._desk.paper.preview import keep, kept
from provenance._history import deciding
from provenance._history.edits import in_words
from provenance._identity.naming import parcel_named
from provenance._intake.typed import TypedCells
from provenance._lab.reconcile import Reconciliation, reconcile_results, reconciliation_html
from provenance._ledger.holdings import Event, events_of
from provenance._model.felling import dates_in_words
from provenance._model.spoken import spoken
from provenance._record.measured import shown

pages = Pages()

RESULT, SAMPLE = "lab_result", "sample"
FIELD_SAW = (
    "kind", "species_field", "outer_surface", "pith_seen", "pieces", "length_mm", "rings_field",
    "condition",
)  # fmt: skip
"""What of a sample is compared with what its result says."""
LABORATORY_SAYS = ("outcome", "notation", "ring_count", "sapwood_count", "species", "reported_on")


@dataclass(frozen=True)
class Point:
    """One point to settle: what parcel, field record and laboratory say, and what can be corrected.

    `parcel` are the events of the sample in words; `field` and `laboratory` are (title, value).
    """

    finding: Finding
    sample: str
    parcel: tuple[str, ...]
    field: tuple[tuple[str, str], ...]
    laboratory: tuple[tuple[str, str], ...]
    sentence: str


@pages.shown("/record/{record}/reconcile", title=N_("Reconcile"), group=N_("Laboratory"))
def reconciliation(asked: Asked) -> Answer:
    """Sample by sample, then every point that is to be settled, and what was let stand."""
    record = asked.record
    parcel = parcel_named(record.tables, asked.queried("parcel"))
    reconciled = reconcile_results(record, parcel)
    model = spoken(record.model)
    accepted = reconciled.findings.accepted
    return Page(
        "laboratory/reconcile.html",
        {
            "parcel": parcel,
            "parcels": record.tables.column("consignment", "consignment_id"),
            "lines": reconciled.lines.astype(object).to_dict("records"),
            "points": _points(asked, reconciled),
            "settled": reconciled.settled,
            "accepted": accepted.to_dicts() if accepted is not None else [],
            "states": model.vocabularies["sample_state"],
            "outcomes": model.vocabularies["result_outcome"],
            "inputs": {name: _correctable(asked, name) for name in (RESULT, SAMPLE)},
        },
    )


def _correctable(asked: Asked, table: str) -> list[Input]:
    model = spoken(asked.record.model)
    keys = model.table(table).primary_key
    return [
        one
        for one in inputs_of(model, model.table(table))
        if not one.readonly and one.name not in keys
    ]


def _points(asked: Asked, reconciled: Reconciliation) -> list[Point]:
    record = asked.record
    tables, model = record.tables, spoken(record.model)
    results = {row["result_id"]: row for row in tables.rows(RESULT)}
    samples = {row["sample_id"]: row for row in tables.rows(SAMPLE)}
    happened: dict[str, list[Event]] = {}
    for event in events_of(tables):
        happened.setdefault(event.sample_id, []).append(event)
    points = []
    for finding in reconciled.findings:
        result = results.get(finding.key, {}) if finding.table == RESULT else {}
        sample = result.get("sample_id", "") if result else finding.key
        points.append(
            Point(
                finding,
                sample if sample in samples else "",
                tuple(_in_words(asked, event) for event in happened.get(sample, ())),
                _said(asked, SAMPLE, samples.get(sample, {}), FIELD_SAW),
                _said(asked, RESULT, result, LABORATORY_SAYS),
                dates_in_words(result, model) if result else "",
            )
        )
    return points


def _in_words(asked: Asked, event: Event) -> str:
    lists = spoken(asked.record.model).vocabularies
    parts = [
        f"{event.happened_on} {lists['custody_event'].label(event.event)}",
        event.consignment_id,
        " → ".join(filter(None, (event.from_party_id, event.to_party_id))),
        lists["sample_state"].label(event.state) if event.state else "",
    ]
    return ", ".join(filter(None, parts))


def _said(
    asked: Asked, table: str, row: Mapping[str, str], names: tuple[str, ...]
) -> tuple[tuple[str, str], ...]:
    record = asked.record
    model = spoken(record.model)
    told = []
    for name in names:
        if name in model.table(table) and row.get(name):
            one = model.table(table).field(name)
            listed = model.vocabulary_of(one)
            text = shown(record.tables, table, name, row[name]) if one.measure else row[name]
            told.append((one.title, listed.label(text) if listed else text))
    return tuple(told)


@pages.done("/record/{record}/reconcile/accept")
def accept(asked: Asked) -> Answer:
    """Let a point stand as it is."""
    rule, table, key = (asked.text(name) for name in ("rule", "table", "key"))
    why = asked.needed("why", _("Reason"))
    reconciled = reconcile_results(asked.record, asked.text("parcel"))
    found = reconciled.findings.to_accept(rule, table, key)
    if not found:
        raise deciding.Refused(_("This was changed meanwhile. Load the page again."))
    asked.open_record.decide(deciding.accept(found), by=_who(asked), why=why)
    return Done(_back(asked), _("Accepted: {what}").format(what=found[0][-1]))


@pages.done("/record/{record}/reconcile/correct")
def correct(asked: Asked) -> Answer:
    """Correct a cell of the field record or of a result."""
    table, key = asked.text("table"), asked.text("key")
    field = asked.needed("field", _("Field"))
    text = asked.text("value")
    read = TypedCells.of(asked.record.tables, as_shown=True).read(table, field, text)
    written = {field: text} if text != read else {}
    decision = deciding.correct(table, key, {field: read}, written)
    why = asked.needed("why", _("Reason"))
    done = asked.open_record.decide(decision, by=_who(asked), why=why)
    return Done(_back(asked), "\n".join(in_words(one) for one in done.changes))


@pages.shown("/record/{record}/reconcile/list")
def signing_list(asked: Asked) -> Answer:
    """The list to sign, as the command writes it."""
    record = asked.record
    parcel = parcel_named(record.tables, asked.queried("parcel"))
    path = asked.desk.scratch() / f"{parcel or record.name}-reconciliation.html"
    text = reconciliation_html(record.model, record.title, reconcile_results(record, parcel))
    write_text(path, text)
    values = {
        "files": kept(asked.desk, keep(asked.desk, [path])),
        "labeled": "",
        "notes": (),
        "parcel": parcel,
    }
    return Page("laboratory/reconcile_list.html", values)


def _who(asked: Asked) -> str:
    return asked.text("who") or asked.by


def _back(asked: Asked) -> str:
    return asked.at("reconcile", parcel=asked.text("parcel") or None)
