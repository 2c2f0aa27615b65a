"""Brings the typefaces that are embedded in every PDF, and text that they can print.

DejaVu Sans Condensed, upright and bold, and DejaVu Sans Mono Bold (licence and origin lie beside
the files in typefaces/). They cover Latin with diacritics, Cyrillic, Greek and more. In the mono
face a zero has a dot in it and is told from the letter O, so numbers and check characters use it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
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


@dataclass(frozen=True)
class Typeface:
    """One registered font: its name for the canvas, what characters it has, and its file."""

    name: str
    glyphs: Mapping[int, int]
    measure: Any
    file: Path

    def width(self, text: str, size: float) -> float:
        """How wide the text runs in that size, in points."""
        return float(self.measure(text, size))

    def covers(self, character: str) -> bool:
        """Whether the font has a shape for the character."""
        return ord(character) in self.glyphs


@dataclass(frozen=True)
class Typefaces:
    """The faces of a page: `plain` for text, `bold` for headings, `mono` for numbers and codes."""

    plain: Typeface
    bold: Typeface
    mono: Typeface


def load_typefaces() -> Typefaces:
    """Register the fonts with the PDF library, once a program run, and return them."""
    return Typefaces(
        plain=_registered("TreenailPlain", "DejaVuSansCondensed.ttf"),
        bold=_registered("TreenailBold", "DejaVuSansCondensed-Bold.ttf"),
        mono=_registered("TreenailMono", "DejaVuSansMono-Bold.ttf"),
    )


def _registered(name: str, file_name: str) -> Typeface:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    if name not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(name, str(_FOLDER / file_name)))
    font = pdfmetrics.getFont(name)
    return Typeface(name, font.face.charToGlyph, partial(font.stringWidth), _FOLDER / file_name)


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
