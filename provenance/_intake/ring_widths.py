"""Reads measured ring widths that lie in a plain table of years, samples and widths.

In the long form every row is a ring, with its year, its sample and its width; without a column of
samples the file is about the sample that it belongs to. In the wide form each sample has a column
beside the years. The unit is never guessed: a heading says it, else a line above the headings, else
the title of the file's row. A file without a heading for years is left as it is.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import Any

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._gate.budget import SheetBudget
from provenance._gate.folders import is_plain_file
from provenance._identity.naming import SampleNames
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import CellValue, Row, column_letters, shown
from provenance._intake.values.numerals import read_number
from provenance._model.notation import parse_year
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

RING_WIDTHS = "ring_widths"
LIMITS = SheetBudget(text_bytes=8 << 20, unpacked_bytes=32 << 20, cells=500_000)
"""More than 1,000 series of 400 rings in one file; the check reads them all."""
TABLES = (".csv", ".tsv", ".tab", ".xlsx", ".xlsm", ".ods")
"""Endings of files that are tables; a .txt may be one."""
WIDEST_MM = 1000.0
EARLIEST, LATEST = -12000, 2200
"""Years that a result may have."""
_HEADING_WITHIN = 40
_YEARS = {"year", "years", "calendar year", "year ad", "year ce", "ring year"}
_PLACES = {"ring", "ring no", "ring number", "relative year", "place in series"}
_SAMPLES = {"sample", "sample id", "sample no", "sample number", "series", "core", "fs", "fs no",
            "specimen", "specimen number"}  # fmt: skip
_WIDTHS = re.compile(r"(?:tree )?(?:ring )?widths?\b|(?:t?rw)\b")
_UNIT = re.compile(
    r"(?<![\w/.,])(?:(?P<part>1/10+|0[.,]0*1)\s*(?:of\s+(?:a\s+)?)?)?(?:mm|millimet(?:er|re)s?)\b"
    r"|(?<![\w/.,])(?P<micron>[µμ]m|um|microns?|micromet(?:er|re)s?)(?!\w)",
    re.IGNORECASE,
)
_PLAIN = re.compile(r"\d{1,12}(?:\.\d{1,12})?")


@dataclass(frozen=True)
class WidthFault:
    """What is wrong with the widths of one series, or of one file, told once.

    `kind` is 'sample', 'unreadable', 'negative', 'twice' or 'unit'; `where` is the first place and
    `value` what stands there; `others` counts further places of the same series.
    """

    kind: str
    where: str
    value: str = ""
    why: str = ""
    others: int = 0


@dataclass(frozen=True)
class RingSeries:
    """The widths of one series in the order of their years, which need not be without gaps.

    Years are astronomical; without a date they count rings from any start. `number` tells several
    series of one sample in one file apart. A width of 0 is a ring that is missing.
    """

    sample_id: str
    number: int
    where: str
    is_dated: bool
    years: tuple[int, ...]
    widths_mm: tuple[float, ...]


@dataclass(frozen=True)
class WidthFile:
    """What one file of ring widths holds.

    `row` is that of the table `file`. `state` is 'read', 'no_table' (left as it is), 'refused' with
    the reason in `why`, or 'missing'.
    """

    row: int
    file_id: str
    path: str
    about: tuple[str, str]
    state: str
    why: str = ""
    series: tuple[RingSeries, ...] = ()
    faults: tuple[WidthFault, ...] = ()

    @property
    def is_table(self) -> bool:
        """Whether its name says that it is a table."""
        return PurePosixPath(self.path).suffix.lower() in TABLES


def ring_width_files(tables: Snapshot) -> tuple[WidthFile, ...]:
    """Every file of ring widths of a package folder that has a path, read once for everybody."""
    return tables.once("ring widths", _read_all)


def _read_all(tables: Snapshot) -> tuple[WidthFile, ...]:
    rows = tables["file"].filter(kind=RING_WIDTHS).drop_nulls(["file_id", "path"])
    if rows.is_empty():
        return ()
    names, known = SampleNames.of(tables), frozenset(tables.column("sample", "sample_id"))
    results = {row["result_id"]: row["sample_id"] for row in tables.rows("lab_result")}

    def sample_of(text: str) -> str:
        if not text.strip():
            raise UnreadableValue(text, "is blank; write the number of the sample")
        sample = names.sample(text).sample_id
        if sample not in known:
            raise UnreadableValue(text, "is a reserved number, and no sample of this record")
        return sample

    return tuple(
        _read_one(Path(tables.where), row, sample_of, results) for row in rows.iter_rows(named=True)
    )


def _read_one(
    folder: Path,
    row: Mapping[str, Any],
    sample_of: Callable[[str], str],
    results: Mapping[str, str],
) -> WidthFile:
    about = (row["about_table"] or "", row["about_id"] or "")

    def told(state: str, **more: Any) -> WidthFile:
        return WidthFile(row[ROW], row["file_id"], row["path"], about, state, **more)

    suffix = PurePosixPath(row["path"]).suffix.lower()
    if suffix not in (*TABLES, ".txt"):
        return told("no_table")
    if not is_plain_file(folder, row["path"]):
        return told("missing")
    own = about[1] if about[0] == "sample" else results.get(about[1], "")
    reading = _Reading(sample_of, own, row["title"] or "")
    try:
        received = open_received(folder / row["path"], limits=LIMITS)
        try:
            found = [
                reading.read(name, received.sheet(name).rows()) for name in received.sheet_names
            ]
        finally:
            received.close()
    except UnusableInput as error:
        # what is no table at all may be in a format of its own
        return told("refused", why=str(error)) if suffix in TABLES else told("no_table")
    if not any(found):
        return told("no_table")
    return told("read", series=tuple(reading.series()), faults=tuple(reading.faults.values()))


@dataclass
class _Draft:
    """A series while it is read."""

    where: str
    is_dated: bool
    rings: dict[int, float] = field(default_factory=dict)


@dataclass
class _Reading:
    """The series and faults of one file while its sheets are read."""

    sample_of: Callable[[str], str]
    own: str
    title: str
    drafts: dict[tuple[str, str, str], _Draft] = field(default_factory=dict)
    faults: dict[tuple[str, str], WidthFault] = field(default_factory=dict)
    _samples: dict[str, str | UnreadableValue] = field(default_factory=dict)

    def read(self, sheet: str, rows: Iterator[Row]) -> bool:
        """Read one sheet; False where it has no headings of a table of ring widths."""
        place = f"sheet '{sheet}', " if sheet else ""
        above: list[str] = []
        for number, cells in islice(rows, _HEADING_WITHIN):
            texts = [shown(one) for one in cells]
            columns, where = _columns_of(texts), f"{place}row {number}"
            if columns is not None:
                break
            above += texts
        else:
            return False
        said = map(unit_in_mm, (*above, self.title))
        outside = next((one for one in said if one is not None), None)
        is_wide = columns.sample is None and not columns.is_own
        units = {
            at: unit_in_mm(texts[at], behind_number=is_wide) or outside for at in columns.widths
        }
        if without := [texts[at] for at, unit in units.items() if unit is None]:
            self._note("unit", sheet, where, ", ".join(without))
        scales = {at: unit for at, unit in units.items() if unit is not None}
        for number, cells in rows:
            self._row(sheet, f"{place}row {number}", cells, columns, texts, scales)
        return True

    def _row(
        self,
        sheet: str,
        place: str,
        cells: Sequence[CellValue],
        columns: _Columns,
        headings: Sequence[str],
        scales: Mapping[int, float],
    ) -> None:
        """Read one row; `scales` maps each column of widths to mm in one of its units."""
        cells = [*cells, *[None] * (len(headings) - len(cells))]
        filled = [at for at in scales if cells[at] is not None and cells[at] != ""]
        if not filled:
            return

        def note(kind: str, about: str, at: int, error: UnreadableValue | None = None) -> None:
            heading = headings[at].strip() or column_letters(at + 1)
            value, why = (error.value, error.expected) if error else (shown(cells[at]), "")
            self._note(kind, about, f"{place}, column '{heading}'", value, why)

        try:
            year = _year_in(cells[columns.year], columns.is_dated)
        except UnreadableValue as error:
            note("unreadable", f"{sheet} years", columns.year, error)
            return
        for at in filled:
            # in the wide form a series is a column, in the long form it is all rows of a sample
            named_at = at if columns.sample is None else columns.sample
            column = str(at) if columns.sample is None else ""
            name = shown(cells[named_at]) if not column else _without_unit(headings[at])
            about = f"{sheet} {column or name}"
            sample = self._sample(name, is_own=columns.is_own)
            if isinstance(sample, UnreadableValue):
                note("sample", about, named_at, sample)
                continue
            try:
                width = _width_in(cells[at], scales[at])
            except UnreadableValue as error:
                note("unreadable", about, at, error)
                continue
            key = (sample, sheet, column)
            if key not in self.drafts:
                self.drafts[key] = _Draft(f"{place}, column '{headings[at]}'", columns.is_dated)
            rings = self.drafts[key].rings
            if width < 0:
                note("negative", about, at)
            elif year in rings:
                note("twice", about, columns.year)
            else:
                rings[year] = width

    def _sample(self, name: str, *, is_own: bool) -> str | UnreadableValue:
        """The sample that is meant, or why none is; looked up once a name."""
        if is_own:
            return self.own or UnreadableValue(
                name, "is of no sample: there is no column of samples, and the file belongs to none"
            )
        if name not in self._samples:
            try:
                self._samples[name] = self.sample_of(name)
            except UnreadableValue as error:
                self._samples[name] = error
        return self._samples[name]

    def _note(self, kind: str, about: str, where: str, value: str, why: str = "") -> None:
        first = self.faults.get((kind, about)) or WidthFault(kind, where, value, why, others=-1)
        self.faults[kind, about] = replace(first, others=first.others + 1)

    def series(self) -> Iterator[RingSeries]:
        """What was read, series by series as they stand in the file."""
        counts: Counter[str] = Counter()
        for (sample, *_), draft in self.drafts.items():
            counts[sample] += 1
            years = tuple(sorted(draft.rings))
            widths = tuple(draft.rings[year] for year in years)
            if years:
                number = counts[sample]
                yield RingSeries(sample, number, draft.where, draft.is_dated, years, widths)


@dataclass(frozen=True)
class _Columns:
    """Which columns of a table hold what, counted from 0."""

    year: int
    is_dated: bool
    sample: int | None
    widths: tuple[int, ...]
    is_own: bool
    """Whether all widths are of the sample that the file belongs to."""


def _columns_of(texts: Sequence[str]) -> _Columns | None:
    """What the cells of a row are headings of; None where they are none."""
    plain = [" ".join(re.sub(r"[\s_.()\[\]:-]+", " ", one).casefold().split()) for one in texts]
    year = next((at for at, one in enumerate(plain) if one in _YEARS | _PLACES), None)
    others = [at for at, one in enumerate(plain) if one and at != year]
    if year is None or not others:
        return None
    is_dated = plain[year] in _YEARS
    widths = tuple(at for at in others if _WIDTHS.match(plain[at]))
    if not widths:
        return _Columns(year, is_dated, None, tuple(others), False)
    sample = next((at for at in others if plain[at] in _SAMPLES), None)
    return _Columns(year, is_dated, sample, widths[:1], sample is None)


def unit_in_mm(text: str, *, behind_number: bool = False) -> float | None:
    """How many mm the unit is that a heading or title says; None where it says none, or two.

    `behind_number` lets it stand behind the number of a sample.

    >>> unit_in_mm("width_mm"), unit_in_mm("Width (1/100 mm)"), unit_in_mm("widths in 0.001 mm")
    (1.0, 0.01, 0.001)
    >>> unit_in_mm("width [µm]"), unit_in_mm("width cm"), unit_in_mm("width 1/50 mm")
    (0.001, None, None)
    """
    found = set()
    bare = re.sub(r"[_()\[\]]", " ", text)
    for match in _UNIT.finditer(bare):
        before = bare[: match.start()].rstrip()
        if re.search(r"\d[/.,]\d+$" if behind_number else r"\d$", before):
            return None
        part = (match["part"] or "1").replace(",", ".")
        found.add(float(Fraction(part)) if not match["micron"] else 0.001)
    return found.pop() if len(found) == 1 else None


def _without_unit(heading: str) -> str:
    """The name of a sample in a heading: '231' of '231 (1/100 mm)'."""
    bare = re.sub(r"[_()\[\]]", " ", heading)
    return " ".join(_UNIT.sub(" ", bare).split()) if _UNIT.search(bare) else heading.strip()


def _year_in(value: CellValue, is_dated: bool) -> int:
    text = shown(value).strip()
    if is_dated:
        year = parse_year(text)
    elif re.fullmatch(r"-?\d{1,6}", text):
        year = int(text)
    else:
        raise UnreadableValue(text, "is not the number of a ring; write 1, 2, 3 …")
    if is_dated and not EARLIEST <= year <= LATEST:
        raise UnreadableValue(text, f"is not a year from {EARLIEST} to {LATEST}")
    return year


def _width_in(value: CellValue, scale: float) -> float:
    if type(value) in (int, float) and math.isfinite(value):  # type: ignore[arg-type]
        number = float(value)  # type: ignore[arg-type]
    else:
        text = shown(value).strip()
        # most widths are written so, and a file has very many
        number = float(text) if _PLAIN.fullmatch(text) else read_number(text)
    if number * scale > WIDEST_MM:
        raise UnreadableValue(shown(value), "is wider than any tree; compare it with its unit")
    return number * scale
