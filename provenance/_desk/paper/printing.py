"""What is printed from a record: asked for on one page, and shown as the pages that come out."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _, ngettext, speaking
from provenance._base.progress import Progress, say_nothing
from provenance._desk.answers import Answer, Done, Page, Work
from provenance._desk.asked import Asked
from provenance._desk.choosing import as_selection, places_to_choose, selection_of
from provenance._desk.pages import Pages
from provenance._desk.paper.preview import keep, kept, path_of
from provenance._drawing.paper import paper_named
from provenance._identity.selection import select_samples
from provenance._model.spoken import spoken
from provenance._printing.labels.calibration import (
    TRUE,
    Calibration,
    known_printers,
    printers_file,
    read_calibration,
)
from provenance._printing.labels.content_labels import print_labels_of_stock
from provenance._printing.labels.facts import SampleFacts, gather_facts, reserved_facts
from provenance._printing.labels.printed_before import not_yet_printed, note_labels
from provenance._printing.labels.stock import Stock, load_stock, shipped_stocks

pages = Pages()

AT_ONCE = 200
"""Samples in a record whose labels are shown in place; more are a work that one can stop."""
PAPERS = ("a4", "letter")


@dataclass(frozen=True)
class Files:
    """What was made, and what a person should know of it."""

    paths: tuple[Path, ...]
    notes: tuple[str, ...] = ()
    labeled: tuple[str, ...] = ()
    """The samples whose labels these are."""


@dataclass(frozen=True)
class Kind:
    """One thing that can be printed: which parts of the form it `asks`, and who makes it.

    What is `quick` is shown in place in a small record.
    """

    title: str
    asks: tuple[str, ...]
    make: Callable[[Asked, Path, Progress], Files]
    quick: bool = False


def whole_number(text: str, called: str, *, allow_negative: bool = False) -> int | None:
    """A whole number that a person typed, None where the field is blank; raises UnusableInput."""
    digits = text.removeprefix("-") if allow_negative else text
    if text and not re.fullmatch("[0-9]{1,9}", digits):
        raise UnusableInput(f"{called}: '{text}' is not a whole number; write 12")
    return int(text) if text else None


def _chosen(asked: Asked) -> str | None:
    return selection_of(asked.record.tables, asked.queried("samples"), asked.queried("place"))


# -- what is made ----------------------------------------------------------------------------------


def _in_its_language(asked: Asked) -> AbstractContextManager[None]:
    """A paper speaks the language of the record, whatever the pages speak."""
    return speaking(asked.record.model.language)


def _sample_labels(asked: Asked, folder: Path, progress: Progress) -> Files:
    with _in_its_language(asked):
        facts = gather_facts(asked.record, _chosen(asked))
    if asked.queried("unprinted"):
        facts = not_yet_printed(asked.record, facts)
    made = _labels(asked, facts, folder, progress)
    return replace(made, labeled=tuple(one.sample_id for one in facts))


def _box_labels(asked: Asked, folder: Path, progress: Progress) -> Files:
    with _in_its_language(asked):
        facts = gather_facts(asked.record, _chosen(asked))
    return _labels(asked, facts, folder, progress)


def _reserved_labels(asked: Asked, folder: Path, progress: Progress) -> Files:
    with _in_its_language(asked):
        facts = reserved_facts(asked.record, asked.queried("numbers", "all"))
    return _labels(asked, facts, folder, progress)


def _labels(asked: Asked, facts: list[SampleFacts], folder: Path, progress: Progress) -> Files:
    stock = stock_asked(asked)
    start_at = whole_number(asked.queried("start_at"), _("First free label")) or 1
    copies = whole_number(asked.queried("copies"), _("Copies of each")) or 1
    with _in_its_language(asked):
        printed = print_labels_of_stock(
            asked.record,
            facts,
            stock,
            folder / f"labels-{asked.record.name}.pdf",
            start_at=start_at,
            copies=copies,
            crop_marks=bool(asked.queried("crop_marks")),
            calibration=_calibration(asked),
            progress=progress,
        )
    count = printed.label_count
    notes = [ngettext("{n} label.", "{n} labels.", count).format(n=f"{count:,}")]
    following = (start_at - 1 + count) % stock.labels_a_page + 1
    if following > 1:
        left = _("On the last sheet the next free label is number {n}.").format(n=following)
        notes.append(left)
    return Files(printed.paths, (*notes, *filter(None, [printed.note])))


_DROPPED = "dropped:"
"""What the name of a stock begins with that a person described and dropped."""


def stock_asked(asked: Asked) -> Stock:
    """The stock that was chosen: one of those that come along, or one that was dropped here.

    A file by its path is none of them.
    """
    name = asked.queried("stock")
    if name.startswith(_DROPPED):
        return load_stock(str(path_of(asked.desk, name.removeprefix(_DROPPED))))
    stocks = _stocks(asked.queried("what", LABELS))
    name = name or next(iter(stocks))
    if name not in stocks:
        raise UnusableInput(f"there is no stock '{name}' for this; there are {', '.join(stocks)}")
    return stocks[name]


def _calibration(asked: Asked) -> Calibration:
    printer = asked.queried("printer")
    return read_calibration(printers_file(), printer) if printer else TRUE


def _tags(asked: Asked, folder: Path, progress: Progress) -> Files:
    from provenance._printing.papers.tags import print_tags, sample_tag

    record = asked.record
    resolver = str(record.descriptor.get("resolver", ""))
    with _in_its_language(asked):
        printed = print_tags(
            [sample_tag(one, resolver) for one in gather_facts(record, _chosen(asked))],
            paper_named(asked.queried("paper", PAPERS[0])),
            folder / f"tags-{record.name}.pdf",
            progress=progress,
        )
    return Files(printed.paths, tuple(filter(None, [printed.note])))


def _cards(asked: Asked, folder: Path, progress: Progress) -> Files:
    from provenance._printing.papers.hole_card import print_hole_cards
    from provenance._printing.papers.hole_facts import gather_cards

    record = asked.record
    with _in_its_language(asked):
        printed = print_hole_cards(
            gather_cards(record, _chosen(asked), None),
            paper_named(asked.queried("paper", PAPERS[0])),
            folder / f"cards-{record.name}.pdf",
            resolver=str(record.descriptor.get("resolver", "")),
            progress=progress,
        )
    return Files(printed.paths, tuple(filter(None, [printed.note])))


def _sheets(asked: Asked, folder: Path, progress: Progress) -> Files:
    from provenance._printing.sheets.record_sheets import SHEETS, lay_out_sheets

    laid_out = lay_out_sheets(
        asked.record.model,
        package=asked.record,
        sheets=[kind.name for kind in SHEETS if asked.queried(f"sheet_{kind.name}")],
        paper=asked.queried("paper", PAPERS[0]),
        scale=asked.queried("scale") or None,
        blanks=whole_number(asked.queried("blanks"), _("Blank copies")),
        samples=_chosen(asked),
        elements=asked.queried("elements") or None,
    )
    printed = laid_out.print(folder / f"sheets-{asked.record.name}.pdf", progress)
    counted = tuple(f"{_(title)}: {count}" for title, count in laid_out.counts)
    to_scale = any(kind.layout == "grid" for kind, _sets in laid_out.sheets)
    grid = (_("Print at 100 %: the plan grid is at true scale."),) if to_scale else ()
    return Files(printed.paths, (*counted, *grid))


def _workbook(asked: Asked, folder: Path, progress: Progress) -> Files:
    from provenance._printing.filled import write_filled_workbook
    from provenance._printing.workbook import write_workbook

    record = asked.record
    path = folder / f"workbook-{record.name}.xlsx"
    if asked.queried("filled"):
        write_filled_workbook(record, path)
    else:
        write_workbook(record.model, path, title=record.title)
    return Files((path,), (_("Its first sheet says how to fill it in."),))


def _phone(asked: Asked, folder: Path, progress: Progress) -> Files:
    from provenance._printing.phone_form import write_phone_form

    record = asked.record
    path = folder / f"phone-{record.name}.xlsx"
    write_phone_form(record.model, record.name, path, tables=record.tables)
    return Files((path,), (_("Load it into an app that takes XLSForms."),))


PRIVATE = N_("These show where things are: keep them out of the public edition.")


def _plans(asked: Asked, folder: Path, progress: Progress) -> Files:
    from provenance._survey.plan.plan import write_plans

    level = whole_number(asked.queried("level"), _("Story"), allow_negative=True)
    with _in_its_language(asked):
        drawn = write_plans(
            asked.record,
            folder,
            place=asked.queried("place") or None,
            level=level,
            paper=asked.queried("paper", PAPERS[0]),
            scale=asked.queried("scale") or None,
            progress=progress,
        )
    empty = [_("Nothing in {place} has coordinates yet.").format(place=one) for one in drawn.empty]
    return Files(tuple(drawn.paths), (*empty, _(PRIVATE)))


def _relocation(asked: Asked, folder: Path, progress: Progress) -> Files:
    from provenance._survey.relocation import write_relocation_sheets

    known = asked.record.tables.column("sample", "sample_id")
    samples = select_samples(known, _chosen(asked) or "all")
    paths = write_relocation_sheets(
        asked.record,
        samples,
        folder,
        paper=asked.queried("paper", PAPERS[0]),
        progress=progress,
    )
    return Files(paths, (_(PRIVATE),))


LABELS, BOXES = "labels", "boxes"
KINDS: Mapping[str, Kind] = {
    LABELS: Kind(N_("Labels for samples"), ("samples", "unprinted", "stock"), _sample_labels, True),
    BOXES: Kind(N_("Labels for boxes and drawers"), ("samples", "stock"), _box_labels, True),
    "numbers": Kind(
        N_("Labels for reserved numbers"), ("numbers", "stock"), _reserved_labels, quick=True
    ),
    "tags": Kind(N_("Custody tags"), ("samples", "paper"), _tags, quick=True),
    "cards": Kind(N_("Hole cards"), ("samples", "paper"), _cards),
    "sheets": Kind(N_("Record sheets"), ("sheets", "samples", "paper"), _sheets),
    "workbook": Kind(N_("Workbook"), ("filled",), _workbook),
    "phone": Kind(N_("Form for phones"), (), _phone),
    "plans": Kind(N_("Plans"), ("place", "level", "scale", "paper"), _plans),
    "relocation": Kind(N_("Relocation pages"), ("samples", "paper"), _relocation),
}


def _kind(asked: Asked) -> tuple[str, Kind]:
    what = asked.queried("what", LABELS)
    if what not in KINDS:
        raise UnusableInput(f"'{what}' cannot be printed; choose one of {', '.join(KINDS)}")
    return what, KINDS[what]


def _stocks(what: str) -> dict[str, Stock]:
    """The stocks for samples, or for what holds them."""
    stocks = {name: load_stock(name) for name in shipped_stocks()}
    wanted = {
        name: one for name, one in stocks.items() if (one.draws == "content") == (what == BOXES)
    }
    # the usual one of the command line comes first
    return dict(sorted(wanted.items(), key=lambda pair: pair[0] != "a4_70x37"))


# -- pages -----------------------------------------------------------------------------------------


@pages.shown("/record/{record}/print", title=N_("Print"), group=N_("In the field"))
def printing(asked: Asked) -> Answer:
    """What is to be printed, of which samples, on which stock, beginning where."""
    from provenance._printing.sheets.record_sheets import SHEETS

    what, kind = _kind(asked)
    model = spoken(asked.record.model)
    sheets = [(one, _(one.title) or model.table(one.tables[0]).title) for one in SHEETS]
    common = {name: asked.queried(name) for name in ("samples", "place")}
    stock = stock_asked(asked) if "stock" in kind.asks else None
    stocks = _stocks(what) if stock else {}
    if stock and (name := asked.queried("stock")).startswith(_DROPPED):
        stocks = {name: stock, **stocks}
    return Page(
        "paper/print.html",
        {
            "what": what,
            "kind": kind,
            "kinds": [
                (name, one.title, asked.at("print", what=name, **common))
                for name, one in KINDS.items()
            ],
            "query": asked.query,
            "stocks": stocks,
            "stock": stock,
            "printers": known_printers(printers_file()),
            "places": places_to_choose(asked.record.tables),
            "sheets": sheets,
            "papers": PAPERS,
        },
    )


@pages.done("/record/{record}/print/stock", changes=False)
def drop_stock(asked: Asked) -> Answer:
    """Take a description of label stock (YAML), to print on as long as the desk is open."""
    dropped = asked.files.get("stock", ())
    if not dropped:
        raise UnusableInput(_("Choose the file that describes the sheet."))
    if dropped[0].suffix.lower() not in (".yaml", ".yml"):
        raise UnusableInput(f"{dropped[0].name} is no description of a sheet; choose a YAML file")
    stock = load_stock(str(dropped[0]))
    what = BOXES if stock.draws == "content" else LABELS
    name = f"{_DROPPED}{keep(asked.desk, dropped[:1])}"
    return Done(asked.at("print", what=what, stock=name))


@pages.shown("/record/{record}/print/sheet")
def sheet(asked: Asked) -> Answer:
    """The drawing of a sheet of the chosen stock, on which the first free label is clicked."""
    values = {"stock": stock_asked(asked), "query": asked.query}
    return Page("paper/sheet.html", values, whole=False)


@pages.shown("/record/{record}/print/pages")
def made_now(asked: Asked) -> Answer:
    """Make what is asked for, and show the pages."""
    _what, kind = _kind(asked)
    record = asked.record

    def make(progress: Progress) -> tuple[str, Files]:
        files = kind.make(asked, asked.desk.scratch(), progress)
        return keep(asked.desk, files.paths), files

    if kind.quick and record.tables.count("sample") <= AT_ONCE:
        keys, files = make(say_nothing)
        values = {
            "files": kept(asked.desk, keys),
            "notes": files.notes,
            "labeled": as_selection(list(files.labeled)),
            "at": asked.at,
        }
        return Page("paper/pages.html", values, whole=False)

    def work(progress: Progress) -> Done:
        keys, files = make(progress)
        known = {"files": keys, "labeled": as_selection(list(files.labeled)), **asked.query}
        return Done(asked.at("print", "made", **known), "\n".join(files.notes))

    return Work(_(kind.title), work)


@pages.shown("/record/{record}/print/made")
def made(asked: Asked) -> Answer:
    """The pages of what was made."""
    _what, kind = _kind(asked)
    again = {name: text for name, text in asked.query.items() if name not in ("files", "labeled")}
    values = {
        "files": kept(asked.desk, asked.queried("files")),
        "kind": kind,
        "notes": (),
        "labeled": asked.queried("labeled"),
        "again": asked.at("print", **again),
    }
    return Page("paper/made.html", values)


@pages.done("/record/{record}/print/printed")
def printed(asked: Asked) -> Answer:
    """Remember that the labels of these samples came out of the printer."""
    known = asked.record.tables.column("sample", "sample_id")
    samples = select_samples(known, asked.needed("samples", _("Samples")))
    note_labels(asked.record, samples)
    told = ngettext("{n} sample has its label.", "{n} samples have their labels.", len(samples))
    return Done(asked.at("print"), told.format(n=len(samples)))
