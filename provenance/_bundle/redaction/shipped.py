"""Knows what travels with the program, and so says nothing about any one record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property

from provenance._base.yaml_text import read_yaml
from provenance._model.profile import apply_profiles, profile_path, shipped_profiles
from provenance._model.schema import Field, Model, Table, Term, read_core


@dataclass(frozen=True)
class Shipped:
    """The core tables and lists, before compiling, and what the shipped profiles make of them."""

    core: Model
    profiles: Mapping[str, Model]

    def field(self, table: str, name: str) -> Field | None:
        """The core's own field of that name, None for one that a profile or package added."""
        found = self.core.tables.get(table)
        return found.field(name) if found and name in found else None

    def added_field(self, table: str, name: str) -> Field | None:
        """The field that a shipped profile adds under that name."""
        for model in self.profiles.values():
            found: Table = model.table(table)
            if name in found:
                return found.field(name)
        return None

    def of_profile(self, profile: str) -> Model | None:
        """The model of a profile, or of several joined with '+', when all of them are shipped."""
        names = profile.split("+")
        if not self.profiles.keys() >= set(names):
            return None
        return self.profiles.get(profile) or _applied(self.core, *names)

    @cached_property
    def terms(self) -> Mapping[str, Mapping[str, Term]]:
        """Every code of every shipped list, by the list's name and the code."""
        found: dict[str, dict[str, Term]] = {name: {} for name in self.core.vocabularies}
        # the core's own words last, so that they stand
        for model in (*self.profiles.values(), self.core):
            for vocabulary in model.vocabularies.values():
                found.setdefault(vocabulary.name, {}).update(
                    {one.code: one for one in vocabulary.terms}
                )
        return found


@cache
def shipped_models() -> Shipped:
    """What this program ships; read once a process."""
    core = read_core()
    return Shipped(core, {name: _applied(core, name) for name in shipped_profiles()})


def _applied(core: Model, *names: str) -> Model:
    return apply_profiles(core, [read_yaml(profile_path(one)) for one in names], "+".join(names))
