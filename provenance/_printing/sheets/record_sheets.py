"""Writes the record sheets of a package or a profile as one PDF."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from provenance._base.errors import TreenailError
from provenance._base.languages import N_, _, speaking
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.document import printed_pages
from provenance._drawing.paper import Paper, paper_named
from provenance._identity.sheet_code import SheetCode
from provenance._model.measures import METRIC
from provenance._model.schema import Model, Table
from provenance._model.spoken import in_language
from provenance._printing.sheets.asked import codes_written
from provenance._printing.sheets.core_sheet import CoreRows, CoreSheet, core_sheet_of, lay_out_cores
from provenance._printing.sheets.cover import HAZARDS, lay_out_cover
from provenance._printing.sheets.equipment import lay_out_equipment
from provenance._printing.sheets.figures import figures_of
from provenance._printing.sheets.form import lay_out_form
from provenance._printing.sheets.frame import Heading, PageDraft, SheetSet, draw_frame
from provenance._printing.sheets.listing import (
    code_entries,
    code_lists,
    lay_out_codes,
    lay_out_listing,
)
from provenance._printing.sheets.log import lay_out_log, lines_of, log_of
from provenance._printing.sheets.plan_grid import (
    PlanScale,
    in_words,
    lay_out_grid,
    lay_out_sketch,
    scale_named,
)
from provenance._printing.sheets.question import LONGEST_TICKED
from provenance._printing.sheets.rows import ChosenRows
from provenance._record.package import Package
from provenance._record.snapshot import Row


@dataclass(frozen=True)
class SheetKind:
    """One kind: `layout` is 'cover', 'equipment', 'form' (one row per sheet), 'log' (many), 'core'
    (two per page), 'codes' (the lists), 'meanings' (lists with definitions) or 'grid'.

    `tables` are asked for in that order; `title` heads the page ('' for the table's own title).
    Those that are `usual` are printed unless others are named; what is `fresh` is always blank.
    """

    name: str
    title: str
    layout: str
    tables: tuple[str, ...]
    usual: bool = False
    fresh: bool = False

    @property
    def asks(self) -> bool:
        """Whether it is filled in, and so needs the code lists."""
        return self.layout in ("form", "log", "core")


SHEETS = (
    SheetKind("cover", N_("Before you begin"), "cover", ("site",), usual=True),
    SheetKind("equipment", N_("Equipment"), "equipment", ("site",), usual=True),
    SheetKind("site", N_("Site"), "form", ("site",)),
    SheetKind("party", "", "log", ("party",)),
    SheetKind("place", "", "log", ("place",)),
    SheetKind("relation", "", "log", ("relation",)),
    SheetKind("tie", "", "log", ("datum", "tie")),
    SheetKind("element", N_("Timber"), "form", ("element",)),
    SheetKind("log", N_("Timber log"), "log", ("element",), usual=True),
    SheetKind("sample", N_("Sample"), "form", ("sample",)),
    SheetKind("core", N_("Core sheets"), "core", ("sample",), usual=True),
    SheetKind("plug", N_("Plug log"), "log", ("plug",), usual=True),
    # photos of the day are written down before they are files; those of the record are on its pages
    SheetKind("photo", N_("Photo log"), "log", ("file",), usual=True, fresh=True),
    SheetKind("codes", N_("Code lists"), "codes", (), usual=True),
    SheetKind("meanings", N_("What is asked, and what the codes mean"), "meanings", ()),
    SheetKind("grid", N_("Plan grid"), "grid", ("file",), usual=True, fresh=True),
)
"""Every kind in the order in which a crew needs them; a plan on the grid becomes a row of file."""


def sheets_named(names: Sequence[str]) -> list[SheetKind]:
    """The kinds of those names in the order of SHEETS, with the code lists that they need.

    No name is the usual ones, 'all' is every kind. Raises TreenailError that lists the names.
    """
    known = [kind.name for kind in SHEETS]
    for name in names:
        if name != "all" and name not in known:
            listed = ", ".join(known)
            raise TreenailError(f"no sheet is named '{name}'; name one of {listed}, or all")
    chosen = [
        kind for kind in SHEETS
        if (kind.name in names or "all" in names if names else kind.usual)
    ]  # fmt: skip
    asked = any(kind.asks for kind in chosen)
    return [kind for kind in SHEETS if kind in chosen or (asked and kind.layout == "codes")]


NORTHS = "bearing_reference"
"""The vocabulary of the norths that a plan may be drawn to."""

MOST_BLANKS = 1000
FORM_LEGEND = N_("* every record needs this     ☒ check one     blank: not recorded")
CODES_LEGEND = N_(
    "Each list stands under the columns and boxes that are filled in with it. Write the bold "
    "letters: they are enough. Leave blank what was not looked at."
)
UPRIGHT_COLUMNS = 3
METRIC_SCALE, FEET_SCALE = "1:50", "1in=5ft"


@dataclass(frozen=True)
class PrintedSheets:
    """What was written: the files (several when the run is very long) and their pages in all."""

    paths: tuple[Path, ...]
    page_count: int


@dataclass(frozen=True)
class LaidOutSheets:
    """Sheets that are ready to be printed, by kind."""

    title: str
    subject: str
    paper: Paper
    language: str
    sheets: tuple[tuple[SheetKind, tuple[SheetSet, ...]], ...]

    @property
    def page_count(self) -> int:
        """All pages."""
        return sum(pages for _, pages in self.counts)

    @property
    def counts(self) -> list[tuple[str, int]]:
        """(what it is in English, how many pages) of each kind of sheet."""
        return [(kind.title, sum(len(one.pages) for one in sets)) for kind, sets in self.sheets]

    def print(self, out: Path, progress: Progress = say_nothing) -> PrintedSheets:
        """Write them to `out` (PDF); `progress` is called with (pages done, pages in all)."""
        paper = self.paper
        size, pages = (paper.width, paper.height), self.page_count
        printing = printed_pages(out, size, title=self.title, subject=self.subject)
        with speaking(self.language), printing as run:
            for one in (one for _, sets in self.sheets for one in sets):
                for number, draft in enumerate(one.pages, start=1):
                    canvas = run.begin_page()
                    shape = paper.turned() if draft.landscape else paper
                    canvas.setPageSize((shape.width, shape.height))
                    if draft.framed:
                        of = len(one.pages)
                        draw_frame(canvas, paper, one.heading, number, of)
                    draft.draw(canvas)
                    progress(run.page_count, pages)
        return PrintedSheets(tuple(run.paths), run.page_count)


def lay_out_sheets(
    model: Model,
    *,
    package: Package | None = None,
    sheets: Sequence[str] = (),
    paper: str = "a4",
    scale: str | None = None,
    blanks: int | None = None,
    samples: str | None = None,
    elements: str | None = None,
    site: str | None = None,
) -> LaidOutSheets:
    """Record sheets, filled in from a package or blank, ready to be printed.

    `sheets` are names of SHEETS or 'all'; none is the usual ones. Without `blanks` the rows of the
    package are printed, and one blank page of a kind that has no rows; with it that many blank
    copies of each. The scale of the grid is 1:50 or, in feet, 1 in = 5 ft unless another is named.
    `samples` and `elements` are selections such as '201-245,260'.

    Raises TreenailError for an unknown sheet, paper, scale, site or selection.
    """
    page = paper_named(paper)
    kinds = sheets_named(sheets)
    plan = scale_named(scale or (METRIC_SCALE if model.units == METRIC else FEET_SCALE))
    if blanks is not None and not 1 <= blanks <= MOST_BLANKS:
        raise TreenailError(f"{blanks} blank copies: print 1 to {MOST_BLANKS} at a time")
    if package is None and (samples or elements or site):
        raise TreenailError("a selection needs a package; a profile alone holds no rows")
    rows = ChosenRows(package, site, samples, elements) if package is not None else None
    with speaking(model.language):
        spoken = in_language(model, model.language)
        drafter = Drafter(spoken, rows, page, plan, blanks)
        drafted = tuple((kind, tuple(drafter.draft(kind, kinds))) for kind in kinds)
        about = package.title if package else spoken.title
        title = _("Record sheets: {title}").format(title=about)
    sheets_drafted = tuple(
        (replace(kind, title=kind.title or model.table(kind.tables[0]).title), sets)
        for kind, sets in drafted
        if sets
    )
    return LaidOutSheets(title, spoken.title, page, model.language, sheets_drafted)


def write_sheets(model: Model, out: Path, **wishes: Any) -> PrintedSheets:
    """Write record sheets to `out` (PDF); wishes and errors as `lay_out_sheets` has them."""
    return lay_out_sheets(model, **wishes).print(out)


@dataclass(frozen=True)
class Drafter:
    """Makes the sheets of each kind."""

    model: Model
    rows: ChosenRows | None
    paper: Paper
    scale: PlanScale
    blanks: int | None

    def draft(self, kind: SheetKind, run: Sequence[SheetKind] = ()) -> Iterator[SheetSet]:
        """The sheets of a kind, filled in or blank; `run` are all that are printed with it."""
        if kind.layout == "cover":
            yield SheetSet(self._heading(kind.title, "site"), tuple(self._cover()))
        elif kind.layout == "equipment":
            pages = lay_out_equipment(self.model, self.paper)
            yield SheetSet(self._heading(kind.title, "site"), tuple(pages))
        elif kind.layout == "grid":
            title = f"{_(kind.title)} {in_words(self.scale)}"
            unit = self.model.unit_of(self.model.table("datum").field("x_m"))
            grid = lay_out_grid(self.scale, self._norths(), unit, self.paper)
            for _copy in range(self.blanks or 1):
                yield SheetSet(self._heading(title, kind.tables[0]), (grid,))
        elif kind.layout == "codes":
            entries = code_lists(self.model, self._codes(run))
            heading = self._heading(kind.title, "site", legend=CODES_LEGEND)
            if entries:
                yield SheetSet(heading, tuple(lay_out_codes(entries, heading, self.paper)))
        elif kind.layout == "meanings":
            names = dict.fromkeys(name for one in _asking(run) for name in one.tables)
            entries = code_entries(self.model, [self.model.table(name) for name in names])
            pages = lay_out_listing(entries, self.paper, columns=UPRIGHT_COLUMNS)
            yield SheetSet(self._heading(kind.title, "site"), tuple(pages))
        elif kind.layout == "core":
            yield self._cores(kind)
        else:
            make = self._forms if kind.layout == "form" else self._log
            for name in kind.tables:
                table = self.model.table(name)
                rows = [] if kind.fresh else self._rows(name)
                yield from make(kind.title or table.title, table, rows)

    def _rows(self, table: str) -> list[tuple[int, Row]]:
        return self.rows.of(table) if self.rows is not None and self.blanks is None else []

    def _forms(self, title: str, table: Table, rows: list[tuple[int, Row]]) -> Iterator[SheetSet]:
        if not rows:
            preset = {}
            if self.rows is not None and "site_id" in table and table.name != "site":
                preset = {"site_id": self.rows.only_site}
            front = self._form(table, preset)
            # a sheet of paper holds one record only, so an odd number of pages is filled up
            pages = (*front, *([lay_out_sketch(self.paper)] if len(front) % 2 else []))
            for _copy in range(self.blanks or 1):
                yield SheetSet(self._heading(title, table.name, legend=FORM_LEGEND), pages)
        for number, row in rows:
            heading = self._heading(title, table.name, row, number, FORM_LEGEND)
            yield SheetSet(heading, tuple(self._form(table, row)))

    def _form(self, table: Table, row: Row) -> list[PageDraft]:
        length = None
        if self.rows is not None and row.get("element_id"):
            length = self.rows.length_of_wood_m.get(row["element_id"])
        figures = figures_of(table.name, row, length)
        tables = self.rows.package.tables if self.rows is not None else None
        return lay_out_form(self.model, table, row, self.paper, figures, tables)

    def _log(self, title: str, table: Table, rows: list[tuple[int, Row]]) -> Iterator[SheetSet]:
        log, lines = log_of(self.model, table.name), []
        if self.rows is not None:
            tables, samples = self.rows.package.tables, self.rows.samples_of
            lines = lines_of(log, table.name, [row for _, row in rows], tables, samples)
        heading = self._heading(title, table.name)
        pages = lay_out_log(log, lines, heading, self.paper, self.blanks or 1)
        yield SheetSet(heading, tuple(pages))

    def _cores(self, kind: SheetKind) -> SheetSet:
        cores = []
        for number, row in self._rows("sample"):
            assert self.rows is not None
            heading = self._heading(kind.title, "sample", row, number)
            cores.append(CoreRows(heading.key, self.rows.around(row), heading))
        blank = CoreRows("", {}, self._heading(kind.title, "sample"))
        cores += [blank] * ((self.blanks or 1) - len(cores))
        cores += [blank] * (len(cores) % 2)
        tables = self.rows.package.tables if self.rows is not None else None
        pages = lay_out_cores(self._core_sheet, cores, tables, self.paper)
        return SheetSet(blank.heading, tuple(pages))

    @cached_property
    def _core_sheet(self) -> CoreSheet:
        return core_sheet_of(self.model)

    def _codes(self, run: Sequence[SheetKind]) -> list[tuple[str, str]]:
        """(list, what is filled in with it) of every list that the sheets of the run need."""
        written: list[tuple[str, str]] = []
        for kind in _asking(run):
            if kind.layout == "core":
                written += codes_written(self._core_sheet.boxes)
            for name in kind.tables:
                if kind.layout == "log":
                    written += codes_written(log_of(self.model, name).columns)
                elif kind.layout == "form":
                    # the shorter lists are on the form, as boxes to check
                    written += [
                        (one.vocabulary, one.title)
                        for one in self.model.table(name).form_fields()
                        if one.vocabulary
                        and len(self.model.vocabularies[one.vocabulary].terms) > LONGEST_TICKED
                    ]
        return written

    def _cover(self) -> list[PageDraft]:
        seen: set[str] = set()
        if self.rows is not None:
            for table in self.model.tables.values():
                for one in table.form_fields():
                    if one.vocabulary == HAZARDS:
                        for _, row in self.rows.of(table.name):
                            parts = row.get(one.name, "").split(one.separator or "\n")
                            seen.update(part.strip() for part in parts if part.strip())
        return lay_out_cover(self.model, seen, self.paper)

    def _norths(self) -> list[str]:
        vocabulary = self.model.vocabularies.get(NORTHS)
        return [term.label for term in vocabulary.terms] if vocabulary is not None else []

    def _heading(
        self,
        title: str,
        table: str,
        row: Row | None = None,
        number: int | None = None,
        legend: str = "",
    ) -> Heading:
        package = self.rows.package if self.rows is not None else None
        site = (row or {}).get("site_id") or (self.rows.only_site if self.rows is not None else "")
        # where the line is cut, the site stays
        about = [_("site {site}").format(site=site)] if site else []
        about += [package.title] if package is not None else []
        about.append(self.model.title)
        key = self.model.table(table).key_of(row) if row is not None else ""
        code = SheetCode(
            table=table,
            key=key,
            row="" if number is None else str(number),
            package=package.name if package is not None else "",
            profile=self.model.profile,
        )
        return Heading(_(title), "  ·  ".join(about), key, code, self.model.consent, _(legend))


def _asking(run: Sequence[SheetKind]) -> list[SheetKind]:
    """Those of the run that ask for something, else the usual ones that do."""
    return [one for one in run if one.asks] or [one for one in SHEETS if one.usual and one.asks]
