"""Makes any text fit to stand in an XML document, and writes one the same each time."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from provenance._base.visible import visible

if TYPE_CHECKING:
    from lxml.etree import _Element

# XML 1.0, production 2 (Char): beside the controls, which `visible` writes out, these two are none
_NO_CHARACTER = re.compile("[\ufffe\uffff]")


def xml_text(text: str) -> str:
    """The text with every character that XML 1.0 does not know written out by its number.

    >>> xml_text("beam\\x00 9\\uffff")
    'beam⟨U+0000⟩ 9⟨U+FFFF⟩'
    """
    return _NO_CHARACTER.sub(lambda match: f"⟨U+{ord(match.group()):04X}⟩", visible(text))


def xml_document(root: _Element) -> str:
    """An XML document in UTF-8 with its declaration, indented."""
    from lxml import etree

    body: str = etree.tostring(root, pretty_print=True, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}'
