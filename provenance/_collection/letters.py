"""Words and prints the papers of loans and requests: form, receipt, reminder, decision."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._bundle.describe.plain_text import text_template
from provenance._collection.loans import Asked, Item, Loan, loan_named, request_named
from provenance._collection.recording import REQUEST
from provenance._drawing.document import printed_pages
from provenance._drawing.fitting import draw_block, draw_line, fit_block, write_line
from provenance._drawing.fonts import BOLD, PLAIN, Typeface, printable
from provenance._drawing.paper import MM, Box, Paper
from provenance._model.schema import Vocabulary, read_core
from provenance._printing.papers.consignment_list import draw_head, page_frame
from provenance._printing.papers.signatures import SIGNERS_MM, draw_signers
from provenance._store.settings import settings_in
from provenance._store.store import Store

FORM, RETURNED, REMINDER = "form", "returned", "reminder"
_TEXT, _ROW_MM, _WORD_MM = 9.5, 7.0, 34.0
_LONG = 2000

_NO = ("no.", 0.06)
_ABOUT = (("sample", 0.18), ("timber", 0.14))
_Columns = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Letter:
    """What one paper says; `signers` are who signs it, and their names where they are known."""

    title: str
    head: tuple[tuple[str, str], ...]
    said: tuple[str, ...]
    columns: _Columns
    rows: tuple[tuple[str, ...], ...]
    cautions: tuple[str, ...]
    signers: tuple[tuple[str, str], ...]


def letter_of(store: Store, number: str, kind: str, today: str) -> Letter:
    """The paper of a loan or request of that number; `kind` is of a loan: FORM, RETURNED, REMINDER.

    Raises UnusableInput where there is no such loan or request.
    """
    if REQUEST.series_of(number):
        return decision_letter(store, request_named(store, number))
    return loan_letter(store, loan_named(store, number), kind, today)


def loan_letter(store: Store, loan: Loan, kind: str, today: str) -> Letter:
    """The form of a loan, the receipt of what came back of it, or a reminder.

    `today` (YYYY-MM-DD) is the day from which a reminder counts.
    """
    here = settings_in(store.folder)
    head = [
        ("lent by", here.in_words or loan.lender),
        ("borrower", _with_address(store, loan.borrower, loan.borrower_name)),
        ("lent on", loan.lent_on),
        ("due back on", loan.due_on),
        # the form speaks of it, so that there is a line to write it on where nobody has said it
        ("purpose", loan.purpose or "_" * 40),
        ("questions", here.contact),
    ]
    lender = ("for the store", "")
    borrower = ("for the borrower", loan.borrower_name)
    record = ("record", 0.3)
    if kind == FORM:
        return Letter(
            f"Loan {loan.number}",
            _filled(head),
            _paragraphs("loan"),
            (_NO, *_ABOUT, record, ("condition when lent", 0.16), ("when returned", 0.16)),
            tuple((*_about(n, one), _record(one), "", "") for n, one in _numbered(loan.items)),
            _paragraphs("handling", granted=False),
            (lender, borrower),
        )
    if kind == RETURNED:
        back = [one for one in loan.items if one.ended_by]
        states = read_core().vocabularies["sample_state"]
        return Letter(
            f"Receipt of return, loan {loan.number}",
            _filled(head),
            _paragraphs(
                "returned",
                still_out=len(loan.out),
                back=len(back),
                which=", ".join(one.label for one in loan.out),
            ),
            (_NO, *_ABOUT, record, ("on", 0.12), ("condition", 0.2)),
            tuple(
                (*_about(n, one), _record(one), one.ended_on, _condition(one, states))
                for n, one in _numbered(back)
            ),
            (),
            (lender, borrower),
        )
    return Letter(
        f"Reminder, loan {loan.number}",
        _filled([("date", today), *head]),
        _paragraphs("reminder", days_over=loan.days_over(today), due_on=loan.due_on),
        (_NO, *_ABOUT, ("record", 0.62)),
        tuple((*_about(n, one), _record(one)) for n, one in _numbered(loan.out)),
        _paragraphs("handling", granted=False),
        (lender,),
    )


def decision_letter(store: Store, asked: Asked) -> Letter:
    """The decision on a request; while it is not decided, the request."""
    here = settings_in(store.folder)
    word = asked.decision or "not decided yet"
    head = [
        ("store", here.in_words),
        ("asked by", _with_address(store, asked.asked_by, asked.asked_by_name)),
        ("asked on", asked.asked_on),
        ("what for", asked.purpose),
        ("decision", word),
        ("decided by", asked.decided_by_name),
        ("decided on", asked.decided_on),
        ("conditions", asked.conditions),
        ("questions", here.contact),
    ]
    granted = {one.label for one in asked.granted}
    signers = [("for the store", asked.decided_by_name)]
    if granted:
        signers.append(("whoever asked, who accepts this", asked.asked_by_name))
    return Letter(
        f"{'Decision on request' if asked.decision else 'Request'} {asked.number}",
        _filled(head),
        _paragraphs(
            "decision",
            decision=asked.decision,
            conditions=asked.conditions,
            may_be_done=bool(granted) and bool(asked.decision),
        ),
        (_NO, *_ABOUT, ("record", 0.42), ("decision", 0.2)),
        tuple(
            (*_about(n, one), _record(one), _decided(asked, one.label in granted))
            for n, one in _numbered(asked.items)
        ),
        _paragraphs("handling", granted=True) if granted else (),
        tuple(signers),
    )


def _decided(asked: Asked, granted: bool) -> str:
    if not asked.decision:
        return "open"
    return "granted" if granted else "refused"


def _filled(pairs: Sequence[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    return tuple((word, said) for word, said in pairs if said)


def _paragraphs(name: str, **facts: object) -> tuple[str, ...]:
    text = text_template(f"repository/{name}.txt").render(**facts)
    return tuple(filter(None, (" ".join(one.split()) for one in text.split("\n\n"))))


def _with_address(store: Store, party_id: str, name: str) -> str:
    rows = (row for row in store.rows("party") if row["party_id"] == party_id)
    address = next((row["address"] for row in rows), "")
    return ", ".join(one for one in (name, " ".join(address.split())) if one)


def _numbered(items: Sequence[Item]) -> enumerate[Item]:
    return enumerate(items, start=1)


def _about(number: int, item: Item) -> tuple[str, ...]:
    sample = item.kept.parents.get(item.sample_id, item.sample_id)
    return str(number), item.label, item.kept.of("sample").get(sample, "")


def _record(item: Item) -> str:
    return f"{item.kept.accession.number} {item.kept.accession.title}".strip()


def _condition(item: Item, states: Vocabulary) -> str:
    if item.ended_by == "taken_back":
        return states.label(item.state).lower() if item.state else ""
    return item.ended_by.replace("_", " ")


# -- drawing -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Block:
    """A part of a paper that stays whole; `under` is repeated above it on a new page."""

    height: float
    draw: Callable[[Any, Box], None]
    under: _Block | None = None


def print_letter(letter: Letter, paper: Paper, out: Path) -> None:
    """Write a paper to `out` (PDF), on as many pages as its list needs."""
    frame = page_frame(paper)
    pages_of = _in_pages(_blocks(letter, frame.width), frame.height - 11 * MM)
    with printed_pages(out, (paper.width, paper.height), title=letter.title) as pages:
        for number, blocks in enumerate(pages_of, start=1):
            canvas = pages.begin_page()
            box = draw_head(canvas, frame, letter.title, f"page {number} of {len(pages_of)}")
            for block in blocks:
                here, box = box.cut_top(block.height)
                block.draw(canvas, here)


def _in_pages(blocks: Sequence[_Block], room: float) -> list[list[_Block]]:
    pages: list[list[_Block]] = [[]]
    used = 0.0
    for block in blocks:
        if used + block.height > room:
            again = [block.under] if block.under else []
            pages.append(again)
            used = sum(one.height for one in again)
        pages[-1].append(block)
        used += block.height
    return pages


def _blocks(letter: Letter, width: float) -> list[_Block]:
    found = [_pair(word, said, width) for word, said in letter.head]
    found.append(_space(2))
    found += [_paragraph(one, width) for one in letter.said]
    if letter.rows:
        heading = _row(letter.columns, [one for one, _ in letter.columns], BOLD, 8.0)
        first, *rest = [_row(letter.columns, row, PLAIN, _TEXT, heading) for row in letter.rows]
        found += [_space(1), _together(heading, first), *rest, _space(4)]
    if letter.cautions:
        first, *rest = [_paragraph(one, width) for one in letter.cautions]
        found += [_together(_heading("Handling and care"), first), *rest, _space(2)]
    found.append(_signatures(letter.signers))
    return found


def _space(height_mm: float) -> _Block:
    return _Block(height_mm * MM, lambda canvas, box: None)


def _together(above: _Block, below: _Block) -> _Block:
    """Two blocks that no page separates."""

    def draw(canvas: Any, box: Box) -> None:
        upper, lower = box.cut_top(above.height)
        above.draw(canvas, upper)
        below.draw(canvas, lower)

    return _Block(above.height + below.height, draw)


def _heading(text: str) -> _Block:
    def draw(canvas: Any, box: Box) -> None:
        draw_line(canvas, text, BOLD, 10.5, box.x, box.y + 2.2 * MM)

    return _Block(6.5 * MM, draw)


def _paragraph(text: str, width: float) -> _Block:
    fitted = fit_block(
        printable(text, PLAIN, _LONG), PLAIN, width, 200 * MM, largest=_TEXT, smallest=6
    )

    def draw(canvas: Any, box: Box) -> None:
        draw_block(canvas, fitted, PLAIN, box)

    return _Block(fitted.height + 2 * MM, draw)


def _pair(word: str, said: str, width: float) -> _Block:
    room = width - _WORD_MM * MM
    fitted = fit_block(
        printable(said, PLAIN, _LONG), PLAIN, room, 60 * MM, largest=_TEXT, smallest=6
    )

    def draw(canvas: Any, box: Box) -> None:
        value = Box(box.x + _WORD_MM * MM, box.y, room, box.height)
        draw_line(canvas, word, PLAIN, _TEXT * 0.86, box.x, box.top - _TEXT * 0.86)
        draw_block(canvas, fitted, PLAIN, value)

    return _Block(fitted.height + 1 * MM, draw)


def _row(
    columns: _Columns,
    cells: Sequence[str],
    face: Typeface,
    size: float,
    under: _Block | None = None,
) -> _Block:
    def draw(canvas: Any, box: Box) -> None:
        x = box.x
        for (_, share), text in zip(columns, cells, strict=True):
            room = share * box.width - 2 * MM
            write_line(canvas, text, face, room, x, box.y + 2 * MM, largest=size, smallest=5.5)
            x += share * box.width
        canvas.setLineWidth(0.6 if under is None else 0.2)
        canvas.line(box.x, box.y, box.right, box.y)

    return _Block(_ROW_MM * MM, draw, under)


def _signatures(signers: Sequence[tuple[str, str]]) -> _Block:
    return _Block(SIGNERS_MM * MM, lambda canvas, box: draw_signers(canvas, box, signers))
