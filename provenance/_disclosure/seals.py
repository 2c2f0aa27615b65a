"""Finds seals of the ledger in texts: guesses of what they cover could be tried out on them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from provenance._disclosure.hits import Hit

_DIGITS = 64
_SEAL = re.compile(rf"(?i)(?<![0-9a-f])[0-9a-f]{{{_DIGITS}}}(?![0-9a-f])")


class SealNet:
    """Searches texts for seals, whatever they cover."""

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """Every seal in each text."""
        return [list(_hits_in(text)) if len(text) >= _DIGITS else [] for text in texts]


def _hits_in(text: str) -> Iterator[Hit]:
    for match in _SEAL.finditer(text):
        yield Hit(*match.span(), "a seal of the ledger")
