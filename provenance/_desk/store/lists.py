"""The tables of a store that a person fills in, row by row or from a spreadsheet, and its years."""

from __future__ import annotations

from datetime import date

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._collection.year import FIGURES, OWN, count_years, years_text
from provenance._desk.answers import Answer, Done, Page, Sent
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.store.common import (
    CSV,
    MOST_ROWS,
    Cell,
    day_of,
    inputs_of_store,
    keys_of_store,
    opened,
    typed,
)
from provenance._desk.things import NotHere
from provenance._store.entering import ENTERED, enter_row, enter_rows
from provenance._store.settings import settings_in
from provenance._store.tables import rows_bytes, store_table

pages = Pages()


@pages.shown("/store/{store}/people", title=N_("People and organizations"), group=N_("Papers"))
def people(asked: Asked) -> Answer:
    """Who borrows from the store, gives to it or works in it."""
    return _list(asked, "party")


@pages.shown("/store/{store}/enquiries", title=N_("Enquiries"), group=N_("Papers"))
def enquiries(asked: Asked) -> Answer:
    """What the store was asked, and how it was answered."""
    return _list(asked, "enquiry")


@pages.shown("/store/{store}/list/{table}")
def one_list(asked: Asked) -> Answer:
    """Terms, previous numbers or restrictions."""
    return _list(asked, asked.address["table"])


@pages.shown("/store/{store}/list/{table}/csv")
def as_file(asked: Asked) -> Answer:
    """A table of the store as a file, to be filled in elsewhere."""
    table = asked.address["table"]
    if table not in ENTERED:
        raise NotHere(_("There is no such list."))
    return Sent(rows_bytes(table, opened(asked).rows(table)), f"{table}.csv", CSV)


@pages.done("/store/{store}/list/{table}")
def save(asked: Asked) -> Answer:
    """Add or change a row, or all rows of a file that was dropped."""
    table, store = asked.address["table"], opened(asked)
    if table not in ENTERED:
        raise UnusableInput(_("There is no such list."))
    if files := asked.files.get("file", ()):
        done = enter_rows(store, table, files[0], **day_of(asked))
    else:
        done = enter_row(store, table, typed(asked, store_table(table).columns), **day_of(asked))
    said = _("{added} new, {changed} changed, {unchanged} as they were.").format(
        added=done.added, changed=done.changed, unchanged=done.unchanged
    )
    return Done(asked.text("back") or _address(asked, table), said)


def _address(asked: Asked, table: str, /, **query: str) -> str:
    of = {"party": ("people",), "enquiry": ("enquiries",), "place": ("places",)}
    return asked.at(*of.get(table, ("list", table)), **query)


def _list(asked: Asked, name: str) -> Answer:
    if name not in ENTERED:
        raise NotHere(_("There is no such list."))
    store, table = opened(asked), store_table(name)
    rows = store.rows(name)
    named = {one: asked.query[one] for one in table.key if one in asked.query}
    chosen = next((row for row in rows if named and named.items() <= row.items()), named)
    here = _address(asked, name)
    titles = {str(one["name"]): _(str(one["title"])) for one in table.fields}
    return Page(
        "store/list.html",
        {
            "table": table,
            "columns": [titles[one] for one in table.columns],
            "rows": [
                [
                    Cell(row[one], _address(asked, name, **{k: row[k] for k in table.key}))
                    if one == table.key[-1]
                    else row[one]
                    for one in table.columns
                ]
                for row in rows[:MOST_ROWS]
            ],
            "count": len(rows),
            "inputs": inputs_of_store(table),
            "values": chosen,
            "is_known": chosen in rows,
            "lists": keys_of_store(store),
            "list_at": here,
        },
    )


@pages.shown("/store/{store}/years", title=N_("Year by year"), group=N_("Papers"))
def years(asked: Asked) -> Answer:
    """What came, went and was asked, year by year; with `shape` as a file."""
    store, today = opened(asked), date.today()
    counted = count_years(store, today.year)
    if shape := asked.query.get("shape"):
        if shape not in ("csv", "json", "html"):
            raise UnusableInput(f"'{shape}' is not a format; choose csv, json or html")
        name = settings_in(store.folder).name or store.folder.name
        text = years_text(counted, name, today, shape).encode("utf-8")
        return Sent(text, f"years.{shape}", "text/csv" if shape == "csv" else "text/plain")
    rows = list(counted.rows())
    return Page(
        "store/years.html",
        {
            "years": list(counted.counts),
            "figures": [(_(what), [row[name] for row in rows]) for name, what in FIGURES.items()],
            "own": _(OWN),
            "today": today.isoformat(),
        },
    )
