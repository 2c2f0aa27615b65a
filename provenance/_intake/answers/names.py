"""What the questions of the form for phones are called, so that answers come back by themselves.

A question that a field of the record answers is called TABLE__FIELD. A length in feet and inches
has a question for each part behind that name; the others have plain names.
"""

from __future__ import annotations

import re
from types import MappingProxyType

from provenance._model.schema import AS_FOUND, Model

TABLES = ("element", "sample", "plug")
"""The tables that the form fills, each below the one before."""

PHOTO, SCANNED, TYPED = "photo", "scanned", "typed"
FEET, INCHES, SIXTEENTHS = "ft", "in", "frac"
PARTS = (FEET, INCHES, SIXTEENTHS)

SITE, BUILDING, ROOM, PLACE, DAY, CREW = "site", "building", "room", "place", "day", "crew"
RECORDED, TIMBER, PLUGGED = "recorded", "timber", "plugged"

FROM_ABOVE = MappingProxyType(
    {
        "site_id": SITE,
        "place_id": PLACE,
        "element_id": TIMBER,
        **dict.fromkeys(("recorded_on", "collected_on", "placed_on"), DAY),
        **dict.fromkeys(("recorded_by", "collected_by", "placed_by"), CREW),
    }
)
"""Fields that are asked once for all that stands below: field → question."""

QUESTION = re.compile(rf"({'|'.join(TABLES)})__[a-z][a-z0-9_]*")
# site, number and check letters, as people type what a label says
LABEL_TEXT = r"([A-Za-z][A-Za-z0-9]{1,9}-)?[0-9A-Za-z]{1,8}(-[0-9A-Za-z]{1,2})?"


def label_text(model: Model) -> str:
    """The pattern of what a person may type for a sample of such a record."""
    return r"[^\x00-\x1f]{1,110}" if model.numbering == AS_FOUND else LABEL_TEXT


def name_of(table: str, field: str, part: str = "") -> str:
    """The name of a question.

    >>> name_of("element", "length_m", FEET)
    'element__length_m__ft'
    """
    return f"{table}__{field}__{part}" if part else f"{table}__{field}"
