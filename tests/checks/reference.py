"""What the reference library (frictionless) says about tables, in terms that findings compare with.

Source: frictionless-py 5, the reference implementation of Data Package v2 and Table Schema v2. It
never touches the network here: the descriptor names the standard's version, whose profile ships
with the library.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

from provenance._base.findings import Report
from provenance._checks.language.kinds import structure_kinds
from provenance._model.schema import Model, Table

NO_LIMIT = 10**9
_VERSION = "https://datapackage.org/profiles/2.0/datapackage.json"


class Verdict(NamedTuple):
    """One fault: table, row, field, the library's name for it, and the constraint it breaks."""

    table: str
    row: int
    field: str
    kind: str
    constraint: str = ""


def _schema(table: Table, model: Model, fields_match: str) -> dict[str, Any]:
    fields = []
    for one in table.fields:
        constraints = dict(one.constraints)
        if "pattern" in constraints:
            # the library puts ^ and $ around a pattern without a group, see the test about branches
            constraints["pattern"] = f"(?:{constraints['pattern']})"
        fields.append({"name": one.name, "type": one.type, "constraints": constraints})
    schema: dict[str, Any] = {
        "fields": fields,
        "fieldsMatch": fields_match,
        "primaryKey": list(table.primary_key),
        "missingValues": [""],
        "foreignKeys": [
            {
                "fields": list(key.fields),
                "reference": {
                    "resource": "" if key.table == table.name else key.table,
                    "fields": list(key.reference_fields),
                },
            }
            for key in table.foreign_keys
            if key.table in model.tables
        ],
    }
    if not schema["foreignKeys"]:
        del schema["foreignKeys"]
    return schema


def descriptor_of(model: Model, fields_match: str) -> dict[str, Any]:
    """A Data Package of the model's tables with nothing but what the library checks."""
    return {
        "$schema": _VERSION,
        "name": "reference",
        "resources": [
            {
                "name": table.name,
                "path": f"tables/{table.name}.csv",
                "type": "table",
                "format": "csv",
                "encoding": "utf-8",
                # what is unsaid the library guesses from the cells: which row is the header, and
                # whether blanks behind commas count
                "dialect": {
                    "delimiter": ",",
                    "quoteChar": '"',
                    "skipInitialSpace": False,
                    "header": True,
                    "headerRows": [1],
                },
                "schema": _schema(table, model, fields_match),
            }
            for table in model.tables.values()
        ],
    }


def reference_errors(folder: Path, model: Model, fields_match: str) -> list[tuple[str, Any]]:
    """(table, error) for everything the library finds; raises when it refuses the descriptor."""
    import frictionless

    package = frictionless.Package.from_descriptor(
        descriptor_of(model, fields_match), basepath=str(folder)
    )
    report = package.validate(limit_errors=NO_LIMIT)
    refused = [error for task in report.tasks for error in task.errors if error.type == "error"]
    assert not report.errors, report.errors
    assert not refused, refused
    return [(task.name, error) for task in report.tasks for error in task.errors]


def header_verdicts(folder: Path, model: Model) -> set[Verdict]:
    """What the library says about headers when it matches columns by name (fieldsMatch: equal)."""
    found = set()
    for table, error in reference_errors(folder, model, "equal"):
        if error.type == "missing-label":
            found.add(Verdict(table, 1, error.field_name, "missing-label"))
        elif error.type == "extra-label":
            # a column without a heading has a finding of its own
            kind = "extra-label" if error.label else "blank-label"
            found.add(Verdict(table, 1, error.label, kind))
    return found


def row_verdicts(folder: Path, model: Model) -> set[Verdict]:
    """What the library says about rows and cells, columns matched by name (fieldsMatch: partial).

    Put in terms of this project's findings, in the ways that provenance/checks/structure.py lists:
    the same thing is said once.
    """
    errors = [
        (table, error)
        for table, error in reference_errors(folder, model, "partial")
        if not error.type.endswith("-label") and error.type != "unmatched-header"
    ]
    found: set[Verdict] = set()
    for name in model.tables:
        of_table = [error for table, error in errors if table == name]
        found |= _said_once(model.table(name), of_table)
    return found


def _said_once(table: Table, errors: list[Any]) -> set[Verdict]:
    of_kind: dict[str, set[int]] = {}
    missing: dict[int, list[str]] = {}
    for error in errors:
        row = getattr(error, "row_number", 0)
        of_kind.setdefault(error.type, set()).add(row)
        if error.type == "missing-cell":
            missing.setdefault(row, []).append(error.field_name)
    key_required = all(table.field(name).required for name in table.primary_key)
    found = set()
    for error in errors:
        row, kind = getattr(error, "row_number", 0), error.type
        field = getattr(error, "field_name", "") or ""
        constraint = ""
        if kind == "constraint-error":
            match = re.match(r'constraint "(\w+)"', error.note)
            assert match, error.note
            constraint = match[1]
            if constraint == "required" and field in missing.get(row, []):
                continue  # a cell that is not there is named once
        elif kind == "missing-cell":
            field = missing[row][0]  # the first cell that is not there stands for all of them
        elif kind == "extra-cell":
            field = ""
        elif kind == "primary-key":
            blank = "None" in error.note
            if row in of_kind.get("blank-row", set()):
                continue  # a blank row has no key either
            if blank and key_required:
                continue  # each field of the key has been named as required
            constraint = "blank" if blank else "repeated"
        elif kind == "unique-error" and table.primary_key == (field,):
            continue  # the key is repeated, which has been said
        elif kind == "foreign-key":
            field = error.field_names[0]
        found.add(Verdict(table.name, row, field, kind, constraint))
    return found


_CONSTRAINTS = {
    "structure.required": "required",
    "structure.too_small": "minimum",
    "structure.too_large": "maximum",
    "structure.not_above": "exclusiveMinimum",
    "structure.not_below": "exclusiveMaximum",
    "structure.too_few_characters": "minLength",
    "structure.too_many_characters": "maxLength",
    "structure.wrong_form": "pattern",
    "structure.key_blank": "blank",
    "structure.key_repeated": "repeated",
}


def our_verdicts(report: Report, model: Model, kinds: Iterable[str] = ()) -> set[Verdict]:
    """The structure findings of a report in the library's terms; `kinds` limits them to some."""
    reference = {one.id: one.reference for one in structure_kinds()}
    found = set()
    for one in report:
        kind = reference[one.rule]
        field = "" if kind == "primary-key" else one.field
        constraint = _CONSTRAINTS.get(one.rule, "")
        if one.rule == "structure.not_in_list":
            constraints = model.table(one.table).field(one.field).constraints
            constraint = "enum" if "enum" in constraints else "pattern"
        if kind == "extra-label":
            field = one.value
        if constraint == "pattern" and one.value.endswith("\n"):
            pattern = model.table(one.table).field(one.field).constraints["pattern"]
            if re.fullmatch(pattern, one.value.removesuffix("\n")):
                continue  # the library's $ passes over a line end at the end of a value
        if not kinds or kind in kinds:
            found.add(Verdict(one.table, one.row, field, kind, constraint))
    return found
