"""Proposes a mapping for forms that were never seen, as YAML with remarks to settle."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._intake.files.data_package import PackageTable, handed_in
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import ColumnFacts, Limits
from provenance._intake.guessing import (
    SURE,
    Guess,
    SheetGuess,
    guess_date_formats,
    guess_sheet,
    guess_unit,
    unknown_words,
)
from provenance._intake.mapping.mapping_file import did_you_mean
from provenance._model.schema import Model, Table

NOTHING_WRITTEN = ("-", "--", "—", "n/a", "na", "none", "nil", "?", ".", "unk")
"""Marks that often mean that nothing was written down; listed when the form has them."""

MOST_WORDS = 12

HEAD = """\
# A first guess from headings and values; nothing of it is certain. Read every line, mend what is
# wrong, take out what you do not need, then:  treenail import PACKAGE FILES --mapping THIS-FILE
# Remarks that begin with '?' want a decision.
"""


def draft_mapping(model: Model, files: Sequence[Path], limits: Limits | None = None) -> str:
    """A mapping for these files as YAML text that schemas/mapping.schema.json accepts.

    Columns that look like no field stand in it as remarks. Raises UnusableInput when a file cannot
    be read, and when none has headings that look like anything.
    """
    blocks: list[str] = []
    remarks: list[str] = []
    missing: set[str] = set()
    for path in (handed_in(Path(one)) for one in files):
        with closing(open_received(path, limits=limits)) as received:
            remarks += [f"# {path.name}: {remark}" for remark in received.remarks]
            for name in received.sheet_names:
                sheet = received.sheet(name)
                described = sheet.columns if isinstance(sheet, PackageTable) else {}
                guess = guess_sheet(name or path.stem, sheet.rows(), model, described)
                if guess is None or not guess.tables:
                    where = f"sheet '{name}' of {path.name}" if name else path.name
                    remarks.append(f"# {where} looks like no table of the record; it is left out")
                    continue
                if not (isinstance(sheet, PackageTable) and sheet.states_missing):
                    missing |= _marks(guess)
                blocks.append(_source(path, name, guess, model))
    if not blocks:
        raise UnusableInput(
            "no sheet has headings that look like a table of the record; write a mapping by hand "
            "(a new package brings an example, mapping.example.yaml)"
        )
    top = [HEAD + "\n".join(remarks) + ("\n" if remarks else "")]
    title = ", ".join(dict.fromkeys(Path(path).stem for path in files))
    top.append(f"title: {_quoted(title)}\n")
    listed = ", ".join(_quoted(one) for one in ["", *sorted(missing)])
    doubt = "  # ? whether these mean 'nothing written' on this form" if missing else ""
    top.append(f"missing: [{listed}]{doubt}\n")
    return "".join(top) + "sources:\n" + "".join(blocks)


def _quoted(text: str) -> str:
    """A text as YAML takes it in any place; every JSON string is one."""
    return json.dumps(text, ensure_ascii=False)


def _marks(guess: SheetGuess) -> set[str]:
    return {
        text
        for seen in guess.values.values()
        for text in seen.texts
        if text.casefold() in NOTHING_WRITTEN
    }


def _source(path: Path, name: str, guess: SheetGuess, model: Model) -> str:
    lines = [f"  - files: {_quoted(path.name)}"]
    if name:
        lines.append(f"    sheet: {_quoted(name)}")
    lines.append(f"    header_row: {guess.header_row}")
    for place in guess.unknown:
        seen = guess.values[place]
        example = next(iter(seen.texts), "")[:40]
        lines.append(
            f"    # ? column {_quoted(guess.headings.name(place))} ({seen.count} cells, such as "
            f"{_quoted(example)}{_said_of(place, guess)}): give it a field, or list it under "
            "columns_left_out"
        )
    lines.append("    rows:")
    for table, guesses in guess.tables.items():
        lines += _rows(model.table(table), guesses, guess, model)
    return "\n".join(lines) + "\n"


def _said_of(place: int, guess: SheetGuess) -> str:
    """What the schema says of a column, on one line."""
    facts = guess.described.get(guess.headings.name(place), ColumnFacts())
    said = " ".join(f"{facts.title}: {facts.description}".strip(": ").split())
    return f", said to be {_quoted(said[:200])}" if said else ""


def _rows(table: Table, guesses: list[Guess], sheet: SheetGuess, model: Model) -> list[str]:
    lines = [f"      - table: {table.name}"]
    by_field = {guess.one.name: guess for guess in guesses}
    if len(sheet.tables) > 1 and (column := _column_that_tells(table, sheet)):
        lines.append(f"        when: {_quoted(column)}  # ? only lines where this is filled")
    lines.append("        fields:")
    for one in table.fields:
        guess = by_field.get(one.name)
        if guess is not None:
            lines += _field(guess, sheet, model)
        elif one.required or one.name in table.primary_key:
            lines.append(_needed(table, one.name, by_field, sheet))
    return lines


def _column_that_tells(table: Table, sheet: SheetGuess) -> str:
    """The heading that tells whether a line holds a row of this table."""
    own = {guess.one.name: guess for guess in sheet.tables[table.name]}
    others = {
        guess.place
        for name, guesses in sheet.tables.items()
        if name != table.name
        for guess in guesses
    }
    wanted = [*table.primary_key, "stamp", *own]
    for name in wanted:
        if name in own and (name in table.primary_key or own[name].place not in others):
            return sheet.headings.name(own[name].place)
    return ""


def _needed(table: Table, field: str, found: dict[str, Guess], sheet: SheetGuess) -> str:
    """A line for a field that every row must have and no column was found for."""
    if table.name == "plug" and field == "plug_id" and "sample_id" in found:
        heading = sheet.headings.name(found["sample_id"].place)
        return f"          plug_id: {{template: {_quoted('P-{' + heading + '}')}}}"
    return f"          # ? {field}: every row needs it; name its {{column: …}} or a {{constant: …}}"


def _field(guess: Guess, sheet: SheetGuess, model: Model) -> list[str]:
    one, heading = guess.one, sheet.headings.name(guess.place)
    seen = sheet.values.get(guess.place)
    parts = [f"column: {_quoted(heading)}"]
    remarks = []
    if guess.score < SURE:
        remarks.append(f"? is this '{one.title}'")
    if seen is not None:
        facts = sheet.described.get(heading, ColumnFacts())
        unit, source = guess_unit(heading, one, seen)
        if not unit and facts.title:
            unit, source = guess_unit(facts.title, one, seen)
        if facts.decimal_mark == "," and one.type in ("number", "integer"):
            parts.append('decimal: ","')
        if unit and unit != one.unit:
            parts.append(f"unit: {unit}")
            if source != "the heading":
                remarks.append(f"? unit guessed from {source}")
        elif not unit and one.unit in ("m", "cm", "mm") and one.type == "number":
            remarks.append(f"? taken for {one.unit}; else add unit:")
        if one.notation == "edtf":
            formats, doubt = guess_date_formats(seen)
            if formats:
                parts.append(f"formats: [{', '.join(map(_quoted, formats))}]")
            if any(text.endswith("YY") and not text.endswith("YYYY") for text in formats):
                parts.append("century_pivot: 1950")
                remarks.append("? 49 is read as 2049, 50 as 1950")
            if doubt:
                remarks.append(f"? {doubt}")
    strange: list[tuple[str, int]] = []
    if seen is not None and one.vocabulary:
        strange, split = unknown_words(one, seen, frozenset(NOTHING_WRITTEN), model)
        if split:
            parts.append(f"split: {_quoted(split)}")
    line = f"          {one.name}: {{{', '.join(parts)}}}"
    lines = [line + (f"  # {'; '.join(remarks)}" if remarks else "")]
    for text, count in strange[:MOST_WORDS]:
        assert one.vocabulary is not None
        near = did_you_mean(text, model.vocabularies[one.vocabulary].codes)
        lines.append(
            f"          # ? not in the list ({count}): {_quoted(text)}.{near} "
            "Say what it means under synonyms: {…}"
        )
    return lines
