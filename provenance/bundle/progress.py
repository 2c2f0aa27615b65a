"""How long work on a bundle tells how far it is."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[int, int], None]
"""Called now and then with (done, total) in bytes; total 0 when it is not known."""


def say_nothing(done: int, total: int) -> None:
    """The progress of somebody who does not want to hear of it."""


def part_of(progress: Progress, done_before: int, total: int) -> Progress:
    """A progress for one stretch of a longer way of `total` bytes."""

    def advance(done: int, _: int) -> None:
        progress(done_before + done, total)

    return advance
