"""Fits the core model to kinds of place: adds fields, narrows lists, hides, orders."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnusableSchema
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._model.schema import (
    AS_FOUND,
    STRICT,
    Equipment,
    Field,
    Model,
    ProfilePart,
    Table,
    Term,
    Vocabulary,
    compile_model,
    field_from,
    read_core,
    term_from,
    vocabulary_from,
    with_numbering,
)
from provenance._model.stacking import Wrong, required_by, stacked

if TYPE_CHECKING:
    from jsonschema import Draft202012Validator


PROFILE_LIST = "profile"
"""The vocabulary of the profiles of a record, one of which a building may name."""
OWN_SOURCE = "common practice, no source"


def shipped_profiles() -> dict[str, str]:
    """The names and titles of the profiles that travel with the project."""
    folder = shipped("templates") / "profiles"
    return {path.stem: read_yaml(path)["title"] for path in sorted(folder.glob("*.yaml"))}


def profile_path(profile: str) -> Path:
    """The file of a profile given by name ('log_building') or by path to a YAML file.

    Raises UnusableSchema naming the shipped profiles when it is neither.
    """
    as_path = Path(profile)
    if as_path.suffix in (".yaml", ".yml") or "/" in profile:
        if not as_path.is_file():
            raise UnusableSchema(f"the profile file {profile} is not there; check the path")
        return as_path
    path = shipped("templates") / "profiles" / f"{profile}.yaml"
    if not path.is_file():
        names = ", ".join(shipped_profiles())
        raise UnusableSchema(f"there is no profile '{profile}'; there are {names}, or give a file")
    return path


@cache
def _validator(schema_name: str) -> Draft202012Validator:
    import jsonschema

    schema = json.loads((shipped("schemas") / schema_name).read_text(encoding="utf-8"))
    return jsonschema.Draft202012Validator(schema)


def check_against_schema(raw: object, schema_name: str, path: Path) -> None:
    """Raise UnusableSchema with every place where `raw` breaks the JSON Schema of that name."""
    validator = _validator(schema_name)
    # YAML reads 12, no and null as something else than a text, and JSON has texts for keys alone
    faults = [f"  at {place}: write '{key}' in quotes" for place, key in _bare_keys(raw, "")]
    faults = faults or [
        f"  at {'/'.join(str(part) for part in error.absolute_path) or 'the top'}: {error.message}"
        for error in sorted(
            validator.iter_errors(raw), key=lambda e: list(map(str, e.absolute_path))
        )
    ]
    if faults:
        raise UnusableSchema(
            f"{path} does not follow {schema_name}; correct these:\n" + "\n".join(faults)
        )


def _bare_keys(raw: object, where: str) -> Iterator[tuple[str, object]]:
    """(place, key) of every key that is no text."""
    if isinstance(raw, dict):
        yield from ((where or "the top", key) for key in raw if not isinstance(key, str))
        for key, value in raw.items():
            yield from _bare_keys(value, f"{where}/{key}".lstrip("/"))
    elif isinstance(raw, list):
        for place, value in enumerate(raw):
            yield from _bare_keys(value, f"{where}/{place}".lstrip("/"))


def load_model(profile: str = "blank") -> Model:
    """The compiled model for a profile: a shipped name or a path to the user's own YAML file.

    Several are joined with '+': "log_building+church".
    """
    # the name of a file may have a '+' in it
    names = [profile] if Path(profile).is_file() else profile.split("+")
    raws = {path: _read_profile(path) for path in map(profile_path, names)}
    core = read_core()
    if len(raws) > 1:
        for path, raw in raws.items():
            # what is wrong with one of them is told of that one
            apply_profiles(core, [raw], str(path))
    return compile_model(apply_profiles(core, [*raws.values()], " + ".join(map(str, raws))))


def _read_profile(path: Path) -> dict[str, Any]:
    raw: dict[str, Any] = read_yaml(path)
    check_against_schema(raw, "profile.schema.json", path)
    return raw


@cache
def _general() -> Mapping[str, Any]:
    return MappingProxyType(read_yaml(profile_path("blank")))


def general_cautions() -> tuple[str, ...]:
    """The cautions for any kind of place, which stand before those of every profile."""
    return tuple(_general()["cautions"])


def apply_profiles(core: Model, raws: Sequence[Mapping[str, Any]], where: str) -> Model:
    """The core model changed as one profile says, or several together.

    Raises UnusableSchema, which begins with `where`, for names that the core lacks and for what
    the profiles say differently.
    """

    def wrong(text: str) -> UnusableSchema:
        return UnusableSchema(f"{where}: {text}")

    raw = stacked(raws, core, wrong)
    vocabularies = {**core.vocabularies, PROFILE_LIST: _profile_list(core, raws)}
    for name, made in raw.get("lists", {}).items():
        if name in vocabularies:
            raise wrong(f"lists/{name} is there already; add to it under 'extend'")
        vocabularies[name] = vocabulary_from({"source": OWN_SOURCE, **made, "name": name})
    tables = dict(core.tables)
    for name, fields in raw.get("add", {}).items():
        table = _with_fields(_known(tables, name, "table", wrong), fields, wrong)
        for one in table.fields:
            if one.vocabulary:
                _known(vocabularies, one.vocabulary, "vocabulary", wrong)
        tables[name] = table
    for name, words in raw.get("synonyms", {}).items():
        _add_words(tables, vocabularies, name, words, wrong)
    for name, terms in raw.get("extend", {}).items():
        vocabulary = _known(vocabularies, name, "vocabulary", wrong)
        vocabularies[name] = _extended(vocabulary, terms, wrong)
    _narrow(tables, vocabularies, raw, wrong)
    for name, hidden in raw.get("hide", {}).items():
        tables[name] = _hiding(_known(tables, name, "table", wrong), hidden, wrong)
    for name, required in raw.get("require", {}).items():
        tables[name] = _requiring(_known(tables, name, "table", wrong), required, wrong)
    for name, order in raw.get("order", {}).items():
        tables[name] = _ordered(_known(tables, name, "table", wrong), order, wrong)
    for name, columns in raw.get("log", {}).items():
        _named(_known(tables, name, "table", wrong), columns, "log", wrong)
    if len(raws) > 1:
        tables["place"] = _with(
            tables["place"], replace(tables["place"].field("profile"), hidden=False)
        )

    made = replace(
        core,
        profile=raw["name"],
        title=raw["title"],
        description=raw["description"],
        units=raw.get("units", core.units),
        language=raw.get("language", core.language),
        cautions=tuple(dict.fromkeys((*general_cautions(), *raw.get("cautions", ())))),
        equipment=_equipment((*_general()["equipment"], *raw.get("equipment", ()))),
        logs=_by_table(raw.get("log", {})),
        profiles=tuple(_part(raws, number) for number in range(len(raws))),
        tables=MappingProxyType(tables),
        vocabularies=MappingProxyType(vocabularies),
    )
    return made if raw.get("numbering", STRICT) == STRICT else with_numbering(made, AS_FOUND)


def _profile_list(core: Model, raws: Sequence[Mapping[str, Any]]) -> Vocabulary:
    terms = [Term(raw["name"], raw["title"], raw["description"], OWN_SOURCE) for raw in raws]
    return replace(core.vocabularies[PROFILE_LIST], terms=tuple(terms))


def _part(raws: Sequence[Mapping[str, Any]], number: int) -> ProfilePart:
    """What one of the profiles leaves out, what the others add included, and what it requires."""
    own = raws[number]
    asked = {(table, one["name"]) for table, added in own.get("add", {}).items() for one in added}
    hidden: dict[str, list[str]] = {table: [*names] for table, names in own.get("hide", {}).items()}
    for other in raws:
        for table, fields in other.get("add", {}).items():
            names = [one["name"] for one in fields if (table, one["name"]) not in asked]
            if names:
                hidden[table] = list(dict.fromkeys([*hidden.get(table, ()), *names]))
    return ProfilePart(own["name"], own["title"], _by_table(hidden), _by_table(required_by(own)))


def _by_table(raw: Mapping[str, Sequence[str]]) -> Mapping[str, tuple[str, ...]]:
    return MappingProxyType({table: tuple(names) for table, names in raw.items()})


def _equipment(raws: Iterable[Mapping[str, str]]) -> tuple[Equipment, ...]:
    """Every thing once, with the purpose that was named first."""
    things: dict[str, Equipment] = {}
    for raw in raws:
        things.setdefault(raw["item"], Equipment(raw["item"], raw["purpose"]))
    return tuple(things.values())


def _known(things: Mapping[str, Any], name: str, what: str, wrong: Wrong) -> Any:
    if name not in things:
        raise wrong(f"there is no {what} '{name}'; there are {', '.join(things)}")
    return things[name]


def _extended(
    vocabulary: Vocabulary, terms: Sequence[Mapping[str, Any]], wrong: Wrong
) -> Vocabulary:
    added = tuple(term_from(term) for term in terms)
    twice = [term.code for term in added if vocabulary.term(term.code)]
    if twice:
        raise wrong(f"extend/{vocabulary.name} adds codes that are there: {', '.join(twice)}")
    return replace(vocabulary, terms=vocabulary.terms + added)


def _add_words(
    tables: dict[str, Table],
    vocabularies: dict[str, Vocabulary],
    name: str,
    words: Mapping[str, Sequence[str]] | Sequence[str],
    wrong: Wrong,
) -> None:
    """Add the words of a region: to a field under 'table.field', to codes under their list."""
    if not isinstance(words, Mapping):
        table, one = _field_named(tables, name, "synonyms", wrong)
        more = replace(one, synonyms=tuple(dict.fromkeys((*one.synonyms, *words))))
        tables[table.name] = _with(table, more)
        return
    vocabulary = _known(vocabularies, name, "vocabulary", wrong)
    unknown = [code for code in words if vocabulary.term(code) is None]
    if unknown:
        raise wrong(f"synonyms/{name} names codes that are not there: {', '.join(unknown)}")
    meant = {
        word.casefold(): term.code
        for term in vocabulary.terms
        for word in (term.code, term.label, *term.synonyms)
    }
    for code, said in words.items():
        for word in said:
            if meant.setdefault(word.casefold(), code) != code:
                raise wrong(
                    f"synonyms/{name} gives '{word}' to '{code}', and it means "
                    f"'{meant[word.casefold()]}' already; a word can mean one code only"
                )
    terms = tuple(
        replace(one, synonyms=tuple(dict.fromkeys((*one.synonyms, *words.get(one.code, ())))))
        for one in vocabulary.terms
    )
    vocabularies[name] = replace(vocabulary, terms=terms)


def _field_named(
    tables: Mapping[str, Table], name: str, what: str, wrong: Wrong
) -> tuple[Table, Field]:
    """The table and field that 'table.field' names."""
    of_table, _, of_field = name.partition(".")
    table: Table = _known(tables, of_table, "table", wrong)
    _named(table, [of_field], what, wrong)
    return table, table.field(of_field)


_NARROWED_ALONE = ("plug.dowel_species",)
"""Fields that a narrowed list does not bind: a dowel is bought, and may be of any wood."""


def _narrow(
    tables: dict[str, Table],
    vocabularies: dict[str, Vocabulary],
    raw: Mapping[str, Any],
    wrong: Wrong,
) -> None:
    """Keep the codes that the profile names: of a list, or for a single 'table.field' of it.

    Such a field gets a list of its own, 'table_field'. Codes that the profile adds are kept.
    """
    narrowed = dict(raw.get("narrow", {}))
    whole = dict(vocabularies)
    for name in _NARROWED_ALONE:
        table, one = _field_named(tables, name, "narrow", wrong)
        if one.vocabulary in narrowed:
            narrowed.setdefault(name, whole[str(one.vocabulary)].codes)
    for name, codes in narrowed.items():
        if "." not in name:
            added = [term["code"] for term in raw.get("extend", {}).get(name, ())]
            vocabulary = _known(whole, name, "vocabulary", wrong)
            vocabularies[name] = _keeping(vocabulary, name, [*codes, *added], wrong)
            continue
        table, one = _field_named(tables, name, "narrow", wrong)
        if one.vocabulary is None:
            raise wrong(f"narrow/{name}: the field has no list of codes")
        own = name.replace(".", "_")
        if own in vocabularies:
            raise wrong(f"narrow/{name} needs the name '{own}' for its list; call yours otherwise")
        kept = _keeping(whole[one.vocabulary], name, codes, wrong)
        vocabularies[own] = replace(kept, name=own, title=one.title)
        tables[table.name] = _with(table, replace(one, vocabulary=own))


def _keeping(vocabulary: Vocabulary, name: str, codes: Sequence[str], wrong: Wrong) -> Vocabulary:
    unknown = [code for code in codes if vocabulary.term(code) is None]
    if unknown:
        raise wrong(f"narrow/{name} keeps codes it does not have: {', '.join(unknown)}")
    return replace(vocabulary, terms=tuple(term for term in vocabulary.terms if term.code in codes))


def _with_fields(table: Table, fields: list[dict[str, Any]], wrong: Wrong) -> Table:
    last = max(one.order for one in table.fields)
    added = []
    for place, raw in enumerate(fields, start=1):
        if raw["name"] in table:
            raise wrong(f"add/{table.name} adds '{raw['name']}', which the table has already")
        usual = {"section": "notes", "sensitivity": "open", "obtained": "observed"}
        added.append(field_from({**usual, "order": last + 10 * place, **raw}))
    unknown = sorted({one.section for one in added} - set(table.sections))
    if unknown:
        raise wrong(
            f"add/{table.name} uses sections that are not there: {', '.join(unknown)}; "
            f"there are {', '.join(table.sections)}"
        )
    return replace(table, fields=(*table.fields, *added))


def _named(table: Table, names: list[str], what: str, wrong: Wrong) -> None:
    unknown = [name for name in names if name not in table]
    if unknown:
        raise wrong(f"{what}/{table.name} names fields that are not there: {', '.join(unknown)}")


def _hiding(table: Table, names: list[str], wrong: Wrong) -> Table:
    _named(table, names, "hide", wrong)
    needed = [name for name in names if table.field(name).required]
    if needed:
        raise wrong(f"hide/{table.name} hides fields that every row needs: {', '.join(needed)}")
    return _changed(table, lambda one: replace(one, hidden=True) if one.name in names else one)


def _requiring(table: Table, names: list[str], wrong: Wrong) -> Table:
    _named(table, names, "require", wrong)

    def required(one: Field) -> Field:
        constraints = MappingProxyType({**one.constraints, "required": True})
        return replace(one, constraints=constraints) if one.name in names else one

    return _changed(table, required)


def _ordered(table: Table, names: list[str], wrong: Wrong) -> Table:
    _named(table, names, "order", wrong)
    # what the profile lists comes first in its section; the rest keeps its order behind it
    places = {name: place - len(names) for place, name in enumerate(names)}
    return _changed(table, lambda one: replace(one, order=places.get(one.name, one.order)))


def _with(table: Table, changed: Field) -> Table:
    return _changed(table, lambda one: changed if one.name == changed.name else one)


def _changed(table: Table, change: Callable[[Field], Field]) -> Table:
    return replace(table, fields=tuple(map(change, table.fields)))
