"""Tells a value that was written with a doubt in it from one that was written plainly.

A doubt is a question mark, brackets round the whole, a word such as 'ca.' before it, or a range.
Only dates have a notation for it (EDTF); everywhere else the cell is refused and its text kept.
"""

from __future__ import annotations

import re

from provenance._base.errors import UnreadableValue

_WORDS = (
    r"(?:ca|circa|about|approx(?:\.|imately)?|roughly|perhaps|maybe|probably|prob\.|poss\.|"
    r"possibly|etwa|ungefähr|wohl|vermutlich|env\.|environ)"
)
_BEFORE = re.compile(rf"^(?:[~≈]|c\.(?=\s*[0-9])|c\s+(?=[0-9])|{_WORDS}(?![^\W\d_]))\.?\s*", re.I)
_AFTER = re.compile(r"\s*(?:\(\s*\?+\s*\)|\[\s*\?+\s*\]|\?+)$")
_BRACKETS = re.compile(r"[\[(<{]([^\[\](){}<>]*)[\])>}]")

# in a size or a number every one of these is a doubt, wherever it stands
_IN_NUMBERS = re.compile(
    rf"{_BEFORE.pattern}|^[±<>≤≥]|[?~±]|[0-9]\s*\+|\bto\b|\bor\b"
    r"|[0-9\"]\s+-\s*[0-9]|\b(?:in|cm|mm|m)\.?\s*-\s*[0-9]",
    re.I,
)
_BARE_RANGE = re.compile(r"[0-9.,]+-[0-9.,]+(?:\s*[a-z'\"].*)?", re.I)


def without_doubt(text: str) -> str:
    """The text without question marks, brackets and words of doubt round it.

    >>> without_doubt("(14?)"), without_doubt("prob. pine"), without_doubt("14")
    ('14', 'pine', '14')
    """
    before, now = "", text.strip()
    while before != now:
        before = now
        if whole := _BRACKETS.fullmatch(now):
            now = whole[1].strip()
        now = _AFTER.sub("", _BEFORE.sub("", now)).strip()
    return now


def in_brackets(text: str) -> bool:
    """Whether brackets stand round the whole text."""
    return _BRACKETS.fullmatch(text) is not None


def refuse_doubt(text: str, shown: str, what_it_is: str = "value") -> None:
    """Raise UnreadableValue when a number, size or angle is a range or comes with a doubt.

    `text` is the cell as `plain_text` gives it, `shown` as it was written.
    """
    if in_brackets(text):
        what = "is in brackets, which means doubt"
    elif _IN_NUMBERS.search(text) or (_BARE_RANGE.fullmatch(text) and "/" not in text):
        what = f"is a range or an estimate, not one {what_it_is}"
    else:
        return
    raise UnreadableValue(
        shown, f"{what}; write the best single value here and put the doubt into the remarks"
    )
