"""Reads the answers of an export as rows of the record, and finds their photos."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from provenance._base.disk import sha256_of
from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._base.findings import Finding
from provenance._identity.identifier import joined_key
from provenance._identity.naming import CellNames, SampleNames
from provenance._identity.payload import is_scan, one_line, read_scan
from provenance._intake.answers.names import (
    FEET,
    FROM_ABOVE,
    INCHES,
    PARTS,
    PHOTO,
    PLUGGED,
    QUESTION,
    SCANNED,
    SIXTEENTHS,
    TABLES,
    TIMBER,
    TYPED,
    label_text,
    name_of,
)
from provenance._intake.answers.opening import Answer, Export
from provenance._intake.attachments import KEPT_IN, file_number
from provenance._intake.files.received import Row, SheetFacts
from provenance._intake.lines.lines import read_sheet
from provenance._intake.lines.readings import (
    Place,
    ReadRow,
    SheetReading,
    UnreadCell,
    intake_finding,
)
from provenance._intake.mapping.mapping import FieldRule, RowsRule, SourceRule
from provenance._intake.originals import safe_name
from provenance._intake.values.units import exact_length_mm
from provenance._model.measures import MM_PER, fraction_text
from provenance._model.media_types import may_run, media_type_of
from provenance._model.schema import Field, Model
from provenance._record.package import Package

FILE = "file"
FOLDER = f"{KEPT_IN}/phone"
_LONGEST_KEY = 48
_WHOLE = re.compile(r"-?[0-9]{1,6}(\.0+)?")
_ROUNDED_MM = 0.01
"""A size that the phone calculated may be so far from its parts, for it was rounded."""
_SHOWS = {"element": "Timber", "sample": "Hole of the sample", "plug": "Stamp of the plug"}


@dataclass(frozen=True)
class AnswersRead:
    """What answers say: a reading for each answer and file, whose sheet is named as the answer.

    `pictures` maps paths in the package to the photo that is to be kept there, with its SHA-256.
    """

    readings: tuple[SheetReading, ...]
    findings: tuple[Finding, ...]
    pictures: Mapping[str, tuple[Path, str]]


def read_answers(package: Package, export: Export) -> AnswersRead:
    """Read every answer of an export; raises UnusableInput for one to questions of another record.

    Samples are named as their labels do. Photos that the record has already under another path are
    not added again.
    """
    reader = _Reader(package, export)
    for one in export.answers:
        reader.take(one)
    return reader.result()


@dataclass
class _Cells:
    """The cells that answers give one table in one file, in a row a line."""

    lines: list[tuple[int, dict[str, str]]] = field(default_factory=list)
    headings: dict[str, str] = field(default_factory=dict)


class _Sheet:
    """Cells as one sheet; implements ReceivedSheet."""

    def __init__(self, cells: _Cells) -> None:
        self._cells = cells

    def facts(self) -> SheetFacts:
        return SheetFacts("", last_row=max(number for number, _ in self._cells.lines))

    def rows(self) -> Iterator[Row]:
        yield 0, list(self._cells.headings.values())
        for number, texts in self._cells.lines:
            yield number, [texts.get(one) or None for one in self._cells.headings]


class _Reader:
    """Goes through the answers, and keeps what each is to give until all are known."""

    def __init__(self, package: Package, export: Export) -> None:
        self._export = export
        self._model: Model = package.model
        self._names = CellNames(package.tables)
        self._files = package.tables.rows(FILE)
        self._cells: dict[tuple[str, str], _Cells] = {}
        self._instance: dict[tuple[str, int], str] = {}
        self._unread: list[UnreadCell] = []
        self._photos: list[ReadRow] = []
        self._findings: list[Finding] = []
        self._pictures: dict[str, tuple[Path, str]] = {}
        self._shown: dict[str, str] = {}

    def take(self, one: Answer) -> None:
        """Take what one line says of a timber, a sample and its plug."""
        self._instance[one.file_name, one.row] = one.instance
        texts = {
            table: {
                name.removeprefix(f"{table}__"): text
                for name, text in one.texts.items()
                if text and QUESTION.fullmatch(name) and name.startswith(f"{table}__")
            }
            for table in TABLES
        }
        keys = {TIMBER: one.find(TIMBER)}
        for table, said in texts.items():
            photo = said.pop(PHOTO, "")
            if table == "sample" and said:
                keys[table] = self._number(one, said)
            plugged = table == "plug" and (said or one.texts.get(PLUGGED, "").casefold() == "yes")
            if plugged and (number := keys.get("sample", "")):
                said |= {"sample_id": number, "plug_id": _plug_of(number)}
                keys[table] = said["plug_id"]
            if said:
                self._take_row(one, table, said)
            if photo:
                key = keys.get(TIMBER if table == "element" else table, "")
                self._take_photo(one, table, key, photo)

    def _unreadable(self, one: Answer, table: str, name: str, text: str, why: str,
                    question: str = "") -> None:  # fmt: skip
        heading = one.heading(question or name_of(table, name))
        place = Place(one.file_name, one.instance, one.row, heading)
        self._unread.append(UnreadCell(table, "", name, text, why, place))

    # -- cells ------------------------------------------------------------------------------------

    def _number(self, one: Answer, said: dict[str, str]) -> str:
        """The sample's number as scanned and typed, put into `said`; '' where it cannot be told."""
        scanned = said.pop(f"sample_id__{SCANNED}", "")
        typed = said.pop(f"sample_id__{TYPED}", "")
        named = self._names.reader_of_keys("sample")
        assert named is not None
        text, question = (scanned, SCANNED) if scanned else (typed, TYPED)
        pattern = label_text(self._model)
        try:
            number = named(text) if text else ""
            if scanned and not is_scan(scanned) and not re.fullmatch(pattern, scanned):
                raise UnreadableValue(scanned, "is not the code of a label of a sample")
            if scanned and typed:
                _refuse_other(scanned, typed, number)
        except UnreadableValue as error:
            both = f"{one_line(scanned)} (scanned); {typed} (typed)" if scanned and typed else text
            why = (
                f"{error.expected}; compare it with the label, correct the answer on the phone or "
                "in the file, and import it again"
            )
            self._unreadable(
                one, "sample", "sample_id", both, why, name_of("sample", "sample_id", question)
            )
            return ""
        if number:
            said["sample_id"] = text
        return number

    def _take_row(self, one: Answer, table: str, said: dict[str, str]) -> None:
        schema = self._model.table(table)
        for name in sorted({name.partition("__")[0] for name in said}):
            if name in schema:
                self._put_together(one, table, schema.field(name), said)
        if foreign := [name for name in said if name not in schema]:
            raise UnusableInput(
                f"{one.file_name}: the form was made for another profile: this package has no "
                f"{table}.{foreign[0]}; fit the package to that profile, or read the file with a "
                "mapping"
            )
        for name, question in FROM_ABOVE.items():
            if name in schema and name not in schema.primary_key and (text := one.find(question)):
                said.setdefault(name, text)
        cells = self._cells.setdefault((one.file_name, table), _Cells())
        for name in (*schema.primary_key, *said):
            cells.headings.setdefault(name, one.heading(name_of(table, name)))
        cells.lines.append((one.row, said))

    def _put_together(self, one: Answer, table: str, of: Field, said: dict[str, str]) -> None:
        """Make one text of the parts of a length; parts several codes as forms do."""
        if of.separator and (codes := said.get(of.name)):
            # a code has no blank, and apps put one between two of them
            said[of.name] = f"{of.separator} ".join(codes.split())
        unit = MM_PER.get(of.unit or "")
        if unit is None:
            return
        parts = {part: said.pop(f"{of.name}__{part}", "") for part in PARTS}
        filled = {part: text for part, text in parts.items() if text}
        if not filled:
            return
        calculated = said.pop(of.name, "")
        text = " + ".join(f"{text} ({part})" for part, text in filled.items())
        try:
            for part in filled.values():
                if not _WHOLE.fullmatch(part):
                    raise UnreadableValue(part, f"has '{part}', which is not a whole number")
            text = _reading({part: int(float(text)) for part, text in filled.items()})
            mm = exact_length_mm(text, "ft-in", allow_negative=text.startswith("-"))
            if calculated and not _is_near(calculated, float(mm), float(unit)):
                raise UnreadableValue(
                    text,
                    f"differs from the {calculated} {of.unit} beside it, so one of them was "
                    "changed in the file; blank the one that is wrong",
                )
        except UnreadableValue as error:
            self._unreadable(one, table, of.name, text, f"{error.expected}, and import it again")
            return
        said[of.name] = text

    # -- photos -----------------------------------------------------------------------------------

    def _take_photo(self, one: Answer, table: str, key: str, name: str) -> None:
        question = name_of(table, PHOTO)

        def left(why: str) -> None:
            self._unreadable(one, FILE, "path", name, why, question)

        source = self._export.media.get(name.replace("\\", "/").rpartition("/")[2])
        if source is None:
            left(
                "is a photo that did not come with the answers; export them with their media, or "
                "put it into a folder 'media' beside the file, and import it again"
            )
            return
        if not media_type_of(name).startswith("image/") or may_run(name):
            left("is not a picture; attach it with 'treenail attach' if it belongs to the record")
            return
        if not key:
            left(f"shows a {table} without a readable number; correct that and import it again")
            return
        digest = sha256_of(source)
        path = f"{FOLDER}/{digest[:12]}_{safe_name(name)}"
        same = [row for row in self._files if row.get("sha256") == digest and row["path"] != path]
        about = f"{table} {key}"
        if same or self._shown.setdefault(digest, about) != about:
            where = f"kept as {same[0]['file_id']}" if same else f"shown for {self._shown[digest]}"
            self._findings.append(
                intake_finding(
                    "note",
                    "photo_kept_once",
                    Place(one.file_name, one.instance, one.row, one.heading(question)),
                    f"The photo of {about} is {where} already, byte for byte; it is kept once.",
                    "If it shows something else too, say so in its row of the table 'file'.",
                    table=table,
                    key=key,
                    value=name,
                )
            )
            return
        taken = {row["file_id"] for row in self._files if row.get("sha256") != digest}
        values = {
            "file_id": file_number(digest, taken),
            "path": path,
            "kind": "photo",
            "title": _SHOWS[table],
            "about_table": table,
            "about_id": key,
            "taken_on": one.find(FROM_ABOVE["recorded_on"]),
            "taken_by": one.find(FROM_ABOVE["recorded_by"]),
            "access": "restricted",
            "media_type": media_type_of(path),
            "byte_count": str(source.stat().st_size),
            "sha256": digest,
        }
        known = {k: text for k, text in values.items() if text and k in self._model.table(FILE)}
        place = Place(one.file_name, one.instance, one.row)
        headings = {"path": one.heading(question)}
        row = ReadRow(FILE, values["file_id"], known, headings, place, {"path": name})
        self._photos.append(row)
        self._pictures[path] = (source, digest)

    # -- all together -----------------------------------------------------------------------------

    def result(self) -> AnswersRead:
        """A reading of each answer in each file, of all tables that the form fills."""
        rows: dict[tuple[str, str], list[ReadRow]] = defaultdict(list)
        unread: dict[tuple[str, str], list[UnreadCell]] = defaultdict(list)
        for row in self._photos:
            rows[row.place.file_name, row.place.sheet].append(row)
        for cell in self._unread:
            unread[cell.place.file_name, cell.place.sheet].append(cell)
        for (file_name, table), cells in self._cells.items():
            reading = self._read_cells(file_name, table, cells)
            self._findings += reading.findings
            for row in reading.rows:
                place = self._of_answer(row.place)
                rows[file_name, place.sheet].append(replace(row, place=place))
            for cell in reading.unread:
                place = self._of_answer(cell.place)
                unread[file_name, place.sheet].append(replace(cell, place=place))
        files = list(self._export.files)
        # what a file says of a table is said anew by it, also where nothing is left of it
        says = {(name, table) for name, table in self._cells} | {(name, FILE) for name in files}
        says |= {(files[0], table) for table in TABLES if not any(t == table for _, t in says)}
        readings = []
        for file_name in files:
            lines = sum(one.file_name == file_name for one in self._export.answers)
            for instance in dict.fromkeys(one.instance for one in self._export.answers):
                tables = frozenset(table for name, table in says if name == file_name)
                here = file_name, instance
                reading = SheetReading(Place(*here), tables, rows[here], unread[here], lines=lines)
                readings.append(reading)
                lines = 0
        return AnswersRead(tuple(readings), tuple(self._findings), self._pictures)

    def _read_cells(self, file_name: str, table: str, cells: _Cells) -> SheetReading:
        fields = tuple(FieldRule(n, "column", (h,)) for n, h in cells.headings.items())
        first = {next(text for name in cells.headings if (text := said.get(name)))
                 for _, said in cells.lines}  # fmt: skip
        source = SourceRule(
            files=(),
            rows=(RowsRule(table, fields),),
            header_row=0,
            keep_lines=frozenset(" ".join(text.split()).casefold() for text in first),
            may_lack=True,
        )
        return read_sheet(source, _Sheet(cells), Place(file_name), self._model, names=self._names)

    def _of_answer(self, place: Place) -> Place:
        return replace(place, sheet=self._instance[place.file_name, place.row])


