"""Changes one source of a mapping as its YAML has it: which column becomes which field.

A field is named by its block and name: sample.notes, and sample#2.notes where a line of the sheet
holds a second sample.
"""

from __future__ import annotations

import copy
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from provenance._intake.mapping.mapping import placeholders, same_heading
from provenance._intake.mapping.mapping_file import LEFT_OUT, OPEN
from provenance._model.schema import Field, Model

Source = dict[str, Any]
"""An entry of 'sources', as schemas/mapping.schema.json says."""
TO_DECIDE, LEFT = "columns_to_decide", "columns_left_out"
SIMPLE = "column"
_BY_LEDGER = "custody"


class Use(NamedTuple):
    """Where a source takes a field from: `how` is the word of the mapping, `said` what follows."""

    block: str
    field: str
    how: str
    said: Any

    @property
    def where(self) -> str:
        """The field by block and name: sample.notes."""
        return f"{self.block}.{self.field}"

    @property
    def columns(self) -> frozenset[str]:
        """The headings that are looked at, as `same_heading` has them."""
        return frozenset(map(same_heading, _headings(self)))


def _headings(use: Use) -> Sequence[str]:
    if use.how == "constant":
        return ()
    if use.how == "template":
        return placeholders(use.said)
    return [use.said] if isinstance(use.said, str) else use.said


def blocks(source: Source) -> dict[str, dict[str, Any]]:
    """What a line becomes, by name: 'sample', and 'sample#2' for a second row of that table."""
    counts: Counter[str] = Counter()
    found = {}
    for rows in source["rows"]:
        counts[rows["table"]] += 1
        number = counts[rows["table"]]
        found[f"{rows['table']}#{number}" if number > 1 else rows["table"]] = rows
    return found


def table_of(block: str) -> str:
    """The table of a block.

    >>> table_of("sample#2")
    'sample'
    """
    return block.partition("#")[0]


def uses(source: Source) -> Iterator[Use]:
    """Every field that a source fills, block by block, constants too."""
    for block, rows in blocks(source).items():
        for name, one in rows["fields"].items():
            how = next(key for key in _WAYS if key in one)
            yield Use(block, name, how, one[how])
        for name, value in rows.get("values", {}).items():
            yield Use(block, name, "constant", value)


_WAYS = (SIMPLE, "first_of", "all_of", "template", "filled", "constant")


def is_open(source: Source) -> bool:
    """Whether it is not said yet what a line of the sheet is."""
    return any(rows["table"] == OPEN for rows in source["rows"])


def unread_source(file_pattern: str, sheet: str, header: int, headings: Sequence[str]) -> Source:
    """A source of which everything is still to be decided."""
    return {
        "files": file_pattern,
        **({"sheet": sheet} if sheet else {}),
        "header_row": header,
        TO_DECIDE: dict.fromkeys(headings, OPEN),
        "rows": [_open_rows()],
    }


def _open_rows() -> dict[str, Any]:
    return {"table": OPEN, "fields": {OPEN: {SIMPLE: OPEN}}}


def decided(source: Source, heading: str) -> str:
    """LEFT_OUT or OPEN where the mapping says so of a column that fills no field, else ''."""
    if any(same_heading(one) == same_heading(heading) for one in source.get(LEFT, ())):
        return LEFT_OUT
    answers = {same_heading(one): said for one, said in source.get(TO_DECIDE, {}).items()}
    return str(answers.get(same_heading(heading), ""))


def with_column(
    source: Source, heading: str, wanted: Sequence[str], habits: Mapping[str, Mapping[str, Any]]
) -> Source:
    """The source with a column that becomes just the fields `wanted` (sample.notes), or LEFT_OUT.

    Of none it is asked again. A field that was taken from elsewhere is taken from this column now;
    `habits` says how the column is written, by field. What is said of fields that it became before
    stays as it is, and so do blocks that are empty now: call `tidy` when all is changed.
    """
    source = copy.deepcopy(source)
    small = same_heading(heading)
    mine = {one.where for one in uses(source) if one.how == SIMPLE and small in one.columns}
    for where in mine - {*wanted}:
        set_field(source, where, None)
    for where in wanted:
        if where not in (LEFT_OUT, OPEN) and where not in mine:
            set_field(source, where, {SIMPLE: heading, **habits.get(where, {})})
    if not any(small in one.columns for one in uses(source)):
        _decide(source, heading, LEFT_OUT if LEFT_OUT in wanted else OPEN)
    return source


