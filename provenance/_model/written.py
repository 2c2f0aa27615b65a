"""Reads how a length was written: its marks and units, what it says, how finely it was read."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from provenance._base.errors import UnreadableValue
from provenance._model.measures import MM_PER

LONGEST = 60
UNIT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(('"', "in", "ins", "inch", "inches"), "in"),
        **dict.fromkeys(("'", "ft", "foot", "feet"), "ft"),
        **dict.fromkeys(("yd", "yds", "yard", "yards"), "yd"),
        **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
        **dict.fromkeys(
            ("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"
        ),
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    }
)
# a larger unit may be followed by the next smaller one: 12 ft 6 in, 1 m 20 cm
NEXT_SMALLER: Mapping[str, str] = MappingProxyType({"yd": "ft", "ft": "in", "m": "cm", "cm": "mm"})
# what may stand between 12' and 6"
JOINT = re.compile(r"\s*(?:,|-|and\b|&)?\s*")
_PIECE = re.compile(
    r"\s*(?:(?:([0-9]+)(?:\s+|-))?([0-9]+)/([0-9]+)|([0-9][0-9.,]*|[.,][0-9]+))"
    r"\s*(?:([a-z]+)\.?|(['\"]))?"
)
_FEET_DASH_INCHES = re.compile(r"(-?)([0-9]+)-([0-9]+)(?:[ -]([0-9]+/[0-9]+))?")
_STORED = Fraction(1, 2000)
"""Half of the thousandth of a millimeter to which lengths are stored."""

_FEET_MARKS = "′’‘ʹʼ´`‛"
_INCH_MARKS = "″”“ʺ˝„‟"
_DASHES = "‐‑‒–—−"
_SUPERSCRIPT = "⁰¹²³⁴⁵⁶⁷⁸⁹"
_SUBSCRIPT = "₀₁₂₃₄₅₆₇₈₉"
_RAISED_FRACTION = re.compile(rf"([{_SUPERSCRIPT}]+)[⁄/]([{_SUBSCRIPT}]+)")
_SAME_MARKS = str.maketrans(
    {
        **dict.fromkeys(_FEET_MARKS, "'"),
        **dict.fromkeys(_INCH_MARKS, '"'),
        **dict.fromkeys(_DASHES, "-"),
        "⁄": "/",
    }
)


def _fraction_spelt_out(character: str) -> str:
    """' 5/8' for '⅝'; other characters as they are."""
    if unicodedata.category(character) != "No":
        return character
    spelt = unicodedata.normalize("NFKD", character)
    return f" {spelt}" if "⁄" in spelt else character


def plain_text(value: object) -> str:
    """The cell's text with one kind of quote, dash, blank and fraction; at most 60 characters.

    >>> plain_text("7½″ – 6’")
    '7 1/2" - 6\\''
    """
    text = "" if value is None else str(value)
    if len(text) > LONGEST:
        raise UnreadableValue(
            text[:LONGEST] + "…", f"is longer than the {LONGEST} characters of a number"
        )
    text = _RAISED_FRACTION.sub(
        lambda match: (
            " "
            + "".join(str(_SUPERSCRIPT.index(digit)) for digit in match[1])
            + "/"
            + "".join(str(_SUBSCRIPT.index(digit)) for digit in match[2])
        ),
        text,
    )
    text = "".join(map(_fraction_spelt_out, text)).translate(_SAME_MARKS)
    text = " ".join(text.split())
    # two single marks are how a double one is typed
    return text.replace("''", '"')


@dataclass(frozen=True)
class Reading:
    """A length as it was written, with its unit, and the division in mm to which it was read."""

    text: str
    step: Fraction


def reading(written: str, value: str, unit: str) -> Reading | None:
    """What was written, where it says the length `value` (in `unit`) that was stored for it.

    A text without a unit gets the one with which it says that: the heading of its column had it.
    None for a text that says something else, and for digits beyond what is stored, which nobody
    reads from a rule.

    >>> reading("11 3/8", "28.8925", "cm").text
    '11 3/8 in'
    >>> reading("11 3/8", "28.9", "cm") is None
    True
    """
    number = decimal_fraction(value)
    if number is None:
        return None
    mm = abs(number) * MM_PER[unit]
    said = " ".join(written.split())
    for text in _spellings(said):
        for length, one in _lengths(text, tuple(MM_PER) if mm else ()):
            if abs(length - mm) <= _STORED and one.step >= 2 * _STORED:
                return one
    return None


def decimal_fraction(text: str) -> Fraction | None:
    """The number in a cell of a table, exact; None for anything else."""
    return Fraction(text) if re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", text) else None


def step_of(written: str, unit: str = "") -> Fraction | None:
    """The division in mm that a reading shows; `unit` is that of its column, None if none tells.

    >>> step_of("12' 6 1/2\\"") == MM_PER["in"] / 2, step_of("3.82 m"), step_of("3.82")
    (True, Fraction(10, 1), None)
    """
    found = _lengths(written, (unit,) if unit in MM_PER else ())
    return next((one.step for _, one in found), None)


def _spellings(written: str) -> Iterator[str]:
    """The text, and what it says in a column of feet and inches: 12-6 1/2."""
    yield written
    if feet := _FEET_DASH_INCHES.fullmatch(written):
        yield f"{feet[1]}{feet[2]}' {feet[3]}{' ' + feet[4] if feet[4] else ''}\""


def _lengths(written: str, units: Collection[str]) -> Iterator[tuple[Fraction, Reading]]:
    """Every length in mm, its sign apart, that a text may say: by its decimal mark and, where none
    is written, by the unit of its column.
    """
    try:
        text = plain_text(written).lower().removeprefix("-").strip()
    except UnreadableValue:
        return
    for mark, group in (".,", ",."):
        pieces = _pieces(text, mark, group)
        names_unit = any(unit for _, _, unit in pieces)
        if len(pieces) > 1 and not names_unit:
            continue
        for column in ("",) if names_unit else units:
            if (length := _added(pieces, column)) is not None:
                full = written if names_unit else f"{written} {column}"
                yield length[0], Reading(full, length[1])


def _pieces(text: str, mark: str, group: str) -> list[tuple[Fraction, Fraction, str]]:
    """Number, its division and unit ('' for none) of each piece; none of what is no length."""
    found = []
    place = 0
    while piece := _PIECE.match(text, place):
        whole, over, under, decimal, word, sign = piece.groups()
        unit = UNIT_WORDS.get(word or sign or "", "")
        if (word and not unit) or (under and not int(under)):
            return []
        if under:
            part = Fraction(1, int(under))
            found.append((int(whole or 0) + int(over) * part, part, unit))
        else:
            plain = decimal.replace(group, "").replace(mark, ".")
            if plain.count(".") > 1 or not re.fullmatch(_grouped(mark, group), decimal):
                return []
            places = len(plain.partition(".")[2])
            found.append((Fraction(f"0{plain.rstrip('.')}"), Fraction(1, 10**places), unit))
        place = piece.end()
        joint = JOINT.match(text, place)
        if joint is not None and joint.end() < len(text):
            place = joint.end()
    return found if place >= len(text.rstrip()) else []


def _grouped(mark: str, group: str) -> str:
    mark, group = re.escape(mark), re.escape(group)
    return rf"(?:[0-9]+|[1-9][0-9]{{0,2}}(?:{group}[0-9]{{3}})+)?(?:{mark}[0-9]*)?"


def _added(
    pieces: Sequence[tuple[Fraction, Fraction, str]], column: str
) -> tuple[Fraction, Fraction] | None:
    """The length in mm and its last division, where each unit is the next smaller one."""
    total, step, before = Fraction(0), Fraction(0), ""
    for number, division, word in pieces:
        unit = word or (NEXT_SMALLER.get(before, "") if before else column)
        if not unit or (before and NEXT_SMALLER.get(before) != unit):
            return None
        total, step, before = total + number * MM_PER[unit], division * MM_PER[unit], unit
    return (total, step) if pieces else None
