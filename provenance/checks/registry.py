"""Gathers the trade rules."""

from __future__ import annotations

import itertools

from provenance.checks.rule import Rule
from provenance.checks.rules import (
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

__all__ = ["all_rules"]

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
    """Every trade rule, sorted by its id.

    Raises ValueError when two rules share an id: reports, tests and the rule book go by it.
    """
    rules = [one for module in _MODULES for one in vars(module).values() if isinstance(one, Rule)]
    rules.sort(key=lambda one: one.id)
    for one, following in itertools.pairwise(rules):
        if one.id == following.id:
            raise ValueError(f"two rules have the id '{one.id}'")
    return tuple(rules)
