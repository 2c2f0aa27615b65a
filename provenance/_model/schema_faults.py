"""Names what in the JSON files of a package does not make a model, before one is made of them.

Not by a JSON Schema: every command opens a package, and loading a validator would take longer than
all the rest of that. Properties that are not named here may stand in the files, as Table Schema v2
has it. Patterns are looked at by the check, which runs a stranger's pattern under bounds.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

from provenance._model.measures import KINDS, SYSTEMS
from provenance._model.schema import (
    FIELD_TYPES,
    NUMBERINGS,
    PUBLIC_FORMS,
    ROLES,
    SENSITIVITIES,
    Model,
    Table,
)


# A shape is a type, a tuple of types, [shape of every item] or one of these
class _Object(NamedTuple):
    """What an object has to hold, what it may, and what stands under every other name."""

    needed: Mapping[str, Any]
    optional: Mapping[str, Any] = MappingProxyType({})
    rest: Any = object


_TEXTS = _Object({}, rest=str)
_NAMES = _Object({}, rest=[str])
_NUMBER = (int, float)


def _texts(names: str) -> dict[str, Any]:
    return dict.fromkeys(names.split(), str)


_FIELD = _Object(
    {**_texts("name type title description section sensitivity obtained"), "order": int},
    {
        **_texts("unit vocabulary separator notation example rdfType public publicBecause keyOf"),
        "usualSizes": str,
        "measure": str,
        "synonyms": [str],
        "crosswalk": [_Object({"term": str}, rest=str)],
        "constraints": _Object(
            {}, {"required": bool, "unique": bool, "pattern": str, "enum": [object]}
        ),
        "hidden": bool,
        "withheld": bool,
    },
)
_FOREIGN_KEY = _Object(
    {"fields": [str], "reference": _Object({"fields": [str]}, {"resource": str})}
)
TABLE_SHAPE = _Object(
    {
        **_texts("name title description role"),
        "order": int,
        "sections": _TEXTS,
        "fields": [_FIELD],
        "primaryKey": [str],
    },
    {"foreignKeys": [_FOREIGN_KEY], "rdfType": str},
)
"""What schemas/TABLE.json holds."""

_TERM = _Object(
    _texts("code label definition source"),
    {
        **_texts("at_best match caution cutting genus season side surface"),
        **dict.fromkeys(
            (
                *("cuts_wood", "heartwood_boundary", "holds", "leaves_hole", "moves"),
                *("needs_from", "needs_to", "standing", "two_years"),
            ),
            bool,
        ),
        "synonyms": [str],
        "longest_m": _NUMBER,
        "mm": _NUMBER,
        "rank": int,
    },
)
_VOCABULARY = _Object({**_texts("name title description source"), "terms": [_TERM]})
MODEL_SHAPE = _Object(
    {
        **_texts("profile title description version"),
        "cautions": [str],
        "notations": [_Object(_texts("name title pattern source example"))],
        "vocabularies": [_VOCABULARY],
    },
    {
        **_texts("units language numbering"),
        "equipment": [_Object(_texts("item purpose"))],
        "logs": _NAMES,
        "profiles": [_Object({**_texts("name title"), "hide": _NAMES, "require": _NAMES})],
    },
)
"""What schemas/model.json holds."""

_RESOURCE = _Object({"name": str}, {"path": (str, list), "schema": (str, dict)})
_DESCRIPTOR = _Object(
    {"name": str}, {**_texts("title description version created"), "resources": [_RESOURCE]}
)

_FILE_NAME = re.compile(r"[^/\\\x00-\x1f.][^/\\\x00-\x1f]*")
_WORDS = {
    str: "a text",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    list: "a list",
    dict: "an object",
    type(None): "null",
}
_PLAIN_NAME = re.compile(r"[a-z][a-z0-9_]*")


def shape_faults(raw: object, shape: Any) -> Iterator[str]:
    """Every place in `raw` that has not the `shape` it needs, such as 'fields/3 lacks 'title''."""
    # mostly nothing is wrong, and then no place need be put into words
    if not _fits(raw, shape):
        yield from _misfits(raw, shape, "")


def _fits(raw: Any, shape: Any) -> bool:
    kind = type(shape)
    if kind is type:
        # by the very type: to Python True is a whole number too
        return shape is object or type(raw) is shape
    if kind is tuple:
        return type(raw) in shape
    if kind is list:
        return type(raw) is list and all(_fits(item, shape[0]) for item in raw)
    if type(raw) is not dict:
        return False
    for name, inner in shape.needed.items():
        if name not in raw or not _fits(raw[name], inner):
            return False
    for name, inner in shape.optional.items():
        if name in raw and not _fits(raw[name], inner):
            return False
    return shape.rest is object or all(_fits(value, shape.rest) for value in raw.values())


def _misfits(raw: Any, shape: Any, where: str) -> Iterator[str]:
    if _fits(raw, shape):
        return
    if isinstance(shape, _Object) and isinstance(raw, dict):
        for name in shape.needed:
            if name not in raw:
                yield f"{where or 'the top'} lacks '{name}'"
        known = {**shape.needed, **shape.optional}
        for name, value in raw.items():
            yield from _misfits(value, known.get(name, shape.rest), f"{where}/{name}".lstrip("/"))
    elif isinstance(shape, list) and isinstance(raw, list):
        for number, item in enumerate(raw, start=1):
            yield from _misfits(item, shape[0], f"{where}/{number}".lstrip("/"))
    else:
        wanted = {_Object: (dict,), list: (list,), tuple: shape}.get(type(shape), (shape,))
        belongs = " or ".join(_WORDS[one] for one in wanted)
        yield f"{where or 'the top'} is {_WORDS[type(raw)]}, and {belongs} belongs there"


def descriptor_faults(raw: Mapping[str, Any]) -> Iterator[str]:
    """What in a descriptor the program cannot work with."""
    yield from shape_faults(raw, _DESCRIPTOR)
    name = raw.get("name")
    # what is made of a package is called after it
    if isinstance(name, str) and not _FILE_NAME.fullmatch(name):
        yield f"the name {name[:80]!r} cannot be a part of a file's name"


def model_faults(model: Model) -> Iterator[tuple[str, str]]:
    """(file, fault) for everything that a model's parts say of one another and that is not so."""
    for kind, names in (
        ("vocabularies", [one.name for one in model.vocabularies.values()]),
        ("tables", list(model.tables)),
    ):
        if not names:
            yield "model.json", f"there are no {kind}"
    if model.units not in SYSTEMS:
        yield "model.json", _unlisted("units", model.units, tuple(SYSTEMS))
    if model.numbering not in NUMBERINGS:
        yield "model.json", _unlisted("numbering", model.numbering, tuple(NUMBERINGS))
    for vocabulary in model.vocabularies.values():
        for code in _twice(vocabulary.codes):
            yield "model.json", f"the vocabulary '{vocabulary.name}' has the code '{code}' twice"
    for name, columns in model.logs.items():
        table = model.tables.get(name)
        for one in columns:
            if table is None or one not in table:
                yield "model.json", f"the log names '{name}.{one}', which no schema describes"
    for table in model.tables.values():
        for fault in _table_faults(model, table):
            yield f"{table.name}.json", fault
    # last, because a key into a table does not fit where that table is what is wrong
    for table in model.tables.values():
        for fault in _key_faults(model, table):
            yield f"{table.name}.json", fault


