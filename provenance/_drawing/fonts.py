"""Brings the typefaces that are embedded in every PDF, and text that they can print.

DejaVu Sans Condensed, upright and bold, and DejaVu Sans Mono Bold (licence and origin lie beside
the files in typefaces/). They cover Latin with diacritics, Cyrillic, Greek and more. In the mono
face a zero has a dot in it and is told from the letter O, so numbers and check letters use it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from provenance._identity.payload import one_line

CAP_HEIGHT = 0.729
"""Height of capitals and digits as a share of the type size (1493 of 2048 units of the em)."""

ASCENT, DESCENT = 0.928, 0.236
"""What a line of the sans faces takes above and below its baseline, accents and tails included."""

SUBSTITUTE = "□"
"""Printed for a character that no typeface here has; the code on a label still says it."""

LONGEST_TEXT = 2000
"""No text of a page is longer than this; what is behind is cut with '…'."""

_FOLDER = Path(__file__).resolve().parent / "typefaces"
_RIGHT_TO_LEFT = frozenset({"R", "AL", "AN"})


class Typeface:
    """One font, which the PDF library reads from its file when it is first used."""

    def __init__(self, name: str, file_name: str) -> None:
        self.file = _FOLDER / file_name
        self._name = name

    @cached_property
    def name(self) -> str:
        """The font's name for the canvas, once the font is registered."""
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfbase.ttfonts import TTFont

        if self._name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(self._name, str(self.file)))
        return self._name

    @cached_property
    def font(self) -> Any:
        """The font as the PDF library has it."""
        from reportlab.pdfbase import pdfmetrics

        return pdfmetrics.getFont(self.name)

    @property
    def glyphs(self) -> Mapping[int, int]:
        """The characters that the font has, by their numbers."""
        glyphs: Mapping[int, int] = self.font.face.charToGlyph
        return glyphs

    def width(self, text: str, size: float) -> float:
        """How wide the text runs in that size, in points."""
        return _width(self, text, size)

    def covers(self, character: str) -> bool:
        """Whether the font has a shape for the character."""
        return ord(character) in self.glyphs


@lru_cache(maxsize=4096)
def _width(face: Typeface, text: str, size: float) -> float:
    """A text is measured many times while it is fitted, in one size as in several."""
    return float(face.font.stringWidth(text, size))


PLAIN = Typeface("TreenailPlain", "DejaVuSansCondensed.ttf")
"""For text."""

BOLD = Typeface("TreenailBold", "DejaVuSansCondensed-Bold.ttf")
"""For headings."""

MONO = Typeface("TreenailMono", "DejaVuSansMono-Bold.ttf")
"""For numbers and codes."""

FACES = {"plain": PLAIN, "bold": BOLD, "mono": MONO}


def printable(text: str, face: Typeface, longest: int = LONGEST_TEXT) -> str:
    """The text as one line that the face can print, in the order in which the eye meets it.

    Line breaks and control characters become blanks, marks that turn the reading direction are left
    out, characters that the face lacks become SUBSTITUTE. Text in scripts that run from right to
    left is put in visual order (Unicode Bidirectional Algorithm, UAX #9), Arabic letters joined.
    """
    if text.isascii() and text.isprintable() and len(text) <= longest:
        return " ".join(text.split())
    line = one_line(text, longest)
    if any(unicodedata.bidirectional(character) in _RIGHT_TO_LEFT for character in line):
        line = _in_visual_order(line)
    if all(ord(character) in face.glyphs for character in line):
        return line
    return "".join(c if ord(c) in face.glyphs else SUBSTITUTE for c in line if not _variation(c))


def unprintable_characters(text: str, face: Typeface) -> tuple[str, ...]:
    """The characters of a text that `printable` has to substitute, each once, in order."""
    line = one_line(text, LONGEST_TEXT)
    return tuple(dict.fromkeys(c for c in line if not face.covers(c) and not _variation(c)))


def _variation(character: str) -> bool:
    """Whether it only chooses a style of the character before it (variation selectors)."""
    return 0xFE00 <= ord(character) <= 0xFE0F


def _in_visual_order(line: str) -> str:
    import arabic_reshaper  # type: ignore[import-untyped]  # ships no types
    from bidi import get_display  # type: ignore[import-untyped]  # ships no types

    return str(get_display(arabic_reshaper.reshape(line)))
