"""Says marked texts in the language of a record, out of message catalogues.

A text is marked where it is written, `_("Tape distances")`, and said in English unless whoever
writes a paper speaks another language meanwhile: `with speaking(model.language)`. Findings, codes,
names of columns and what other programs read are never marked. Format: GNU gettext, read by the
standard library; the catalogues are made by `make catalogues`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations, NullTranslations
from typing import Any

from provenance._base.errors import UnknownName
from provenance._base.resources import shipped

SOURCE = "en"
"""The language of schemas and of marked texts."""
UNREVIEWED = frozenset({"es"})
"""Languages whose catalogue no native speaker has read yet, which every paper says."""

_OWN_NAMES = {"en": "English", "es": "Español"}
_SPOKEN: ContextVar[str] = ContextVar("spoken", default=SOURCE)


@cache
def available_languages() -> tuple[str, ...]:
    """The languages in which forms and labels can be had, as ISO 639-1 has them; English first."""
    folder = shipped("templates") / "languages"
    return (SOURCE, *sorted(path.stem for path in folder.glob("*.mo")))


def named_languages() -> dict[str, str]:
    """The available languages with what each calls itself."""
    return {one: _OWN_NAMES.get(one, one) for one in available_languages()}


@cache
def catalogue(language: str) -> NullTranslations:
    """The catalogue of a language; raises UnknownName for one that there is none of."""
    if language not in available_languages():
        raise UnknownName(
            f"the language of this record is '{language}', and there are forms in "
            f"{', '.join(available_languages())}; update the program, or choose one of these"
        )
    if language == SOURCE:
        return NullTranslations()
    with (shipped("templates") / "languages" / f"{language}.mo").open("rb") as stream:
        return GNUTranslations(stream)


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Say marked texts in that language until the block ends; raises as `catalogue`."""
    catalogue(language)
    before = _SPOKEN.set(language)
    try:
        yield
    finally:
        _SPOKEN.reset(before)


def language_spoken() -> str:
    """The language in which marked texts are said now."""
    return _SPOKEN.get()


def N_(text: str) -> str:  # noqa: N802  # the name by which translators' tools know it
    """Marks a text that is said later, with `_`."""
    return text


def _(text: str) -> str:
    """A marked text in the language that is spoken now."""
    # the empty text is where a catalogue keeps the facts about itself
    return catalogue(_SPOKEN.get()).gettext(text) if text else ""


def ngettext(one: str, several: str, number: int) -> str:
    """A marked text for a number of things, with its place {n} still to be filled."""
    return catalogue(_SPOKEN.get()).ngettext(one, several, number)


_NAMES = frozenset({"field", "fields", "codes", "kind"})
_LENGTHS = frozenset({"long", "short"})


def said_in_full(raw: Any, say: Callable[[str], str] = _) -> Any:
    """What a YAML file of sheets says, every text of it said; names and codes stay.

    A key is a text where it is more than one word in small letters.
    """
    if isinstance(raw, dict):
        return {
            say(key) if " " in key or key[:1].isupper() else key: value
            if key in _NAMES
            else said_in_full(value, say)
            for key, value in raw.items()
        }
    if isinstance(raw, list):
        return [said_in_full(one, say) for one in raw]
    return say(raw) if isinstance(raw, str) and raw not in _LENGTHS else raw


def unreviewed() -> str:
    """What the foot of a paper says about its translation; '' where nothing is to be said."""
    return _("Translation not reviewed by a native speaker") if _SPOKEN.get() in UNREVIEWED else ""
