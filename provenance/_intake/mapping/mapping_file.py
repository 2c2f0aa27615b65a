"""Reads a mapping file and holds it against the model, so that slips are named before reading."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from provenance._base.errors import UnusableInput, UnusableSchema
from provenance._base.yaml_text import read_yaml
from provenance._intake.files.received import TextHabits
from provenance._intake.mapping.mapping import (
    ALWAYS_MISSING,
    Condition,
    FieldRule,
    FormMapping,
    How,
    ReadingHabits,
    RowsRule,
    SourceRule,
    placeholders,
)
from provenance._intake.values.date_formats import ENGLISH_MONTHS, match_format
from provenance._model.measures import MM_PER
from provenance._model.profile import check_against_schema
from provenance._model.schema import STRICT, Field, Model, Table, Vocabulary
from provenance._model.wood_names import species_meant, tells_genus

SCHEMA = "mapping.schema.json"
OPEN = "?"
"""Stands in a drafted mapping where only a person can say what is meant."""
LEFT_OUT = "left out"
"""The answer for a column that is known and on purpose not taken."""
_DATE_KEYS = ("formats", "century_pivot", "day_first", "serial_epoch")


def read_mapping(path: Path, model: Model) -> FormMapping:
    """The mapping in a YAML file.

    Raises UnusableInput that names the place in the file, what is wrong there and what to write:
    no YAML, not as schemas/mapping.schema.json says, or a table, field, code or unit that the
    model does not have.
    """
    mapping = mapping_from(read_document(path), model, str(path))
    return replace(mapping, file_name=path.name, text=path.read_bytes())


def read_document(path: Path) -> dict[str, Any]:
    """What a mapping file says, before it is held against a model; raises UnusableInput."""
    raw: dict[str, Any] = read_yaml(path)
    try:
        check_against_schema(raw, SCHEMA, path)
    except UnusableSchema as error:
        raise UnusableInput(str(error)) from None
    return raw


def did_you_mean(word: str, words: Iterable[str]) -> str:
    """The nearest of some words as a question, with a blank before it; '' when none is near."""
    near = {one.casefold(): one for one in words}
    found = difflib.get_close_matches(word.casefold(), near, n=1)
    return f" Did you mean '{near[found[0]]}'?" if found else ""


def code_meant(word: str, vocabulary: Vocabulary) -> str:
    """As `did_you_mean` for a word that is in no list; species go by genus, not by spelling."""
    if not tells_genus(vocabulary):
        labels = [term.label for term in vocabulary.terms]
        return did_you_mean(word, [*vocabulary.codes, *labels])
    codes = [f"'{code}' ({vocabulary.label(code)})" for code in species_meant(word, vocabulary)]
    return f" Did you mean {' or '.join(codes)}?" if codes else ""


def mapping_from(raw: Mapping[str, Any], model: Model, name: str) -> FormMapping:
    """The mapping that a valid document says; `name` is its file, for messages."""
    faults: list[str] = []
    defaults = _habits(ReadingHabits(), raw, faults, "at the top")
    if "units" in raw:
        defaults = replace(defaults, unit=raw["units"])
    sources = tuple(
        _source(source, defaults, model, faults, f"source {place}")
        for place, source in enumerate(raw["sources"], start=1)
    )
    if faults:
        raise UnusableInput(f"{name} cannot be used; correct these:\n  " + "\n  ".join(faults))
    return FormMapping(raw["title"], sources, numbering=raw.get("numbering", STRICT))


def _small(words: Iterable[Any]) -> frozenset[str]:
    return frozenset(" ".join(str(word).split()).casefold() for word in words)


def _habits(
    habits: ReadingHabits, raw: Mapping[str, Any], faults: list[str], where: str
) -> ReadingHabits:
    """The habits as `raw` changes them; dates may stand in a block of their own or beside."""
    dates = {**raw.get("dates", {}), **{key: raw[key] for key in _DATE_KEYS if key in raw}}
    changes: dict[str, Any] = {key: dates[key] for key in _DATE_KEYS if key in dates}
    if "formats" in changes:
        changes["formats"] = tuple(changes["formats"])
        for one in changes["formats"]:
            try:
                match_format("", one, ENGLISH_MONTHS)
            except UnusableInput as error:
                faults.append(f"{where}: {error}")
    changes |= {key: raw[key] for key in ("unit", "decimal", "split") if key in raw}
    if "missing" in raw:
        changes["missing"] = _small(raw["missing"]) | ALWAYS_MISSING
    changes |= {key: _small(raw[key]) for key in ("yes", "no") if key in raw}
    if "synonyms" in raw:
        synonyms = {
            " ".join(word.split()).casefold(): _as_text(code)
            for word, code in raw["synonyms"].items()
        }
        changes["synonyms"] = MappingProxyType(synonyms)
    return replace(habits, **changes)


def _as_text(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _listed(raw: Any) -> tuple[str, ...]:
    return (raw,) if isinstance(raw, str) else tuple(raw)


def _source(
    raw: Mapping[str, Any],
    defaults: ReadingHabits,
    model: Model,
    faults: list[str],
    where: str,
) -> SourceRule:
    habits = _habits(defaults, {key: raw[key] for key in ("decimal",) if key in raw}, faults, where)
    raw = _decided(raw, faults, where)
    return SourceRule(
        files=_listed(raw["files"]),
        sheets=(raw["sheet"],) if "sheet" in raw else tuple(raw.get("sheets", ())),
        header_row=raw.get("header_row", 1),
        text=TextHabits(raw.get("encoding"), raw.get("delimiter"), raw.get("quote")),
        keep=tuple(raw.get("keep", ())),
        keep_lines=_small(raw.get("keep_lines", ())),
        fill_down=tuple(raw.get("fill_down", ())),
        left_out=tuple(raw.get("columns_left_out", ())),
        missing=habits.missing,
        rows=tuple(
            rule
            for one in raw["rows"]
            if (rule := _rows(one, habits, model, faults, where)) is not None
        ),
    )


def _decided(raw: Mapping[str, Any], faults: list[str], where: str) -> Mapping[str, Any]:
    """The source with each column that a draft asked about put where the answer says."""
    rows = [{**one, "fields": dict(one["fields"])} for one in raw["rows"]]
    left_out = list(raw.get("columns_left_out", ()))
    undecided = []
    tables = list(dict.fromkeys(one["table"] for one in rows))
    for heading, answer in raw.get("columns_to_decide", {}).items():
        table, _, name = answer.partition(".")
        here = [one for one in rows if one["table"] == table]
        if answer == OPEN:
            undecided.append(f"'{heading}'")
        elif answer == LEFT_OUT:
            left_out.append(heading)
        elif not here or not name:
            faults.append(
                f"{where}: the column '{heading}' is to be '{answer}', which is not a field of "
                f"{' or '.join(tables)}; write it as in '{tables[0]}.notes', or '{LEFT_OUT}'"
            )
        elif any(name in one["fields"] for one in here):
            faults.append(f"{where}: {answer} has a column besides '{heading}'; keep one of them")
        else:
            for one in here:
                one["fields"][name] = {"column": heading}
    if undecided:
        faults.append(
            f"{where}: what is to become of {', '.join(undecided)}? Under columns_to_decide write, "
            f"in place of each '{OPEN}', the field such as '{tables[0]}.notes' (of "
            f"{', '.join(tables)}), or '{LEFT_OUT}'"
        )
    return {**raw, "rows": rows, "columns_left_out": left_out}


def _rows(
    raw: Mapping[str, Any], habits: ReadingHabits, model: Model, faults: list[str], where: str
) -> RowsRule | None:
    name = raw["table"]
    tables = {table.name: table for table in model.of_role("record")}
    if name == OPEN:
        faults.append(
            f"{where}: say what a line of this sheet is: in place of the '{OPEN}' after 'table:' "
            f"write one of {', '.join(tables)}, and in place of those after 'fields:' its fields"
        )
        return None
    if name not in tables:
        near = did_you_mean(name, tables)
        faults.append(f"{where}: there is no table '{name}'.{near} There are {', '.join(tables)}")
        return None
    table = tables[name]
    where = f"{where}, table {name}"
    both = sorted(set(raw["fields"]) & set(raw.get("values", {})))
    if both:
        faults.append(f"{where}: {', '.join(both)} is under both 'fields' and 'values'")
    constants = {key: {"constant": value} for key, value in raw.get("values", {}).items()}
    rules = [
        rule
        for field_name, one in {**raw["fields"], **constants}.items()
        if (rule := _field(field_name, one, table, habits, model, faults, where)) is not None
    ]
    # the ledger numbers its events itself
    lacking = [key for key in table.primary_key if key not in {**raw["fields"], **constants}]
    if lacking and name != "custody":
        faults.append(
            f"{where}: {', '.join(lacking)} is missing, and without it no row can be told from "
            "another; name its column, or make it of several with a template"
        )
    return RowsRule(name, tuple(rules), _condition(raw.get("when")))


def _condition(raw: Any) -> Condition | None:
    if raw is None:
        return None
    if isinstance(raw, str):
        return Condition(raw)
    return Condition(raw["column"], _small(raw["one_of"]))


def _field(
    name: str,
    raw: Mapping[str, Any],
    table: Table,
    habits: ReadingHabits,
    model: Model,
    faults: list[str],
    where: str,
) -> FieldRule | None:
    if name == OPEN:
        faults.append(
            f"{where}: in place of the '{OPEN}' under 'fields:' write a field and its column, at "
            f"least {', '.join(table.primary_key)}"
        )
        return None
    if name not in table:
        near = did_you_mean(name, table.names)
        faults.append(f"{where}: it has no field '{name}'.{near}")
        return None
    where = f"{where}, field {name}"
    one = table.field(name)
    if one.obtained == "computed":
        faults.append(f"{where}: it is computed and not read in; remove it")
        return None
    if raw.get("column") == OPEN or (raw.get("constant") == OPEN and not one.vocabulary):
        what = "the heading of its column" if "column" in raw else "what it is in every row"
        faults.append(f"{where} ({one.title}): in place of the '{OPEN}' write {what}")
        return None
    own = _habits(habits, raw, faults, where)
    _check_unit(raw, one, faults, where)
    _check_codes(own.synonyms, one, model, faults, where)
    if "split" in raw:
        _check_split(raw["split"], one, faults, where)
    if "filled" in raw and one.type != "boolean":
        faults.append(f"{where}: it is not a yes-or-no field, so use column, not 'filled'")
    several: tuple[How, ...] = ("column", "first_of", "all_of", "filled")
    for how in several:
        if how in raw:
            return FieldRule(name, how, _listed(raw[how]), habits=own)
    if "template" in raw:
        template = raw["template"]
        return FieldRule(name, "template", placeholders(template), template, own)
    # a constant is written by whoever writes the mapping, not in the way of the crew
    plain = _habits(ReadingHabits(decimal="."), raw, faults, where)
    return FieldRule(name, "constant", (), _as_text(raw["constant"]), plain)


def _check_unit(raw: Mapping[str, Any], one: Field, faults: list[str], where: str) -> None:
    if "unit" in raw and not (one.type == "number" and one.unit in MM_PER):
        what = f"is kept in {one.unit}" if one.unit else "has no unit"
        faults.append(f"{where}: it {what}, so 'unit: {raw['unit']}' says nothing; remove it")


def _check_split(split: str, one: Field, faults: list[str], where: str) -> None:
    if not one.separator:
        faults.append(f"{where}: it holds one code, so there is nothing to split")
    try:
        re.compile(split)
    except re.error as error:
        faults.append(f"{where}: '{split}' is not a regular expression: {error}")


def _check_codes(
    synonyms: Mapping[str, str], one: Field, model: Model, faults: list[str], where: str
) -> None:
    vocabulary = model.vocabulary_of(one)
    codes: Collection[str]
    if vocabulary is not None:
        codes = vocabulary.codes
    elif one.type == "boolean":
        codes = ("true", "false")
    else:
        return  # free text: the synonym is what is to be written
    for word, code in synonyms.items():
        if code not in codes:
            if vocabulary is not None and tells_genus(vocabulary):
                near = code_meant(code, vocabulary)
            else:
                near = did_you_mean(code, codes)
            several = f" There are {', '.join(codes)}" if len(codes) <= 12 else ""
            faults.append(f"{where}: '{word}' means '{code}', which is not a code.{near}{several}")
