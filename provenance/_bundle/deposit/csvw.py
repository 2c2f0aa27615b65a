"""Describes the tables as CSV on the Web: one table group, made from the schemas.

It stands beside the folder tables/, not in it: that folder is the package's own and comes back
byte for byte when the bundle is unpacked. The standard lets a reader start from the metadata,
wherever it is (Model, section 5.1); each table is named by its relative address.

Sources: W3C Recommendations of 17 December 2015, 'Metadata Vocabulary for Tabular Data' and 'Model
for Tabular Data and Metadata on the Web'.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping
from typing import Any

from provenance._base.visible import visible
from provenance._bundle.deposit.form import Form, as_text
from provenance._model.schema import Field, Model, Table
from provenance._record.package import Package, as_json

CSVW = "http://www.w3.org/ns/csvw"
_BASES = {"string": "string", "number": "number", "integer": "integer", "boolean": "boolean"}
_LIMITS = {
    "minimum": "minimum",
    "maximum": "maximum",
    "exclusiveMinimum": "minExclusive",
    "exclusiveMaximum": "maxExclusive",
    "minLength": "minLength",
    "maxLength": "maxLength",
}


def csvw_metadata(package: Package) -> dict[str, Any]:
    """The metadata of all tables; their columns are those that stand in the files."""
    return {
        "@context": [CSVW, {"@language": "en"}],
        "dc:title": visible(package.title),
        "dialect": {
            "encoding": "utf-8",
            "header": True,
            "headerRowCount": 1,
            "delimiter": ",",
            "quoteChar": '"',
            "doubleQuote": True,
            "lineTerminators": ["\n"],
            "skipBlankRows": False,
            "skipInitialSpace": False,
            "trim": False,
        },
        "tables": [_table(package, table) for table in package.model.tables.values()],
    }


def _table(package: Package, table: Table) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "columns": [_column(package.model, table, name) for name in _header(package, table)],
        "primaryKey": list(table.primary_key),
        "aboutUrl": _row_address(table),
    }
    # every row must have the row that its foreign key names (the tests of the W3C hold readers to
    # that), so a key that may be blank is told by its column's valueUrl alone
    keys = [
        key for key in table.foreign_keys if all(table.field(one).required for one in key.fields)
    ]
    if keys:
        schema["foreignKeys"] = [
            {
                "columnReference": list(key.fields),
                "reference": {
                    "resource": f"tables/{key.table}.csv",
                    "columnReference": list(key.reference_fields),
                },
            }
            for key in keys
        ]
    described: dict[str, Any] = {
        "url": f"tables/{table.name}.csv",
        "dc:title": visible(table.title),
        "dc:description": visible(table.description),
        "tableSchema": schema,
    }
    if table.rdf_type:
        described["schema:about"] = {"@id": table.rdf_type}
    return described


def _header(package: Package, table: Table) -> list[str]:
    """The names in a table's first line: the schema's, and maybe others behind them."""
    with open(package.table_path(table.name), encoding="utf-8", newline="") as stream:
        return next(csv.reader(stream), [])


def _row_address(table: Table) -> str:
    """What a row is about: an address within its table's file, made of its key."""
    return f"#{'-'.join(f'{{{name}}}' for name in table.primary_key)}"


def _column(model: Model, table: Table, name: str) -> dict[str, Any]:
    # titles are compared with the header, so they begin with what stands there
    if name not in table:
        return {
            "name": name,
            "titles": [name],
            "datatype": "string",
            "dc:description": "No schema describes this column.",
        }
    one = table.field(name)
    column: dict[str, Any] = {
        "name": one.name,
        "titles": [one.name, visible(one.title)],
        "dc:description": visible(one.description),
        "datatype": _datatype(model, one),
        "null": "",
    }
    if one.required:
        column["required"] = True
    if one.separator:
        column["separator"] = one.separator
    if one.rdf_type:
        column["propertyUrl"] = one.rdf_type
    if one.unit:
        column["schema:unitText"] = visible(one.unit)
    if reference := _reference(model, table, one):
        column["valueUrl"] = reference
    return column


def _reference(model: Model, table: Table, one: Field) -> str | None:
    """The address of the row that a key points at, from the table's own address."""
    for key in table.foreign_keys:
        if key.fields == (one.name,) and model.tables[key.table].primary_key == (
            key.reference_fields
        ):
            return f"{key.table}.csv#{{{one.name}}}"
    return None


def _datatype(model: Model, one: Field) -> Any:
    datatype: dict[str, Any] = {"base": _BASES.get(one.type, "string")}
    constraints: Mapping[str, Any] = one.constraints
    if vocabulary := model.vocabulary_of(one):
        datatype["dc:title"] = visible(vocabulary.title)
        datatype["dc:source"] = visible(vocabulary.source)
    if notation := model.notations.get(one.notation or ""):
        # dates may be uncertain, which no date type of XML Schema can say: text in a known form
        datatype["dc:title"] = visible(notation.title)
        datatype["dc:source"] = visible(notation.source)
    if one.separator:
        # unlike those of 'string', the parts of such a cell are read without the blanks round them
        datatype["base"] = "normalizedString"
        if vocabulary:
            datatype["format"] = _alternatives(vocabulary.codes)
    elif "enum" in constraints:
        datatype["format"] = _alternatives(constraints["enum"])
    elif "pattern" in constraints and one.type == "string":
        datatype["format"] = constraints["pattern"]
    for name, theirs in _LIMITS.items():
        if name in constraints:
            datatype[theirs] = constraints[name]
    return datatype["base"] if set(datatype) == {"base"} else datatype


def _alternatives(codes: Iterable[object]) -> str:
    return "|".join(re.escape(str(code)) for code in codes)


FORM = Form(
    file_name="csv-metadata.json",
    title="The tables described (CSV on the Web)",
    order=60,
    write=as_text(lambda described: as_json(csvw_metadata(described.package))),
    standard=(CSVW, "CSV on the Web"),
    readme=("csv-metadata.json", "tables, columns and keys, for programs (CSV on the Web)"),
)
