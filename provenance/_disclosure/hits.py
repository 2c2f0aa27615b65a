"""What a search for withheld values finds in a text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True)
class Hit:
    """A stretch of a text that gives something away; `what` says it in a few words for a person."""

    start: int
    end: int
    what: str


class Net(Protocol):
    """Something that searches texts for withheld values of one kind."""

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """What is found in each text, in their order; places are those of the text as given."""
        ...
