"""Reads DOIs (ISO 26324) as people write them."""

from __future__ import annotations

import re
from urllib.parse import quote

from provenance._base.errors import UnusableInput

_ADDRESS = "https://doi.org/"
# the form of nearly all DOIs since 2003; the standard itself allows any graphic character
_DOI = re.compile(r"10\.[0-9]{4,9}(\.[0-9]+)*/[A-Za-z0-9][-._;()/:A-Za-z0-9]*")
_BEFORE = re.compile(r"(https?://(dx\.)?doi\.org/|doi:\s*)", re.IGNORECASE)


def read_doi(text: str) -> str:
    """The DOI in a text, without address or prefix.

    >>> read_doi("https://doi.org/10.5072/hr-1")
    '10.5072/hr-1'

    Raises UnusableInput for anything else.
    """
    bare = _BEFORE.sub("", text.strip(), count=1)
    if not _DOI.fullmatch(bare):
        raise UnusableInput(
            f"'{text[:80]}' is not a DOI; write it as registered, such as 10.5072/hr-1: "
            "'10.', digits, a slash, then letters, digits and - . _ ; ( ) / : only"
        )
    return bare


def doi_in(text: object) -> str:
    """The DOI in a value that a record or bundle holds, '' where it is none."""
    try:
        return read_doi(text) if isinstance(text, str) else ""
    except UnusableInput:
        return ""


def doi_address(doi: str) -> str:
    """The address of a DOI, as its registries want it shown.

    Source: DOI Handbook, 'DOI names as URLs' (from memory).
    """
    return f"{_ADDRESS}{quote(doi, safe='/:;()')}"
