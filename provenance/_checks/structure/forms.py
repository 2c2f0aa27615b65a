"""Finds values that are in no list or not written in the form that their field has."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from provenance._checks.language.wording import found_in_cells, shortened
from provenance._checks.structure.patterns import Patience, UnusablePattern, mismatches
from provenance._checks.structure.suggestions import codes_meant
from provenance._model.schema import Field, Model, Table, Vocabulary
from provenance._record.tables import ROW

_CODES_NAMED = 12
"""A longer list is cut: who needs it all has the code book."""
_MOST_GUESSED = 2_000
"""Different values for which a guess is made; a column with more is not mistyped but misplaced."""


def find_unlisted(model: Model, table: Table, one: Field, rows: pl.DataFrame) -> pl.DataFrame:
    """Findings about values (ROW, 'value') that the field's list lacks, with what was meant."""
    listed = [str(code) for code in one.constraints["enum"]]
    vocabulary = _vocabulary_of(model, one)
    # a profile may have narrowed the list: only what may be written is suggested
    different = rows["value"].unique()
    guessed = different if len(different) <= _MOST_GUESSED else ()
    meant = codes_meant(guessed, vocabulary, listed)
    hints = {value: f"; did you mean '{code}'?" for value, code in meant.items()}
    return _with_hints(
        "not_in_list",
        table,
        one,
        rows,
        hints,
        list=vocabulary.title if vocabulary else one.title,
        codes=_named(listed),
    )


def find_wrong_forms(
    model: Model, table: Table, one: Field, frame: pl.DataFrame, patience: Patience
) -> Iterator[pl.DataFrame]:
    """Findings about values that do not match the pattern of their field as a whole."""
    pattern = str(one.constraints["pattern"])
    try:
        wrong = mismatches(pattern, frame[one.name], patience=patience)
    except UnusablePattern as error:
        nowhere = pl.DataFrame({ROW: [0], "value": [shortened(pattern)]})
        yield found_in_cells("pattern_unusable", table, one, nowhere, why=str(error))
        return
    if not wrong.any():
        return
    rows = frame.filter(wrong).select(ROW, value=one.name)
    vocabulary = _vocabulary_of(model, one)
    if vocabulary and one.separator:
        yield _with_hints(
            "not_in_list",
            table,
            one,
            rows,
            _hints_for_several(rows["value"].unique(), vocabulary, one.separator),
            list=vocabulary.title,
            codes=f"{_named(vocabulary.codes)}; separate several with '{one.separator} '",
        )
        return
    notation = model.notations.get(one.notation) if one.notation else None
    yield found_in_cells(
        "wrong_form",
        table,
        one,
        rows,
        form=f" ({notation.title if notation else _first_sentence(one.description)})",
        example=one.example or (notation.example if notation else f"to match {pattern}"),
    )


def _first_sentence(text: str) -> str:
    return text.split(". ")[0].rstrip(".")


def _vocabulary_of(model: Model, one: Field) -> Vocabulary | None:
    return model.vocabularies.get(one.vocabulary) if one.vocabulary else None


def _hints_for_several(values: pl.Series, vocabulary: Vocabulary, separator: str) -> dict[str, str]:
    """For cells that hold several codes: which of them is none, and what it was meant to be."""
    if len(values) > _MOST_GUESSED:
        return {}
    hints: dict[str, str] = {}
    codes = set(vocabulary.codes)
    parts = {value: [part.strip() for part in value.split(separator)] for value in values}
    unknown = {part for found in parts.values() for part in found} - codes
    meant = codes_meant(unknown, vocabulary, vocabulary.codes)
    for value, found in parts.items():
        wrong = next((part for part in found if part and part not in codes), None)
        if wrong in meant:
            hints[value] = f"; for '{wrong}', did you mean '{meant[wrong]}'?"
        elif wrong is not None and len(found) > 1:
            hints[value] = f"; '{shortened(wrong)}' is not one of its codes."
        elif wrong is None:
            hints[value] = f"; separate the codes with one '{separator}'."
    return hints


def _with_hints(
    name: str, table: Table, one: Field, rows: pl.DataFrame, hints: dict[str, str], **words: str
) -> pl.DataFrame:
    hint = pl.lit(".")
    if hints:
        hint = pl.col("value").replace_strict(hints, default=".", return_dtype=pl.String)
    return found_in_cells(name, table, one, rows.with_columns(hint=hint), **words)


def _named(codes: tuple[str, ...] | list[str]) -> str:
    named = ", ".join(codes[:_CODES_NAMED])
    return named if len(codes) <= _CODES_NAMED else f"{named} … ({len(codes)} codes)"
