"""Rids the schemas of a public edition of withheld values, which a crew's own profile may hold."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from provenance._base.errors import UnusablePackage
from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.masking import Masker
from provenance._model.schema import Field, Model, Notation, Table, Term, Vocabulary, read_core


def public_model(
    model: Model, tables: Mapping[str, Table], masker: Masker, account: Account
) -> Model:
    """The model with its public tables, every text in it without withheld values.

    Raises UnusablePackage when a code, or the name of a field or profile, that the crew's profile
    added holds one: those cannot be replaced.
    """
    _refuse_telling_names(model, masker)
    bare = replace(model, tables=MappingProxyType(dict(tables)))
    core = read_core()
    # the program's own words give nothing away, but for an example that is the very value
    own = set(_texts(core)) - {one.example for _, one in core.every_field()}
    texts = [text for text in dict.fromkeys(_texts(bare)) if text not in own]
    masked = dict(zip(texts, masker.masked(texts), strict=True))
    account.schema_words = sum(new != old for old, new in masked.items())
    public: Model = _with_texts(bare, lambda text: masked.get(text, text))
    return public


def _refuse_telling_names(model: Model, masker: Masker) -> None:
    core = read_core()
    known = {term.code for one in core.vocabularies.values() for term in one.terms}
    known |= {name for table in core.tables.values() for name in table.names}
    names = [model.profile]
    names += [term.code for one in model.vocabularies.values() for term in one.terms]
    names += [name for table in model.tables.values() for name in table.names]
    own = [name for name in dict.fromkeys(names) if name not in known]
    for name, masked in zip(own, masker.masked(own), strict=True):
        if name != masked:
            raise UnusablePackage(
                f"the profile of this package has the name or code '{name}', which holds something "
                "that must not be public (a name, a place or a number); give it another one in the "
                "profile and in the tables, 'treenail new --update' brings it in"
            )


def _texts(model: Model) -> Iterator[str]:
    found: list[str] = []

    def note(text: str) -> str:
        found.append(text)
        return text

    _with_texts(model, note)
    yield from found


_TEXTS: Mapping[type, tuple[str, ...]] = {
    Model: ("title", "description", "cautions", "tables", "vocabularies", "notations"),
    Table: ("title", "description", "sections", "fields"),
    Field: ("title", "description", "example", "synonyms"),
    Vocabulary: ("title", "description", "source", "terms"),
    Term: ("label", "definition", "source", "match", "synonyms", "attributes"),
    Notation: ("title", "source", "example"),
}
"""Where the texts for people stand in each part of a model."""


def _with_texts(value: Any, turn: Callable[[str], str]) -> Any:
    """A model, or a part of one, with every text for people turned."""
    if isinstance(value, str):
        return turn(value)
    if isinstance(value, tuple):
        return tuple(_with_texts(one, turn) for one in value)
    if isinstance(value, Mapping):
        return MappingProxyType({key: _with_texts(one, turn) for key, one in value.items()})
    names = _TEXTS.get(type(value), ())
    turned = {name: _with_texts(getattr(value, name), turn) for name in names}
    if isinstance(value, Field) and turned["example"] != value.example:
        # an example may be the very value that the column withholds
        turned["example"] = None
    return replace(value, **turned) if turned else value
