"""What the structure layer can find: each kind with severity, sentence, remedy, and its twin.

`twin` is the kind's name in the reference library (frictionless 5); the differential test goes by
it. Source of all: Table Schema and Tabular Data Package (Data Package v2).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["KINDS", "SOURCE", "Kind"]

SOURCE = "Table Schema (Data Package v2)"


@dataclass(frozen=True)
class Kind:
    """One kind of fault; words in braces are filled in."""

    severity: str
    says: str
    remedy: str
    twin: str


_LINE = "Look at the line in a text editor; a comma or a quote may be missing or too many."

KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "missing_column": Kind(
            "error",
            "The column '{field}' is missing from the header.",
            "Every table has all its columns, in the order of its schema: {hint}.",
            "missing-label",
        ),
        "extra_column": Kind(
            "warning",
            "The column '{field}' is in no schema, so nobody will know what it means.",
            "Add it to the profile under 'add', or take it out.",
            "extra-label",
        ),
        "doubled_column": Kind(
            "error",
            "The column '{field}' stands twice in the header.",
            "Rename or remove one of them.",
            "duplicate-label",
        ),
        "unnamed_column": Kind(
            "error",
            "Column {position} has no name.",
            "Name it in the header, or remove it.",
            "blank-label",
        ),
        "column_order": Kind(
            "error",
            "The columns are not in the order of the schema, from '{field}' on.",
            "Put them in this order: {order}.",
            "incorrect-label",
        ),
        "blank_row": Kind("error", "The line is blank.", "Remove it, or fill it in.", "blank-row"),
        "missing_cell": Kind(
            "error",
            "The line has {cells} cells where the header has {wanted}; '{field}' is missing.",
            _LINE,
            "missing-cell",
        ),
        "extra_cell": Kind(
            "error",
            "The line has {cells} cells where the header has {wanted}.",
            _LINE,
            "extra-cell",
        ),
        "not_utf8": Kind(
            "error",
            "The file is not UTF-8 from here on; letters with accents are lost.",
            "Save it again as 'CSV UTF-8', or import the original through a mapping.",
            "encoding-error",
        ),
        "not_number": Kind(
            "error",
            "'{value}' is not a number.",
            "Write '{title}' as a plain number{unit}, such as 1.25.",
            "type-error",
        ),
        "not_integer": Kind(
            "error",
            "'{value}' is not a whole number.",
            "Write '{title}' as a whole number{unit}, such as 12.",
            "type-error",
        ),
        "not_boolean": Kind(
            "error",
            "'{value}' is neither true nor false.",
            "Write '{title}' as true or false.",
            "type-error",
        ),
        "required": Kind(
            "error",
            "'{title}' is missing.",
            "Every line needs it; fill it in.",
            "constraint-error",
        ),
        "minimum": Kind(
            "error",
            "'{title}' is {value}, less than {limit}{unit}, which cannot be.",
            "Measure or look it up again; the unit may be wrong.",
            "constraint-error",
        ),
        "maximum": Kind(
            "error",
            "'{title}' is {value}, more than {limit}{unit}, which cannot be.",
            "Measure or look it up again; the unit may be wrong.",
            "constraint-error",
        ),
        "exclusiveMinimum": Kind(
            "error",
            "'{title}' is {value}, but must be more than {limit}{unit}.",
            "Leave it blank if it was not measured.",
            "constraint-error",
        ),
        "exclusiveMaximum": Kind(
            "error",
            "'{title}' is {value}, but must be less than {limit}{unit}.",
            "Measure or look it up again; the unit may be wrong.",
            "constraint-error",
        ),
        "minLength": Kind(
            "error",
            "'{value}' is too short; '{title}' has at least {limit} characters.",
            "Write it in full.",
            "constraint-error",
        ),
        "maxLength": Kind(
            "error",
            "'{value}' is too long; '{title}' has at most {limit} characters.",
            "Shorten it; put the rest into the notes.",
            "constraint-error",
        ),
        "pattern": Kind(
            "error",
            "'{value}' is not written as '{title}' must be: {written}.",
            "Correct it{example}.",
            "constraint-error",
        ),
        "pattern_not_tried": Kind(
            "warning",
            "The pattern of '{field}' needs look-around or back-references, so it was not tried.",
            "Write the pattern without them.",
            "constraint-error",
        ),
        "not_in_list": Kind(
            "error",
            "'{value}' is not in the list '{list}'{hint}",
            "Use a code of the list, or add the code to the profile.",
            "constraint-error",
        ),
        "unique": Kind(
            "error",
            "'{value}' stands in row {first} already, and '{title}' may stand only once.",
            "Find out which row is right and change the other.",
            "unique-error",
        ),
        "key_missing": Kind(
            "error",
            "The line has no '{field}', so nothing can point to it.",
            "Give it a code, or remove the line.",
            "primary-key",
        ),
        "key_doubled": Kind(
            "error",
            "'{value}' stands in row {first} already; a code may stand only once.",
            "If it is the same thing, keep one row; if not, give one of them another code.",
            "primary-key",
        ),
        "no_such_row": Kind(
            "error",
            "'{title}' points to '{value}', which is not in the table '{other}'.",
            "Add it to '{other_title}', or correct the code.",
            "foreign-key",
        ),
    }
)
