"""Keeps what is known of the errors of datums, and hands it on to the readings taken from them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from provenance._survey.parts.observation import Floats, Ints

_POINTS_AT_ONCE = 20_000
"""Keeps the gathered blocks below some hundred megabytes."""


@dataclass(frozen=True)
class DatumCovariance:
    """Covariances of datum coordinates in m², one dense block for each group that was adjusted.

    Datum i is number `place[i]` of group `group[i]`; the block of group g is (3k, 3k), row-major,
    at `base[g]` of `blocks`, and has `width[g]` columns. Datums of two groups are uncorrelated.
    """

    group: Ints
    place: Ints
    base: Ints
    width: Ints
    blocks: Floats

    @classmethod
    def of_groups(
        cls, n_datums: int, groups: Iterable[tuple[Sequence[int], Floats]]
    ) -> DatumCovariance:
        """From groups of datum numbers with the (3k, 3k) covariance of each; others are certain."""
        group, place = np.full(n_datums, -1), np.zeros(n_datums, dtype=np.int64)
        base, width, blocks = [], [], []
        length = 0
        for number, (members, block) in enumerate(groups):
            group[list(members)] = number
            place[list(members)] = np.arange(len(members))
            base.append(length)
            width.append(3 * len(members))
            blocks.append(block.ravel())
            length += block.size
        # datums that are in no group are certain: one more group of zeros, which all of them share
        group[group < 0] = len(base)
        base.append(length)
        width.append(3)
        blocks.append(np.zeros(9))
        return cls(
            group.astype(np.int64),
            place,
            np.array(base, dtype=np.int64),
            np.array(width, dtype=np.int64),
            np.concatenate(blocks),
        )

    def with_points(self, covariance: Floats) -> DatumCovariance:
        """The same with more points behind the others, which have errors (k, 3, 3) of their own."""
        k, g = len(covariance), len(self.base)
        return DatumCovariance(
            np.concatenate([self.group, g + np.arange(k)]),
            np.concatenate([self.place, np.zeros(k, dtype=np.int64)]),
            np.concatenate([self.base, len(self.blocks) + 9 * np.arange(k)]),
            np.concatenate([self.width, np.full(k, 3)]),
            np.concatenate([self.blocks, covariance.ravel()]),
        )

    @property
    def certain(self) -> bool:
        """True when no datum has any error, which saves much work."""
        return not self.blocks.any()

    def between(self, one: Ints, other: Ints) -> Floats:
        """Covariance blocks (..., 3, 3) of pairs of datums given by number; -1 stands for none."""
        same = (self.group[one] == self.group[other]) & (one >= 0) & (other >= 0)
        group = self.group[one]
        width = self.width[group][..., None, None]
        row = 3 * self.place[one][..., None, None] + np.arange(3)[:, None]
        column = 3 * self.place[other][..., None, None] + np.arange(3)
        # a pair from two groups would index outside its block
        at = self.base[group][..., None, None] + np.where(
            same[..., None, None], row * width + column, 0
        )
        return np.where(same[..., None, None], self.blocks[at], 0.0)

    def of_readings(self, start: Ints, end: Ints, by_start: Floats, by_end: Floats) -> Floats:
        """What datum errors add to the covariance of readings, (n, m, m) in the readings' units².

        `start`, `end` (n, m) are datum numbers, `by_start`, `by_end` (n, m, 3) derivatives: n
        points with m readings each.
        """
        n, m = start.shape
        total = np.zeros((n, m, m))
        sides = [(start, by_start)]
        if (end >= 0).any():
            sides.append((end, by_end))
        for at in range(0, n, _POINTS_AT_ONCE):
            part = slice(at, at + _POINTS_AT_ONCE)
            for one, by_one in sides:
                for other, by_other in sides:
                    block = self.between(one[part][:, :, None], other[part][:, None, :])
                    left = np.einsum("nia,nijab->nijb", by_one[part], block)
                    total[part] += np.einsum("nijb,njb->nij", left, by_other[part])
        return total
