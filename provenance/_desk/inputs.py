"""How a field of the schemas is filled in: what a form or a grid needs to know of it."""

from __future__ import annotations

from dataclasses import dataclass

from provenance._model.schema import Field, Model, Table

TEXT, LONG_TEXT, NUMBER, INTEGER, DATE, YES_NO, CODE, CODES, MEASURE = (
    "text",
    "long text",
    "number",
    "integer",
    "date",
    "yes_no",
    "code",
    "codes",
    "measure",
)
_DATED = "edtf"


@dataclass(frozen=True)
class Input:
    """A field as a person meets it; `options` are (code, label) where a list is closed.

    Several codes of one cell are parted by `separator`.
    `unit` is the one that the record's people read and write. A field that the program computes is
    `readonly`, and one that holds a key of another table `points_at` that.
    """

    name: str
    title: str
    help: str
    section: str
    kind: str
    unit: str
    options: tuple[tuple[str, str], ...]
    separator: str
    points_at: str
    required: bool
    readonly: bool


def inputs_of(model: Model, table: Table) -> list[Input]:
    """The fields of a table that a person fills in, as its forms order them.

    Computed fields follow, readonly; what the profile hides is left out.
    """
    computed = [one for one in table.fields if one.obtained == "computed" and not one.hidden]
    return [_input(model, table, one) for one in (*table.form_fields(), *computed)]


def _input(model: Model, table: Table, one: Field) -> Input:
    vocabulary = model.vocabulary_of(one)
    pointing = (key.table for key in table.foreign_keys if key.fields == (one.name,))
    options = tuple((term.code, term.label) for term in vocabulary.terms) if vocabulary else ()
    return Input(
        name=one.name,
        title=one.title,
        help=one.description,
        section=table.sections[one.section],
        kind=_kind(one, bool(options)),
        unit=model.form_unit(one),
        options=options,
        separator=one.separator or "",
        points_at=next(pointing, ""),
        required=one.required,
        readonly=one.obtained == "computed",
    )


def _kind(one: Field, coded: bool) -> str:
    if coded:
        return CODES if one.separator else CODE
    if one.measure:
        return MEASURE
    if one.notation == _DATED:
        return DATE
    if one.type == "boolean":
        return YES_NO
    if one.type in (NUMBER, INTEGER):
        return one.type
    return LONG_TEXT if one.name == "notes" or one.name.endswith("_notes") else TEXT
