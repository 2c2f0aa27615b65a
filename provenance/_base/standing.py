"""Says how far a custody ledger can be relied on: one word, and why in sentences."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

SOUND = "sound"
NOT_ANCHORED = "sealed, not anchored"
CONTRADICTS = "contradicts anchor"
BROKEN = "broken"
SEALS_WITHHELD = "seals withheld"
"""The word for the ledger of a public edition, which bears no seals."""


@dataclass(frozen=True)
class Standing:
    """What is known of a ledger.

    `word` is SOUND only where something that was kept elsewhere (an anchor) fits, and what came
    after it is in a statement signed by somebody whom the reader trusts. `said` are sentences: what
    was found, and then what cannot be known. Of `events` sealed ones `anchored` are as an anchor
    knew them.
    """

    word: str
    said: tuple[str, ...] = ()
    events: int = 0
    anchored: int = 0

    def as_dict(self) -> dict[str, Any]:
        """The standing as plain values, for JSON."""
        return {
            "word": self.word,
            "said": list(self.said),
            "events": self.events,
            "anchored": self.anchored,
        }
