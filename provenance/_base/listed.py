"""Names several things in one line, of many the first."""

from __future__ import annotations

from collections.abc import Iterable


def listed(names: Iterable[str], most: int) -> str:
    """The names as one text, of more than `most` the first and how many more there are.

    >>> listed(["201", "202", "203"], most=2)
    '201, 202 and 1 more'
    """
    every = list(names)
    more = f" and {len(every) - most} more" if len(every) > most else ""
    return ", ".join(every[:most]) + more