def _decide(source: Source, heading: str, answer: str) -> None:
    """Say of a column that it is left out or asked about, or neither ('')."""
    small = same_heading(heading)
    left = [one for one in source.pop(LEFT, ()) if same_heading(one) != small]
    asked = {o: a for o, a in source.pop(TO_DECIDE, {}).items() if same_heading(o) != small}
    if answer == LEFT_OUT:
        left.append(heading)
    elif answer == OPEN:
        asked[heading] = OPEN
    rows = source.pop("rows")
    source |= ({LEFT: left} if left else {}) | ({TO_DECIDE: asked} if asked else {})
    source["rows"] = rows


def set_field(source: Source, where: str, said: Mapping[str, Any] | None) -> None:
    """Say where a field comes from ({"constant": "HOLL"}), in the source itself; None for nowhere.

    A block that is not there is begun behind the others. Call `tidy` when all is changed.
    """
    block, _, name = where.partition(".")
    before = {one for use in uses(source) if use.where == where for one in _headings(use)}
    rows = blocks(source).get(block)
    if rows is not None:
        rows["fields"].pop(name, None)
        rows.get("values", {}).pop(name, None)
    if said is not None:
        if rows is None:
            rows = {"table": table_of(block), "fields": {}}
            source["rows"].append(rows)
        rows["fields"][name] = dict(said)
    _ask_again(source, before)


def _ask_again(source: Source, headings: Iterable[str]) -> None:
    """Ask of columns that fill nothing any more; what is read somewhere is decided."""
    used = {one for use in uses(source) for one in use.columns}
    for heading in [*source.get(TO_DECIDE, ()), *source.get(LEFT, ())]:
        if same_heading(heading) in used:
            _decide(source, heading, "")
    for heading in headings:
        if same_heading(heading) not in used and heading != OPEN:
            _decide(source, heading, OPEN)


def change_habit(source: Source, where: str, habit: str, value: Any) -> None:
    """Say how a column of a field is written (unit, formats, synonyms …), in the source itself.

    None takes it out.
    """
    block, _, name = where.partition(".")
    one = blocks(source).get(block, {"fields": {}})["fields"].get(name)
    if one is not None:
        one.pop(habit, None)
        if value is not None:
            one[habit] = value


def habits_of(source: Source, where: str) -> Mapping[str, Any]:
    """What the mapping says of a field: where it comes from, and how its column is written."""
    block, _, name = where.partition(".")
    said: Mapping[str, Any] = blocks(source).get(block, {"fields": {}})["fields"].get(name, {})
    return said


def set_condition(source: Source, block: str, when: Any) -> None:
    """Say which lines hold a row of a block: None, a heading, or {column, one_of}."""
    rows = blocks(source).get(block)
    if rows is not None:
        fields = rows.pop("fields")
        rows.pop("when", None)
        rows |= {} if when is None else {"when": when}
        rows["fields"] = fields


def tidy(source: Source) -> None:
    """Take away blocks that fill nothing; one stays, with its question."""
    filled = [
        rows
        for rows in source["rows"]
        if rows["table"] != OPEN and (rows["fields"] or rows.get("values"))
    ]
    for rows in filled:
        if not rows.get("values", True):
            del rows["values"]
        if not rows["fields"]:
            # a block has one field at least, and a constant is one
            name, value = rows["values"].popitem()
            rows["fields"][name] = {"constant": value}
    source["rows"] = filled or [_open_rows()]


def lacking(source: Source, model: Model) -> list[tuple[str, Field]]:
    """The fields that every row needs and that come from nowhere yet, each with its block.

    A '?' that stands in their place counts as nothing.
    """
    said: dict[str, set[str]] = {}
    for use in uses(source):
        here = said.setdefault(use.block, set())
        # the code '?' of a list is an answer
        if use.said != OPEN or (use.how == "constant" and _is_coded(model, use)):
            here.add(use.field)
    found = []
    for block, fields in said.items():
        if (name := table_of(block)) not in model.tables:
            continue
        table = model.table(name)
        needed = set(table.primary_key) | {one.name for one in table.fields if one.required}
        if name == _BY_LEDGER:
            needed -= set(table.primary_key)  # the ledger numbers its events itself
        found += [
            (block, one)
            for one in table.fields
            if one.name in needed - fields
            and (one.obtained != "computed" or one.name in table.primary_key)
        ]
    return found


def _is_coded(model: Model, use: Use) -> bool:
    table = model.tables.get(table_of(use.block))
    return table is not None and use.field in table and bool(table.field(use.field).vocabulary)
