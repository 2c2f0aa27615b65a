"""Knows the words of the trade and of plain instructions, so that the others stand out."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache, lru_cache
from typing import Any

from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._bundle.redaction.shipped import shipped_models

_WORD = re.compile(r"[^\W\d_]+")
_LISTS = ("form_words.yaml", "plain_words.yaml", "wood_names.yaml")


@cache
def known_words() -> frozenset[str]:
    """The words of the shipped schemas, lists and profiles, in small letters."""
    found: set[str] = set()
    models = shipped_models()
    for model in (models.core, *models.profiles.values()):
        for table in model.tables.values():
            found.update(_words((table.title, table.description)))
            for one in table.fields:
                found.update(_words((one.title, one.description, one.synonyms)))
        for vocabulary in model.vocabularies.values():
            for term in vocabulary.terms:
                found.update(_words((term.code, term.label, term.definition, term.synonyms)))
        found.update(_words((model.description, model.cautions)))
    for name in _LISTS:
        found.update(_words(read_yaml(shipped("schemas") / name)))
    return frozenset(found)


def _words(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield from (one.casefold() for one in _WORD.findall(value))
    elif isinstance(value, dict):
        yield from _words(list(value) + list(value.values()))
    elif isinstance(value, list | tuple):
        for one in value:
            yield from _words(one)


@lru_cache(maxsize=1 << 16)
def unknown_words(text: str) -> tuple[tuple[int, int], ...]:
    """Where in a text the words stand that are in no list of the program.

    A word beside its plain plural counts as the same.
    """
    known = known_words()
    return tuple(
        match.span()
        for match in _WORD.finditer(text)
        if (word := match[0].casefold()) not in known
        and word.removesuffix("s") not in known
        and word + "s" not in known
    )
