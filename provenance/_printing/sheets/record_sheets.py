"""Writes the record sheets of a package or a profile as one PDF."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from provenance._base.errors import TreenailError
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.document import printed_pages
from provenance._drawing.paper import Paper, paper_named
from provenance._identity.sheet_code import SheetCode
from provenance._model.schema import Model, Table
from provenance._printing.sheets.cover import HAZARDS, lay_out_cover
from provenance._printing.sheets.equipment import lay_out_equipment
from provenance._printing.sheets.figures import figures_of
from provenance._printing.sheets.form import lay_out_form
from provenance._printing.sheets.frame import Heading, PageDraft, SheetSet, draw_frame
from provenance._printing.sheets.ledger import lay_out_ledger
from provenance._printing.sheets.listing import code_entries, lay_out_listing
from provenance._printing.sheets.plan_grid import (
    PlanScale,
    lay_out_grid,
    lay_out_sketch,
    scale_named,
    spoken,
)
from provenance._printing.sheets.rows import ChosenRows
from provenance._record.package import Package
from provenance._record.snapshot import Row


@dataclass(frozen=True)
class SheetKind:
    """One kind: `layout` is 'cover', 'equipment', 'form' (a row a sheet), 'ledger' (many) or
    'grid'.

    `tables` are asked for in that order; `title` heads the page ('' for the table's own title).
    """

    name: str
    title: str
    layout: str
    tables: tuple[str, ...]


SHEETS = (
    SheetKind("cover", "Before you begin", "cover", ("site",)),
    SheetKind("equipment", "Equipment", "equipment", ("site",)),
    SheetKind("site", "Site", "form", ("site",)),
    SheetKind("party", "", "ledger", ("party",)),
    SheetKind("place", "", "ledger", ("place",)),
    SheetKind("relation", "", "ledger", ("relation",)),
    SheetKind("tie", "", "ledger", ("datum", "tie")),
    SheetKind("element", "Piece of wood", "form", ("element",)),
    SheetKind("ledger", "Ledger of pieces of wood", "ledger", ("element",)),
    SheetKind("sample", "Sample", "form", ("sample",)),
    SheetKind("plug", "Plug register", "ledger", ("plug",)),
    SheetKind("photo", "Photo and file log", "ledger", ("file",)),
    SheetKind("grid", "Plan grid", "grid", ("file",)),
)
"""Every kind in the order in which a crew needs them; a plan on the grid becomes a row of file."""


def sheets_named(names: Sequence[str]) -> list[SheetKind]:
    """The kinds of those names in the order of SHEETS; 'all' or no name is every kind.

    Raises TreenailError that lists the names.
    """
    known = [kind.name for kind in SHEETS]
    for name in names:
        if name != "all" and name not in known:
            raise TreenailError(f"there is no sheet '{name}'; there are {', '.join(known)} and all")
    everything = not names or "all" in names
    return [kind for kind in SHEETS if everything or kind.name in names]


NORTHS = "bearing_reference"
"""The vocabulary of the norths that a plan may be drawn to."""

CODE_LISTS = ("each", "once")
"""Code lists behind each sheet, or once behind the last of its kind."""

MOST_BLANKS = 1000
LEGENDS = {
    "form": "* every record needs this     ☒ cross what fits     blank: not known, or nobody "
    "looked",
    "ledger": "* every record needs this     write words from the code list     blank: not known, "
    "or nobody looked",
}
UPRIGHT_COLUMNS, LYING_COLUMNS = 3, 4


@dataclass(frozen=True)
class PrintedSheets:
    """What was written: the files (several when the run is very long) and their pages in all."""

    paths: tuple[Path, ...]
    page_count: int


def write_sheets(
    model: Model,
    out: Path,
    *,
    package: Package | None = None,
    sheets: Sequence[str] = ("all",),
    paper: str = "a4",
    scale: str = "1:50",
    blanks: int | None = None,
    codes: str | None = None,
    samples: str | None = None,
    elements: str | None = None,
    site: str | None = None,
    progress: Progress = say_nothing,
) -> PrintedSheets:
    """Write record sheets to `out` (PDF), filled in from a package or blank.

    `sheets` are names of kinds.SHEETS or 'all'. Without `blanks` the rows of the package are
    printed, and one blank sheet of a kind that has no rows; with it that many blank copies of each.
    `codes` is one of CODE_LISTS: 'each' unless told otherwise for blanks, 'once' for filled sheets.
    `samples` and `elements` are selections such as '201-245,260'. `progress` is called with
    (sheets done, sheets in all).

    Raises TreenailError for an unknown sheet, paper, scale, site or selection; nothing is written
    then.
    """
    page = paper_named(paper)
    kinds = sheets_named(sheets)
    plan = scale_named(scale)
    if blanks is not None and not 1 <= blanks <= MOST_BLANKS:
        raise TreenailError(f"{blanks} blank copies: print 1 to {MOST_BLANKS} at a time")
    if codes is not None and codes not in CODE_LISTS:
        raise TreenailError(f"code lists can be printed {' or '.join(CODE_LISTS)}, not '{codes}'")
    if package is None and (samples or elements or site):
        raise TreenailError("a selection needs a package; a profile alone holds no rows")
    rows = ChosenRows(package, site, samples, elements) if package is not None else None
    writer = Drafter(model, rows, page, plan, blanks, codes)
    total = sum(writer.count(kind) for kind in kinds)
    title = f"Record sheets: {package.title if package else model.title}"
    with printed_pages(out, (page.width, page.height), title=title, subject=model.title) as run:
        done = 0
        for kind in kinds:
            for one in writer.draft(kind):
                _print(run, one, page)
                done += 1
                progress(min(done, total), total)
    return PrintedSheets(tuple(run.paths), run.page_count)


def _print(run: Any, sheet: SheetSet, paper: Paper) -> None:
    for number, draft in enumerate(sheet.pages, start=1):
        canvas = run.begin_page()
        shape = paper.turned() if draft.landscape else paper
        canvas.setPageSize((shape.width, shape.height))
        heading, of = _heading_of(sheet, draft), len(sheet.pages)
        draw_frame(canvas, paper, heading, number, of, landscape=draft.landscape)
        draft.draw(canvas)


def _heading_of(sheet: SheetSet, draft: PageDraft) -> Heading:
    """The heading of one page; on a ledger's its code says which rows stand there."""
    first, last = draft.keys
    code = replace(sheet.heading.code, first=first, last=last)
    return replace(sheet.heading, code=code)


@dataclass(frozen=True)
class Drafter:
    """Makes the sheets of each kind, one after the other, so that no more than one is in memory."""

    model: Model
    rows: ChosenRows | None
    paper: Paper
    scale: PlanScale
    blanks: int | None
    codes: str | None

    def count(self, kind: SheetKind) -> int:
        """About how many sheets `draft` will make, for the progress bar."""
        if kind.layout == "form":
            return len(self._rows(kind.tables[0])) or self.blanks or 1
        return self.blanks or len(kind.tables)

    def draft(self, kind: SheetKind) -> Iterator[SheetSet]:
        """The sheets of a kind, filled in or blank."""
        if kind.layout == "cover":
            yield SheetSet(self._heading(kind.title, "site"), tuple(self._cover()))
        elif kind.layout == "equipment":
            pages = lay_out_equipment(self.model, self.paper)
            yield SheetSet(self._heading(kind.title, "site"), tuple(pages))
        elif kind.layout == "grid":
            title = f"{kind.title} {spoken(self.scale)}"
            grid = lay_out_grid(self.scale, self._norths(), self.paper)
            for _ in range(self.blanks or 1):
                yield SheetSet(self._heading(title, kind.tables[0]), (grid,))
        else:
            for name in kind.tables:
                table = self.model.table(name)
                rows = self._rows(name)
                make = self._forms if kind.layout == "form" else self._ledgers
                yield from make(kind.title or table.title, table, rows)

    def _rows(self, table: str) -> list[tuple[int, Row]]:
        return self.rows.of(table) if self.rows is not None and self.blanks is None else []

    def _preset(self, table: Table) -> dict[str, str]:
        """What is known before a blank is filled in: the site, when there is only one."""
        if self.rows is None or "site_id" not in table or table.name == "site":
            return {}
        return {"site_id": self.rows.only_site}

    def _forms(self, title: str, table: Table, rows: list[tuple[int, Row]]) -> Iterator[SheetSet]:
        backs = self._code_pages(table, landscape=False)
        each = self._codes_each(bool(rows))
        if not rows:
            front = self._form(table, self._preset(table))
            heading = self._heading(title, table.name, legend=LEGENDS["form"])
            for _ in range(self.blanks or 1):
                # a sheet of paper holds one record only, so an odd number of pages is filled up
                pages = [*front, *(backs if each else [])]
                if len(pages) % 2:
                    pages.append(lay_out_sketch(self.paper))
                yield SheetSet(heading, tuple(pages))
        for number, row in rows:
            heading = self._heading(title, table.name, row, number, LEGENDS["form"])
            pages = [*self._form(table, row), *(backs if each else [])]
            yield SheetSet(heading, tuple(pages))
        if not each:
            yield SheetSet(self._heading(f"{title}: code lists", table.name), tuple(backs))

    def _form(self, table: Table, row: Row) -> list[PageDraft]:
        length = None
        if self.rows is not None and row.get("element_id"):
            length = self.rows.length_of_wood_m.get(row["element_id"])
        figures = figures_of(table.name, row, length)
        return lay_out_form(self.model, table, row, self.paper, figures)

    def _ledgers(self, title: str, table: Table, rows: list[tuple[int, Row]]) -> Iterator[SheetSet]:
        backs = self._code_pages(table, landscape=True)
        each = self._codes_each(bool(rows))
        texts = [row for _, row in rows]
        pages = lay_out_ledger(self.model, table, texts, self.paper, self._preset(table))
        heading = self._heading(title, table.name, legend=LEGENDS["ledger"])
        for _ in range(1 if rows else self.blanks or 1):
            yield SheetSet(heading, (*pages, *(backs if each else [])))
        if not each:
            yield SheetSet(self._heading(f"{title}: code lists", table.name), tuple(backs))

    def _codes_each(self, filled: bool) -> bool:
        return (self.codes or ("once" if filled else "each")) == "each"

    def _code_pages(self, table: Table, *, landscape: bool) -> list[PageDraft]:
        return lay_out_listing(
            code_entries(self.model, [table]),
            self.paper,
            columns=LYING_COLUMNS if landscape else UPRIGHT_COLUMNS,
            landscape=landscape,
        )

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
        about = [package.title] if package is not None else []
        if site:
            about.append(f"site {site}")
        about.append(self.model.title)
        key = self.model.table(table).key_of(row) if row is not None else ""
        code = SheetCode(
            table=table,
            key=key,
            row="" if number is None else str(number),
            package=package.name if package is not None else "",
            profile=self.model.profile,
        )
        return Heading(title, "  ·  ".join(about), key, code, self.model.first_cautions, legend)