def _is_near(calculated: str, mm: float, unit_mm: float) -> bool:
    """Whether a size that a phone calculated is that of its parts, but for rounding."""
    try:
        return abs(float(calculated) * unit_mm - mm) <= _ROUNDED_MM
    except ValueError:
        return False


def _plug_of(number: str) -> str:
    """The code of the plug in the hole of a sample; a long number leaves no room for more."""
    return f"P-{number}" if len(number) <= _LONGEST_KEY - 2 else joined_key("P", number)


def _refuse_other(scanned: str, typed: str, number: str) -> None:
    """Raise UnreadableValue where the typed number is not that of the scanned label."""
    label = read_scan(scanned) if is_scan(scanned) else None
    site, on_label = (label.site_id, label.sample_id) if label else ("", number)
    same = SampleNames([(site, on_label)]).number_in_cell(typed)
    if same != on_label:
        raise UnreadableValue(
            typed, f"differ: the label that was scanned is of {on_label}, and {typed} was typed"
        )


def _reading(parts: Mapping[str, int]) -> str:
    """A length in feet, inches and sixteenths as people write it.

    >>> _reading({"ft": 12, "in": 6, "frac": 8}), _reading({"frac": 14}), _reading({"ft": 9})
    ('12\\' 6 1/2"', '7/8"', "9'")
    """
    feet, inches = parts.get(FEET), parts.get(INCHES)
    sixteenths = parts.get(SIXTEENTHS, 0)
    sign = "-" if min(feet or 0, inches or 0) < 0 else ""
    text = f"{abs(feet)}'" if feet is not None else ""
    if inches is not None or sixteenths:
        size = fraction_text(abs(inches or 0) + Fraction(sixteenths, 16))
        text = f'{text} {size}"'.strip()
    return sign + text
