"""Puts several profiles together into one, for a record of mixed buildings.

Fields, terms, lists, words, cautions and equipment add up. Hidden is what all hide, a list is
narrowed to what any keeps, and where an order matters that of the first comes first. What only
some require is asked of their buildings alone, by the check.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from provenance._base.errors import UnusableSchema
from provenance._model.schema import Model

Wrong = Callable[[str], UnusableSchema]
"""Makes an error of what is wrong with a profile."""

PLACE = "place"


def stacked(raws: Sequence[Mapping[str, Any]], core: Model, wrong: Wrong) -> Mapping[str, Any]:
    """One profile that says what all of them say, in the form of their YAML.

    Raises UnusableSchema where two describe a field, a code or a list differently.
    """
    if len(raws) == 1:
        return raws[0]
    said: dict[str, list[Any]] = {}
    for raw in raws:
        for key, value in raw.items():
            said.setdefault(key, []).append(value)
    merged: dict[str, Any] = {
        "name": "+".join(said["name"]),
        "title": ", ".join(said["title"]),
        "description": " ".join(said["description"]),
        **{key: said[key][0] for key in ("units", "language", "numbering") if key in said},
        **{
            key: [one for part in said.get(key, ()) for one in part]
            for key in ("cautions", "equipment")
        },
        "order": _joined(said.get("order", ())),
        # a log is one page wide, and so the columns of two have no room
        "log": {
            table: names for part in said.get("log", ())[::-1] for table, names in part.items()
        },
        "add": {
            table: _same_once(fields, "name", f"add/{table}", wrong)
            for table, fields in _lists_of(said.get("add", ()))
        },
        "extend": {
            name: _same_once(terms, "code", f"extend/{name}", wrong)
            for name, terms in _lists_of(said.get("extend", ()))
        },
        "lists": _lists(said.get("lists", ()), wrong),
        "synonyms": _words(said.get("synonyms", ())),
    }
    everywhere = len(said.get("hide", ())) == len(raws)
    merged["hide"] = _shared(said["hide"]) if everywhere else {}
    merged["narrow"] = {
        name: codes
        for name, codes in _joined(said.get("narrow", ())).items()
        if all(name in raw.get("narrow", {}) for raw in raws)
    }
    asked = [required_by(raw) for raw in raws]
    of_all = _shared(asked)
    merged["require"] = {
        table: names if way_to_place(core, table) is None else of_all.get(table, [])
        for table, names in _joined(asked).items()
    }
    merged["require"] = {table: names for table, names in merged["require"].items() if names}
    return merged


def required_by(raw: Mapping[str, Any]) -> dict[str, list[str]]:
    """Table → the fields that a profile requires, those that it adds as required included."""
    own = {
        table: [one["name"] for one in fields if one.get("constraints", {}).get("required")]
        for table, fields in raw.get("add", {}).items()
    }
    return {
        table: names for table, names in _joined([raw.get("require", {}), own]).items() if names
    }


def way_to_place(model: Model, table: str) -> list[tuple[str, str]] | None:
    """The fields by which rows of a table lead to a place, with the table that each points at.

    Empty for the places themselves, None for a table whose rows lead to none.
    """
    ways: dict[str, list[tuple[str, str]]] = {table: []}
    waiting = deque([table])
    while waiting:
        here = waiting.popleft()
        if here == PLACE:
            return ways[here]
        for key in model.table(here).foreign_keys:
            # from a party or a site a link leads to no one place
            if len(key.fields) == 1 and key.table not in ways and key.table in model.tables:
                ways[key.table] = [*ways[here], (key.fields[0], key.table)]
                waiting.append(key.table)
    return None


def _joined(parts: Iterable[Mapping[str, Sequence[str]]]) -> dict[str, list[str]]:
    """Every name once, by table or list, in the order in which they are first said."""
    found: dict[str, dict[str, None]] = {}
    for part in parts:
        for key, names in part.items():
            found.setdefault(key, {}).update(dict.fromkeys(names))
    return {key: list(names) for key, names in found.items()}


def _shared(parts: Sequence[Mapping[str, Sequence[str]]]) -> dict[str, list[str]]:
    """The names that every part has, by table."""
    first, *others = parts
    found = {
        key: [one for one in names if all(one in other.get(key, ()) for other in others)]
        for key, names in first.items()
    }
    return {key: names for key, names in found.items() if names}


def _lists_of(
    parts: Iterable[Mapping[str, Sequence[Mapping[str, Any]]]],
) -> Iterable[tuple[str, list[Mapping[str, Any]]]]:
    found: dict[str, list[Mapping[str, Any]]] = {}
    for part in parts:
        for key, things in part.items():
            found.setdefault(key, []).extend(things)
    return found.items()


_MUST_AGREE = ("type", "unit", "vocabulary", "separator", "notation", "sensitivity", "label")
"""What two profiles may not say differently of one field or code."""


def _same_once(
    things: Iterable[Mapping[str, Any]], key: str, where: str, wrong: Wrong
) -> list[dict[str, Any]]:
    """Each field or term once, with the synonyms that any gives it; no field is required of all."""
    found: dict[str, dict[str, Any]] = {}
    for thing in things:
        first = found.setdefault(thing[key], dict(thing))
        for name in _MUST_AGREE:
            if first.get(name) != thing.get(name):
                raise wrong(
                    f"two of the profiles describe {where}/{thing[key]} differently: {name} is "
                    f"'{first.get(name)}' and '{thing.get(name)}'; call one of them otherwise"
                )
        synonyms = dict.fromkeys([*first.get("synonyms", ()), *thing.get("synonyms", ())])
        if synonyms:
            first["synonyms"] = list(synonyms)
        if "constraints" in first:
            bounds = {k: v for k, v in first["constraints"].items() if k != "required"}
            first["constraints"] = bounds
    return list(found.values())


def _lists(parts: Iterable[Mapping[str, Any]], wrong: Wrong) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for part in parts:
        for name, made in part.items():
            first = found.setdefault(name, made)
            terms = [*first["terms"], *(made["terms"] if first is not made else ())]
            found[name] = {**first, "terms": _same_once(terms, "code", f"lists/{name}", wrong)}
    return found


def _words(parts: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """The synonyms of all: a list for a field, a list by code for a vocabulary."""
    found: dict[str, Any] = {}
    for part in parts:
        for name, words in part.items():
            if isinstance(words, Mapping):
                found[name] = _joined([found.get(name, {}), words])
            else:
                found[name] = [*found.get(name, ()), *words]
    return found
