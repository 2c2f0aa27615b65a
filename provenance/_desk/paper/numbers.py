"""Stamp numbers: reserved for crews, printed as a checklist, shared with other laptops."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from provenance._base.languages import N_, _, ngettext, speaking
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.paper.preview import keep, kept
from provenance._desk.paper.printing import PAPERS, whole_number
from provenance._drawing.paper import paper_named
from provenance._identity.ranges import claim_range, grant_range, owned_numbers, take_over
from provenance._identity.stamps import DIES, Reservation, reserve_stamps
from provenance._model.spoken import spoken
from provenance._printing.labels.content_labels import ranges_of
from provenance._printing.papers.strike_list import print_strike_list
from provenance._record.copies import this_copy

pages = Pages()


@pages.shown("/record/{record}/numbers", title=N_("Stamp numbers"), group=N_("In the field"))
def numbers(asked: Asked) -> Answer:
    """Who has which numbers, and the forms by which more are given out."""
    record = asked.record
    tables = record.tables
    owned = owned_numbers(record, this_copy(record))
    return Page(
        "paper/numbers.html",
        {
            "batches": [
                (crew, day, ", ".join(ranges_of([one.sample_id for one in batch])), len(batch))
                for (crew, day), batch in _batches(asked).items()
            ],
            "owned": [(one.start, one.stop - 1) for one in owned],
            "ranges": tables.rows("number_range"),
            "sites": [(row["site_id"], row["name"]) for row in tables.rows("site")],
            "marks": spoken(record.model).vocabularies["orientation_mark"].terms,
            "dies": DIES,
            "papers": PAPERS,
        },
    )


def _batches(asked: Asked) -> Mapping[tuple[str, str], list[Reservation]]:
    batches: dict[tuple[str, str], list[Reservation]] = {}
    for row in asked.record.tables.rows("reservation"):
        one = Reservation(**{name: row[name] for name in Reservation.__dataclass_fields__})
        batches.setdefault((one.crew, one.reserved_on), []).append(one)
    return batches


@pages.done("/record/{record}/numbers")
def reserve(asked: Asked) -> Answer:
    """Reserve numbers for a crew."""
    asked.needed("count", _("How many"))
    crew = asked.needed("crew", _("Crew"))
    reserved = reserve_stamps(
        asked.record,
        whole_number(asked.text("count"), _("How many")) or 0,
        crew=crew,
        reserved_on=date.today().isoformat(),
        site_id=asked.text("site") or None,
        first=whole_number(asked.text("first"), _("First number")),
        last=whole_number(asked.text("last"), _("Last number")),
        dies=asked.text("dies") or DIES,
        orientation_mark=asked.text("mark") or "none",
    )
    told = ngettext(
        "{n} number for {crew}: {which}.", "{n} numbers for {crew}: {which}.", len(reserved)
    )
    which = ", ".join(ranges_of([one.sample_id for one in reserved]))
    return Done(asked.at("numbers"), told.format(n=len(reserved), crew=crew, which=which))


@pages.shown("/record/{record}/numbers/list")
def checklist(asked: Asked) -> Answer:
    """The numbers of one crew and day as they are punched, to be printed."""
    batch = _batches(asked).get((asked.queried("crew"), asked.queried("day")), [])
    record = asked.record
    path = asked.desk.scratch() / f"stamps-{record.name}.pdf"
    with speaking(record.model.language):
        print_strike_list(
            batch, paper_named(asked.queried("paper", PAPERS[0])), path, title=record.title
        )
    values = {"files": kept(asked.desk, keep(asked.desk, [path])), "labeled": "", "notes": ()}
    return Page("paper/numbers_list.html", values)


@pages.done("/record/{record}/numbers/grant")
def grant(asked: Asked) -> Answer:
    """Give a range of numbers to another copy of the record."""
    name = asked.needed("to", _("Name of the other copy"))
    granted = grant_range(
        asked.record, whole_number(asked.text("count"), _("How many")) or 0, to=name
    )
    told = _("{first} to {last} are for {name}. Type this code there: {code}")
    return Done(
        asked.at("numbers"),
        told.format(first=granted.first, last=granted.last, name=name, code=granted.code),
    )


@pages.done("/record/{record}/numbers/claim")
def claim(asked: Asked) -> Answer:
    """Take the range that another copy granted to this one."""
    code = asked.needed("code", _("Code"))
    claimed = claim_range(asked.record, code, name=asked.text("name"))
    told = _("This copy gives out {first} to {last} from now on.")
    return Done(asked.at("numbers"), told.format(first=claimed.first, last=claimed.last))


@pages.done("/record/{record}/numbers/take-over")
def take(asked: Asked) -> Answer:
    """Give out numbers here because the original copy no longer does."""
    take_over(asked.record, why=asked.needed("why", _("Reason")), name=asked.text("name"))
    told = _("This copy gives out all numbers from now on that no range gives to another.")
    return Done(asked.at("numbers"), told)
