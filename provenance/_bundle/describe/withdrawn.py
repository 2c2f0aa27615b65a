"""What bundle.json of an edition says of earlier public editions that are withdrawn."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

WITHDRAWS = "withdraws"
SHA256 = re.compile("[0-9a-f]{64}")
_NAMES = ("manifestSha256", "recordDate", "reason", "date")
_LONGEST = 1000


@dataclass(frozen=True)
class Withdrawn:
    """A public edition that is withdrawn.

    `manifest_sha256` is the SHA-256 of its manifest-sha256.txt, which stands for every file of the
    record in it; `record_date` the date it bears ('' where not known), `on` the day on which it was
    withdrawn.
    """

    manifest_sha256: str
    record_date: str
    reason: str
    on: str

    def as_dict(self) -> dict[str, str]:
        """The lines of bundle.json."""
        return dict(zip(_NAMES, vars(self).values(), strict=True))

    @property
    def in_words(self) -> str:
        """'the public edition of 2024-06-14 (3f2a…)'."""
        day = f" of {self.record_date}" if self.record_date else ""
        return f"the public edition{day} ({self.manifest_sha256[:12]}…)"


def withdrawn_by(facts: Mapping[str, Any]) -> tuple[Withdrawn, ...]:
    """The editions that a bundle withdraws, by its bundle.json; what makes no sense is left out."""
    said = facts.get(WITHDRAWS)
    found = []
    for one in said if isinstance(said, list) else ():
        texts = [one.get(name, "") for name in _NAMES] if isinstance(one, dict) else []
        if texts and all(isinstance(text, str) for text in texts) and SHA256.fullmatch(texts[0]):
            found.append(Withdrawn(*(" ".join(text.split())[:_LONGEST] for text in texts)))
    return tuple(found)
