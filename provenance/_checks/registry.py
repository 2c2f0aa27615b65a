"""Gathers the trade rules."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

from provenance._checks.language.files import disk_rules
from provenance._checks.language.lineage import lineage_rules
from provenance._checks.language.rule import Rule
from provenance._checks.language.seals import seal_rules
from provenance._checks.rules import (
    custody,
    dates,
    element,
    files,
    geometry,
    hole,
    intake,
    parcel,
    party,
    place,
    plug,
    position,
    privacy,
    result,
    sample,
    site,
    years,
)

__all__ = ["all_rules", "package_rules"]

_MODULES = (
    site,
    position,
    party,
    place,
    element,
    sample,
    hole,
    plug,
    custody,
    parcel,
    result,
    years,
    geometry,
    dates,
    privacy,
    files,
    intake,
)


def all_rules() -> tuple[Rule, ...]:
    """Every rule that needs nothing but the tables, sorted by its id.

    Raises ValueError when two rules share an id: reports, tests and the rule book go by it.
    """
    return _sorted(
        [one for module in _MODULES for one in vars(module).values() if isinstance(one, Rule)]
    )


def package_rules(folder: Path) -> tuple[Rule, ...]:
    """Every rule there is, with those about files, ledger and origin in `folder`, sorted by id."""
    on_disk = (*disk_rules(folder), *seal_rules(), *lineage_rules(folder))
    return _sorted([*all_rules(), *(replace(one, on_disk=True) for one in on_disk)])


def _sorted(rules: list[Rule]) -> tuple[Rule, ...]:
    rules = sorted(rules, key=lambda one: one.id)
    for one, following in itertools.pairwise(rules):
        if one.id == following.id:
            raise ValueError(f"two rules have the id '{one.id}'")
    return tuple(rules)
