"""Rids the schemas of a public edition of withheld values, which a crew's own profile may hold."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from provenance._base.errors import UnusablePackage
from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.masking import Masker
from provenance._model.schema import Field, Model, Table, Term, Vocabulary, read_core


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
    return _with_texts(bare, lambda text: masked.get(text, text))


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


def _with_texts(model: Model, turn: Callable[[str], str]) -> Model:
    """The model with every text for people turned."""
    return replace(
        model,
        title=turn(model.title),
        description=turn(model.description),
        cautions=tuple(turn(one) for one in model.cautions),
        tables=MappingProxyType(
            {name: _table(table, turn) for name, table in model.tables.items()}
        ),
        vocabularies=MappingProxyType(
            {name: _vocabulary(one, turn) for name, one in model.vocabularies.items()}
        ),
        notations=MappingProxyType(
            {
                name: replace(
                    one, title=turn(one.title), source=turn(one.source), example=turn(one.example)
                )
                for name, one in model.notations.items()
            }
        ),
    )


def _table(table: Table, turn: Callable[[str], str]) -> Table:
    return replace(
        table,
        title=turn(table.title),
        description=turn(table.description),
        sections=MappingProxyType({key: turn(text) for key, text in table.sections.items()}),
        fields=tuple(_field(one, turn) for one in table.fields),
    )


def _field(one: Field, turn: Callable[[str], str]) -> Field:
    return replace(
        one,
        title=turn(one.title),
        description=turn(one.description),
        # an example may be the very value that the column withholds
        example=None if one.example is None or turn(one.example) != one.example else one.example,
        synonyms=tuple(turn(word) for word in one.synonyms),
    )


def _vocabulary(one: Vocabulary, turn: Callable[[str], str]) -> Vocabulary:
    return replace(
        one,
        title=turn(one.title),
        description=turn(one.description),
        source=turn(one.source),
        terms=tuple(_term(term, turn) for term in one.terms),
    )


def _term(term: Term, turn: Callable[[str], str]) -> Term:
    def turned(value: Any) -> Any:
        return turn(value) if isinstance(value, str) else value

    return replace(
        term,
        label=turn(term.label),
        definition=turn(term.definition),
        source=turn(term.source),
        match=turn(term.match) if term.match else term.match,
        synonyms=tuple(turn(word) for word in term.synonyms),
        attributes=MappingProxyType({key: turned(value) for key, value in term.attributes.items()}),
    )
