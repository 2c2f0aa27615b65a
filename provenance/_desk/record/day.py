"""A day of fieldwork: what was done, what is open, what to do tomorrow."""

from __future__ import annotations

from datetime import date

from provenance._base.languages import N_
from provenance._day.day import Day, last_day, sum_up
from provenance._day.sheet import print_day
from provenance._day.words import numbers_left, so_far, table_of
from provenance._desk.answers import Answer, Page, Sent
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._drawing.paper import paper_named

pages = Pages()


@pages.shown("/record/{record}/day", title=N_("The day"), group=N_("In the field"))
def day(asked: Asked) -> Answer:
    """A day, by default the last one of which the record tells, else today."""
    summed = _summed(asked)
    return Page(
        "record/day.html",
        {
            "day": summed,
            "rows": table_of(summed),
            "so_far": so_far(summed),
            "numbers_left": list(numbers_left(summed)),
        },
    )


@pages.shown("/record/{record}/day.pdf")
def sheet(asked: Asked) -> Answer:
    """The day on one sheet."""
    summed = _summed(asked)
    path = asked.desk.scratch() / f"{asked.record.name}-{summed.on}.pdf"
    print_day(summed, paper_named(asked.query.get("paper", "a4")), path)
    return Sent(path, path.name, "application/pdf", shown=True)


def _summed(asked: Asked) -> Day:
    record = asked.record
    on = asked.query.get("on") or last_day(record.tables) or date.today().isoformat()
    return sum_up(record, on)
