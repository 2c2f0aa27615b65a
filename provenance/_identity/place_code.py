"""Writes and reads the code on the label of a place in a store: a cabinet, a drawer, a box.

    TREENAIL .STORE:B7-TX

It is the code of what samples lie in (see payload.py), with `.STORE` where the site would stand: a
place of a store holds samples of many sites. `.STORE:END` closes the place that was opened last.
"""

from __future__ import annotations

from provenance._base.errors import UnreadableValue
from provenance._identity.payload import compose_inside, inside_code, is_inside, read_scan

STORE = ".STORE"
END = "END"


def place_code(place_id: str) -> str:
    """What stands for a place in its code; two places with one code cannot be told apart.

    >>> place_code("Room 2/B7")
    'ROOM-2-B7'
    """
    return inside_code(place_id)


def compose_place(place_id: str) -> str:
    """The text for the code of a place; raises UnreadableValue for one that no code can say."""
    code = place_code(place_id)
    if not code or (code == END and place_id != END):
        raise UnreadableValue(place_id, "cannot be the code of a place; use letters and digits")
    return compose_inside(STORE, code)


def read_place(text: str) -> str | None:
    """The code of a place that was scanned, END among them; None for anything else.

    Raises UnreadableValue where its check letters do not fit.

    >>> read_place(compose_place("B7")), read_place("TREENAIL HOLL:BOX-12-TD")
    ('B7', None)
    """
    if not is_inside(text):
        return None
    scanned = read_scan(text)
    return scanned.inside if scanned.site_id == STORE else None
