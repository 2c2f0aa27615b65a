"""A row as a form: any table's, and a timber with its samples, plugs and what else is about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice

from provenance._base.errors import UnusableInput
from provenance._base.findings import Finding
from provenance._base.languages import N_, _
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.choosing import as_selection
from provenance._desk.inputs import INTEGER, MEASURE, NUMBER, YES_NO, Input, inputs_of
from provenance._desk.pages import Pages
from provenance._desk.record.open_record import of_row
from provenance._desk.record.shown import shown_row
from provenance._desk.things import NotHere
from provenance._history.edits import Change
from provenance._history.projection import covered_tables, links_of
from provenance._model.schema import Field, Table
from provenance._model.spoken import spoken
from provenance._record.measured import reading_of, shown
from provenance._record.snapshot import Row, Snapshot

pages = Pages()

ABOUT_A_TIMBER = ("sample", "tie", "wood_use", "relation", "file")
ABOUT_A_SAMPLE = ("plug", "agreement", "lab_result", "ring_series", "tie", "custody", "file")
"""Tables whose rows are shown with a timber, and with each of its samples."""
WAS = "was-"
HEADLINE = 4
"""Cells of a row that stand in its headline."""
LONGEST = 60
"""Characters of a cell that a headline has room for; checksums have more."""


@dataclass(frozen=True)
class RowForm:
    """A row to fill in: `values` as shown, findings and readings as written by field.

    `key` is '' for a new row.
    """

    table: Table
    key: str
    inputs: list[Input]
    values: Mapping[str, str]
    problems: Mapping[str, list[Finding]]
    readings: Mapping[str, str]
    entered: bool
    """Whether people enter this table; ledgers and what is computed are only shown."""
    headline: str = ""
    """The key and what is filled in first, so that a person need not open the row."""


@pages.shown("/record/{record}/timbers", title=N_("Timbers"), group=N_("Record"))
def timbers(asked: Asked) -> Answer:
    """The timbers, each with its place and samples; the page for small screens."""
    tables = asked.record.tables
    sought = asked.query.get("find", "").casefold()
    samples: dict[str, list[str]] = {}
    for row in tables.rows("sample"):
        samples.setdefault(row["element_id"], []).append(row["sample_id"])
    places = {row["place_id"]: row["name"] for row in tables.rows("place")}
    found = [
        (row, places.get(row["place_id"], ""), samples.get(row["element_id"], []))
        for row in tables.rows("element")
    ]
    if sought:
        found = [
            one
            for one in found
            if sought
            in " ".join((one[0]["element_id"], one[1], *one[2], one[0]["notes"])).casefold()
        ]
    return Page(
        "record/timbers.html", {"found": found[:MOST], "count": len(found), "sought": sought}
    )


MOST = 500
"""Timbers on one page; what is sought narrows them down."""


@pages.shown("/record/{record}/timbers/{timber:path}")
def timber(asked: Asked) -> Answer:
    """One timber: its form, its samples with their plugs and results, findings beside fields."""
    tables = asked.record.tables
    key = asked.address["timber"]
    found = list(asked.open_record.findings())
    keys = tables.column("element", "element_id")
    if key not in keys:
        raise NotHere(_("There is no timber {key}.").format(key=key))
    place = keys.index(key)
    parts = [
        (
            row["sample_id"],
            _form(tables, "sample", row, found),
            _about(tables, ABOUT_A_SAMPLE, "sample_id", row["sample_id"], found),
        )
        for row in tables.rows("sample")
        if row["element_id"] == key
    ]
    return Page(
        "record/timber.html",
        {
            "key": key,
            "timber": _form(tables, "element", tables.rows("element")[place], found),
            "samples": parts,
            "about_timber": _about(tables, ABOUT_A_TIMBER[1:], "element_id", key, found),
            "before": keys[place - 1] if place else "",
            "after": keys[place + 1] if place + 1 < len(keys) else "",
            "keys": _keys(tables, ("element", "sample")),
            "selection": as_selection,
        },
    )


@pages.shown("/record/{record}/tables/{table}/row")
def row(asked: Asked) -> Answer:
    """A row of any table, or a new one; what the address says of a new one is filled in."""
    tables = asked.record.tables
    name = asked.address["table"]
    table = _table(asked)
    model = spoken(tables.model)
    if "key" in asked.query:
        form = _form(
            tables,
            name,
            _row_of(tables, table, asked.query["key"]),
            list(asked.open_record.findings()),
        )
    else:
        given = {one: text for one, text in asked.query.items() if one in table}
        inputs = inputs_of(model, model.table(name))
        entered = table in covered_tables(tables.model)
        form = RowForm(model.table(name), "", inputs, given, {}, {}, entered)
    return Page("record/row.html", {"form": form, "keys": _keys(tables, (name,))})


@pages.done("/record/{record}/tables/{table}/row")
def save(asked: Asked) -> Answer:
    """Save the fields of a row that were changed; a row without a key is a new one."""
    table = _table(asked)
    key = asked.text("key")
    was = {name: asked.form[WAS + name][-1] for name in table.names if WAS + name in asked.form}
    texts = {name: _filled(asked, table.field(name), before) for name, before in was.items()}
    if not key:
        if missing := [table.field(one).title for one in table.primary_key if not texts.get(one)]:
            raise UnusableInput(_("{fields} must be filled in.").format(fields=", ".join(missing)))
        key_now = table.key_of({one: texts[one] for one in table.primary_key})
    else:
        key_now = key
        for one in table.primary_key:
            texts.pop(one, None)
    cells = [
        Change(table.name, key_now, name, was[name], text)
        for name, text in texts.items()
        if text != was[name]
    ]
    if not cells:
        raise UnusableInput(_("Nothing was changed."))
    asked.open_record.change(cells, by=asked.by, why=asked.text("why"))
    return Done(asked.text("back") or asked.at("tables", table.name), _("Saved."))


def _filled(asked: Asked, one: Field, before: str) -> str:
    """What a field now says; to the letter what stood there, if a person did not touch it.

    A browser leaves out boxes that are not checked, and writes the ends of lines in its own way.
    """
    if one.separator:
        text = one.separator.join(asked.texts(one.name))
        now, then = ({*map(str.strip, said.split(one.separator))} - {""} for said in (text, before))
        untouched = now == then
    else:
        text = asked.text(one.name)
        untouched = text.splitlines() == before.strip().splitlines()
    return before if untouched else text


def _table(asked: Asked) -> Table:
    package = asked.record
    name = asked.address["table"]
    if name not in package.model.tables:
        raise NotHere(_("There is no table {name}.").format(name=name))
    return package.model.table(name)


def _row_of(tables: Snapshot, table: Table, key: str) -> Row:
    for one in tables.rows(table.name):
        if table.key_of(one) == key:
            return one
    raise NotHere(
        _("There is no row {key} in the table {table}.").format(key=key, table=table.title)
    )


def _form(tables: Snapshot, name: str, row: Row, found: list[Finding]) -> RowForm:
    table = tables.model.table(name)
    key = table.key_of(row)
    said = spoken(tables.model).table(name)
    inputs = inputs_of(spoken(tables.model), said)
    entered = table in covered_tables(tables.model)
    values = shown_row(tables, table, row)
    read = {
        one.name: text
        for one in inputs
        if one.kind == MEASURE and (text := reading_of(tables, name, key, one.name))
    }
    told = (_told(tables, table, one, row[one.name]) for one in inputs if row[one.name])
    headline = " · ".join([key, *islice(filter(None, told), HEADLINE)])
    return RowForm(said, key, inputs, values, of_row(found, name, key), read, entered, headline)


def _told(tables: Snapshot, table: Table, one: Input, text: str) -> str:
    """What a cell adds to a headline; '' for keys, links and what says nothing by itself."""
    if one.points_at or one.name in table.primary_key or one.kind == YES_NO or len(text) > LONGEST:
        return ""
    if one.kind == MEASURE:
        return shown(tables, table.name, one.name, text)
    return (
        f"{one.title} {text}"
        if one.kind in (NUMBER, INTEGER)
        else dict(one.options).get(text, text)
    )


def _about(
    tables: Snapshot, names: tuple[str, ...], field: str, key: str, found: list[Finding]
) -> list[tuple[Table, list[RowForm]]]:
    """The rows of other tables that point at a row, by table."""
    forms = []
    for name in names:
        if name not in tables.model.tables:
            continue
        table = tables.model.table(name)
        pointing = [one for one in links_of(table) if one == field]
        rows = [row for row in tables.rows(name) if pointing and row[field] == key]
        forms.append(
            (spoken(tables.model).table(name), [_form(tables, name, row, found) for row in rows])
        )
    return [one for one in forms if one[1] or one[0].name in ("sample", "plug")]


def _keys(tables: Snapshot, names: tuple[str, ...]) -> dict[str, list[str]]:
    """The keys that the links of these tables can hold, for lists to choose from."""
    pointed = {key.table for name in names for key in tables.model.table(name).foreign_keys}
    return {
        one: tables.column(one, tables.model.table(one).primary_key[0]) for one in sorted(pointed)
    }
