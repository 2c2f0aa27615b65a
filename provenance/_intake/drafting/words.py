"""Reads a heading as what it is about and what it says, by the words of form_words.yaml."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import Any

from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._model.measures import MM_PER
from provenance._model.schema import Field, Table


@dataclass(frozen=True)
class Heading:
    """A heading taken apart: `plain` is without unit and marks, `end` is 'a', 'b' or ''."""

    plain: str
    things: frozenset[str]
    says: frozenset[str]
    end: str
    unit: str


@dataclass(frozen=True)
class Wanted:
    """What the heading and the values of a field's column look like.

    `names` are headings that say just that, `compared` word by word where form_words.yaml says
    nothing of the field; `values` is a kind that `Kinds.share` knows. `apart` are the words that
    tell it from the field of its table that it is named after ("same tree" of same_tree_sample_id).
    """

    table: str
    one: Field
    title: str
    names: frozenset[str]
    things: frozenset[str]
    says: frozenset[str]
    compared: bool
    values: str
    weight: float
    apart: frozenset[str] = frozenset()


@dataclass(frozen=True)
class FormWords:
    """The words of schemas/form_words.yaml: `things` and `says` by word, the rest as there."""

    things: Mapping[str, frozenset[str]]
    says: Mapping[str, frozenset[str]]
    ends: Mapping[str, str]
    units: Mapping[str, str]
    fields: Mapping[str, Mapping[str, Any]]
    answers: Mapping[str, str]
    nothing_written: frozenset[str]
    bore_sizes: frozenset[str]
    little: frozenset[str]
    codes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    card_index: Mapping[str, Sequence[str]] = field(default_factory=dict)

    def for_codes(self, vocabulary: str) -> Mapping[str, str]:
        """Word → code of a list, of words that the list itself does not have."""
        return self.answers if vocabulary == "yes_no_unknown" else self.codes.get(vocabulary, {})


@cache
def form_words() -> FormWords:
    """The shipped words."""
    raw = read_yaml(shipped("schemas") / "form_words.yaml")
    return FormWords(
        things=_by_word(raw["things"]),
        says=_by_word(raw["says"]),
        ends={word: end for end, words in raw["ends"].items() for word in words},
        units={word: unit for unit, words in raw["units"].items() for word in words},
        fields=raw["fields"],
        answers={word: answer for answer, words in raw["answers"].items() for word in words},
        nothing_written=frozenset(raw["nothing_written"]),
        bore_sizes=frozenset(raw["bore_sizes"]),
        little=frozenset(raw["little"]),
        codes=raw["codes"],
        card_index=raw["card_index"],
    )


def _by_word(raw: Mapping[str, Iterable[str]]) -> Mapping[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for meaning, words in raw.items():
        for word in words:
            found.setdefault(word, set()).add(meaning)
    return {word: frozenset(meanings) for word, meanings in found.items()}


_CAMEL = re.compile(r"(?<=[a-zß-ÿ])(?=[A-Z])")
_IN_BRACKETS = re.compile(r"[(\[]\s*([^)\]]*?)\.?\s*[)\]]")
_LAST_WORD = re.compile(r"[\s,]([a-z-]+|['\"])\.?\s*\*?\s*$")
_WORD = re.compile(r"[^\W_]+(?:['/-][^\W_]+)*\??|[#№±ø]")
_COORDINATE = re.compile(r"([xyzenh])\s?([ab])")
_STEM = 6
_AXES = {"e": "x", "n": "y", "h": "z"}


def read_heading(text: str) -> Heading:
    """A heading taken apart.

    >>> one = read_heading("Core length (in)")
    >>> one.plain, sorted(one.things), sorted(one.says), one.unit
    ('core length', ['sample'], ['length'], 'in')
    """
    words = form_words()
    small = _CAMEL.sub(" ", text).casefold().replace("_", " ").strip()
    said = [*_IN_BRACKETS.findall(small), *_LAST_WORD.findall(small)]
    unit = next((words.units[one] for one in said if one in words.units), "")
    every = _variants(_WORD.findall(small.replace(".", " ")))
    says = {meaning for word in every for meaning in words.says.get(word, ())}
    if match := _COORDINATE.fullmatch(small):
        says.add(_AXES.get(match[1], match[1]) + match[2])
    return Heading(
        plain=plain_heading(text),
        things=frozenset(thing for word in every for thing in words.things.get(word, ())),
        says=frozenset(says),
        end=next((words.ends[word] for word in every if word in words.ends), ""),
        unit=unit,
    )


def _variants(found: Iterable[str]) -> list[str]:
    """The words, and each without its question mark, its plural and its second half."""
    every: list[str] = []
    for word in found:
        bare = word.rstrip("?")
        parts = re.split("[/-]", bare)
        every += [word, bare, *parts, *(f"{part}?" for part in parts if bare != word)]
        if len(bare) > 3:
            every.append(bare.removesuffix("s"))
        if match := re.fullmatch(r"(\D+)[12]", bare):
            every.append(match[1])
    return list(dict.fromkeys(every))


def plain_heading(text: str) -> str:
    """A heading without unit, marks and capitals.

    >>> plain_heading("Length (ft) *"), plain_heading("Re-used?"), plain_heading("LEN_CM")
    ('length', 're used', 'len')
    """
    small = _CAMEL.sub(" ", text).casefold().replace("_", " ").strip(" *")
    bare = re.sub(r"[(\[].*?[)\]]", " ", small)
    plain = " ".join(re.sub(r"[^\w#']+", " ", bare).split())
    return re.sub(r" (?:ft in|ft|in|cm|mm|m)$", "", plain)


@lru_cache(maxsize=4096)
def telling_words(plain: str) -> frozenset[str]:
    """The beginnings of the words of a heading that tell what it is about."""
    little = form_words().little
    return frozenset(word[:_STEM] for word in re.findall(r"\w+", plain) if word not in little)


@cache
def _names(title: str, name: str, synonyms: tuple[str, ...]) -> frozenset[str]:
    bare = re.sub(r"_(?:m|cm|mm|deg|id)$", "", name)
    return frozenset(plain_heading(word) for word in (title, name, bare, *synonyms))


def _names_of(one: Field) -> frozenset[str]:
    return _names(one.title, one.name, tuple(one.synonyms))


def _words_of(names: Iterable[str]) -> frozenset[str]:
    return frozenset(word for name in names for word in telling_words(name))


def wanted(table: Table, one: Field) -> Wanted:
    """What the column of a field looks like, by form_words.yaml or else by its own names."""
    said = form_words().fields.get(f"{table.name}.{one.name}")
    kind = _kind_of(table, one)
    compared = said is None
    names = _names_of(one)
    base = next((f for f in table.fields if one.name.endswith(f"_{f.name}")), None)
    if said is None:
        usual = {"date": "date", "initials": "who"}.get(kind, "")
        said = {"says": [usual] if usual else ["id"] if one.name in table.primary_key else []}
    return Wanted(
        table=table.name,
        one=one,
        title=plain_heading(one.title),
        names=names,
        things=frozenset(said.get("of", ())),
        says=frozenset(said.get("says", ())),
        compared=compared,
        values=said.get("values", kind),
        weight=said.get("weight", 2.0 if kind.startswith("list") else 1.0),
        apart=frozenset() if base is None else _words_of(names) - _words_of(_names_of(base)),
    )


def _kind_of(table: Table, one: Field) -> str:
    """The kind of values that the schema says a field holds."""
    links = {name: key.table for key in table.foreign_keys for name in key.fields}
    if one.vocabulary:
        return "answer" if one.vocabulary == "yes_no_unknown" else f"list {one.vocabulary}"
    if one.notation == "edtf":
        return "date"
    if one.type == "boolean":
        return "answer"
    if one.type in ("number", "integer"):
        return "clock" if one.unit == "h" else "size" if one.unit in MM_PER else "number"
    if one.notation == "relative_path":
        return "path"
    if one.name in links:
        return "initials" if links[one.name] == "party" else "link"
    if one.notation or one.name in table.primary_key:
        return "code"
    return "text"
