"""Starts a package for one kind of place, and brings an older one up to a changed profile."""

from __future__ import annotations

import re
import unicodedata
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType

from provenance._base.disk import write_text
from provenance._base.errors import UnusablePackage
from provenance._model.profile import load_model
from provenance._model.schema import Field, Model, Table, with_numbering
from provenance._record.copies import note_copy
from provenance._record.edition_key import EDITION_KEY, new_edition_key
from provenance._record.package import (
    DESCRIPTOR,
    Package,
    as_json,
    describe,
    open_package,
    start_package,
    write_model,
)
from provenance._record.settings import Settings

EXAMPLE_MAPPING = "mapping.example.yaml"
WIDE_TABLES = ("element", "sample", "plug")
"""The tables that crews usually write side by side on one line."""


def new_package(
    folder: Path | str,
    profile: str = "blank",
    *,
    title: str | None = None,
    created: datetime | None = None,
    settings: Settings | None = None,
) -> Package:
    """Start a package in a folder that is not there yet.

    `profile` is a shipped name or the path of a YAML file, or several joined with '+'; `created`
    defaults to now, `settings` to those of the profile. The descriptor holds a random key, by which
    a public edition can be shown to come from this package.
    Raises AlreadyThere when the folder exists and UnusableSchema when the profile is faulty.
    """
    folder = Path(folder)
    model = (settings or Settings()).of(load_model(profile))
    title = title or folder.resolve().name
    moment = (created or datetime.now(UTC)).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    package = start_package(
        folder,
        model,
        name=package_name(folder.resolve().name),
        title=title,
        created=moment,
        readme=crew_readme(model, title),
        more_files={EXAMPLE_MAPPING: example_mapping(model)},
        more_properties={EDITION_KEY: new_edition_key()},
    )
    _own_numbers(package)
    return package


def _own_numbers(package: Package) -> None:
    """Note that this copy gives out the numbers of the record."""
    # an account without a data folder can do everything but give out numbers, which says so then
    with suppress(OSError):
        note_copy(package, began=True)


def update_package(package: Package, profile: str) -> Package:
    """Fit a package to a changed or another profile, or to several joined with '+'.

    Columns are added, never taken away, but for those of derived tables that are computed no more.
    A field that holds data and that the profile no longer has is kept, and asked for no more.
    Raises UnusablePackage when a column that holds data is described by neither.
    """
    # how the crew measures and numbers, and in which language, is set once, whatever the profile
    kept = package.model
    model = replace(load_model(profile), units=kept.units, language=kept.language)
    if kept.numbering != model.numbering:
        model = with_numbering(model, kept.numbering)
    with package.locked():
        for table in package.model.tables.values():
            if table.role != "derived":
                model = _keeping_data(package, table, model, profile)
        fitted = replace(package, model=model)
        for table in model.tables.values():
            if table.name not in package.model.tables:
                write_text(fitted.table_path(table.name), ",".join(table.names) + "\n")
                continue
            frame = package.table(table.name).reindex(columns=list(table.names), fill_value="")
            fitted.write_table(table.name, frame)
        write_model(model, package.folder)
        descriptor = describe(
            model,
            name=package.name,
            title=package.title,
            created=str(package.descriptor["created"]),
        )
        # what others wrote into the descriptor (contributors, a resolver address …) is theirs
        kept_properties = {k: v for k, v in package.descriptor.items() if k not in descriptor}
        write_text(package.folder / DESCRIPTOR, as_json({**descriptor, **kept_properties}))
    if "number_range" not in package.model.tables:
        # of a version in which every copy gave out numbers
        _own_numbers(package)
    return open_package(package.folder)


def _keeping_data(package: Package, table: Table, model: Model, profile: str) -> Model:
    """The model with the fields that it lacks and that hold data in the package, hidden."""
    frame, after = package.table(table.name), model.tables.get(table.name)
    filled = [one for one in frame.columns if (frame[one] != "").any()]
    lost = [one for one in filled if after is None or one not in after]
    if not lost:
        return model
    if after is None or any(one not in table for one in lost):
        raise UnusablePackage(
            f"{package.table_path(table.name)}: neither the profile '{profile}' nor the package's "
            f"own schemas describe the column(s) {', '.join(lost)}, which hold data; add them to "
            "the profile under 'add', or empty them first"
        )
    kept = []
    for one in map(table.field, lost):
        bounds = {name: value for name, value in one.constraints.items() if name != "required"}
        kept.append(replace(one, hidden=True, constraints=MappingProxyType(bounds)))
    lists = {
        one.vocabulary: package.model.vocabularies[one.vocabulary] for one in kept if one.vocabulary
    }
    return replace(
        model,
        tables=MappingProxyType(
            {**model.tables, table.name: replace(after, fields=(*after.fields, *kept))}
        ),
        vocabularies=MappingProxyType({**lists, **model.vocabularies}),
    )


