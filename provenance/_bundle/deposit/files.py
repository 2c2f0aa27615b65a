"""Finds every form that a module of this folder brings, and writes them into a bundle's payload."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from provenance._base.disk import writing
from provenance._bundle import deposit
from provenance._bundle.deposit.form import Described, Form
from provenance._bundle.describe.citation import datacite_record
from provenance._bundle.describe.editions import Edition
from provenance._record.origin import Ancestor
from provenance._record.package import Package


@cache
def deposit_forms() -> tuple[Form, ...]:
    """Every Form that stands in a module of this folder, in their order.

    Raises ValueError when two have one file name or one place.
    """
    names = sorted(module.name for module in pkgutil.iter_modules(deposit.__path__))
    modules = [importlib.import_module(f"{deposit.__name__}.{name}") for name in names]
    forms = [one for module in modules for one in vars(module).values() if isinstance(one, Form)]
    for what in ("file_name", "order"):
        taken = [getattr(one, what) for one in forms]
        if len(set(taken)) < len(taken):
            raise ValueError(f"two forms have the same {what}: {taken}")
    return tuple(sorted(forms, key=lambda one: one.order))


def write_deposit_files(
    package: Package,
    data: Path,
    edition: Edition,
    *,
    day: str,
    formats: tuple[str, ...],
    sizes: tuple[str, ...],
    earlier: Sequence[Ancestor] = (),
) -> Mapping[str, Any]:
    """Write every description into `data`, and give the citation; `day` is the record's date.

    `formats` are the media types of the files described, `sizes` say in words how much there is;
    `earlier` are the bundles that this one goes on from, newest first. They say what the package
    says: one that goes into the public edition is redacted already. People are named only where
    they agreed to it, in every edition. The same package makes the same bytes.
    Raises UnusablePackage when the descriptor's relations cannot be cited.
    """
    record = datacite_record(
        package, edition, day=day, formats=formats, sizes=sizes, earlier=earlier
    )
    described = Described(package, edition, record, day)
    for form in deposit_forms():
        with writing(data / form.file_name) as stream:
            form.write(stream, described)
    return record
