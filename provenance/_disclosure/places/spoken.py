"""Turns number words into figures: 'thirty-seven degrees twenty-eight' is as good as a number."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from provenance._disclosure.plain_text import PlainText

_DEGREES = "degree degrees minute minutes second seconds point decimal dot comma "
_WORDS = {
    "en": _DEGREES + "zero oh one two three four five six seven eight nine ten twenty thirty forty "
    "fifty sixty seventy eighty ninety hundred thousand north south east west",
    "de": "grad minuten sekunden komma punkt null ein eins zwei zwo drei vier fünf sechs sieben "
    "acht neun hundert nord süd ost west",
    "fr": "degré degrés minutes secondes virgule point zéro un deux trois quatre cinq six sept "
    "huit neuf vingt trente quarante cinquante soixante cent nord sud est ouest",
    "es": "grado grados minutos segundos coma punto cero uno dos tres cuatro cinco seis siete "
    "ocho nueve treinta cuarenta cincuenta sesenta setenta ochenta noventa cien ciento norte sur",
    "it": "gradi minuti secondi virgola punto zero uno due tre quattro cinque sei sette otto nove "
    "cento nord sud est ovest",
    "pt": "grau graus minutos segundos vírgula ponto zero um dois três quatro cinco seis sete oito "
    "nove vinte trinta quarenta cinquenta sessenta setenta oitenta noventa cento norte sul",
    "nl": "graden minuten seconden komma punt nul een twee drie vier vijf zes zeven acht negen "
    "honderd noord zuid oost west",
}
"""Language that text2num knows → words of which a position told in words has two at least."""
_TELLING = {language: frozenset(words.split()) for language, words in _WORDS.items()}
FEWEST = 2
_WORD = re.compile(r"[^\W\d_]+")
_TOKEN = re.compile(r"[^\W\d_]+|[0-9]+|.", re.DOTALL)
_POINT = re.compile(
    r"(?<=[0-9])\s(?:point|dot|decimal|comma|komma|punkt|punt|punto|coma|virgule|virgola|vírgula"
    r"|ponto)\s(?=[0-9])",
    re.IGNORECASE,
)


class _Word:
    """A word as text2num takes it."""

    def __init__(self, text: str) -> None:
        self._text = "zero" if text.lower() == "oh" else text

    def text(self) -> str:
        return self._text

    def nt_separated(self, previous: _Word) -> bool:
        return False

    def not_a_number_part(self) -> bool:
        return False


def in_figures(text: str) -> Iterator[PlainText]:
    """The text with its number words as figures, once for each language that it could be in.

    `places` are those of the text given, which is in the form that `plain` gives.
    """
    words = _WORD.findall(text.lower())
    seen = {text}
    for language, telling in _TELLING.items():
        if sum(word in telling for word in words) >= FEWEST:
            turned = _turned(text, language)
            if turned.text not in seen:
                seen.add(turned.text)
                yield turned


def _turned(text: str, language: str) -> PlainText:
    from text_to_num import find_numbers

    tokens = list(_TOKEN.finditer(text))
    letters: list[str] = []
    places: list[int] = []
    done = 0
    one_by_one = False
    for one in find_numbers([_Word(token[0]) for token in tokens], language, threshold=0):
        start, end = tokens[one.start].start(), tokens[one.end - 1].end()
        number = str(one.text).replace(",", ".")
        is_single = len(number.partition(".")[0]) == 1
        between = text[tokens[done].start() : start] if done < len(tokens) else ""
        # figures said one after the other, as in 'three seven point four eight'
        goes_on = one_by_one and is_single and between == " "
        if not goes_on:
            letters += between
            places += range(start - len(between), start)
        letters += number
        places += [start] * (len(number) - 1) + [end - 1]
        one_by_one = goes_on or is_single or "." in number
        done = one.end
    rest = tokens[done].start() if done < len(tokens) else len(text)
    letters += text[rest:]
    places += range(rest, len(text))
    return _pointed("".join(letters), places)


def _pointed(text: str, places: Sequence[int]) -> PlainText:
    """'37 point 48' as 37.48."""
    letters: list[str] = []
    kept: list[int] = []
    done = 0
    for match in _POINT.finditer(text):
        letters += [*text[done : match.start()], "."]
        kept += [*places[done : match.start()], places[match.start()]]
        done = match.end()
    return PlainText("".join([*letters, *text[done:]]), [*kept, *places[done:]])
