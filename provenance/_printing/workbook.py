"""Writes the workbook that a crew fills in: one sheet a table, made from schema and profile.

What is typed there comes back through `treenail import` without a mapping, because the hidden sheet
MARKER_SHEET says which column is which field. Format: Office Open XML (ECMA-376), by XlsxWriter.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from provenance._base.disk import write_bytes
from provenance._base.errors import TreenailError
from provenance._base.languages import N_, _, said_in_full, speaking, unreviewed
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._model.form_cell import NO, YES, form_cell
from provenance._model.measures import FEET_INCHES
from provenance._model.schema import Field, Model, Table
from provenance._model.spoken import spoken
from provenance._printing.crew_units import HOW_TO_WRITE, as_crews_write

if TYPE_CHECKING:
    import pandas as pd
    import xlsxwriter
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

MARKER_SHEET = "_treenail"
HELP_SHEET = N_("How to fill this in")
LISTS_SHEET = N_("Lists")
ROW_HEADING = N_("Row in the record (leave as it is)")
SECTION_ROW, HEADER_ROW, FIRST_ROW = 0, 1, 2
"""Rows counted from 0: section names, headings, first line to fill in."""

LINES = 2000
"""How many lines of a sheet carry drop-downs and checks; more lines may be typed below."""

LONGEST_CELL = 32767
"""Characters that a cell can hold (ECMA-376; stated by every spreadsheet program)."""

# A fixed day inside the file, so that the same schema gives the same bytes.
FIXED_DAY = datetime(2000, 1, 1)


LENGTHS = ("mm", "cm", "m")
"""Units in which a size may be typed in feet and inches instead."""

_OTHER_UNIT = N_("Write {how}, or with its own unit: 3.82 m, 38 cm.")


@dataclass(frozen=True)
class Leaving:
    """What lets a filled workbook come back as an edit of the record that it was filled from.

    `record` is the act with which the record began, `acts` are those that none follows; `rows` are
    the names of the rows of each table, in the order in which they fill its sheet.
    """

    record: str
    acts: tuple[str, ...]
    rows: Mapping[str, Sequence[str]]


def write_workbook(
    model: Model,
    out: Path,
    *,
    rows: Mapping[str, pd.DataFrame] | None = None,
    readings: Mapping[tuple[str, str, str], str] | None = None,
    leaving: Leaving | None = None,
    tables: Sequence[str] | None = None,
    title: str | None = None,
    read_by: str = "import",
) -> Path:
    """Write the workbook for a model to `out` (XLSX); returns `out`.

    `rows` fills sheets in: table name → frame of texts, as `Package.table` gives it; with `leaving`
    the workbook comes back as an edit of them. `readings` are lengths as they were written, by
    table, key and field. `tables` names the sheets to write, all that people fill in if left out.
    `title` stands above the first sheet.
    `read_by` is the command that brings the workbook back.
    It speaks the language of the record. Raises TreenailError when a text does not fit into a cell.
    """
    with speaking(model.language):
        data = _written(
            spoken(model), rows, readings, leaving, tables, title or spoken(model).title, read_by
        )
    write_bytes(out, data)
    return out


def _written(
    model: Model,
    rows: Mapping[str, pd.DataFrame] | None,
    readings: Mapping[tuple[str, str, str], str] | None,
    leaving: Leaving | None,
    tables: Sequence[str] | None,
    title: str,
    read_by: str,
) -> bytes:
    import xlsxwriter

    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(
        buffer,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_numbers": False,
            "strings_to_urls": False,
        },
    )
    book.set_properties({"title": title, "created": FIXED_DAY})
    looks = _Looks(book)
    shown = [
        table
        for table in model.of_role("record")
        if table.form_fields() and (tables is None or table.name in tables)
    ]
    names = {table.name: sheet_name(table) for table in shown}

    _write_help(book, looks, model, shown, names, title, read_by)
    sheets = {table.name: book.add_worksheet(names[table.name]) for table in shown}
    ranges = _write_lists(book, looks, model, shown)
    marker: dict[str, Any] = {}
    for table in shown:
        sheet = _Sheet(sheets[table.name], looks, model, table, names, ranges)
        sheet.write()
        if rows is not None and table.name in rows:
            sheet.fill(rows[table.name], readings or {})
        if leaving is not None and table.name in leaving.rows:
            sheet.name_rows(leaving.rows[table.name])
        marker[names[table.name]] = {
            "table": table.name,
            "header_row": HEADER_ROW + 1,
            "columns": {
                heading(one, model.form_unit(one)): one.name for one in table.form_fields()
            },
        }
    about = {"treenail_workbook": 1, "profile": model.profile, "sheets": marker}
    if leaving is not None:
        left = {"record": leaving.record, "acts": leaving.acts, "row_column": _(ROW_HEADING)}
        about["left"] = left
    _write_marker(book, about)
    book.close()
    return buffer.getvalue()


def sheet_name(table: Table) -> str:
    """The table's title as a sheet name (at most 31 characters, without []:*?/\\)."""
    return "".join(" " if c in "[]:*?/\\" else c for c in table.title)[:31]


