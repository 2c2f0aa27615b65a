"""Proposes a mapping for forms that were never seen, as YAML with questions to settle."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from contextlib import closing
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._gate.budget import SheetBudget
from provenance._intake.drafting.card_index import card_index_of
from provenance._intake.drafting.choosing import Choice, Chooser
from provenance._intake.drafting.columns import Column
from provenance._intake.drafting.habits import is_code
from provenance._intake.drafting.sheet import columns_of, first_rows, header_row
from provenance._intake.drafting.words import form_words
from provenance._intake.drafting.writing import SheetGuess, SourceWriter, is_known
from provenance._intake.drafting.yaml_words import listed, quoted, remark
from provenance._intake.files.data_package import PackageTable, handed_in
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import ReceivedSheet
from provenance._intake.mapping.mapping_file import OPEN
from provenance._model.schema import NUMBERED_TABLES, STRICT, Model

_EXAMPLES = 3

HEAD = f"""\
# A first guess from headings and values; nothing is certain. Read every line and correct what
# is wrong. Each '{OPEN}' in quotes is a question, and the import waits for the answer. Remarks that
# begin with '?' are worth a look. Then:  treenail import PACKAGE FILES --mapping THIS-FILE
"""


def draft_mapping(
    model: Model,
    files: Sequence[Path],
    limits: SheetBudget | None = None,
    sites: Collection[str] = (),
) -> str:
    """A mapping for these files as YAML text that schemas/mapping.schema.json accepts.

    Every sheet that holds anything is in it, and every column: with a field, or as a question.
    `sites` are the codes of the sites in the record; a single one is taken for the forms' site.
    Raises UnusableInput when a file cannot be read, and when no sheet of any holds anything.
    """
    chooser = Chooser(model)
    sheets: list[SheetGuess] = []
    remarks: list[str] = []
    for path in (handed_in(Path(one)) for one in files):
        with closing(open_received(path, limits=limits)) as received:
            remarks += [remark(f"{path.name}: {one}") for one in received.remarks]
            for name in received.sheet_names:
                sheet = _look_at(path, name, received.sheet(name), chooser, model)
                where = f"sheet '{name}' of {path.name}" if name else path.name
                if sheet is None:
                    remarks.append(remark(f"{where} holds nothing; it is left out"))
                elif sheet.all_computed:
                    remarks.append(remark(f"{where} is made by this program; it is left out"))
                else:
                    sheets.append(sheet)
    if not sheets:
        raise UnusableInput(
            "no sheet of these files holds anything to be mapped; hand in forms with headings and "
            "some lines"
        )
    title = ", ".join(dict.fromkeys(Path(path).stem for path in files))
    missing = sorted(frozenset[str]().union(*(sheet.marks for sheet in sheets)))
    doubt = "  # ? whether these mean 'nothing written' on these forms" if missing else ""
    lines = [*remarks, f"title: {quoted(title)}", f"missing: {listed(['', *missing])}{doubt}"]
    if model.numbering == STRICT and any(sheet.cards for sheet in sheets):
        lines.append("numbering: as_found  # ? an old collection keeps its numbers and site names")
    elif old := sorted(set(_old_numbers(sheets, model)))[:_EXAMPLES]:
        said = f"numbering: as_found  # ? keeps old numbers as they are, such as {', '.join(old)}"
        lines.append(remark(said))
    lines.append("sources:")
    some_known = any(is_known(sheet.choice) for sheet in sheets)
    for sheet in sheets:
        block = list(SourceWriter(sheet, missing, model, sites).lines())
        if some_known and not is_known(sheet.choice):
            # a legend or a page of remarks must not hold up the tables beside it
            lines.append("  # this sheet looks like no table; if it is one, take these # away:")
            block = [f"  #{line}" for line in block]
        lines += block
    return HEAD + "\n".join(lines) + "\n"


def _old_numbers(sheets: Sequence[SheetGuess], model: Model) -> Iterator[str]:
    """The keys of the chain that are not in the form of new ones, where the record asks for it."""
    for sheet in sheets if model.numbering == STRICT else ():
        for name in NUMBERED_TABLES & sheet.choice.tables.keys():
            key = model.table(name).primary_key[0]
            guess = sheet.choice.tables[name].get(key)
            pattern = model.table(name).field(key).constraints.get("pattern", "")
            for text in guess.column.texts if guess else ():
                if text.casefold() not in sheet.marks and not re.fullmatch(pattern, text.strip()):
                    yield text


def _look_at(
    path: Path, name: str, sheet: ReceivedSheet, chooser: Chooser, model: Model
) -> SheetGuess | None:
    """What is guessed of a sheet; None when it holds nothing."""
    first = first_rows(sheet.rows())
    if not any(value not in (None, "") for _, row in first for value in row):
        return None
    header = header_row(first, chooser.names)
    described = sheet.columns if isinstance(sheet, PackageTable) else {}
    columns, nameless = columns_of(first, header, described)
    cards = card_index_of(columns)
    own = [one for one in columns if not cards or one not in cards.columns]
    choice = chooser.choose(name or path.stem, own)
    if cards and ("sample_id" not in choice.tables.get("sample", {}) or not is_known(choice)):
        # without numbers of samples its columns lead nowhere, and are asked about like any other
        cards, choice = None, chooser.choose(name or path.stem, columns)
    states_missing = isinstance(sheet, PackageTable) and sheet.states_missing
    marks = frozenset[str]() if states_missing else _marks(columns, choice, model)
    ours = model.tables.get(name)
    made = [
        one.name
        for one in (ours.fields if ours else ())
        if one.obtained == "computed" or (ours and ours.role != "record")
    ]
    return SheetGuess(path, name, header, choice, marks, nameless, frozenset(made), cards)


def _marks(columns: Sequence[Column], choice: Choice, model: Model) -> frozenset[str]:
    """What stands for 'nothing written': the usual marks, but for those that are codes there."""
    fields = {
        guess.column.place: guess.one
        for found in choice.tables.values()
        for guess in found.values()
    }
    return frozenset(
        text.casefold()
        for column in columns
        for text in column.texts
        if text.casefold() in form_words().nothing_written
        and not (column.place in fields and is_code(text, fields[column.place], model))
    )
