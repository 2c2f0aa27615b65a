"""Lists what can be wrong with the structure of a table, in the words that a finding uses.

Everything here follows from the schemas and from Table Schema v2; the trade has its own rules.
"""

from __future__ import annotations

from dataclasses import dataclass

_SOURCE = "Table Schema v2 (datapackage.org/standard/table-schema)"
_DIALECT = "Table Dialect v2 (datapackage.org/standard/table-dialect); RFC 4180"


@dataclass(frozen=True)
class Kind:
    """One kind of structure finding.

    `says` and `remedy` name in braces: value, title (of the field), table (its title), and what
    else belongs to the kind. `reference` is the name that the reference library (frictionless)
    gives to the same fault, '' where it says nothing.
    """

    id: str
    says: str
    remedy: str
    reference: str
    source: str = _SOURCE
    severity: str = "error"


_KINDS = (
    # -- the file ---------------------------------------------------------------------------------
    Kind(
        "structure.file_missing",
        "The file of the table '{table}' is missing, so it was not checked.",
        "Restore tables/{table_name}.csv from a copy; an empty table has only a header.",
        "scheme-error",
        "Data Package v2 (datapackage.org/standard/data-resource)",
    ),
    Kind(
        "structure.file_empty",
        "The file of the table '{table}' is empty, without even a header.",
        "Restore it from a copy; an empty table has only a header.",
        "source-error",
        _DIALECT,
    ),
    Kind(
        "structure.not_utf8",
        "'{value}' has bytes that are not UTF-8, so letters with accents may be lost.",
        "Save the file as 'CSV UTF-8', and correct the letters shown as \\x.",
        "encoding-error",
        "RFC 3629; Data Package v2, property 'encoding'",
    ),
    Kind(
        "structure.quote_open",
        "A double quote opens a cell in this row and is never closed, so the rest of the file is "
        "read as that one cell.",
        "Close the quote, or write inches as 'in' instead of a quote at the beginning of a cell.",
        "",
        _DIALECT,
    ),
    Kind(
        "structure.rules_skipped",
        "{count} rules did not run because the table '{table}' is missing: {ids}.",
        "Restore tables/{table_name}.csv and check again.",
        "",
        "Data Package v2 (datapackage.org/standard/data-resource)",
        "warning",
    ),
    # -- the header -------------------------------------------------------------------------------
    Kind(
        "structure.header_blank",
        "The first line is blank, so the columns cannot be identified.",
        "Make the first line the header: {labels}.",
        "",
        _DIALECT,
    ),
    Kind(
        "structure.label_blank",
        "Column {position} has no heading.",
        "Add the heading, or delete the column if it is empty.",
        "blank-label",
    ),
    Kind(
        "structure.label_duplicate",
        "The heading '{value}' is above more than one column; only the first is read.",
        "Keep one of the columns, or give the other its right heading.",
        "duplicate-label",
    ),
    Kind(
        "structure.label_extra",
        "Column '{value}' is not a column of the table '{table}'{hint}",
        "Correct the heading, or describe the column in a profile; otherwise it cannot be read.",
        "extra-label",
    ),
    Kind(
        "structure.label_missing",
        "Column '{name}' ({title}) is missing.",
        "Add the column; leave cells blank if nothing is known.",
        "missing-label",
    ),
    Kind(
        "structure.label_order",
        "The columns are not in the order of the schema; '{value}' is the first one out of place.",
        "Put the columns in this order: {labels}.",
        "incorrect-label",
        "Table Schema v2, property 'fieldsMatch'",
    ),
    # -- rows -------------------------------------------------------------------------------------
    Kind(
        "structure.row_blank",
        "The row is blank.",
        "Remove the row, or fill it in.",
        "blank-row",
        _DIALECT,
    ),
    Kind(
        "structure.row_short",
        "The row ends after {count} of {width} cells; '{title}' and the cells after it are "
        "missing.",
        "Add the missing commas; check that no cell slid into the next column.",
        "missing-cell",
        _DIALECT,
    ),
    Kind(
        "structure.row_long",
        "The row has {count} cells but the header {width}; the first extra one is '{value}'.",
        "Put quotes around a cell that contains a comma, or delete the extra cells.",
        "extra-cell",
        _DIALECT,
    ),
    # -- cells ------------------------------------------------------------------------------------
    Kind(
        "structure.not_a_number",
        "'{value}' is not a number.",
        "Write digits with a decimal point, no unit and no comma: 12.7.",
        "type-error",
    ),
    Kind(
        "structure.not_a_whole_number",
        "'{value}' is not a whole number.",
        "Write digits only: 12.",
        "type-error",
    ),
    Kind(
        "structure.not_yes_or_no",
        "'{value}' is neither yes nor no.",
        "Write true or false.",
        "type-error",
    ),
    Kind(
        "structure.required",
        "'{title}' is blank, but every row needs it.",
        "Fill it in.",
        "constraint-error",
    ),
    Kind(
        "structure.not_in_list",
        "'{value}' is not in the list '{list}'{hint}",
        "Write one of the codes: {codes}.",
        "constraint-error",
    ),
    Kind(
        "structure.wrong_form",
        "'{value}' is not in the form required for '{title}'{form}.",
        "Write it like this: {example}.",
        "constraint-error",
    ),
    Kind(
        "structure.too_small",
        "{value} is less than {limit}, the minimum for '{title}'.",
        "Check the value, its unit and the decimal point.",
        "constraint-error",
    ),
    Kind(
        "structure.too_large",
        "{value} is more than {limit}, the maximum for '{title}'.",
        "Check the value, its unit and the decimal point.",
        "constraint-error",
    ),
    Kind(
        "structure.not_above",
        "{value} is not greater than {limit}, as '{title}' must be.",
        "Check the value; leave the cell blank if nothing was measured.",
        "constraint-error",
    ),
    Kind(
        "structure.not_below",
        "{value} is not less than {limit}, as '{title}' must be.",
        "Check the value, its unit and the decimal point.",
        "constraint-error",
    ),
    Kind(
        "structure.too_few_characters",
        "'{value}' has fewer than {limit} characters.",
        "Write it out.",
        "constraint-error",
    ),
    Kind(
        "structure.too_many_characters",
        "'{value}' has more than {limit} characters.",
        "Shorten it; there is room in the notes.",
        "constraint-error",
    ),
    Kind(
        "structure.pattern_unusable",
        "The form required for '{title}' could not be tested: {why}.",
        "Correct 'pattern' of field '{name}' in the package's schemas/{table_name}.json.",
        "",
    ),
    # -- keys -------------------------------------------------------------------------------------
    Kind(
        "structure.not_unique",
        "'{value}' is also in row {other}, and no two rows may have the same '{title}'.",
        "Find out which row is meant, and correct the other.",
        "unique-error",
    ),
    Kind(
        "structure.key_repeated",
        "Row {other} has the same key '{value}', so links to it are ambiguous.",
        "Find out which row is meant; give the other its own key, or delete it if it is a copy.",
        "primary-key",
    ),
    Kind(
        "structure.key_blank",
        "The row has no key, so nothing can refer to it.",
        "Give it the code that it has in the field record.",
        "primary-key",
    ),
    Kind(
        "structure.link_broken",
        "'{value}' is not a {target} in the table '{target_table}'{hint}",
        "Correct the code, or add the row to the table '{target_table}'.",
        "foreign-key",
    ),
)


_BY_ID = {one.id: one for one in _KINDS}


def structure_kinds() -> tuple[Kind, ...]:
    """Every kind of structure finding, in the order in which they are looked for."""
    return _KINDS


def kind(name: str) -> Kind:
    """The kind with the id 'structure.NAME'; raises KeyError when there is none."""
    return _BY_ID[f"structure.{name}"]
