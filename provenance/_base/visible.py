"""Shows text from a record as text, whatever it holds."""

from __future__ import annotations

import re

# Control characters but for tab and line end; bidi controls (Unicode 9, UAX #9), zero-width marks:
# they make a page show something else than what is written. Joiners (200C, 200D) stay: scripts
# need them.
HIDDEN = "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u2069\ufeff]"
# half of a character is none that a table engine can hold
_HIDDEN = re.compile(f"{HIDDEN}|[\ud800-\udfff]")


def visible(text: str) -> str:
    """The text with every hidden or direction-changing character written out by its number.

    >>> visible("beam\\u202egnp.exe")
    'beam⟨U+202E⟩gnp.exe'
    """
    if text.isascii() and text.isprintable():
        return text
    return _HIDDEN.sub(lambda match: f"⟨U+{ord(match.group()):04X}⟩", text)
