"""Finds by their form what tells a place but cannot be computed from its coordinates.

Township and range, parcels of land and addresses of three words need a register of land or somebody
else's list; where a short link leads, only its host knows. So all of them are found, whatever place
they mean. Source of the forms of township and range: U.S. Bureau of Land Management, Manual of
Surveying Instructions (2009), quoted from memory; the others common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

_BY_FORM = (
    (
        "township and range",
        re.compile(
            r"\bT(?:\.|wp\.?|ownship)?\s?[0-9]{1,3}\s?(?:1[/⁄]2\s?)?(?:N|S|North|South)\b\.?[,;\s-]*"
            r"(?:R(?:\.|ge?\.?|ange)?\s?[0-9]{1,3}\s?(?:E|W|East|West)\b\.?)?"
            r"(?:[,;\s-]*sec(?:\.|tion)?\s?[0-9]{1,2}\b)?"
            r"|\bR(?:\.|ge?\.?|ange)\s?[0-9]{1,3}\s?(?:E|W|East|West)\b\.?"
            r"|\b(?:[NS][EW]?|[EW])\s?(?:1[/⁄]?4|1[/⁄]?2)(?:\s?(?:of\s)?(?:the\s)?"
            r"(?:[NS][EW]?|[EW])\s?(?:1[/⁄]?4|1[/⁄]?2))*[,;\s]+(?:of\s)?"
            r"sec(?:\.|tion)?\s?[0-9]{1,2}\b",
            re.IGNORECASE,
        ),
    ),
    (
        "parcel of land",
        re.compile(
            r"\b(?:APN|assessor'?s? parcel|tax (?:lot|map|parcel)|land parcel|parcel id|folio"
            r"|cadastr\w+|flurst(?:ü|ue)ck|flur|parzelle|parcelle cadastrale|kadaster\w*)\W{0,3}"
            r"(?:(?:no|nr|number|num|id|section)\W{1,2})?(?:[A-Z]{1,2}\W?)?[0-9][0-9A-Z]*"
            r"(?:[-./ ][0-9]{1,5})*"
            # the word is that of what goes to a laboratory too: then its number is a short one
            r"|\bparcel\W{0,3}(?:(?:no|nr|number|id)\W{1,2})?[0-9]+(?:[-.][0-9]{1,6}){2,}(?<!\b\d{4}-\d\d-\d\d)"
            r"|\b[0-9]{3}-[0-9]{3}-[0-9]{2,3}(?:-[0-9]{2,3})?\b",
            re.IGNORECASE,
        ),
    ),
    ("address of three words", re.compile(r"(?<![:/\w])/{2,3}[^\W\d_]{3,}(?:\.[^\W\d_]{3,}){2}\b")),
    (
        "link to a map",
        re.compile(
            r"\bgeo:-?[0-9]\S+"
            r"|(?:https?://|\bwww\.|(?<![\w@.])(?=[\w-]+(?:\.[\w-]+)*\.[a-z]{2,6}/))"
            r"(?=\S*(?:\bmaps?\b|\bosm\b|openstreetmap|\bgeo\b|\bearth\b|\bplaces?\b|\bplus\.codes\b"
            r"|\bw3w\b|[@=#/]-?[0-9]{1,3}\.[0-9]{2,}))[^\s<>]+",
            re.IGNORECASE,
        ),
    ),
    (
        "short link",
        re.compile(
            r"(?:https?://|(?<![\w@./-]))(?!doi\.org/|ror\.org/|w3id\.org/|n2t\.net/|orcid\.org/)"
            r"(?:[a-z0-9-]{1,4}\.)?[a-z0-9-]{1,7}\.[a-z]{2,3}/(?=[A-Za-z0-9]*[0-9A-Z])"
            r"(?:[a-z]{1,2}/)?[A-Za-z0-9]{4,16}(?![\w./-])",
        ),
    ),
)


def by_form(text: str) -> Iterator[tuple[int, int, str]]:
    """Start, end and name of everything in a text, as `plain` gives it, that has such a form."""
    has_figures = any(map(str.isdigit, text))
    for name, form in _BY_FORM:
        if has_figures or "/" in text:
            for match in form.finditer(text):
                yield *match.span(), name
