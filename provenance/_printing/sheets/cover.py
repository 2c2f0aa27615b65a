"""Lays out the cover: cautions for people and building, whom to call, how to fill the sheets in."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from provenance._base.languages import _, said_in_full
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._drawing.paper import Paper
from provenance._model.schema import Model
from provenance._printing.sheets.cells import EMPTY_BOX, TICKED_BOX
from provenance._printing.sheets.form import lay_out_questions
from provenance._printing.sheets.frame import PageDraft
from provenance._printing.sheets.listing import Entry, lay_out_listing
from provenance._printing.sheets.question import Question

HAZARDS = "hazard"
COLUMNS = 2
SIZES = (9.5, 9.0, 8.5, 8.0, 7.5, 7.0)
"""The largest is taken in which the cautions fit on one page."""

CREW = 8


def lay_out_cover(model: Model, seen: Collection[str], paper: Paper) -> list[PageDraft]:
    """The pages of the cover; `seen` are the codes of the hazards that the package records."""
    said = said_in_full(read_yaml(shipped("templates") / "sheets" / "cover.yaml"))
    entries = [Entry(_("Read this first"), title=True), Entry("", said["first"])]
    entries.append(Entry(_("At this kind of place: {title}").format(title=model.title), title=True))
    # what is said above is not said again
    entries += [Entry("•", caution) for caution in model.cautions if caution not in said["first"]]
    vocabulary = model.vocabularies.get(HAZARDS)
    if vocabulary is not None:
        title = _("Hazards: checked = on record") if seen else _("Hazards: check all that apply")
        entries.append(Entry(title, title=True))
        for term in vocabulary.terms:
            mark = TICKED_BOX if term.code in seen else EMPTY_BOX
            caution = str(term.attributes.get("caution", term.definition))
            entries.append(Entry(f"{mark} {term.label}.", caution))
    entries += [Entry(_("The sheets themselves"), title=True), Entry("", said["keep"])]
    entries.append(Entry(_("How to fill the sheets in"), title=True))
    entries += [Entry(f"{term}:", meaning) for term, meaning in said["how_to"].items()]
    trials = (lay_out_listing(entries, paper, columns=COLUMNS, size=size) for size in SIZES)
    listed: list[PageDraft] = []
    for listed in trials:
        if len(listed) == 1:
            break
    return [
        *listed,
        *lay_out_questions(_questions(said), paper),
    ]


def _questions(said: Mapping[str, Any]) -> list[tuple[str, list[Question]]]:
    def asked(fields: Mapping[str, str]) -> list[Question]:
        return [Question(name=title, title=title, kind=kind) for title, kind in fields.items()]

    sections = [(title, asked(fields)) for title, fields in said["asked"].items()]
    return [*sections, (said["crew"], asked(said["crew_fields"]) * CREW)]
