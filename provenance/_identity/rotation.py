"""Tells what a plug's stamp reads like when the dowel is seen upside down.

Which shapes survive half a turn is geometry of the characters on common steel dies (upright,
sans-serif); common practice, no source. A 1 punched with a flag or foot still reads as 1 to most
people, so it counts as its own rotation, which errs to the safe side.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType

# character -> the character it reads like after half a turn. A whole column is turned by
# replacing each character by this table and reversing the text; a stamp with any other
# character cannot be misread this way.
HALF_TURN: Mapping[str, str] = MappingProxyType(
    {
        "0": "0",
        "1": "1",
        "6": "9",
        "8": "8",
        "9": "6",
        "H": "H",
        "I": "I",
        "M": "W",
        "N": "N",
        "O": "O",
        "S": "S",
        "W": "M",
        "X": "X",
        "Z": "Z",
    }
)

# struck after the last character, on the line the characters stand on
ORIENTATION_MARK = "."


def _plain(stamp: str) -> str:
    return "".join(stamp.upper().split())


def is_marked(stamp: str) -> bool:
    """Whether the stamp carries an orientation mark, which shows which way up it is."""
    return _plain(stamp).endswith(ORIENTATION_MARK)


def mark_orientation(stamp: str) -> str:
    """The stamp with the mark that shows its foot and its end, '66' -> '66.'; idempotent."""
    plain = _plain(stamp)
    return plain if is_marked(plain) else plain + ORIENTATION_MARK


def turned(stamp: str) -> str | None:
    """What the stamp reads like upside down, or None when it then reads as nothing at all.

    Also None for an empty stamp and for one with an orientation mark.

    >>> turned("68"), turned("123")
    ('89', None)
    """
    plain = _plain(stamp)
    if not plain or any(character not in HALF_TURN for character in plain):
        return None
    return "".join(HALF_TURN[character] for character in reversed(plain))


def reads_alike(one: str, other: str) -> bool:
    """Whether a person could take the two stamps for each other: equal, or one turned.

    >>> reads_alike("66", "99"), reads_alike("66", "66."), reads_alike("12", "21")
    (True, False, False)
    """
    return _plain(one) == _plain(other) or turned(one) == _plain(other)


def ambiguous_with(stamp: str, used: Collection[str]) -> str | None:
    """The other stamp of `used` that this one reads like upside down, or None.

    A stamp that is its own rotation (88, 69, 1) is ambiguous with none; the same stamp used
    twice is a duplicate, another kind of mistake, and is not named here. `used` holds stamps in
    capitals without blanks; give a set when many are asked about.
    """
    reading = turned(stamp)
    if reading is None or reading == _plain(stamp):
        return None
    return reading if reading in used else None
