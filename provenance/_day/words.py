"""Puts a day into words for a terminal and for a page."""

from __future__ import annotations

from collections.abc import Iterator

from provenance import __version__
from provenance._base.listed import listed
from provenance._base.page_templates import page_templates
from provenance._day.day import DONE, Day

HEADINGS = ("Building", "Recorded by", *(what.capitalize() for what in DONE), "Errors", "Warnings")
NAMES = 2
"""How many of the headings stand above names; the others stand above counts."""


def table_of(day: Day) -> list[list[str]]:
    """The lines of a day as texts below HEADINGS; zeros are blank, the last row is the sum."""
    rows = [
        [line.building, line.crew, *line.done.values(), line.errors, line.warnings]
        for line in day.lines
    ]
    sums = [sum(line.errors for line in day.lines), sum(line.warnings for line in day.lines)]
    rows.append(["All", "", *day.done.values(), *sums])
    return [list(HEADINGS), *([str(cell) if cell else "" for cell in row] for row in rows)]


def so_far(day: Day) -> str:
    """What the whole record holds, in one sentence."""
    counts = (f"{n} {what if n != 1 else what[:-1]}" for what, n in day.so_far.items())
    return f"In the record so far: {', '.join(counts)}."


def numbers_left(day: Day) -> Iterator[str]:
    """What each crew has left of its stamp numbers."""
    for one in day.numbers_left:
        if one.count == 0:
            yield f"Crew {one.crew}: none left."
        else:
            span = f"{one.next} to {one.last}" if one.count > 1 else one.next
            yield f"Crew {one.crew}: {one.count} left, {span}."


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
        said += ["", f"{heading} ({len(keys)}): {listed(keys, 20)}"]
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
