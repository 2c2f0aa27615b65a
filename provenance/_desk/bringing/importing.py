"""Files that the field hands in: dropped, assigned on the sheet itself, tried, taken in."""

from __future__ import annotations

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _, ngettext
from provenance._base.progress import Progress
from provenance._desk.answers import Answer, Done, Page, Sent, Work
from provenance._desk.asked import Asked
from provenance._desk.bringing.assigning import changed
from provenance._desk.bringing.sheets import (
    UNITS,
    Sheet,
    asked_anew,
    sheets_of,
)
from provenance._desk.bringing.waiting import (
    Waiting,
    receive,
    waiting_file,
    waiting_files,
)
from provenance._desk.pages import Pages
from provenance._desk.things import NotHere
from provenance._history.edits import in_words
from provenance._intake.claims import PerhapsNewer, Sameness
from provenance._intake.import_findings import NEWER_COPY, grouped
from provenance._intake.importing import ImportResult, import_exports
from provenance._lab.results import complete_results
from provenance._model.spoken import spoken

pages = Pages()
_FILE = "/record/{record}/import/{file}"
_SHEET = f"{_FILE}/sheet/{{sheet}}"


@pages.shown("/record/{record}/import", title=N_("Bring in files"), group=N_("Record"))
def bring_in(asked: Asked) -> Answer:
    """A place to drop files, those that wait, and those that were taken in."""
    originals = list(reversed(asked.record.tables.rows("original")))
    return Page("bringing/list.html", {"waiting": waiting_files(asked), "originals": originals})


@pages.done("/record/{record}/import")
def dropped(asked: Asked) -> Answer:
    """Look at dropped files; the first of them is shown."""
    came, refused = receive(asked, list(asked.files.get("files", ())))
    if not came:
        raise UnusableInput("\n".join(refused) or _("Choose the files to bring in."))
    one = came[0]
    to = _address(asked, one) if len(came) == 1 else asked.at("import")
    return Done(to, "\n".join(refused))


@pages.shown(_FILE)
def file(asked: Asked) -> Answer:
    """A dropped file sheet by sheet, with what its columns become."""
    one = waiting_file(asked)
    values = {"file": one, "to": _address(asked, one)}
    if one.mapping is None:
        return Page("bringing/own.html", values)
    sheets = _sheets(asked, one)
    chosen = asked.query.get("sheet", "")
    number = int(chosen) if chosen.isascii() and chosen.isdecimal() else _first_read(sheets)
    if number >= len(sheets):
        raise NotHere(f"{one.path.name} has no sheet {number + 1}")
    mapping = asked.desk.made(Sent(one.mapping.read_bytes(), one.mapping.name, "text/yaml"))
    return Page(
        "bringing/sheet.html",
        {
            **values,
            **_about(asked, one, sheets, number),
            "mapping": mapping,
        },
    )


@pages.done(_SHEET)
def assigned(asked: Asked) -> Answer:
    """Keep what was chosen on a sheet; the answer is the sheet as it is now."""
    one, sheets, number = _addressed(asked)
    sheet = sheets[number]
    header = asked.text("header")
    if sheet.source is None:
        raise UnusableInput(_("This sheet is not read."))
    if header and header != str(sheet.header):
        if header not in {str(number) for number, _row in sheet.rows}:
            raise UnusableInput(_("The sheet has no row {number}.").format(number=header))
        _replace(asked, one, sheet, asked_anew(sheet, int(header)))
    else:
        _replace(asked, one, sheet, changed(sheet, asked.form))
    return _part(asked, one, number)


@pages.done(f"{_SHEET}/read")
def read_sheet(asked: Asked) -> Answer:
    """Read a sheet too that was left out; all of its columns are asked about."""
    one, sheets, number = _addressed(asked)
    sheet = sheets[number]
    if sheet.source is None:
        document = one.document()
        document["sources"].append(asked_anew(sheet, sheet.header))
        one.keep(document)
    return Done(f"{_address(asked, one)}?sheet={number}")


@pages.done(f"{_SHEET}/leave")
def leave_sheet(asked: Asked) -> Answer:
    """Leave a sheet out."""
    one, sheets, number = _addressed(asked)
    document = one.document()
    left = [source for source in document["sources"] if source != sheets[number].source]
    if not left:
        raise UnusableInput(_("This is the only sheet that is read; put the file away instead."))
    one.keep({**document, "sources": left})
    return Done(f"{_address(asked, one)}?sheet={number}")


@pages.done(f"{_FILE}/try")
def try_it(asked: Asked) -> Answer:
    """Read the file without writing anything."""
    one = waiting_file(asked)
    questions = [
        f"{sheet.name or one.path.name}: {question}"
        for sheet in (_sheets(asked, one) if one.mapping else ())
        for question in sheet.questions()
    ]
    if questions:
        raise UnusableInput("\n".join([_("Answer these first:"), *questions]))
    if said := asked.text("same"):
        one.same_as = Sameness(new=True) if said == "new" else Sameness(replaces=said)
    to, package, who = f"{_address(asked, one)}/trial", asked.record, asked.by

    def work(progress: Progress) -> Done:
        one.result, one.question = None, None
        try:
            one.result = import_exports(
                package,
                [one.path],
                one.rules(package),
                progress=progress,
                trial=True,
                who=who,
                same_as=one.same_as,
            )
        except PerhapsNewer as question:
            one.question = question
        return Done(to)

    return Work(_("Reading {name}").format(name=one.path.name), work)


