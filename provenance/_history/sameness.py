"""Tells by content whether a received file is a newer copy of one that was read before.

Every row is a set of (column, text). A text weighs the more the rarer it is in its column, so that
'rafter' and a recorder's initials count for little and '14 6 1/2' for much. Key and file name do
not count: two crews number their wood alike, and a corrected sheet gets another name.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from math import log2

from provenance._history.acts import Act, Line

NEWER, OTHER = 0.60, 0.35
"""Shares of one file found in the other. Edited sheets reach 0.69 and more, other sheets 0.38 at
most (150 generated pairs a kind, 8 to 85 rows); between the two a person is asked."""
FEW, NEWER_OF_FEW = 8, 0.75
"""Of fewer rows nobody can say what is rare, so that more of them has to be found."""
_TELLING = 12
_TRIED = 5

Texts = frozenset[tuple[str, str]]


def texts_of(lines: Iterable[Line]) -> list[Texts]:
    """What an import says of each row: (table and field, text) of its cells."""
    rows: dict[tuple[str, str], set[tuple[str, str]]] = defaultdict(set)
    for line in lines:
        if line.row:
            cells = rows[line.table, line.row]
            if line.field:
                text = " ".join(line.after.split()).casefold()
                cells.add((f"{line.table}.{line.field}", text))
    return [frozenset(cells) for cells in rows.values() if cells]


def share_found(old: Sequence[Texts], new: Sequence[Texts]) -> float:
    """The weighted share of one file's texts found on the best-fitting rows of the other.

    The larger of both directions, from 0 to 1; 0 where either has no rows.
    """
    if not old or not new:
        return 0.0
    # how often a text stands in its column, in the file in which it stands oftenest: what both
    # files have once is as telling as what one of them has once
    counts = [Counter(cell for cells in rows for cell in cells) for rows in (old, new)]
    seen = counts[0] | counts[1]
    filled = [Counter(column for cells in rows for column, _ in cells) for rows in (old, new)]
    in_column = filled[0] | filled[1]
    weight = {cell: 0.05 + log2(in_column[cell[0]] / times) for cell, times in seen.items()}

    def found(these: Sequence[Texts], those: Sequence[Texts]) -> float:
        rows_with: dict[tuple[str, str], list[int]] = defaultdict(list)
        for place, cells in enumerate(those):
            for cell in cells:
                if seen[cell] <= _TELLING or len(those) <= _TELLING:
                    rows_with[cell].append(place)
        total = hit = 0.0
        for cells in these:
            near = Counter(place for cell in cells for place in rows_with.get(cell, ()))
            total += sum(weight[cell] for cell in cells)
            hit += max(
                (
                    sum(weight[cell] for cell in cells & those[place])
                    for place, _ in near.most_common(_TRIED)
                ),
                default=0.0,
            )
        return hit / total if total else 0.0

    return max(found(old, new), found(new, old))


def likeness(acts: Mapping[str, Act], lines: Sequence[Line]) -> list[tuple[float, str]]:
    """(share, act) of the imports given, the most alike first.

    What the mapping gives every row (a text without a column) tells nothing. The share of a file
    with few rows that does not reach NEWER_OF_FEW counts as one to be asked about at most.
    """
    new = _written(lines)
    shares = []
    for name, act in acts.items():
        old = _written(act.lines)
        share = share_found(old, new)
        if min(len(old), len(new)) < FEW and NEWER <= share < NEWER_OF_FEW:
            share = NEWER - 0.01
        shares.append((share, name))
    return sorted(shares, key=lambda one: (-one[0], one[1]))


def _written(lines: Iterable[Line]) -> list[Texts]:
    return texts_of(line for line in lines if line.column or not line.field)
