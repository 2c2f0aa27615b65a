"""Lays out the form that asks for one row: every field by section, with the drawings to mark."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from provenance._base.languages import _
from provenance._drawing.fitting import write_line
from provenance._drawing.fonts import BOLD
from provenance._drawing.paper import MM, Box, Paper
from provenance._model.schema import Model, Table
from provenance._printing.sheets.asked import is_length, value_as_said
from provenance._printing.sheets.cells import COLUMNS, draw_cell, measure_cell
from provenance._printing.sheets.figures import Figure
from provenance._printing.sheets.flow import Piece, Placed, PlacedTitle, Section, flow_pages
from provenance._printing.sheets.frame import PageDraft, content_box
from provenance._printing.sheets.question import Question, ask_field
from provenance._record.snapshot import Row, Snapshot

Content = Question | Figure
TITLE_SIZE = 9.0


def questions_by_section(
    model: Model, table: Table, row: Row, tables: Snapshot | None
) -> list[tuple[str, str, list[Question]]]:
    """The sections of a table's form in order: name, title, and a question for each field."""
    sections: dict[str, list[Question]] = {}
    for one in table.form_fields():
        value = row.get(one.name, "")
        question = ask_field(model, table, one, value)
        if is_length(one, value):
            answer = value_as_said(model, tables, table, one, value)
            question = replace(question, answer=answer, unit="")
        sections.setdefault(one.section, []).append(question)
    return [(name, table.sections[name], questions) for name, questions in sections.items()]


def lay_out_form(
    model: Model,
    table: Table,
    row: Row,
    paper: Paper,
    figures: Mapping[str, Figure],
    tables: Snapshot | None = None,
) -> list[PageDraft]:
    """The pages of the form for one row of `tables` ('' values are blanks).

    `figures` maps a section's name to the drawing that stands before its questions.
    """
    page = content_box(paper)
    sections = []
    drawn = set()
    for name, title, questions in questions_by_section(model, table, row, tables):
        pieces: list[Piece[Content]] = []
        if name in figures:
            pieces.append(Piece(figures[name], COLUMNS, figures[name].height))
            drawn.add(name)
        pieces += _pieces(questions, page.width)
        sections.append(Section(title, tuple(pieces)))
    for name in figures.keys() - drawn:
        # a profile may hide every field of a section; its drawing is asked for all the same
        sections.append(
            Section(table.sections[name], (Piece(figures[name], COLUMNS, figures[name].height),))
        )
    return _drafts(sections, page)


def lay_out_questions(
    sections: Sequence[tuple[str, Sequence[Question]]], paper: Paper
) -> list[PageDraft]:
    """The pages for questions that are not of a table: titles and what stands under each."""
    page = content_box(paper)
    return _drafts(
        [Section(title, tuple(_pieces(asked, page.width))) for title, asked in sections], page
    )


def _pieces(questions: Sequence[Question], page_width: float) -> list[Piece[Content]]:
    pieces: list[Piece[Content]] = []
    for question in questions:
        span, height = measure_cell(question, page_width)
        blank_notes = question.kind == "notes" and not question.answer
        pieces.append(Piece(question, span, height, stretch=blank_notes))
    return pieces


def _drafts(sections: Sequence[Section[Content]], page: Box) -> list[PageDraft]:
    return [
        PageDraft(
            partial(_draw_page, placed),
            fields=tuple(
                one.content.name
                for one in placed
                if isinstance(one, Placed) and isinstance(one.content, Question)
            ),
        )
        for placed in flow_pages(sections, page)
    ]


def _draw_page(placed: Sequence[Placed[Content] | PlacedTitle], canvas: Any) -> None:
    for one in placed:
        if isinstance(one, PlacedTitle):
            title = _("{title} (continued)").format(title=one.title) if one.continued else one.title
            draw_title(canvas, title, one.box)
        elif isinstance(one.content, Question):
            draw_cell(canvas, one.content, one.box)
        else:
            one.content.draw(canvas, one.box)


def draw_title(canvas: Any, text: str, box: Box) -> None:
    """Draw a section's title white on a black bar, which a photocopy keeps apart from the rest."""
    bar = Box(box.x, box.y + 0.9 * MM, box.width, box.height - 0.9 * MM)
    canvas.setFillGray(0)
    canvas.rect(bar.x, bar.y, bar.width, bar.height, stroke=0, fill=1)
    canvas.setFillGray(1)
    room, at = bar.width - 3 * MM, (bar.x + 1.5 * MM, bar.y + 1.1 * MM)
    write_line(canvas, text, BOLD, room, *at, largest=TITLE_SIZE, smallest=7)
    canvas.setFillGray(0)