@pages.shown(f"{_FILE}/trial")
def trial(asked: Asked) -> Answer:
    """What would come in, what cannot be read, and what is asked."""
    one = waiting_file(asked)
    if one.result is None and one.question is None:
        raise NotHere(_("This file was not tried yet, or its columns were changed since."))
    values = {"file": one, "to": _address(asked, one), "question": one.question}
    return Page("bringing/trial.html", {**values, **_of_result(asked, one.result)})


@pages.done(f"{_FILE}/take")
def take(asked: Asked) -> Answer:
    """Take the file into the record, as it was tried."""
    one = waiting_file(asked)
    shown, package, who = one.result, asked.record, asked.by
    if shown is None:
        raise UnusableInput(_("Try the file first, so that you see what comes in."))
    settle, again = asked.at("settle"), asked.at("import")
    held = asked.desk.held

    def agree(now: ImportResult) -> bool:
        # only what was shown is taken from an edited workbook
        return [back.changes for back in now.returned] == [back.changes for back in shown.returned]

    def work(progress: Progress) -> Done:
        result = import_exports(
            package,
            [one.path],
            one.rules(package),
            progress=progress,
            who=who,
            same_as=one.same_as,
            agree=agree,
        )
        if result.returned and not agree(result):
            one.forget_trial()
            raise UnusableInput(
                "The record was changed since you looked. Nothing was taken in; try it again."
            )
        if result.added.get("lab_result"):
            complete_results(package, result)
        if one.mapping is not None:
            one.mapping.unlink(missing_ok=True)  # the record keeps it with the file
        del held[one.token]
        said = _said(result)
        return Done(settle if result.unread or result.conflicts else again, said)

    return Work(_("Taking in {name}").format(name=one.path.name), work)


@pages.done(f"{_FILE}/away")
def put_away(asked: Asked) -> Answer:
    """Do not take the file in; what was assigned is forgotten too."""
    one = waiting_file(asked)
    if one.mapping is not None:
        one.mapping.unlink(missing_ok=True)
    del asked.desk.held[one.token]
    return Done(asked.at("import"), _("{name} was put away.").format(name=one.path.name))


# -- what the pages are filled with ----------------------------------------------------------------


def _address(asked: Asked, one: Waiting) -> str:
    return asked.at("import", one.token)


def _sheets(asked: Asked, one: Waiting) -> list[Sheet]:
    return sheets_of(one.path, one.raw, one.document(), asked.record.model)


def _addressed(asked: Asked) -> tuple[Waiting, list[Sheet], int]:
    one = waiting_file(asked)
    sheets = _sheets(asked, one)
    text = asked.address["sheet"]
    if not (text.isascii() and text.isdecimal() and int(text) < len(sheets)):
        raise NotHere(f"{one.path.name} has no such sheet")
    return one, sheets, int(text)


def _first_read(sheets: list[Sheet]) -> int:
    return next((place for place, sheet in enumerate(sheets) if sheet.source is not None), 0)


def _replace(asked: Asked, one: Waiting, sheet: Sheet, source: dict[str, object]) -> None:
    document = one.document()
    place = document["sources"].index(sheet.source)
    if document["sources"][place] != source:
        document["sources"][place] = source
        one.keep(document)


def _about(asked: Asked, one: Waiting, sheets: list[Sheet], number: int) -> dict[str, object]:
    return {
        "sheets": sheets,
        "number": number,
        "sheet": sheets[number],
        "to": _address(asked, one),
        "units": UNITS,
    }


def _part(asked: Asked, one: Waiting, number: int) -> Page:
    return Page("bringing/part.html", _about(asked, one, _sheets(asked, one), number), whole=False)


def _of_result(asked: Asked, result: ImportResult | None) -> dict[str, object]:
    if result is None:
        return {"result": None}
    tables = spoken(asked.record.model).tables
    changed: dict[str, int] = {}
    for one in result.changes:
        changed[one.table] = changed.get(one.table, 0) + 1
    names = dict.fromkeys([*result.added, *changed, *result.removed])
    counts = [
        (
            tables[name].title,
            result.added.get(name, 0),
            changed.get(name, 0),
            result.removed.get(name, 0),
        )
        for name in names
    ]
    # said on the page itself, with the way to say otherwise
    newer = [one.message for one in result.findings if one.rule == NEWER_COPY]
    rest = [one for one in result.findings if one.rule != NEWER_COPY]
    return {
        "result": result,
        "newer": newer,
        "counts": counts,
        "changes": [in_words(one) for one in result.changes],
        "edited": [in_words(one) for back in result.returned for one in back.changes],
        "settle": grouped(one for one in rest if one.severity != "note"),
        "notes": grouped(one for one in rest if one.severity == "note"),
    }


def _said(result: ImportResult) -> str:
    rows, unread, conflicts = sum(result.added.values()), result.unread, len(result.conflicts)
    lines = [ngettext("Taken in: {n} new row.", "Taken in: {n} new rows.", rows).format(n=rows)]
    if unread:
        text = ngettext("{n} cell cannot be read.", "{n} cells cannot be read.", unread)
        lines.append(text.format(n=unread))
    if conflicts:
        text = ngettext("{n} conflict to settle.", "{n} conflicts to settle.", conflicts)
        lines.append(text.format(n=conflicts))
    return " ".join(lines)
