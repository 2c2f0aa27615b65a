"""Finds e-mail addresses, web handles and telephone numbers in texts by their form."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from provenance._disclosure.common_words import CommonWords, common_words
from provenance._disclosure.flat import letters_of
from provenance._disclosure.hits import Hit
from provenance._disclosure.plain_text import plain

EMAIL = "an e-mail address"
HANDLE = "a web handle"
TELEPHONE = "a telephone number"
_AT = r"\s?(?:@|[\(\[{<]\s*(?:at|@)\s*[\)\]}>])\s?"
_DOT = r"\s?(?:\.|[\(\[{<]\s*(?:dot|\.)\s*[\)\]}>])\s?|\sdot\s"
_EMAIL = re.compile(
    rf"(?i)(?<![\w.])[\w+%-]+(?:(?:\.|\sdot\s)[\w+%-]+)*"
    # 'at' stands for the sign only in brackets, or where a dot is written out as well
    rf"(?:(?:{_AT})[\w-]+(?:{_DOT})|\sat\s[\w-]+(?:\s?[\(\[{{<]\s*dot\s*[\)\]}}>]\s?|\sdot\s))"
    rf"(?!(?:of|on|in|and|for|with|is|at|the|to)(?![\w-]))[^\W\d_][\w-]+(?:(?:\.|\sdot\s)[^\W\d_]{{2,}})*"
)
_HANDLE = re.compile(r"(?<![\w.@])@([^\W\d_][\w.]{2,})")
_CHAIN = re.compile(
    r"(?<![\w.,])(?<![\w][-/])\+?\(?[0-9](?:[ ()./-]{0,3}[0-9])+(?![\w])(?![.,][0-9])"
)
_FILLER = r"(?:\.|:|\s|no\.?|nr\.?|number|him|her|them|us|on|at|=|-){0,8}"
_TELEPHONE_BEFORE = re.compile(
    r"(?i)(?:(?<![^\W_])(?:tel|telephone|t[eé]l[eé]phone|telefon|tel[eé]fono|phone|ph|mobile|mob|"
    rf"handy|cellphone|fax|whatsapp|sms|mob[ií]l|m[oó]vil|teléf|тел){_FILLER}|[☎📞📱✆]\s?)$"
)
_CALL_BEFORE = re.compile(rf"(?i)(?<![^\W_])(?:call|calls|cell|text|signal){_FILLER}$")
_DATE = re.compile(
    r"(?:[0-9]{1,2}[-./][0-9]{1,2}[-./](?:[0-9]{2}){1,2}"
    r"|[0-9]{4}[-./][0-9]{1,2}[-./][0-9]{1,2})(?:[ T-].*)?"
)
LEAST_DIGITS, MOST_DIGITS = 7, 15
"""As ITU-T E.164 has them, from the shortest with a country's code on."""


class ContactNet:
    """Searches texts for ways to reach somebody, whoever it is."""

    def __init__(self, common: CommonWords | None = None) -> None:
        self._common = common or common_words()

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """All addresses and numbers in each text."""
        return [list(self._hits_in(text)) for text in texts]

    def _hits_in(self, text: str) -> Iterator[Hit]:
        read = plain(text)
        low = read.text.lower()
        if "@" in low or ("at" in low and "dot" in low) or re.search(r"[\[({<]\s*at", low):
            for match in _EMAIL.finditer(read.text):
                yield Hit(*read.span(*match.span()), EMAIL)
            for match in _HANDLE.finditer(read.text):
                if letters_of(match[1]) not in self._common:
                    yield Hit(*read.span(*match.span()), HANDLE)
        for match in _CHAIN.finditer(read.text):
            if is_telephone(match[0], read.text[max(match.start() - 24, 0) : match.start()]):
                yield Hit(*read.span(*match.span()), TELEPHONE)


def is_telephone(written: str, before: str = "") -> bool:
    """Whether figures are written as a telephone number is; `before` is what stands before them.

    >>> is_telephone("+44 1632 960001"), is_telephone("2024-06-03"), is_telephone("0208 0185 0123")
    (True, False, False)
    """
    groups = re.findall("[0-9]+", written)
    digits = "".join(groups)
    marks = set(re.sub("[0-9]", "", written))
    is_decimal = len(groups) == 2 and marks <= {"."}
    if len(digits) > MOST_DIGITS + 2 or is_decimal:
        return False
    if _TELEPHONE_BEFORE.search(before) and len(digits) >= 5:
        return True
    if _CALL_BEFORE.search(before) and len(digits) >= 6 and not _DATE.fullmatch(written):
        return True
    if len(digits) < LEAST_DIGITS or _DATE.fullmatch(written):
        return False
    is_row = _is_row(groups)
    if written.startswith(("+", "(+")):
        return True
    if digits[0] == "0":
        abroad = digits.startswith("00")
        return not is_row and written[1] != "." and (abroad or 9 <= len(digits) <= 12)
    sizes = [len(one) for one in groups]
    american = sizes == [3, 3, 4] or (sizes == [1, 3, 3, 4] and digits[0] == "1")
    return american and bool(marks & set("-.()"))


def _is_row(groups: Sequence[str]) -> bool:
    """Whether figures are a row of measurements or numbers and not one number in groups."""
    sizes = {len(one) for one in groups}
    steps = {int(after) - int(before) for before, after in pairwise(groups)}
    is_counted = len(groups) > 2 and steps == {1}
    is_even = len(groups) > 1 and (sizes == {4} or (sizes == {3} and len(groups) > 3))
    return is_counted or is_even or len(groups) > 6