def _table_faults(model: Model, table: Table) -> Iterator[str]:
    if not _PLAIN_NAME.fullmatch(table.name):
        yield f"'{table.name}' is not a name for a table: lower case letters, digits and _ make one"
    if table.role not in ROLES:
        yield _unlisted("role", table.role, ROLES)
    if not table.fields:
        yield "it has no fields"
    for name in _twice(table.names):
        yield f"it has two fields of the name '{name}'"
    for one in table.fields:
        where = f"field '{one.name}': "
        if not _PLAIN_NAME.fullmatch(one.name):
            yield f"{where}lower case letters, digits and _ make a name"
        for what, found, listed in (
            ("type", one.type, FIELD_TYPES),
            ("sensitivity", one.sensitivity, SENSITIVITIES),
            ("public", one.public, tuple(PUBLIC_FORMS)),
            ("section", one.section, tuple(table.sections)),
        ):
            if found is not None and found not in listed:
                yield where + _unlisted(what, found, listed)
        if one.vocabulary is not None and one.vocabulary not in model.vocabularies:
            yield f"{where}model.json has no vocabulary '{one.vocabulary}'"
        if one.measure is not None and one.measure not in KINDS:
            yield f"{where}'{one.measure}' is not a kind of length; there are {', '.join(KINDS)}"
        if one.usual_sizes is not None and one.usual_sizes not in model.vocabularies:
            yield f"{where}model.json has no vocabulary '{one.usual_sizes}'"
        if one.notation is not None and one.notation not in model.notations:
            yield f"{where}model.json has no notation '{one.notation}'"
        if one.key_of is not None and one.key_of not in table:
            yield f"{where}keyOf names '{one.key_of}', which is not a field of the table"


def _key_faults(model: Model, table: Table) -> Iterator[str]:
    if not table.primary_key:
        yield "its primaryKey names no field"
    for name in table.primary_key:
        if name not in table:
            yield f"its primaryKey names '{name}', which is not a field of it"
    for key in table.foreign_keys:
        said = f"the foreign key of {', '.join(key.fields) or 'no field'}"
        target = model.tables.get(key.table)
        if target is None:
            yield f"{said} points into '{key.table}', which has no schema"
        elif len(key.fields) != len(key.reference_fields) or not key.fields:
            yield f"{said} does not name as many fields as it points at"
        for name in key.fields:
            if name not in table:
                yield f"{said} names '{name}', which is not a field of the table"
        for name in key.reference_fields:
            if target is not None and name not in target:
                yield f"{said} points at '{name}', which is not a field of '{key.table}'"


def _unlisted(what: str, found: str, listed: tuple[str, ...]) -> str:
    return f"{what} is '{found}'; there are {', '.join(listed)}"


def _twice(names: tuple[str, ...]) -> list[str]:
    return sorted(name for name, count in Counter(names).items() if count > 1)