def heading(one: Field, unit: str | None) -> str:
    """The heading of a field's column: title, unit, and a star where every line needs it."""
    return f"{one.title}{f' ({unit})' if unit else ''}{' *' if one.required else ''}"


class _Looks:
    """The few cell formats; black and gray only, so that a printed sheet stays legible."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        def made(**properties: Any) -> Format:
            return book.add_format({"font_name": "Arial", "font_size": 10} | properties)

        self.section = made(bold=True, font_color="#444444", italic=True)
        self.header = made(
            bold=True, text_wrap=True, valign="top", bg_color="#E4E4E4", border=1, locked=True
        )
        self.needed = made(
            bold=True, text_wrap=True, valign="top", bg_color="#C8C8C8", border=1, locked=True
        )
        self.text = made(locked=False, num_format="@", valign="top")
        self.number = made(locked=False, valign="top")
        self.plain = made(text_wrap=True, valign="top")
        self.strong = made(bold=True, text_wrap=True, valign="top")
        self.link = made(font_color="#0000C0", underline=1, valign="top")
        self.large = made(bold=True, font_size=16)


@dataclass(frozen=True)
class _Sheet:
    """One table's sheet: sections, headings with notes, checks, drop-downs, and lines if filled."""

    sheet: Worksheet
    looks: _Looks
    model: Model
    table: Table
    names: Mapping[str, str]
    ranges: Mapping[str, str]

    def write(self) -> None:
        """Write all but the lines."""
        section = None
        self.sheet.set_row(HEADER_ROW, 58)
        for column, one in enumerate(self.table.form_fields()):
            # 12' 6 1/2" in a cell of numbers would be taken for a clock or a date
            number = one.type in ("number", "integer") and not self._by_rule(one)
            look = self.looks.number if number else self.looks.text
            self.sheet.set_column(column, column, _width(one), look)
            if one.section != section:
                section = one.section
                self.sheet.write_string(
                    SECTION_ROW, column, self.table.sections[section], self.looks.section
                )
            header = self.looks.needed if one.required else self.looks.header
            self.sheet.write_string(
                HEADER_ROW, column, heading(one, self.model.form_unit(one)), header
            )
            self.sheet.write_comment(
                HEADER_ROW,
                column,
                self._note(one),
                {"x_scale": 2.2, "y_scale": 1.6, "author": "", "font_size": 9},
            )
            self._validate(column, one)
        self.sheet.freeze_panes(FIRST_ROW, 1)
        self.sheet.protect(
            "",
            {
                "format_columns": True,
                "format_rows": True,
                "insert_rows": True,
                "delete_rows": True,
                "sort": True,
                "autofilter": True,
            },
        )
        self.sheet.set_landscape()
        self.sheet.repeat_rows(SECTION_ROW, HEADER_ROW)
        self.sheet.repeat_columns(0)
        self.sheet.set_footer(
            "&L&A&R" + _("Page {number} of {count}").format(number="&P", count="&N")
        )

    def fill(self, frame: pd.DataFrame, readings: Mapping[tuple[str, str, str], str]) -> None:
        """Write the rows of a table; codes as their labels, numbers as numbers."""
        fields = self.table.form_fields()
        for line, row in enumerate(frame.to_dict("records"), start=FIRST_ROW):
            values = {str(name): text for name, text in row.items()}
            for column, one in enumerate(fields):
                text = values.get(one.name, "")
                if text == "":
                    continue
                if len(text) > LONGEST_CELL:
                    raise TreenailError(
                        f"table '{self.table.name}', field '{one.name}', key "
                        f"{self.table.key_of(values)}: the text has {len(text)} characters, and a "
                        f"cell holds {LONGEST_CELL}; shorten it or move it to a file"
                    )
                place = (self.table.name, self.table.key_of(values), one.name)
                self._write_value(line, column, one, text, readings.get(place, ""))

    def _by_rule(self, one: Field) -> bool:
        """Whether a length is written in feet and inches."""
        return self.model.form_unit(one) in HOW_TO_WRITE

    def _write_value(self, line: int, column: int, one: Field, text: str, written: str) -> None:
        value = form_cell(self.model, one, text)
        if isinstance(value, float) and self._by_rule(one):
            value = as_crews_write(self.model, one, text, written)
        if isinstance(value, float):
            self.sheet.write_number(line, column, value, self.looks.number)
        else:
            self.sheet.write_string(line, column, value, self.looks.text)

    def name_rows(self, names: Sequence[str]) -> None:
        """Write what each line is called in the record into a hidden column behind the others."""
        column = len(self.table.form_fields())
        # not locked, so that a protected sheet can still be sorted with it
        self.sheet.set_column(column, column, 12, self.looks.text, {"hidden": True})
        self.sheet.write_string(HEADER_ROW, column, _(ROW_HEADING), self.looks.header)
        for line, name in enumerate(names, start=FIRST_ROW):
            self.sheet.write_string(line, column, name, self.looks.text)

    def _note(self, one: Field) -> str:
        lines = [one.description]
        if self._by_rule(one):
            lines.append(_(_OTHER_UNIT).format(how=_(HOW_TO_WRITE[self.model.form_unit(one)])))
        elif one.unit:
            lines.append(_("Unit: {unit}.").format(unit=one.unit))
        if one.unit in LENGTHS and not self._by_rule(one):
            lines.append(_("Or with its own unit: 9' 6\", 5/8 in."))
        vocabulary = self.model.vocabulary_of(one)
        if vocabulary:
            choose = _("Choose from the list '{list}'.")
            if one.separator:
                choose = _("Choose from the list '{list}', several separated by a semicolon.")
            lines.append(choose.format(list=vocabulary.title))
        if one.example:
            written = one.example
            if self._by_rule(one):
                written = str(as_crews_write(self.model, one, one.example))
            lines.append(_("For example: {example}").format(example=written))
        if one.required:
            lines.append(_("Every row needs this."))
        return "\n".join(lines)

    def _validate(self, column: int, one: Field) -> None:
        options = self._validation(column, one)
        if options:
            options |= {"ignore_blank": True, "error_title": one.title[:32]}
            self.sheet.data_validation(FIRST_ROW, column, FIRST_ROW + LINES - 1, column, options)

    def _validation(self, column: int, one: Field) -> dict[str, Any] | None:
        if one.vocabulary:
            return {
                "validate": "list",
                "source": f"={self.ranges[one.vocabulary]}",
                # several codes in one cell cannot be one line of the list, so only a word of advice
                "error_type": "information" if one.separator else "stop",
                "error_message": _("Choose from the list; the sheet 'Lists' explains each word."),
            }
        if one.type == "boolean":
            return {
                "validate": "list",
                "source": [_(YES), _(NO)],
                "error_message": _("Write Yes or No."),
            }
        if one.type in ("number", "integer"):
            options = _number_validation(one)
            cell = f"{_column_letters(column)}{FIRST_ROW + 1}"
            if self._by_rule(one):
                return _in_feet_and_inches(self.model.form_unit(one), cell)
            return _or_feet_and_inches(options, cell) if one.unit in LENGTHS else options
        target = self._key_target(one)
        if target:
            return {
                "validate": "list",
                "source": f"={target}",
                "error_type": "warning",
                "error_message": _("No such code on the other sheet yet. Keep it if you add it."),
            }
        if one.notation == "edtf":
            cell = f"{_column_letters(column)}{FIRST_ROW + 1}"
            return {
                "validate": "custom",
                "value": f"=OR(ISNUMBER({cell}),ISNUMBER(VALUE(LEFT({cell},4))))",
                "error_type": "warning",
                "error_message": _(
                    "Write a date as 2024-06-03; 2024-06 or 2024 when less is known; 1987? when "
                    "doubtful."
                ),
            }
        return None

    def _key_target(self, one: Field) -> str | None:
        for key in self.table.foreign_keys:
            if key.fields == (one.name,) and key.table in self.names:
                target = self.model.table(key.table)
                column = [f.name for f in target.form_fields()].index(key.reference_fields[0])
                letters = _column_letters(column)
                sheet = self.names[key.table].replace("'", "''")
                return f"'{sheet}'!${letters}${FIRST_ROW + 1}:${letters}${FIRST_ROW + LINES}"
        return None


