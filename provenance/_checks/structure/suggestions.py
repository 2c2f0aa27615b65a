"""Guesses what someone meant to write, from how near it is to what may be written."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable, Mapping

from provenance._model.schema import Vocabulary
from provenance._model.wood_names import species_meant, tells_genus

_LONGEST = 60
"""Characters; no one mistypes a code at greater length, and comparing takes time."""
_MOST_COMPARED = 30_000
"""Pairs of texts compared letter by letter; beyond it only spelling and blanks are looked past."""
_MOST_WOODS = 200
"""Different names of wood for which a guess is made."""


def spoken_codes(vocabulary: Vocabulary) -> dict[str, str]:
    """Every word for a code (the code, its label, its synonyms) with the code."""
    spoken: dict[str, str] = {}
    for term in vocabulary.terms:
        for word in (term.code, term.label, *term.synonyms):
            spoken.setdefault(word, term.code)
    return spoken


def codes_meant(
    values: Iterable[str], vocabulary: Vocabulary | None, listed: Collection[str]
) -> dict[str, str]:
    """As `did_you_mean`, for codes of which `listed` may be written; species go by their genus.

    Several codes are joined so that they can stand between quotes: "JUVI' or 'THPL".
    """
    if vocabulary is not None and tells_genus(vocabulary):
        shown = sorted(value for value in values if len(value) <= _LONGEST)[:_MOST_WOODS]
        codes = {
            value: [code for code in species_meant(value, vocabulary) if code in listed]
            for value in shown
        }
        return {value: "' or '".join(found) for value, found in codes.items() if found}
    words = {code: code for code in listed} | (spoken_codes(vocabulary) if vocabulary else {})
    return did_you_mean(values, {word: code for word, code in words.items() if code in listed})


def did_you_mean(values: Iterable[str], spoken: Mapping[str, str]) -> dict[str, str]:
    """What each value was most likely meant to be; values that resemble nothing are left out.

    `spoken` maps words to what should be written for them.

    >>> did_you_mean(["lintl", "Door  frame"], {"lintel": "lintel", "door frame": "door_frame"})
    {'lintl': 'lintel', 'Door  frame': 'door_frame'}
    """
    plain = {_plain(word): code for word, code in reversed(list(spoken.items()))}
    words = list(plain)
    budget = _MOST_COMPARED
    meant: dict[str, str] = {}
    # in order, so that the same values get a guess whatever order they came in
    for value in sorted(values):
        if len(value) > _LONGEST or not value.strip():
            continue
        spelling = _plain(value)
        if spelling in plain:
            meant[value] = plain[spelling]
        elif budget >= len(words):
            budget -= len(words)
            near = difflib.get_close_matches(spelling, words, n=1, cutoff=0.75)
            if near:
                meant[value] = plain[near[0]]
    return meant


def _plain(word: str) -> str:
    """A word without what people change most: capitals, blanks, hyphens and underscores."""
    return "".join(word.casefold().replace("_", " ").replace("-", " ").split())
