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
        "The file of the table '{table}' is not there, so nothing in it was checked.",
        "Put tables/{table_name}.csv back from a copy; an empty one is a header alone.",
        "scheme-error",
        "Data Package v2 (datapackage.org/standard/data-resource)",
    ),
    Kind(
        "structure.file_empty",
        "The file of the table '{table}' holds nothing, not even a header.",
        "Put it back from a copy; an empty table is a file with the header alone.",
        "source-error",
        _DIALECT,
    ),
    Kind(
        "structure.not_utf8",
        "'{value}' has bytes that are not UTF-8, so letters with accents may be lost.",
        "Save the file as 'CSV UTF-8', and write the letters again where they are shown as \\x.",
        "encoding-error",
        "RFC 3629; Data Package v2, property 'encoding'",
    ),
    Kind(
        "structure.quote_open",
        "A double quote opens a cell in this row and is never closed, so that the rest of the file "
        "is read as that one cell.",
        "Close the quote, or write inches as 'in' instead of a quote at the beginning of a cell.",
        "",
        _DIALECT,
    ),
    Kind(
        "structure.rules_skipped",
        "{count} rules were not asked, because the table '{table}' is not there: {ids}.",
        "Put tables/{table_name}.csv back and check again.",
        "",
        "Data Package v2 (datapackage.org/standard/data-resource)",
        "warning",
    ),
    # -- the header -------------------------------------------------------------------------------
    Kind(
        "structure.header_blank",
        "The first line is blank, so nobody knows which column is which.",
        "Make the first line the header: {labels}.",
        "",
        _DIALECT,
    ),
    Kind(
        "structure.label_blank",
        "Column {position} has no heading.",
        "Write the heading, or take the column out if it is empty.",
        "blank-label",
    ),
    Kind(
        "structure.label_duplicate",
        "The heading '{value}' stands above more than one column; only the first is read.",
        "Keep one of the columns, or give the other its right heading.",
        "duplicate-label",
    ),
    Kind(
        "structure.label_extra",
        "The column '{value}' is none of the table '{table}'{hint}",
        "Correct the heading, or describe the column in a profile; nobody can read it otherwise.",
        "extra-label",
    ),
    Kind(
        "structure.label_missing",
        "The column '{name}' ({title}) is missing.",
        "Add the column; leave its cells blank where nothing is known.",
        "missing-label",
    ),
    Kind(
        "structure.label_order",
        "The columns do not stand in the order of the schema; '{value}' is the first that is out "
        "of place.",
        "Put the columns in this order: {labels}.",
        "incorrect-label",
        "Table Schema v2, property 'fieldsMatch'",
    ),
    # -- rows -------------------------------------------------------------------------------------
    Kind(
        "structure.row_blank",
        "The row is blank.",
        "Take the row out, or fill it in.",
        "blank-row",
        _DIALECT,
    ),
    Kind(
        "structure.row_short",
        "The row ends after {count} of {width} cells; '{title}' and what stands behind it is "
        "missing.",
        "Add the missing commas; check that no cell slid into the column of its neighbour.",
        "missing-cell",
        _DIALECT,
    ),
    Kind(
        "structure.row_long",
        "The row has {count} cells and the header {width}; too many is '{value}'.",
        "Put quotes around a cell that has a comma in it, or take the cells out.",
        "extra-cell",
        _DIALECT,
    ),
    # -- cells ------------------------------------------------------------------------------------
    Kind(
        "structure.not_a_number",
        "'{value}' is not a number.",
        "Write digits with a point, no unit and no comma: 12.7.",
        "type-error",
    ),
    Kind(
        "structure.not_a_whole_number",
        "'{value}' is not a whole number.",
        "Write digits alone: 12.",
        "type-error",
    ),
    Kind(
        "structure.not_yes_or_no",
        "'{value}' says neither yes nor no.",
        "Write true or false.",
        "type-error",
    ),
    Kind(
        "structure.required",
        "'{title}' is blank, and every row must have it.",
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
        "'{value}' is not written as '{title}' must be{form}.",
        "Write it like this: {example}.",
        "constraint-error",
    ),
    Kind(
        "structure.too_small",
        "{value} is less than {limit}, the least that '{title}' can be.",
        "Check the value, its unit and the place of the point.",
        "constraint-error",
    ),
    Kind(
        "structure.too_large",
        "{value} is more than {limit}, the most that '{title}' can be.",
        "Check the value, its unit and the place of the point.",
        "constraint-error",
    ),
    Kind(
        "structure.not_above",
        "{value} is not above {limit}, as '{title}' must be.",
        "Check the value; leave the cell blank where nothing was measured.",
        "constraint-error",
    ),
    Kind(
        "structure.not_below",
        "{value} is not below {limit}, as '{title}' must be.",
        "Check the value, its unit and the place of the point.",
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
        "The form that the schema asks of '{title}' could not be tested: {why}.",
        "Mend 'pattern' of field '{name}' in the package's schemas/{table_name}.json.",
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
        "Row {other} has the same key '{value}', so nobody knows which of the two others point at.",
        "Find out which row is meant; give the other its own key, or take it out if it is a copy.",
        "primary-key",
    ),
    Kind(
        "structure.key_blank",
        "The row has no key, so nothing can point at it.",
        "Give it the code that it has in the field record.",
        "primary-key",
    ),
    Kind(
        "structure.link_broken",
        "'{value}' is no {target} of the table '{target_table}'{hint}",
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
