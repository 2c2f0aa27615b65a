"""Finds by their form what tells a place but cannot be computed from its coordinates.

Township and range, parcels of land and addresses of three words need a register of land or somebody
else's list; where a short link leads, only its host knows. So all of them are found, whatever place
they mean. Source of the forms of township and range: U.S. Bureau of Land Management, Manual of
Surveying Instructions (2009), quoted from memory; the others common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

# decimal degrees, with letters or with the four places no size has; degrees and minutes; a map grid
COORDINATES = (
    r"(-?[0-9]{1,3}\.[0-9]{2,}°? ?[NSns]\b[ ,;/]+-?[0-9]{1,3}\.[0-9]{2,}"
    r"|-?[0-9]{1,3}\.[0-9]{4,}°?[ ,;/]+-?[0-9]{1,3}\.[0-9]{4,}"
    r"|[0-9]{1,3}° ?[0-9]{1,2}(?:['′’]|\.[0-9]+)"
    r"|[0-9]{6} ?m? ?E[ ,;/]+[0-9]{7} ?m? ?N)"
)
_FIGURE = re.compile(r"[0-9]")
_NUMBER = r"[0-9]{1,3}\s?(?:1[/⁄]2\s?)?"
_SECTION = r"[Ss](?:EC|ec)(?:\.|tion|TION)?\s?[0-9]{1,2}\b"
_PART = r"(?:[NS][EW]?|[EW])\s?1[/⁄]?[24]"
_BY_FORM = (
    ("coordinates", re.compile(COORDINATES)),
    (
        "township and range",
        re.compile(
            rf"\bT(?:\.|wp\.?|WP\.?|ownship|OWNSHIP)?\s?{_NUMBER}(?:N|S|North|South)\b\.?[,;\s-]*"
            rf"R(?:\.|ge?\.?|GE\.?|ange|ANGE)?\s?{_NUMBER}(?:E|W|East|West)\b\.?"
            rf"(?:[,;\s-]*{_SECTION})?"
            rf"|\b(?:[Tt]ownship|TOWNSHIP|[Rr]ange|RANGE)\s{_NUMBER}(?:[NSEW]|North|South|East|West)\b"
            rf"|\b{_PART}(?:\s?(?:of\s)?(?:the\s)?{_PART})*[,;\s]+(?:of\s)?{_SECTION}"
        ),
    ),
    (
        "parcel of land",
        re.compile(
            r"\b(?:APN|assessor'?s? parcel|tax (?:lot|map|parcel)|land parcel|parcel id"
            r"|cadastral (?:number|parcel|section)|flurst(?:ü|ue)ck|flur|parzelle"
            r"|parcelle cadastrale)\W{0,3}(?:(?:no|nr|number|num|id|section)\W{1,2})?"
            r"(?:[A-Z]{1,2}\W?)?[0-9][0-9A-Z]*(?:[-./ ][0-9]{1,5})*"
            # a parcel goes to a laboratory too: then its number is a short one, or has a date
            r"|\bparcel\W{0,3}(?:(?:no|nr|number|id)\W{1,2})?"
            r"(?![0-9]{4}-[0-9]{2}-[0-9]{2}\b)[0-9]+(?:[-.][0-9]{1,6}){2,}"
            r"|\b[0-9]{3,4}-[0-9]{3}-[0-9]{2,3}-[0-9]{3}\b",
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
            r"|\bw3w\b|-?[0-9]{1,3}\.[0-9]{2,}(?:,|/|%2C|&\w+=)-?[0-9]{1,3}\.[0-9]{2,}))[^\s<>]+",
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
    has_figures = _FIGURE.search(text) is not None
    for name, form in _BY_FORM:
        if has_figures or "/" in text:
            for match in form.finditer(text):
                yield *match.span(), name