def _number_validation(one: Field) -> dict[str, Any]:
    limits = one.constraints
    low = limits.get("minimum", limits.get("exclusiveMinimum"))
    high = limits.get("maximum", limits.get("exclusiveMaximum"))
    kind = "integer" if one.type == "integer" else "decimal"
    unit = f" {one.unit}" if one.unit else ""
    whole = one.type == "integer"
    options: dict[str, Any] = {"validate": kind}
    if low is not None and high is not None:
        options |= {"criteria": "between", "minimum": low, "maximum": high}
        said = _("Write a whole number from {low} to {high}{unit}.")
        said = said if whole else _("Write a number from {low} to {high}{unit}.")
    elif low is not None:
        exclusive = "exclusiveMinimum" in limits
        options |= {"criteria": ">" if exclusive else ">=", "value": low}
        said = _("Write a whole number above {low}{unit}.")
        said = said if whole else _("Write a number above {low}{unit}.")
    else:
        options |= {"criteria": "between", "minimum": -1e9, "maximum": high or 1e9}
        said = _("Write a whole number.") if whole else _("Write a number.")
        if one.unit:
            said = _("Write a number in {unit}.")
    options["error_message"] = said.format(
        low=low, high=high, unit=unit if low is not None else one.unit
    )
    return options


def _or_feet_and_inches(options: Mapping[str, Any], cell: str) -> dict[str, Any]:
    """The check of a number that lets a text pass, which the import reads with its own unit."""
    if options["criteria"] == "between":
        within = f"AND({cell}>={options['minimum']},{cell}<={options['maximum']})"
    else:
        within = f"{cell}{options['criteria']}{options['value']}"
    said = options["error_message"].rstrip(".")
    own_unit = _("or with its own unit: 9' 6\", 5/8 in.")
    return {
        "validate": "custom",
        "value": f"=IF(ISNUMBER({cell}),{within},ISTEXT({cell}))",
        "error_message": f"{said}, {own_unit}",
    }


