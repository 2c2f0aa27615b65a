"""Takes what a person chose on the page of a sheet into the source of its mapping."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.languages import _
from provenance._desk.bringing.sheets import Sheet
from provenance._intake.drafting.columns import Column
from provenance._intake.mapping.document import (
    Source,
    blocks,
    change_habit,
    habits_of,
    set_condition,
    set_field,
    tidy,
    uses,
    with_column,
)
from provenance._intake.mapping.mapping import placeholders
from provenance._intake.mapping.mapping_file import LEFT_OUT, OPEN

Form = Mapping[str, Sequence[str]]
"""The fields of the page by name: 'becomes|3', 'from|sample.kind', 'unit|element.length_m' …"""


def changed(sheet: Sheet, form: Form) -> Source:
    """The source as the page says it now; what stands as before stays as it is written.

    Raises UnusableInput for a choice that cannot be.
    """
    assert sheet.source is not None
    source = copy.deepcopy(sheet.source)
    taken: set[str] = set()  # by a column just now, whatever else the page said of it before
    for one in sheet.shown():
        name = f"becomes|{one.column.place}"
        if name in form:
            wanted = list(dict.fromkeys(said for said in form[name] if said))
            fields = [said for said in wanted if said not in (LEFT_OUT, OPEN)]
            for where in fields:
                sheet.require_field(where)
            if tuple(fields or wanted[:1]) != (
                one.becomes or ((one.answer,) if one.answer else ())
            ):
                taken |= {*fields} - {*one.becomes}
                habits = sheet.habits_for(one.column, fields)
                source = with_column(
                    source, one.column.name, fields or wanted[:1] or [OPEN], habits
                )
    for key, values in form.items():
        kind, _bar, rest = key.partition("|")
        if kind == "from" and rest in taken:
            continue
        if values and kind in _CHANGES and _is_known(sheet, kind, rest):
            _CHANGES[kind](sheet, source, rest, values, form)
    tidy(source)
    return source


def _is_known(sheet: Sheet, kind: str, rest: str) -> bool:
    """Whether what a choice is about is still read; a page may be older than the mapping."""
    if kind == "from":
        sheet.require_field(rest)
        return True
    where = rest.partition("|")[0]
    return kind in ("when", "more") or bool(sheet.source and habits_of(sheet.source, where))


def _from(sheet: Sheet, source: Source, where: str, values: Sequence[str], form: Form) -> None:
    """Where a field comes from that has no column of its own."""
    text = form.get(f"value|{where}", ("",))[-1].strip()
    how, _bar, heading = values[-1].partition("|")
    if not how and text:  # written before it was said what it is
        how = "template" if placeholders(text) else "constant"
    said: dict[str, Any] | None = None
    if how in ("column", "filled"):
        column = _column(sheet, heading)
        said = {how: column.name}
        if how == "column":
            said |= sheet.habits_for(column, [where]).get(where, {})
    elif how == "constant":
        if not text and sheet.is_coded(where):
            return
        said = {how: text or OPEN}
    elif how == "template":
        if not text:
            return
        if not placeholders(text):
            raise UnusableInput(_("Write the headings in braces, such as {House}-{Number}."))
        for one in placeholders(text):
            _column(sheet, one)
        said = {how: text}
    elif how != "nothing":
        return
    now = [one for one in uses(source) if one.where == where]
    if said is None or not any(one.how == how and str(one.said) == said[how] for one in now):
        set_field(source, where, said)


def _more(sheet: Sheet, source: Source, block: str, values: Sequence[str], form: Form) -> None:
    """A further field that is the same in every row; what it is is asked then."""
    where = values[-1]
    if where and not any(one.where == where for one in uses(source)):
        sheet.require_field(where)
        set_field(source, where, {"constant": OPEN})


def _column(sheet: Sheet, heading: str) -> Column:
    column = sheet.column(heading)
    if column is None:
        raise UnusableInput(_("There is no column '{name}'.").format(name=heading))
    return column


def _when(sheet: Sheet, source: Source, block: str, values: Sequence[str], form: Form) -> None:
    """Which rows of the sheet hold one of a table."""
    rows = blocks(source).get(block)
    if rows is None or (values[-1] and sheet.column(values[-1]) is None):
        return
    before = rows.get("when")
    column = before if isinstance(before, str) or before is None else before["column"]
    words = [one for one in form.get(f"words|{block}", ()) if one]
    if values[-1] != (column or ""):
        words = []  # those of another column
    when = {"column": values[-1], "one_of": words} if words else values[-1] or None
    if when != before:
        set_condition(source, block, when)


def _unit(sheet: Sheet, source: Source, where: str, values: Sequence[str], form: Form) -> None:
    change_habit(source, where, "unit", values[-1] or None)


def _first(sheet: Sheet, source: Source, where: str, values: Sequence[str], form: Form) -> None:
    """Whether the day or the month stands first."""
    said = habits_of(source, where)
    formats = said.get("formats", sheet.formats)
    if values[-1] in ("D", "M") and {one[0] for one in formats if one[0] in "DM"} != {values[-1]}:
        change_habit(source, where, "formats", sheet.order_of_dates(said["column"], values[-1]))


def _century(sheet: Sheet, source: Source, where: str, values: Sequence[str], form: Form) -> None:
    text = values[-1].strip()
    if text == str(habits_of(source, where).get("century_pivot", sheet.century)):
        return
    if not (text.isascii() and text.isdecimal() and 1000 <= int(text) <= 9900):
        raise UnusableInput(
            _(
                "'{text}' is not a year; write the first one that two digits can mean, such as 1950"
            ).format(text=text)
        )
    change_habit(source, where, "century_pivot", int(text))


def _word(sheet: Sheet, source: Source, rest: str, values: Sequence[str], form: Form) -> None:
    """Which code a word of a column means."""
    where, _bar, word = rest.partition("|")
    if not habits_of(source, where):
        return
    meant = dict(habits_of(source, where).get("synonyms", {}))
    now = (
        str(meant.get(word, "")).lower()
        if isinstance(meant.get(word), bool)
        else meant.get(word, "")
    )
    if values[-1] != now:
        meant[word] = values[-1]
        left = {one: code for one, code in meant.items() if code != ""}
        change_habit(source, where, "synonyms", left or None)


_CHANGES: Mapping[str, Callable[[Sheet, Source, str, Sequence[str], Form], None]] = {
    "from": _from,
    "more": _more,
    "when": _when,
    "unit": _unit,
    "first": _first,
    "century": _century,
    "word": _word,
}
