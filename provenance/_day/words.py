"""Puts a day into words for a terminal and for a page."""

from __future__ import annotations

from collections.abc import Iterator

from provenance import __version__
from provenance._base.languages import N_, _, ngettext
from provenance._base.listed import listed
from provenance._base.page_templates import page_templates
from provenance._day.day import DONE, ELSEWHERE, NOT_RECORDED, Day

COUNTED = {
    "timbers": N_("Timbers"),
    "samples": N_("Samples"),
    "failed holes": N_("Failed holes"),
    "plugs": N_("Plugs"),
    "photos": N_("Photos"),
}
"""What is counted of DONE, as a heading."""
HEADINGS = (
    N_("Building"),
    N_("Recorded by"),
    *(COUNTED[what] for what in DONE),
    N_("Errors"),
    N_("Warnings"),
)
NAMES = 2
"""How many of the headings stand above names; the others stand above counts."""


def table_of(day: Day) -> list[list[str]]:
    """The lines of a day as texts below HEADINGS; zeros are blank, the last row is the sum."""
    rows = [
        [_named(line.building), _named(line.crew), *line.done.values(), line.errors, line.warnings]
        for line in day.lines
    ]
    sums = [sum(line.errors for line in day.lines), sum(line.warnings for line in day.lines)]
    rows.append([_("All"), "", *day.done.values(), *sums])
    headings = [_(one) for one in HEADINGS]
    return [headings, *([str(cell) if cell else "" for cell in row] for row in rows)]


def _named(name: str) -> str:
    return _(name) if name in (NOT_RECORDED, ELSEWHERE) else name


def so_far(day: Day) -> str:
    """What the whole record holds, in one sentence."""
    words = {
        "timbers": ngettext("{n} timber", "{n} timbers", day.so_far["timbers"]),
        "samples": ngettext("{n} sample", "{n} samples", day.so_far["samples"]),
        "failed holes": ngettext("{n} failed hole", "{n} failed holes", day.so_far["failed holes"]),
        "plugs": ngettext("{n} plug", "{n} plugs", day.so_far["plugs"]),
        "photos": ngettext("{n} photo", "{n} photos", day.so_far["photos"]),
    }
    counts = ", ".join(words[what].format(n=n) for what, n in day.so_far.items())
    return _("In the record so far: {counts}.").format(counts=counts)


def numbers_left(day: Day) -> Iterator[str]:
    """What each crew has left of its stamp numbers."""
    for one in day.numbers_left:
        if one.count == 0:
            yield _("Crew {crew}: none left.").format(crew=one.crew)
        elif one.count == 1:
            yield _("Crew {crew}: 1 left, {number}.").format(crew=one.crew, number=one.next)
        else:
            yield _("Crew {crew}: {n} left, {first} to {last}.").format(
                crew=one.crew, n=one.count, first=one.next, last=one.last
            )


def day_text(day: Day) -> str:
    """The day for a terminal."""
    rows = table_of(day)
    widths = [max(len(row[place]) for row in rows) for place in range(len(HEADINGS))]
    said = [f"{day.title}, {day.on}", ""]
    for row in rows:
        # names to the left, counts to the right
        cells = [
            cell.ljust(width) if place < NAMES else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        said.append("  ".join(cells).rstrip())
    said += ["", so_far(day)]
    for heading, keys in day.open.items():
        said += ["", f"{_(heading)} ({len(keys)}): {listed(keys, 20)}"]
    if day.numbers_left:
        said += ["", "Stamp numbers left", *(f"  {one}" for one in numbers_left(day))]
    said += ["", "Tomorrow", *(f"  [ ] {one}" for one in day.tomorrow or ("Nothing is open.",))]
    return "\n".join(said) + "\n"


def day_page(day: Day) -> str:
    """The day as a page."""
    return (
        page_templates("day", "bundle")
        .get_template("day.html")
        .render(
            title=f"{day.title}, {day.on}",
            day=day,
            rows=table_of(day),
            so_far=so_far(day),
            numbers_left=list(numbers_left(day)),
            program=f"treenail {__version__}",
        )
    )
