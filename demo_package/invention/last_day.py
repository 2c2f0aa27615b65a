"""Invents the last day, on which two crews with a laptop each numbered two cores alike."""

from __future__ import annotations

from invention.tables import Book, Sheet

COLUMNS = ("Core", "Timber", "Bit", "Length", "Rings", "Date", "By", "Remarks")
TITLE = "Hollin Reach (invented): cores of the last day, sizes in inches"


def _book(name: str, *lines: list[str]) -> Book:
    rows = [dict(zip(COLUMNS, line, strict=True)) for line in lines]
    return Book(name, [Sheet("", COLUMNS, rows, "Core", TITLE, blank_lines=0)])


def last_day_books() -> list[Book]:
    """The north crew was in the barn, the south crew in the room block; both used 401."""
    return [
        _book(
            "north_last_day.csv",
            ["401", "BN-032", "1/2", "5 1/4", "61", "17.6.2023", "MB", "rafter, two pegs"],
            ["402", "BN-002", "1/2", "4 7/8", "88", "17.6.2023", "MB", "post, bark near end a"],
        ),
        _book(
            "south_last_day.csv",
            ["401", "RB-W13", "5/8", "3 3/4", "47", "17.6.2023", "TQ", "pole, west end"],
        ),
    ]
