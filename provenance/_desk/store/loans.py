"""Loans that are out, due and overdue, requests and decisions, and their papers."""

from __future__ import annotations

from datetime import date

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_
from provenance._collection.letters import FORM, REMINDER, RETURNED, letter_of, print_letter
from provenance._collection.loans import loans_in, requests_of
from provenance._desk.answers import Answer, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.store.common import opened, shown_pdf
from provenance._drawing.paper import PAPERS, paper_named

pages = Pages()


@pages.shown("/store/{store}/loans", title=N_("Loans and requests"), group=N_("Samples"))
def loans(asked: Asked) -> Answer:
    """What is out, overdue ones first, and open requests; `every` lists the others too."""
    store, every = opened(asked), "every" in asked.query
    today = date.today().isoformat()
    lent = [one for one in loans_in(store) if every or one.out]
    lent.sort(key=lambda one: -one.days_over(today))
    return Page(
        "store/loans.html",
        {
            "loans": lent,
            "requests": [one for one in requests_of(store) if every or not one.decision],
            "every": every,
            "today": today,
            "paper": asked.query.get("paper", PAPERS[0].name),
            "papers": [one.name for one in PAPERS],
        },
    )


@pages.shown("/store/{store}/letter")
def letter(asked: Asked) -> Answer:
    """A paper of a loan or request: form, receipt of return, reminder, decision."""
    number, kind = asked.query.get("number", ""), asked.query.get("kind", FORM)
    if kind not in (FORM, RETURNED, REMINDER):
        raise UnusableInput(
            f"'{kind}' is not a paper of a loan; there are form, returned, reminder"
        )
    said = letter_of(opened(asked), number, kind, date.today().isoformat())
    path = asked.desk.scratch() / f"{number}{'' if kind == FORM else f'-{kind}'}.pdf"
    print_letter(said, paper_named(asked.query.get("paper", "a4")), path)
    return shown_pdf(path)
