"""Takes a postal address apart into what leads to its door."""

from __future__ import annotations

import re
from collections.abc import Iterator

from provenance._disclosure.flat import letters_of

_HOUSE = re.compile(
    r"(?:(?P<before>[0-9]{1,4}[A-Za-z]?)\s+)?(?P<street>[^\W\d_][^\d]{2,}?)"
    r"(?:\s+(?P<after>[0-9]{1,4}[A-Za-z]?))?"
)
"""A street with the number of a house before or behind it."""
_POSTAL_CODE = re.compile(
    r"(?<![\w-])(?=[A-Z0-9 -]{5,8}(?!\w))[A-Z0-9]{2,5}[ -]?[A-Z0-9]{2,4}(?![\w-])"
)
SHORTEST_STREET = 8
"""A street alone is told by so many letters, in two words or more."""


def address_parts(text: str) -> Iterator[str]:
    """What of a postal address leads to its door: street with house number, postal code.

    >>> list(address_parts("12 Quern Lane, Tarnby, TB4 7QX"))
    ['12 Quern Lane', 'Quern Lane 12', 'Quern Lane', 'TB4 7QX']
    """
    for part in re.split(r"[,;\n]", text):
        house = _HOUSE.fullmatch(part.strip())
        if house and (number := house["before"] or house["after"]):
            street = house["street"]
            yield f"{number} {street}"
            yield f"{street} {number}"
            if len(street.split()) > 1 and len(letters_of(street)) >= SHORTEST_STREET:
                yield street
    for code in _POSTAL_CODE.findall(text):
        if any(map(str.isdigit, code)) and any(map(str.isalpha, code)):
            yield code
