"""Finds numbers that are withheld elsewhere, with their digits grouped and parted in any way."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from provenance._disclosure.flat import Wanted
from provenance._disclosure.hits import Hit
from provenance._disclosure.plain_text import PlainText, plain

LEAST_FIGURES = 4
"""So many figures are hardly met by chance; fewer count beside a word that says what they are."""
TELEPHONE_TAIL = 7
"""Whoever writes a telephone number may leave its country and its area out."""
SUBSCRIBER = 6
"""A part of a telephone number that can be called by itself has so many figures."""
MOST_DIGITS = 20
"""More digits are no number that anybody would dial, type or write on a form."""
LONGEST_ROW = 6
"""More groups of digits side by side are a row of measurements, and no number in parts."""
SHORTEST_LENGTH_M = 100
"""A shorter one is met too often when it is rounded."""
FEET_IN_A_METRE = Decimal("3.28084")
_NEAR = 30
_CHAIN = re.compile(r"[0-9]+(?:(?:[ .,'·_/-]|, ?|\) ?| ?\(| - |\.-)[0-9]+)*")
_EXPONENT = re.compile(r"(?<![0-9.,])[0-9]+(?:[.,][0-9]+)?[eE][-+]?[0-9]{1,2}(?![0-9])")
_LISTED = re.compile(r"[0-9]+(?:(?:[ ./()-]|\) | \()[0-9]+)*")
_METRES = re.compile(r"\s?(?:m|metres?|meters?)(?![^\W_])")
_FEET = re.compile(r"\s?(?:ft|feet|foot|'|′)(?![^\W_])")
_NO_DIGIT = re.compile("[^0-9]+")
_GROUP = re.compile("[0-9]+")
_CODE_CUES = frozenset({
    "alarm", "code", "codes", "combination", "combo", "door", "entry", "gate", "key",
    "keypad", "licence", "license", "lock", "padlock", "passcode", "password", "permit",
    "permission", "pin", "safe", "seal",
})  # fmt: skip
"""What stands before a number that opens something."""
_CALL_CUES = frozenset({"call", "cell", "fax", "mobile", "phone", "tel", "telephone"})
_UNIT = re.compile(r"\s?(?:mm|cm|dm|m|km|ft|in|yd|kg|%|°|['\"]|rings?|years?|yrs?|yr)(?![^\W_])")
_DATE = re.compile(
    r"[0-9]{4}[-./][0-9]{1,2}[-./][0-9]{1,2}|[0-9]{1,2}[-./][0-9]{1,2}[-./][0-9]{2,4}"
)
_MONTH = (
    r"jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|"
    r"oct(?:ober)?|nov(?:ember)?|dec(?:ember)?"
)
_YEAR_BEFORE = re.compile(
    r"(?i)(?:(?<![^\W_])(?:in|of|to|from|c|ca|circa|about|around|since|until|till|before|after|"
    r"between|and|dated?|felled|cut|built|rebuilt|renewed|repaired|burnt|year|ad|early|late|mid|"
    rf"spring|summer|autumn|fall|winter|outer|inner|pith|bark|ring|{_MONTH})\.?,?\s|"
    r"[0-9]{4}\s?[-–/]\s?|±\s?)$"
)
_YEAR_AFTER = re.compile(
    r"(?:s(?![^\W_])|\s?(?:[-–/]|to|and)\s?[0-9]{2,4}(?![0-9])|\s?[+]|"
    r"\s?(?:AD|BC|BCE|CE|BP|cal)(?![^\W_])|[pvrBLGc]{1,3}(?![^\W_])|-[0-9]{2}(?![0-9]))"
)


@dataclass(frozen=True)
class WithheldNumber:
    """A number as it was written, and the table and field that it is withheld in.

    A code (of a permit, gate or telephone) is told by its digits, any other number by its value.
    `cues` are words, in small letters, one of which must stand near a short one. A length in
    metres is told by what it is when rounded, or in feet, as well.
    """

    written: str
    field: str = ""
    cues: frozenset[str] = frozenset()
    is_code: bool = False
    is_length_m: bool = False


class NumberNet:
    """Searches texts for numbers that are withheld."""

    def __init__(self, numbers: Iterable[WithheldNumber]) -> None:
        self._codes: dict[str, list[WithheldNumber]] = defaultdict(list)
        self._values: dict[Decimal, list[WithheldNumber]] = defaultdict(list)
        self._tails: dict[str, WithheldNumber] = {}
        self._lengths: list[tuple[Decimal, WithheldNumber]] = []
        for number in numbers:
            digits = "".join(_GROUP.findall(plain(number.written).text))
            if number.is_code:
                if digits and (len(digits) >= LEAST_FIGURES or number.cues):
                    self._codes[digits].append(number)
                if TELEPHONE_TAIL <= len(digits) <= 15:
                    self._tails[digits[-TELEPHONE_TAIL:]] = number
                    # a zero for another area is not dialed from abroad
                    self._codes[digits.removeprefix("0")].append(number)
            elif (value := _value(number.written)) is not None and (
                number.cues or figures(value) >= LEAST_FIGURES
            ):
                self._values[value].append(number)
                if number.is_length_m and value >= SHORTEST_LENGTH_M:
                    self._lengths.append((value, number))
        # a telephone number may stand behind another country's way of dialing out
        self._longest = max(20, *map(len, self._codes)) if self._codes else 20
        wanted = [*self._codes, *self._tails, *map(_figures, self._values)]
        for length, _ in self._lengths:
            # whoever rounds it leaves its first figures
            for unit in (1, FEET_IN_A_METRE):
                wanted += [_figures(length * unit)[:3], _figures(length * unit + 1)[:3]]
        self._wanted = Wanted(wanted)

    def hits(self, texts: Sequence[str]) -> list[list[Hit]]:
        """Every withheld number in each text."""
        read = [plain(text) for text in texts]
        held = self._wanted.held_by([_NO_DIGIT.sub("", one.text) for one in read])
        return [
            list(self._hits_in(one)) if digits else []
            for one, digits in zip(read, held, strict=True)
        ]

    def _hits_in(self, read: PlainText) -> Iterator[Hit]:
        found: dict[tuple[int, int], str] = {}
        for chain in _CHAIN.finditer(read.text):
            found.update(self._in_chain(read.text, chain))
        for match in _EXPONENT.finditer(read.text):
            found.update(self._of_value(read.text, match.span(), _value(match[0])))
        for span, field in found.items():
            what = f"a number withheld in {field}" if field else "a number that is withheld"
            yield Hit(*read.span(*span), what)

    def _in_chain(self, text: str, chain: re.Match[str]) -> Iterator[tuple[tuple[int, int], str]]:
        start = chain.start()
        groups = [(start + one.start(), start + one.end()) for one in _GROUP.finditer(chain[0])]
        size = len(groups)
        is_row = size > LONGEST_ROW and any(last - first > 1 for first, last in groups)
        is_date = _DATE.fullmatch(chain[0]) is not None
        for i in range(size):
            digits = ""
            is_one = True
            for j in range(i, size):
                # in a row, numbers that stand beside one another are not parts of one
                is_one = is_one and (
                    not is_row or j == i or text[groups[j - 1][1] : groups[j][0]] in (".", ",")
                )
                digits += text[slice(*groups[j])]
                span = groups[i][0], groups[j][1]
                if len(digits) > self._longest:
                    break
                if is_one and digits in self._codes and not (is_date and (i, j) != (0, size - 1)):
                    yield from self._of_code(text, span, digits, is_row)
                if is_one and self._values and _is_apart(text, span):
                    for value in _values(text[slice(*span)]):
                        yield from self._of_value(text, span, value)
                if tail := self._tails.get(digits[-TELEPHONE_TAIL:]):
                    yield span, tail.field
                for code in _as_dialed(text, span[0], digits) & self._codes.keys():
                    yield span, self._codes[code][0].field

    def _of_code(
        self, text: str, span: tuple[int, int], digits: str, is_row: bool
    ) -> Iterator[tuple[tuple[int, int], str]]:
        first, last = span
        is_short = len(digits) <= LEAST_FIGURES
        if not _is_apart(text, span) or (is_short and (is_row or _UNIT.match(text, last))):
            return
        if text[first:last] == digits and _stands_as_year(text, first, last):
            return
        for number in self._codes[digits]:
            cues = number.cues | (_CODE_CUES if len(digits) == LEAST_FIGURES - 1 else frozenset())
            if len(digits) >= LEAST_FIGURES or _is_near(text, span, cues):
                yield span, number.field
                return

    def _of_value(
        self, text: str, span: tuple[int, int], value: Decimal | None
    ) -> Iterator[tuple[tuple[int, int], str]]:
        if value is None:
            return
        for number in self._values.get(value, ()):
            if figures(value) >= LEAST_FIGURES or _is_near(text, span, number.cues, behind=_NEAR):
                yield span, number.field
                return
        for length, number in self._lengths:
            if _is_rounded(value, length, text, span[1]):
                yield span, number.field


def codes_in(text: str, field: str, title: str = "") -> Iterator[WithheldNumber]:
    """The numbers in a withheld text that would give something away: of gates, permits, telephones.

    A year or a date is none, unless a word such as 'code' stands before it. `title` is that of the
    field, which may be such a word too.

    >>> [one.written for one in codes_in("gate 12, code 44-71; call 01632 960001; since 1987", "")]
    ['12', '44-71', '01632 960001', '960001']
    """
    read = plain(text).text
    told_by_title = _CODE_CUES.intersection(re.findall(r"[^\W\d_]+", title.lower()))
    for chain in _LISTED.finditer(read):
        clause = re.split(r"[,;.\n]", read[: chain.start()])[-1]
        before = re.findall(r"[^\W\d_]+", clause.lower())[-2:]
        cues = told_by_title | (_CODE_CUES | _CALL_CUES).intersection(before)
        written = chain[0]
        groups = _GROUP.findall(written)
        is_long = TELEPHONE_TAIL <= len("".join(groups)) <= MOST_DIGITS
        if _DATE.fullmatch(written) and not cues:
            continue
        if is_long or cues:
            yield WithheldNumber(written, field, cues, is_code=True)
        if read[: chain.start()].endswith("+"):
            for inside in _without_country("".join(groups)):
                if len(inside) < TELEPHONE_TAIL:
                    yield WithheldNumber(inside, field, is_code=True)
        for group in groups:
            is_year = len(group) == 4 and 1000 <= int(group) <= 2100 and group != text.strip()
            least = SUBSCRIBER if is_long and cues <= _CALL_CUES else LEAST_FIGURES
            if len(group) >= least and not is_year and not (cues and group == written):
                yield WithheldNumber(group, field, is_code=True)


def _as_dialed(text: str, first: int, digits: str) -> set[str]:
    """What a telephone number is within its area or country, where a zero or a plus says so."""
    if text[first - 1 : first] == "+" or digits.startswith("00"):
        return _without_country(digits)
    inside = digits.removeprefix("0")
    return {inside} if SUBSCRIBER <= len(inside) < len(digits) else set()


def _without_country(digits: str) -> set[str]:
    """What a telephone number is within its country, whose own code has 1 to 3 digits."""
    inside = digits.removeprefix("00")
    return {inside[size:] for size in (1, 2, 3) if len(inside) > size + LEAST_FIGURES}


def _is_rounded(value: Decimal, length_m: Decimal, text: str, last: int) -> bool:
    """Whether a number is a length with fewer decimals, or in feet, as the unit behind it says."""
    exponent = value.as_tuple().exponent
    step = Decimal(1).scaleb(min(exponent, 0)) if isinstance(exponent, int) else Decimal(0)
    if _FEET.match(text, last):
        return abs(value - length_m * FEET_IN_A_METRE) < step
    return abs(value - length_m) < step and (step < 1 or _METRES.match(text, last) is not None)


def figures(value: Decimal) -> int:
    """How many figures a number has between its first and last that is not zero.

    >>> figures(Decimal("1870")), figures(Decimal("18.705"))
    (3, 5)
    """
    return len(_figures(value))


def _figures(value: Decimal) -> str:
    return "".join(map(str, value.as_tuple().digits)).strip("0")


def _value(written: str) -> Decimal | None:
    """A number written as machines or crews write it, without its sign; None where it is none."""
    text = plain(written).text.strip().lstrip("+-").replace(",", ".")
    try:
        return abs(Decimal(text)).normalize()
    except InvalidOperation:
        return None


def _values(written: str) -> Iterator[Decimal]:
    """What digits with signs between them may mean: with a decimal sign, in thousands, or both."""
    parts = re.split(r"([^0-9]+)", written)
    groups, signs = parts[::2], parts[1::2]
    in_thousands = all(len(one) == 3 for one in groups[1:]) and len(groups[0]) <= 3
    if len(groups) == 1 or (in_thousands and len(set(signs)) == 1):
        yield Decimal("".join(groups)).normalize()
    if len(groups) > 1 and signs[-1] in (".", ",", "·", "'"):
        whole = groups[:-1]
        if len(whole) == 1 or (all(len(one) == 3 for one in whole[1:]) and len(whole[0]) <= 3):
            yield Decimal("".join(whole) + "." + groups[-1]).normalize()


def _is_apart(text: str, span: tuple[int, int]) -> bool:
    """Whether a number is no part of a longer decimal number."""
    first, last = span
    before, after = text[max(first - 2, 0) : first], text[last : last + 2]
    return not (re.search(r"[0-9]\.$", before) or re.match(r"\.[0-9]", after))


def _stands_as_year(text: str, first: int, last: int) -> bool:
    if last - first != 4 or not 1000 <= int(text[first:last]) <= 2100:
        return False
    before = _YEAR_BEFORE.search(text, max(first - 14, 0), first)
    return before is not None or _YEAR_AFTER.match(text, last) is not None


def _is_near(text: str, span: tuple[int, int], cues: frozenset[str], behind: int = 0) -> bool:
    first, last = span
    near = text[max(first - _NEAR, 0) : first] + " " + text[last : last + behind]
    return not cues.isdisjoint(re.findall(r"[^\W\d_]+", near.lower()))
