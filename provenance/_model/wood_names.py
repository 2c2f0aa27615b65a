"""Finds the species that a name of wood may mean, by genus and common name."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache, lru_cache

from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._model.schema import Term, Vocabulary, vocabulary_from

MOST_NAMED = 6
"""More species than this are no suggestion."""
_SLIP = 0.85
"""How alike a mistyped word and the one that is meant are (1 is the same)."""
_NOT_TOLD = frozenset(
    {"cf", "sp", "spp", "species", "poss", "possibly", "prob", "probably", "perhaps", "maybe"}
)


def tells_genus(vocabulary: Vocabulary) -> bool:
    """Whether the list is one of species."""
    return any("genus" in term.attributes for term in vocabulary.terms)


def species_meant(word: str, vocabulary: Vocabulary, *, slips: bool = True) -> tuple[str, ...]:
    """The codes that a name may mean, the likeliest first; () when the list has none.

    The name may be a code, a botanical name or its short form, a genus, or a common name. Where it
    tells only the genus, that is the code of the genus if the list has one, else its species.
    Without `slips` a mistyped code or common name means nothing.
    """
    words = [one for one in _words(word) if one not in _NOT_TOLD]
    name = " ".join(words)
    terms = [term for term in vocabulary.terms if term.attributes.get("genus")]
    if not name:
        return ()
    for found in (
        [term for term in vocabulary.terms if name in _names(term)],
        _botanical(words, terms),
        _by_other_names(words, terms),
        _by_common_name(words, terms),
        _mistyped(name, terms) if slips else [],
    ):
        if found is not None and (codes := _few(found)):
            return codes
        if found is None:
            return ()
    return ()


def _few(terms: Iterable[Term]) -> tuple[str, ...]:
    codes = tuple(dict.fromkeys(term.code for term in terms))
    return codes if len(codes) <= MOST_NAMED else ()


@lru_cache(maxsize=8192)
def _words(text: str) -> tuple[str, ...]:
    """Words in small letters without accents, marks and the s of the plural."""
    bare = unicodedata.normalize("NFKD", text.casefold().replace("ß", "ss"))
    bare = "".join(sign for sign in bare if not unicodedata.combining(sign))
    return tuple(
        word[:-1] if len(word) > 3 and word.endswith("s") and word[-2] not in "usi" else word
        for word in re.findall(r"[a-z0-9]+", bare)
    )


@lru_cache(maxsize=8192)
def _plain(text: str) -> str:
    return " ".join(_words(text))


def _names(term: Term) -> tuple[str, ...]:
    return tuple(_plain(one) for one in (term.code, term.label, *term.synonyms))


def _genus(term: Term) -> str:
    return _plain(term.attributes["genus"])


def _epithet(term: Term) -> str:
    """The second word of the botanical name; '' where the species is not told."""
    second = _words(term.label)[1:2]
    return second[0] if second and second[0] not in _NOT_TOLD else ""


def _of_one_genus(terms: Iterable[Term]) -> list[Term]:
    """The terms, or none of them when they are of several genera."""
    found = list(terms)
    return found if len({_genus(term) for term in found}) == 1 else []


def _of_genus(genus: str, terms: list[Term]) -> list[Term]:
    """The term that stands for a genus as a whole, or else its species."""
    own = [term for term in terms if _genus(term) == genus]
    return [term for term in own if re.search(r"\bspp?\.?$", term.label)] or own


def _botanical(words: list[str], terms: list[Term]) -> list[Term] | None:
    """By genus and epithet, `Pinus pond.`, `P. ponderosa` or `pipo`; [] when it is no such name.

    None when it is a botanical name whose genus the list does not have.
    """
    genera = sorted({_genus(term) for term in terms})
    first, rest = words[0], words[1:]
    if len(first) == 1 and rest:
        own = [term for term in terms if _genus(term)[0] == first]
        close = difflib.get_close_matches(rest[0], map(_epithet, own), n=1, cutoff=_SLIP)
        return _of_one_genus(term for term in own if _epithet(term) in close)
    if len(first) == 4 and not rest:
        begun = [term for one in genera if one.startswith(first) for term in _of_genus(one, terms)]
        return _of_one_genus([term for term in terms if _short_form(term) == first] + begun)
    near = [one for one in genera if one == first] or [
        one
        for one in difflib.get_close_matches(first, genera, n=1, cutoff=_SLIP)
        if one[0] == first[0]
    ]
    if not near:
        # 'Nyssa sylvatica' has an epithet of the list, but nothing else
        return None if rest and rest[0] in map(_epithet, terms) else []
    if rest:
        epithets = {_epithet(term): term for term in terms if _genus(term) == near[0]}
        begun = [epithets[one] for one in epithets if one and one.startswith(rest[0])]
        if begun:
            return begun
        close = difflib.get_close_matches(rest[0], epithets, n=1, cutoff=_SLIP)
        if close:
            return [epithets[close[0]]]
    return _of_genus(near[0], terms)


def _short_form(term: Term) -> str:
    """Two letters of the genus and two of the epithet."""
    return _genus(term)[:2] + _epithet(term)[:2] if _epithet(term) else ""


@cache
def shipped_species() -> Vocabulary:
    """The list of species that the program comes with."""
    return vocabulary_from(read_yaml(shipped("schemas") / "vocabularies" / "species.yaml"))


@cache
def _other_names() -> Mapping[str, str]:
    """Common name → genus, of names that the list of species does not tell."""
    raw = read_yaml(shipped("schemas") / "wood_names.yaml")
    return {_plain(name): _plain(genus) for genus, names in raw.items() for name in names}


def common_names(term: Term) -> tuple[str, ...]:
    """What a species is called in everyday use, those names of its genus too that stand apart."""
    genus = _genus(term) if term.attributes.get("genus") else ""
    others = (name for name, of in _other_names().items() if of == genus)
    return (*term.synonyms, *others)


def _by_other_names(words: list[str], terms: list[Term]) -> list[Term] | None:
    """By the names of schemas/wood_names.yaml; None when the list does not have that genus."""
    others = _other_names()
    genus = next((others[end] for end in _ends(words) if end in others), "")
    return (_of_genus(genus, terms) or None) if genus else []


def _ends(words: list[str]) -> list[str]:
    """The name, then without its first word, and so on: 'old tulip poplar', 'tulip poplar', …"""
    return [" ".join(words[place:]) for place in range(len(words))]


def _by_common_name(words: list[str], terms: list[Term]) -> list[Term]:
    """Species whose common name has all these words; failing that, the genus of the last one."""
    having = [
        term
        for term in terms
        if any(set(words) <= set(name.split()) for name in map(_plain, term.synonyms))
    ]
    if having and _few(having):
        return having
    called = [term for term in terms if words[-1] in map(_plain, term.synonyms)]
    if not called and len(words) > 1:
        called = [
            term for term in terms if any(_words(one)[-1:] == (words[-1],) for one in term.synonyms)
        ]
    genera = {_genus(term) for term in called}
    return _of_genus(genera.pop(), terms) if len(genera) == 1 else []


def _mistyped(name: str, terms: list[Term]) -> list[Term]:
    """By the nearest code of the same first letters, or the nearest common name."""
    if len(name) < 4:
        return []
    codes = {_plain(term.code): term for term in terms if _plain(term.code)[:3] == name[:3]}
    spoken = {one: term for term in terms for one in map(_plain, term.synonyms) if len(one) > 4}
    near = difflib.get_close_matches(name, codes, n=MOST_NAMED, cutoff=0.75)
    found = [codes[one] for one in near] or [
        spoken[one] for one in difflib.get_close_matches(name, spoken, n=1, cutoff=_SLIP)
    ]
    return _of_one_genus(found)
