"""Reads what lies along a piece of wood: '0.42: mortise; 1.10-1.25: notch'."""

from __future__ import annotations

import re
from dataclasses import dataclass

_FEATURE = re.compile(
    r"(?P<from>\d+(?:[.,]\d+)?)\s*(?:m\s*)?(?:(?:-|–|to)\s*(?P<to>\d+(?:[.,]\d+)?)\s*(?:m\s*)?)?"
    r"[:=]\s*(?P<what>.+)"
)


@dataclass(frozen=True)
class WoodFeature:
    """A joint, nail or hole between two distances from end A, in m (equal for a point)."""

    from_m: float
    to_m: float
    what: str

    def distance_m(self, along_m: float) -> float:
        """How far a place along the wood is from it; 0 within it."""
        return max(self.from_m - along_m, along_m - self.to_m, 0.0)


def read_features(text: str) -> tuple[tuple[WoodFeature, ...], tuple[str, ...]]:
    """The features of a cell, and the parts of it that give no distance.

    >>> read_features("0.42: mortise; nail somewhere")
    ((WoodFeature(from_m=0.42, to_m=0.42, what='mortise'),), ('nail somewhere',))
    """
    found, unread = [], []
    for part in (one.strip() for one in text.split(";")):
        if not part:
            continue
        match = _FEATURE.fullmatch(part)
        if match is None:
            unread.append(part)
            continue
        one = float(match["from"].replace(",", "."))
        two = float(match["to"].replace(",", ".")) if match["to"] else one
        found.append(WoodFeature(min(one, two), max(one, two), match["what"].strip()))
    return tuple(found), tuple(unread)
