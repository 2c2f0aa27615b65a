"""A row as a form: any table's, and a timber with its samples, plugs and what else is about it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._base.findings import Finding, Report
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
from provenance._intake.photos.picture import is_picture
from provenance._model.schema import Field, Table
from provenance._model.spoken import spoken
from provenance._record.measured import reading_of, readings, shown
from provenance._record.snapshot import Row, Snapshot

pages = Pages()

ABOUT_A_TIMBER = ("tie", "wood_use", "relation")
ABOUT_A_SAMPLE = ("plug", "agreement", "lab_result", "ring_series", "tie", "custody")
"""Tables whose rows are shown with a timber, and with each of its samples."""
QUICKLY_CHECKED = 2_000
"""Timbers of a record whose first check takes below a second or so (benchmarks/desk.py)."""
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
    tables = asked.open_record.tables
    sought = asked.query.get("find", "").casefold()
    samples: dict[str, list[str]] = {}
    for key, sample in tables.tuples("sample", ("element_id", "sample_id")):
        samples.setdefault(key, []).append(sample)
    names = zip(tables.column("place", "place_id"), tables.column("place", "name"), strict=True)
    places = dict(names)
    columns = ("element_id", "place_id", "position_note", "notes")
    found = []
    for key, place, where, notes in tables.tuples("element", columns):
        words = (key, places.get(place, ""), *samples.get(key, ()), notes)
        if sought in " ".join(words).casefold():
            found.append((key, places.get(place, ""), where, samples.get(key, [])))
    return Page(
        "record/timbers.html", {"found": found[:MOST], "count": len(found), "sought": sought}
    )


MOST = 500
"""Timbers on one page; what is sought narrows them down. Keys that are in a page from the start."""


@pages.shown("/record/{record}/timbers/{timber:path}")
def timber(asked: Asked) -> Answer:
    """One timber: its form, its samples with their plugs and results, findings beside fields."""
    tables = asked.open_record.tables
    key = asked.address["timber"]
    found = _known(asked)
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
        for row in tables.rows_with("sample", "element_id", key)
    ]
    return Page(
        "record/timber.html",
        {
            "key": key,
            "timber": _form(
                tables, "element", tables.rows_with("element", "element_id", key)[0], found
            ),
            "samples": parts,
            "about_timber": _about(tables, ABOUT_A_TIMBER, "element_id", key, found),
            "pictures": _pictures(tables, key, [number for number, *_ in parts]),
            "before": keys[place - 1] if place else "",
            "after": keys[place + 1] if place + 1 < len(keys) else "",
            "keys": _keys(tables, ("element", "sample")),
            "checked": found is not None,
            "consent": spoken(tables.model).consent,
            "selection": as_selection,
        },
    )


@pages.shown("/record/{record}/tables/{table}/row")
def row(asked: Asked) -> Answer:
    """A row of any table, or a new one; what the address says of a new one is filled in.

    Once it is saved a person is back at the `timber` of whose page she came, else at the table.
    """
    tables = asked.open_record.tables
    name = asked.address["table"]
    table = asked.table
    found = _known(asked) if "key" in asked.query else None
    model = spoken(tables.model)
    if "key" in asked.query:
        form = _form(tables, name, _row_of(tables, table, asked.query["key"]), found)
    else:
        given = {one: text for one, text in asked.query.items() if one in table}
        inputs = inputs_of(model, model.table(name))
        entered = table in covered_tables(tables.model)
        form = RowForm(model.table(name), "", inputs, given, {}, {}, entered)
    timber = asked.query.get("timber")
    values = {
        "form": form,
        "keys": _keys(tables, (name,)),
        "checked": not form.key or found is not None,
        "back": asked.at("timbers", timber) if timber else asked.at("tables", name),
    }
    return Page("record/row.html", values)


def _known(asked: Asked) -> Report | None:
    """What the check says now; None where a first one would take longer than a page may."""
    record = asked.open_record
    is_quick = record.last_report is not None or record.tables.count("element") <= QUICKLY_CHECKED
    return record.findings() if is_quick else None


@pages.done("/record/{record}/tables/{table}/row")
def save(asked: Asked) -> Answer:
    """Save the fields of a row that were changed; a row without a key is a new one."""
    table = asked.table
    key = asked.text("key")
    was = {name: asked.form[WAS + name][-1] for name in table.names if WAS + name in asked.form}
    texts = {name: _filled(asked, table.field(name), before) for name, before in was.items()}
    if not key:
        said = spoken(asked.open_record.model).table(table.name)
        if missing := [said.field(one).title for one in table.primary_key if not texts.get(one)]:
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


def _row_of(tables: Snapshot, table: Table, key: str) -> Row:
    first, *others = table.primary_key
    some = tables.rows(table.name) if others else tables.rows_with(table.name, first, key)
    for one in some:
        if table.key_of(one) == key:
            return one
    called = spoken(tables.model).table(table.name).title
    raise NotHere(_("There is no row {key} in the table {table}.").format(key=key, table=called))


def _form(tables: Snapshot, name: str, row: Row, found: Report | None) -> RowForm:
    table = tables.model.table(name)
    key = table.key_of(row)
    said = spoken(tables.model).table(name)
    inputs = inputs_of(spoken(tables.model), said)
    entered = table in covered_tables(tables.model)
    written = readings(tables)
    values = shown_row(tables.model, table, row, lambda *cell: written.get(cell, ""))
    read = {
        one.name: text
        for one in inputs
        if one.kind == MEASURE and (text := reading_of(tables, name, key, one.name))
    }
    told = (_told(tables, table, one, row[one.name]) for one in inputs if row[one.name])
    headline = " · ".join([key, *islice(filter(None, told), HEADLINE)])
    return RowForm(
        said,
        key,
        inputs,
        values,
        of_row(found, name, key) if found else {},
        read,
        entered,
        headline,
    )


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
    tables: Snapshot, names: tuple[str, ...], field: str, key: str, found: Report | None
) -> list[tuple[Table, list[RowForm]]]:
    """The rows of other tables that point at a row, by table."""
    forms = []
    for name in names:
        if name not in tables.model.tables:
            continue
        table = tables.model.table(name)
        rows = tables.rows_with(name, field, key) if field in links_of(table) else []
        forms.append(
            (spoken(tables.model).table(name), [_form(tables, name, row, found) for row in rows])
        )
    return [one for one in forms if one[1] or one[0].name in ("sample", "plug")]


def _pictures(tables: Snapshot, timber: str, samples: Collection[str]) -> list[Row]:
    """The rows of pictures of a timber, its samples and their plugs."""
    about = {("element", timber), *(("sample", one) for one in samples)}
    for one in samples:
        about |= {("plug", row["plug_id"]) for row in tables.rows_with("plug", "sample_id", one)}
    return [
        row
        for row in tables.rows("file")
        if (row["about_table"], row["about_id"]) in about and is_picture(Path(row["path"]))
    ]


def _keys(tables: Snapshot, names: tuple[str, ...]) -> dict[str, list[str] | None]:
    """The keys that the links of these tables can hold, for lists to choose from; None for many."""
    pointed = {key.table for name in names for key in tables.model.table(name).foreign_keys}
    return {
        one: _keys_in(tables, one) if tables.count(one) <= MOST else None for one in sorted(pointed)
    }


def _keys_in(tables: Snapshot, name: str) -> list[str]:
    return tables.column(name, tables.model.table(name).primary_key[0])


@pages.shown("/record/{record}/tables/{table}/keys")
def keys(asked: Asked) -> Answer:
    """The keys of a table, as the choices of a list."""
    found = _keys_in(asked.open_record.tables, asked.table.name)
    return Page("record/keys.html", {"keys": found}, whole=False)
