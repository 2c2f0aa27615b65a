"""Reads what a repository says of itself once: its name, its pattern of numbers, its notice."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._base.errors import UnusableInput, UnusableSchema
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._model.profile import check_against_schema
from provenance._store.numbers import NumberPattern, number_pattern

SETTINGS = "repository.yaml"
"""Where the settings are looked for, beside the register."""

_BEGUN = {"number_pattern": "{year}.{serial:04}"}
"""What the template has where it is not blank."""


@dataclass(frozen=True)
class Repository:
    """The repository as its receipts name it; '' and None where it says nothing."""

    name: str = ""
    postal_address: str = ""
    contact: str = ""
    party_id: str = ""
    notice: str = ""
    pattern: NumberPattern | None = None

    @property
    def in_words(self) -> str:
        """Name and postal address on one line."""
        return ", ".join(one for one in (self.name, self.postal_address) if one)


def read_repository(path: Path) -> Repository:
    """The settings in a YAML file (schemas/repository.schema.json).

    Raises UnusableInput when it cannot be read or breaks the schema, and UnusableNumber for a
    pattern that cannot be used.
    """
    if not path.is_file():
        raise UnusableInput(f"{path} is not there; check the name of the settings file")
    try:
        raw = read_yaml(path)
    except UnusableSchema as error:
        raise UnusableInput(str(error)) from error
    return _repository(raw, path)


def _repository(raw: Any, path: Path) -> Repository:
    try:
        check_against_schema(raw, "repository.schema.json", path)
    except UnusableSchema as error:
        raise UnusableInput(str(error)) from error
    return Repository(
        name=" ".join(raw["name"].split()),
        postal_address=" ".join(raw.get("postal_address", "").split()),
        contact=" ".join(raw.get("contact", "").split()),
        party_id=raw.get("party_id", ""),
        notice=" ".join(raw.get("notice", "").split()),
        pattern=number_pattern(raw["number_pattern"]),
    )


def settings_in(store: Path) -> Repository:
    """What the store in a folder says of itself; blank where it has no settings.

    Raises as `read_repository`.
    """
    path = store / SETTINGS
    return read_repository(path) if path.is_file() else Repository()


def new_settings(pattern: NumberPattern) -> str:
    """The text of a settings file to begin with, for that pattern."""
    return _with_values({"number_pattern": pattern.text})


def settings_text(values: Mapping[str, str], path: Path) -> str:
    """The text of a settings file with these values; `path` is where it will lie.

    Raises UnusableInput and UnusableNumber as `read_repository` does.
    """
    _repository(dict(values), path)
    return _with_values(values)


def _with_values(values: Mapping[str, str]) -> str:
    text = (shipped("templates") / "repository" / SETTINGS).read_text(encoding="utf-8")
    for name, value in values.items():
        # a JSON text is a YAML one too
        said = f"{name}: {json.dumps(value, ensure_ascii=False)}"
        before = f'{name}: "{_BEGUN.get(name, "")}"'
        assert text.count(before) == 1, name
        text = text.replace(before, said)
    return text
