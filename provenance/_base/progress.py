"""How long work tells how far it is."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[int, int], None]
"""Called now and then with (done, total); total 0 when it is not known."""

_WHOLE = 10_000


def say_nothing(done: int, total: int) -> None:
    """The progress of somebody who does not want to hear of it."""


def stretch(progress: Progress, number: int, of: int) -> Progress:
    """The progress of stretch `number` (from 0) of a way of `of` stretches alike in length."""

    def advance(done: int, total: int) -> None:
        share = min(done / total, 1.0) if total else 0.0
        progress(int(_WHOLE * (number + share) / of), _WHOLE)

    return advance
