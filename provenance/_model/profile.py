"""Fits the core model to one kind of place: adds fields, narrows lists, hides, orders."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnusableSchema
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._model.schema import (
    Field,
    Model,
    Table,
    Vocabulary,
    compile_model,
    field_from,
    read_core,
    term_from,
)

if TYPE_CHECKING:
    from jsonschema import Draft202012Validator


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
            f"{path} does not follow {schema_name}; mend these:\n" + "\n".join(faults)
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
    """The compiled model for a profile: a shipped name or a path to the user's own YAML file."""
    path = profile_path(profile)
    raw = read_yaml(path)
    check_against_schema(raw, "profile.schema.json", path)
    return compile_model(apply_profile(read_core(), raw, path))


def general_cautions() -> list[str]:
    """The cautions for any kind of place, for profiles that bring none of their own."""
    return list(read_yaml(profile_path("blank"))["cautions"])


def apply_profile(core: Model, raw: Mapping[str, Any], path: Path) -> Model:
    """The core model changed as a profile says; raises UnusableSchema for names it lacks."""

    def wrong(text: str) -> UnusableSchema:
        return UnusableSchema(f"{path}: {text}")

    vocabularies = dict(core.vocabularies)
    for name, codes in raw.get("narrow", {}).items():
        vocabulary = _known(vocabularies, name, "vocabulary", wrong)
        unknown = [code for code in codes if vocabulary.term(code) is None]
        if unknown:
            raise wrong(f"narrow/{name} keeps codes it does not have: {', '.join(unknown)}")
        kept = tuple(term for term in vocabulary.terms if term.code in codes)
        vocabularies[name] = replace(vocabulary, terms=kept)
    for name, terms in raw.get("extend", {}).items():
        vocabulary = _known(vocabularies, name, "vocabulary", wrong)
        vocabularies[name] = _extended(vocabulary, terms, wrong)

    tables = dict(core.tables)
    for name, fields in raw.get("add", {}).items():
        tables[name] = _with_fields(_known(tables, name, "table", wrong), fields, wrong)
    for name, hidden in raw.get("hide", {}).items():
        tables[name] = _hiding(_known(tables, name, "table", wrong), hidden, wrong)
    for name, required in raw.get("require", {}).items():
        tables[name] = _requiring(_known(tables, name, "table", wrong), required, wrong)
    for name, order in raw.get("order", {}).items():
        tables[name] = _ordered(_known(tables, name, "table", wrong), order, wrong)
    for name, columns in raw.get("log", {}).items():
        _named(_known(tables, name, "table", wrong), columns, "log", wrong)

    return replace(
        core,
        profile=raw["name"],
        title=raw["title"],
        description=raw["description"],
        units=raw.get("units", core.units),
        language=raw.get("language", core.language),
        logs={name: tuple(columns) for name, columns in raw.get("log", {}).items()},
        cautions=tuple(raw.get("cautions") or general_cautions()),
        tables=MappingProxyType(tables),
        vocabularies=MappingProxyType(vocabularies),
    )


def _known(things: Mapping[str, Any], name: str, what: str, wrong: Any) -> Any:
    if name not in things:
        raise wrong(f"there is no {what} '{name}'; there are {', '.join(things)}")
    return things[name]


def _extended(vocabulary: Vocabulary, terms: list[Mapping[str, Any]], wrong: Any) -> Vocabulary:
    added = tuple(term_from(term) for term in terms)
    twice = [term.code for term in added if vocabulary.term(term.code)]
    if twice:
        raise wrong(f"extend/{vocabulary.name} adds codes that are there: {', '.join(twice)}")
    return replace(vocabulary, terms=vocabulary.terms + added)


def _with_fields(table: Table, fields: list[dict[str, Any]], wrong: Any) -> Table:
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


def _named(table: Table, names: list[str], what: str, wrong: Any) -> None:
    unknown = [name for name in names if name not in table]
    if unknown:
        raise wrong(f"{what}/{table.name} names fields that are not there: {', '.join(unknown)}")


def _hiding(table: Table, names: list[str], wrong: Any) -> Table:
    _named(table, names, "hide", wrong)
    needed = [name for name in names if table.field(name).required]
    if needed:
        raise wrong(f"hide/{table.name} hides fields that every row needs: {', '.join(needed)}")
    return _changed(table, lambda one: replace(one, hidden=True) if one.name in names else one)


def _requiring(table: Table, names: list[str], wrong: Any) -> Table:
    _named(table, names, "require", wrong)

    def required(one: Field) -> Field:
        constraints = MappingProxyType({**one.constraints, "required": True})
        return replace(one, constraints=constraints) if one.name in names else one

    return _changed(table, required)


def _ordered(table: Table, names: list[str], wrong: Any) -> Table:
    _named(table, names, "order", wrong)
    # what the profile lists comes first in its section; the rest keeps its order behind it
    places = {name: place - len(names) for place, name in enumerate(names)}
    return _changed(table, lambda one: replace(one, order=places.get(one.name, one.order)))


def _changed(table: Table, change: Callable[[Field], Field]) -> Table:
    return replace(table, fields=tuple(map(change, table.fields)))
