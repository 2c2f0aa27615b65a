"""What the reference library (frictionless) says about tables, in terms that findings compare with.

Source: frictionless-py 5, the reference implementation of Data Package v2 and Table Schema v2. It
never touches the network here: the descriptor names the standard's version, whose profile ships
with the library.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from provenance._base.findings import Report
from provenance._checks.second_opinion import Said, ask_library, is_line_end_alone, our_verdicts
from provenance._model.schema import Model, Table
from provenance._record.reference_library import V2_PROFILE

NO_LIMIT = 10**9


def _schema(table: Table, model: Model, fields_match: str) -> dict[str, Any]:
    fields = [
        {"name": one.name, "type": one.type, "constraints": dict(one.constraints)}
        for one in table.fields
    ]
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


def descriptor_of(model: Model, fields_match: str = "exact") -> dict[str, Any]:
    """A Data Package of the model's tables with nothing but what the library checks."""
    return {
        "$schema": V2_PROFILE,
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


def library_says(folder: Path, model: Model) -> set[Said]:
    """Every fault that the library names, in the terms of findings, columns matched by name."""
    answers = ask_library(folder, descriptor_of(model))
    assert not answers.cut_short
    return set(answers.said)


def we_say(report: Report, model: Model) -> set[Said]:
    """The structure findings of a report in the same terms.

    Left out is a value that is wrong by a line end at its end alone: the library's $ passes it.
    """
    said = our_verdicts(report, model)
    return {one for one, found in said.items() if not is_line_end_alone(one, found, model)}