def _in_feet_and_inches(unit: str, cell: str) -> dict[str, Any]:
    """The check of a length in a cell of text: it begins with a number and ends with a unit.

    In a column of feet and inches 12' 6 does too; in one of inches, or of feet, a bare number.
    A sieve of at most 255 characters, which is all that a program takes; the import reads strictly.
    """
    marks = [f'RIGHT({cell})=""""', f'RIGHT({cell})="”"', f'RIGHT({cell})="m"']
    marks += [f'RIGHT({cell},2)="in"', f'RIGHT({cell},2)="ft"']
    if unit == "ft-in":
        ends = [f'ISNUMBER(FIND("\'",{cell}))', f'ISNUMBER(FIND("’",{cell}))', *marks]
    else:
        ends = [f"ISNUMBER(VALUE(RIGHT({cell})))", f'RIGHT({cell})="\'"', *marks]
    begins = f'ISNUMBER(VALUE(LEFT(SUBSTITUTE({cell},"-",""))))'
    return {
        "validate": "custom",
        "value": f"=AND({begins},OR({','.join(ends)}))",
        "error_message": _(_OTHER_UNIT).format(how=_(HOW_TO_WRITE[unit])),
    }


def _column_letters(column: int) -> str:
    from xlsxwriter.utility import xl_col_to_name

    return str(xl_col_to_name(column))


def _width(one: Field) -> float:
    if one.name in ("notes", "description", "position_note", "questions", "features", "title"):
        return 34
    if one.type in ("number", "integer", "boolean"):
        return 13
    return 22 if one.vocabulary else 17


