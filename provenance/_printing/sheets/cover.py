"""Lays out the cover: cautions for people and building, whom to call, how to fill the sheets in."""

from __future__ import annotations

from collections.abc import Collection

from provenance._drawing.paper import Paper
from provenance._model.schema import Model
from provenance._printing.sheets.cells import EMPTY_BOX, TICKED_BOX
from provenance._printing.sheets.form import lay_out_questions
from provenance._printing.sheets.frame import PageDraft
from provenance._printing.sheets.listing import Entry, lay_out_listing
from provenance._printing.sheets.question import Question

HAZARDS = "hazard"
COLUMNS = 2
SIZE = 9.5
CREW = 8

FIRST = (
    "Local codes, permits and licensed practice come first. This page reminds; it takes the place "
    "of no training, no permit and no licensed person's word."
)
KEEP = (
    "Keep filled sheets where only those may see them who should: they name people and say where "
    "protected places are."
)
HOW_TO = (
    ("Star *", "Every record needs this; the rest may stay blank."),
    ("Boxes", "Put a cross into the one that fits; into several only where it says so."),
    ("Code list", "Write the word or code that stands on the back of the sheet."),
    ("Units", "They stand at the end of the line. Write only the number."),
    ("Dates", "2024-06-03; less is known: 2024-06 or 2024; doubtful: 2024?; about: 2024~"),
    ("Not known", "Leave it blank, or cross 'Not known' where that is offered."),
    (
        "Three that must agree",
        "The field specimen number on the sheet, on the label and on the plug.",
    ),
    ("Wrong", "Strike it out once so that it can still be read, write beside it, add initials."),
    ("Pencil", "Soft pencil holds in rain. Photograph each filled sheet before it leaves."),
)


def lay_out_cover(model: Model, seen: Collection[str], paper: Paper) -> list[PageDraft]:
    """The pages of the cover; `seen` are the codes of the dangers that the package records."""
    entries = [Entry("First of all", title=True), Entry("", FIRST)]
    entries.append(Entry(f"At this kind of place: {model.title}", title=True))
    entries += [Entry("•", caution) for caution in model.cautions]
    vocabulary = model.vocabularies.get(HAZARDS)
    if vocabulary is not None:
        title = "Dangers: crosses mark what is on record" if seen else "Dangers: cross what is here"
        entries.append(Entry(title, title=True))
        for term in vocabulary.terms:
            mark = TICKED_BOX if term.code in seen else EMPTY_BOX
            caution = str(term.attributes.get("caution", term.definition))
            entries.append(Entry(f"{mark} {term.label}.", caution))
    entries += [Entry("The sheets themselves", title=True), Entry("", KEEP)]
    entries.append(Entry("How to fill the sheets in", title=True))
    entries += [Entry(f"{term}:", meaning) for term, meaning in HOW_TO]
    return [
        *lay_out_listing(entries, paper, columns=COLUMNS, size=SIZE),
        *lay_out_questions(_questions(), paper),
    ]


def _questions() -> list[tuple[str, list[Question]]]:
    def asked(title: str, kind: str = "long") -> Question:
        return Question(name=title, title=title, kind=kind)

    crew = [
        asked(title, kind)
        for _ in range(CREW)
        for title, kind in (
            ("Name", "long"),
            ("Signature", "short"),
            ("Initials", "short"),
            ("Date", "short"),
        )
    ]
    return [
        (
            "If something happens",
            [
                asked("Emergency number here"),
                asked("Nearest hospital or doctor, and the way"),
                asked("Where a telephone has signal"),
                asked("Where we meet if we have to get out"),
                asked("Who knows where we are, and until when"),
                asked("First aid kit and extinguisher lie at"),
            ],
        ),
        (
            "Permission and advice",
            [
                asked("Permit seen, number"),
                asked("Owner or household told on", "short"),
                asked("Wiring made safe by", "short"),
                asked("Engineer's word on wood that carries load: who, when, for which pieces"),
                asked("Tests for lead, asbestos and others: by whom, result"),
            ],
        ),
        ("I have read this sheet and been told of the dangers", crew),
    ]
