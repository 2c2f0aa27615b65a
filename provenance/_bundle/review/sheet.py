"""The list of a review as a CSV or workbook that a person fills in, and reading it back."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import polars as pl

from provenance._base.disk import write_bytes
from provenance._base.errors import UnusableInput
from provenance._base.spreadsheet import spreadsheet_csv
from provenance._base.visible import visible
from provenance._bundle.redaction.decisions import RELEASE, REPLACE, WITHHOLD
from provenance._bundle.redaction.release import WAITING, Asked
from provenance._bundle.redaction.words import unknown_words
from provenance._bundle.review.deciding import REPLACED, Word
from provenance._bundle.review.review import Review

DECISION, INSTEAD, REASON = "Decision", "Shown instead", "Reason"
KIND, WHERE, TEXT, IDENTITY = "Kind", "Where", "Text", "Identity"
COLUMNS = (DECISION, INSTEAD, REASON, KIND, WHERE, TEXT, "Times", "Found in it",
           "Words in no list", "Stands now", IDENTITY)  # fmt: skip
DECISIONS = (RELEASE, WITHHOLD, REPLACE)
WIDTHS = (12, 36, 24, 9, 26, 70, 7, 44, 30, 30, 20)
MOST_FAULTS = 20
LONGEST = 30_000
"""Characters of a text that the list shows; a cell of a workbook holds 32,767 (ECMA-376)."""
_HEADING_ROWS = 20


def write_list(review: Review, out: Path) -> int:
    """Write what waits, and below it what was decided, as XLSX or CSV; returns how many wait.

    Raises UnusableInput for a name of another ending.
    """
    ending = out.suffix.lower()
    if ending not in (".csv", ".xlsx"):
        raise UnusableInput(f"{out}: give the list a name that ends in .csv or .xlsx")
    waiting = review.open
    rows = [
        *_rows(review, waiting),
        *_rows(review, [one for one in review.items if one.state != WAITING]),
    ]
    write_bytes(out, _as_csv(rows) if ending == ".csv" else _as_workbook(review, rows))
    return len(waiting)


def suggestions(review: Review, items: Sequence[Asked]) -> list[str]:
    """What could be shown instead of texts with findings: the same without what was found."""
    told = [one.text if one.hits and one.kind in REPLACED else "" for one in items]
    return review.known.masker.masked(told)


def _rows(review: Review, items: Sequence[Asked]) -> Iterator[tuple[str, ...]]:
    for one, instead in zip(items, suggestions(review, items), strict=True):
        unknown = [one.text[start:end] for start, end in unknown_words(one.text)]
        stands = one.why if one.state == WAITING else one.state
        if one.by_rule and one.state != WAITING:
            stands = f"{one.state} by rule {one.by_rule}"
        cells = ("", instead, "", one.kind, one.where, one.text, str(one.count),
                 "; ".join(one.found), ", ".join(dict.fromkeys(unknown)), stands,
                 one.identity)  # fmt: skip
        yield tuple(visible(cell)[:LONGEST] for cell in cells)


def _as_csv(rows: Sequence[Sequence[str]]) -> bytes:
    columns = dict.fromkeys(COLUMNS, pl.String)
    # spreadsheet programs read UTF-8 only where it is marked
    return spreadsheet_csv(pl.DataFrame(rows, schema=columns, orient="row")).encode("utf-8-sig")


def _as_workbook(review: Review, rows: Sequence[Sequence[str]]) -> bytes:
    import xlsxwriter

    stream = io.BytesIO()
    book = xlsxwriter.Workbook(
        stream,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_numbers": False,
            "strings_to_urls": False,
        },
    )
    sheet = book.add_worksheet("Review")
    bold, wrapped = book.add_format({"bold": True}), book.add_format({"text_wrap": True})
    for column, (name, width) in enumerate(zip(COLUMNS, WIDTHS, strict=True)):
        sheet.set_column(column, column, width, wrapped)
        sheet.write_string(0, column, name, bold)
    for number, row in enumerate(rows, start=1):
        for column, cell in enumerate(row):
            sheet.write_string(number, column, cell)
    listed = {"validate": "list", "source": list(DECISIONS), "error_title": "No decision",
              "error_message": f"Write {', '.join(DECISIONS)}, or leave it blank."}  # fmt: skip
    sheet.data_validation(1, 0, max(len(rows), 1), 0, listed)
    sheet.freeze_panes(1, 0)
    book.close()
    return stream.getvalue()


# -- reading it back -------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Line:
    """A row of a filled list: where it stands, and its cells by column."""

    place: str
    cells: Mapping[str, str]

    def __getitem__(self, name: str) -> str:
        return self.cells.get(name, "")


def read_list(review: Review, path: Path) -> list[Word]:
    """The decisions in a filled list; rows without one are left out.

    A row is known by its identity, or, without one, by kind, where and text.
    Raises UnusableInput that names file, row, column and value of everything that cannot be read.
    """
    by_identity = {one.identity: one for one in review.items}
    by_text = {(one.kind, one.where, _compared(one.text)): one for one in review.items}
    words, faults = [], []
    for line in _lines(path):
        decision = line[DECISION].casefold()
        if not decision:
            continue
        if decision not in DECISIONS:
            near = get_close_matches(decision, DECISIONS, n=1)
            hint = f"; did you mean {near[0]}?" if near else ""
            faults.append(
                f"{line.place}, column '{DECISION}': {line[DECISION]!r} is not a decision; write "
                f"{', '.join(DECISIONS)} or leave it blank{hint}"
            )
            continue
        told = (line[KIND].casefold(), line[WHERE], _compared(line[TEXT]))
        named = line[IDENTITY].lower()
        one = by_identity.get(named) if named else by_text.get(told)
        if one is None:
            faults.append(
                f"{line.place}, column '{TEXT}': the record has no {line[KIND] or 'text'} "
                f"{line[TEXT][:60]!r} in {line[WHERE] or '?'} that is to be reviewed; it was "
                "changed since the list was written. Blank the decision, or write a new list"
            )
        elif line[TEXT] and _compared(line[TEXT]) != _compared(one.text):
            faults.append(
                f"{line.place}, column '{TEXT}': {line[TEXT][:60]!r} is not what the record says "
                f"({visible(one.text)[:60]!r}); to show other words write '{REPLACE}', and the "
                f"words in '{INSTEAD}'. Where a spreadsheet made a number or date of it, take a "
                "list in .xlsx"
            )
        else:
            words.append(Word(one.identity, decision, line[INSTEAD], line[REASON], line.place))
    if faults:
        more = f"\n  and {len(faults) - MOST_FAULTS} more" if len(faults) > MOST_FAULTS else ""
        shown = "\n".join(f"  {one}" for one in faults[:MOST_FAULTS])
        raise UnusableInput(f"nothing was recorded; correct these:\n{shown}{more}")
    return words


def _lines(path: Path) -> Iterator[_Line]:
    from provenance._intake.files.readers import open_received
    from provenance._intake.files.received import shown

    received = open_received(path)
    try:
        found = False
        for name in received.sheet_names:
            headings: dict[int, str] = {}
            for number, cells in received.sheet(name).rows():
                texts = [shown(cell).strip() for cell in cells]
                if not headings:
                    headings = _headings(texts)
                    found = found or bool(headings)
                    if not headings and number > _HEADING_ROWS:
                        break
                    continue
                where = f"{path.name}, " + (f"sheet '{name}', " if name else "") + f"row {number}"
                yield _Line(where, {h: texts[c] for c, h in headings.items() if c < len(texts)})
    finally:
        received.close()
    if not found:
        raise UnusableInput(
            f"{path.name} has no row with the headings '{DECISION}' and '{IDENTITY}' or '{TEXT}'; "
            "hand in a list that 'treenail review --list' or its page wrote"
        )


def _headings(texts: Sequence[str]) -> dict[int, str]:
    known = {name.casefold(): name for name in COLUMNS}
    found = {
        column: known[text.casefold()]
        for column, text in enumerate(texts)
        if text.casefold() in known
    }
    names = set(found.values())
    return found if DECISION in names and names & {IDENTITY, TEXT} else {}


def _compared(text: str) -> str:
    """A text as it comes back from a spreadsheet: hidden signs written out, one kind of blank."""
    plain = visible(unicodedata.normalize("NFC", text))[:LONGEST].removeprefix("'")
    return " ".join(plain.split())