def _write_lists(
    book: xlsxwriter.Workbook, looks: _Looks, model: Model, tables: Sequence[Table]
) -> dict[str, str]:
    """Write every vocabulary in use, label and meaning side by side; returns their ranges."""
    sheet = book.add_worksheet(_(LISTS_SHEET))
    used = [one.vocabulary for table in tables for one in table.form_fields() if one.vocabulary]
    ranges = {}
    for place, name in enumerate(dict.fromkeys(used)):
        vocabulary = model.vocabularies[name]
        column = 3 * place
        sheet.set_column(column, column, 26)
        sheet.set_column(column + 1, column + 1, 52)
        sheet.set_column(column + 2, column + 2, 3)
        sheet.write_string(0, column, vocabulary.title, looks.header)
        sheet.write_string(0, column + 1, vocabulary.description, looks.header)
        for line, term in enumerate(vocabulary.terms, start=1):
            sheet.write_string(line, column, term.label, looks.strong)
            sheet.write_string(line, column + 1, term.definition, looks.plain)
        letters = _column_letters(column)
        ranges[name] = f"'{_(LISTS_SHEET)}'!${letters}$2:${letters}${len(vocabulary.terms) + 1}"
    sheet.freeze_panes(1, 0)
    sheet.protect("")
    return ranges


def _write_help(
    book: xlsxwriter.Workbook,
    looks: _Looks,
    model: Model,
    tables: Sequence[Table],
    names: Mapping[str, str],
    title: str,
    read_by: str,
) -> None:
    sheet = book.add_worksheet(_(HELP_SHEET))
    sheet.hide_gridlines(2)
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, 1, 92)
    sheet.set_row(0, 26)
    sheet.write_string(0, 0, f"{_(HELP_SHEET)}: {title}", looks.large)
    texts = read_yaml(shipped("templates") / "sheets" / "workbook.yaml")
    by_rule = texts.pop("Units in feet and inches")
    if model.units == FEET_INCHES:
        texts["Units"] = by_rule
    advice = list(said_in_full(texts).items())
    in_the_field = "sample" in names
    if in_the_field:
        agree = _("The field specimen number on the sheet, on the label and punched into the plug.")
        advice.append((_("These three must match"), agree))
    command = f"treenail {read_by} PACKAGE THIS-FILE.xlsx"
    full = _("{command} reads it without a mapping.").format(command=command)
    if not in_the_field:
        back = _("Send it back to the sender;")
        full = f"{back} {full}"
    advice.append((_("When you are done"), full))
    advice += [("", unreviewed())] if unreviewed() else []
    for line, (term, text) in enumerate(advice, start=2):
        _help_line(sheet, looks, line, term, text)
    line = 2 + len(advice)
    sheet.write_string(line + 1, 0, _("Sheets"), looks.large)
    line += 2
    for table in tables:
        _help_line(sheet, looks, line, "", table.description)
        target = f"internal:'{names[table.name]}'!A{FIRST_ROW + 1}"
        sheet.write_url(line, 0, target, looks.link, string=names[table.name])
        line += 1
    if in_the_field:
        sheet.write_string(line + 1, 0, _("Safety and care"), looks.large)
        line += 2
        for caution in model.cautions:
            _help_line(sheet, looks, line, "", caution)
            line += 1
    sheet.protect("")
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)


def _help_line(sheet: Worksheet, looks: _Looks, line: int, term: str, text: str) -> None:
    # not every program fits the height of a line to its text, so it is set here
    sheet.set_row(line, 14 * (1 + len(text) // 95))
    if term:
        sheet.write_string(line, 0, term, looks.strong)
    sheet.write_string(line, 1, text, looks.plain)


def _write_marker(book: xlsxwriter.Workbook, marker: Mapping[str, Any]) -> None:
    sheet = book.add_worksheet(MARKER_SHEET)
    text = json.dumps(marker, ensure_ascii=False, separators=(",", ":"))
    # a cell has an end; a profile with very many fields goes on in the cells below
    for line, start in enumerate(range(0, len(text), LONGEST_CELL)):
        sheet.write_string(line, 0, text[start : start + LONGEST_CELL])
    sheet.very_hidden()
