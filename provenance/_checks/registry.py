"""Gathers the trade rules."""

from __future__ import annotations

import importlib
import itertools
import pkgutil
from collections.abc import Iterable
from dataclasses import replace
from types import ModuleType

from provenance._checks import rules as subjects
from provenance._checks.language import acts, computed, files, lineage, seals, widths
from provenance._checks.language.rule import Rule


def all_rules() -> tuple[Rule, ...]:
    """Every rule that needs nothing but the tables, sorted by its id.

    Raises ValueError when two rules share an id: reports, tests and the rule book go by it.
    """
    names = [one.name for one in pkgutil.iter_modules(subjects.__path__)]
    modules = [importlib.import_module(f"{subjects.__name__}.{name}") for name in names]
    return _sorted(rules_in(*modules))


def package_rules() -> tuple[Rule, ...]:
    """Every rule there is, those about a package's files, ledger and origin too, sorted by id."""
    on_disk = [
        replace(one, on_disk=True)
        for one in rules_in(acts, computed, files, seals, lineage, widths)
    ]
    return _sorted([*all_rules(), *on_disk])


def rules_in(*modules: ModuleType) -> list[Rule]:
    """The rules that stand in modules."""
    return [one for module in modules for one in vars(module).values() if isinstance(one, Rule)]


def _sorted(rules: Iterable[Rule]) -> tuple[Rule, ...]:
    ordered = sorted(rules, key=lambda one: one.id)
    for one, following in itertools.pairwise(ordered):
        if one.id == following.id:
            raise ValueError(f"two rules have the id '{one.id}'")
    return tuple(ordered)