def package_name(text: str) -> str:
    """A name as Data Package v2 wants it: lower case ASCII letters, digits, '.', '_', '-'.

    >>> package_name("Hollin Reach, été 2024")
    'hollin-reach-ete-2024'
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9._]+", "-", plain).strip("-.") or "package"


def crew_readme(model: Model, title: str) -> str:
    """What the crew finds in a new package: what is in it, what to do next, what to mind."""
    rows = "\n".join(
        f"| `tables/{table.name}.csv` | {table.description} |" for table in model.of_role("record")
    )
    cautions = "\n".join(f"- {caution}" for caution in model.cautions)
    kinds = f"Kind of place: {model.title}."
    if len(model.profiles) > 1:
        kinds = (
            f"Kinds of place: {model.title}. In 'Recorded as', name the profile of each "
            "building; its rooms follow."
        )
    equipment = "\n".join(f"- {one.item}: {one.purpose}" for one in model.equipment)
    return f"""# {title}

A record of timbers, samples, plugs and laboratory results, kept as plain tables.
{kinds}

## What to do next
1. Fill in the workbook (`treenail print workbook .`) or the paper sheets (`treenail print sheets
   .`), or keep the forms you have and describe their columns once in a mapping (see
   `{EXAMPLE_MAPPING}`, or let `treenail import . YOUR-FILE --draft` propose one).
2. `treenail import . YOUR-FILES --mapping YOUR-MAPPING.yaml` brings them in. The files are kept
   unchanged in `originals/`.
3. `treenail check .` lists the problems. Fix them and check again.
4. `treenail pack .` makes the archive bundle for the repository.

## What is in it
| table | holds |
|---|---|
{rows}

`schemas/` explains every column. `files/` is for photos, plans and reports.

## Safety and care
{cautions}

This list is a reminder. It does not replace any code, permit or licensed professional.

## Equipment
{equipment}
"""


def example_mapping(model: Model) -> str:
    """A mapping that can be edited: one wide sheet, a line of which is wood, sample and plug."""
    tables = [model.table(name) for name in WIDE_TABLES]
    blocks = "\n".join(_example_rows(model, table) for table in tables)
    return f"""# How the columns of a field form become the columns of this package.
# Copy this file, put your own column headings after 'column:', and delete what you do not have.
# 'treenail import . YOUR-FILE --draft' writes a mapping from your headings for you to correct.
title: Timbers, samples and plugs on one sheet
dates:
  formats: [YYYY-MM-DD]     # or D/M/YYYY, M/D/YY ...
  # century_pivot: 1950     # needed for two-digit years: the first of the hundred years meant
units: cm                   # for lengths that name no unit: in, ft, ft-in, mm, cm, m
missing: ["", "-", "n/a"]
sources:
  - files: "*.xlsx"         # also *.csv, *.tsv, *.ods
    header_row: 1
    rows:
{blocks}"""


def _example_rows(model: Model, table: Table) -> str:
    when = "" if table.name == "element" else "        when: Field specimen number\n"
    lines = [f"      - table: {table.name}\n{when}        fields:\n"]
    for one in table.form_fields():
        note = _example_note(model, one)
        lines.append(f"          {one.name}: {_example_source(table, one)}{note}\n")
    return "".join(lines)


def _example_source(table: Table, one: Field) -> str:
    if table.name == "plug" and one.name == "plug_id":
        return '{template: "P-{Field specimen number}"}'
    shared = {"site_id": "Site code", "element_id": "Timber number", "sample_id": None}
    heading = shared.get(one.name, one.title) or "Field specimen number"
    if table.name != "element" and heading == one.title and one.name not in ("sample_id",):
        heading = f"{table.title.rstrip('s')}: {one.title}"
    return f'{{column: "{heading}"}}'


def _example_note(model: Model, one: Field) -> str:
    vocabulary = model.vocabulary_of(one)
    if vocabulary and len(vocabulary.codes) <= 12:
        return f"  # {', '.join(vocabulary.codes)}"
    if vocabulary:
        return f"  # a code, label or synonym of '{vocabulary.title}'"
    return f"  # {one.unit}" if one.unit else ""
