"""Makes the public edition of a package as a package of its own, in another folder."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from provenance._bag.hashing import hash_files
from provenance._base.disk import write_text
from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._base.progress import Progress, say_nothing, stretch
from provenance._bundle.describe.contents import Contents, record_date, survey_package
from provenance._bundle.describe.withdrawn import Withdrawn
from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.candidates import (
    BUILDINGS,
    CELL_SHOWN,
    Inference,
    buildings_in_cell,
    cell_published,
    coarse_enough,
)
from provenance._bundle.redaction.commitments import commit, members_text
from provenance._bundle.redaction.decisions import keeps_reviews
from provenance._bundle.redaction.files import FileRows, redact_files
from provenance._bundle.redaction.gathering import SITE, Known, gather_known, whole_columns
from provenance._bundle.redaction.places import read_grid
from provenance._bundle.redaction.release import PACKAGE
from provenance._bundle.redaction.schemas import public_model, refuse_telling_names
from provenance._bundle.redaction.stand_ins import WITHDRAWAL
from provenance._bundle.redaction.tables import redact_table, released_names
from provenance._ledger.custody import last_seal
from provenance._model.schema import Model, Table
from provenance._record.computed_from import COMPUTED_FROM
from provenance._record.deposit_settings import (
    EMBARGO,
    FULL_ID,
    OWN_ID,
    PUBLIC_ID,
    embargo_of,
)
from provenance._record.doi import doi_in
from provenance._record.edition_key import EDITION, EDITION_KEY, edition_key, is_public
from provenance._record.package import (
    DESCRIPTOR,
    Package,
    as_json,
    describe,
    open_package,
    write_model,
)

GRID = "publicGrid"
OPEN_PROPERTIES = ("version", "licenses", "keywords", "relatedIdentifiers", "schemaVersion")
"""Properties of the descriptor that go into the public edition, as far as they are released."""
_PARTS = ("name", "title", "path", "identifier", "relation", "type", "relatedIdentifier",
          "relatedIdentifierType", "relationType")  # fmt: skip
_VERSION = re.compile(r"[0-9]{1,3}(\.[0-9]{1,3}){0,3}")
_MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9:]{8}Z)?")
NO_KEY = "00"
_OWN_PROPERTIES = ("$schema", "name", "title", "description", "created", "profileName",
                   "writtenBy", "resources", COMPUTED_FROM, EDITION_KEY, GRID, BUILDINGS,
                   CELL_SHOWN, OWN_ID, PUBLIC_ID, EMBARGO)  # fmt: skip


@dataclass(frozen=True)
class Redacted:
    """The public edition of a package as a package, what was done, and where it came from.

    `withdraws` are the editions whose place it takes, `mask` replaces what is withheld in a text.
    """

    package: Package
    account: Account
    derived_from: Mapping[str, Any]
    withdraws: tuple[Withdrawn, ...]
    mask: Callable[[str], str]


def redact(
    package: Package,
    folder: Path,
    *,
    grid: str | None = None,
    known: Known | None = None,
    progress: Progress = say_nothing,
) -> Redacted:
    """Write the public edition of `package` as a package into the new folder `folder`.

    `grid` is the size of the cells that coordinates are made coarse to, in degrees, or 'drop' to
    leave them out; left out, it is the descriptor's 'publicGrid', else 0.1. Where too few places
    are left that the edition could be about, it is made coarser than that: see `candidates`. The
    package must have an edition key. What is shown follows from the program's schemas, and from
    what was released; `known` is what `gather_known` gave for it, if it was asked already.
    Raises UnusablePackage when a table cannot be read, the package is a public edition itself, or a
    name in its profile gives something away; UnusableInput for a grid that is none.
    """
    if is_public(package):
        raise UnusablePackage(
            f"{package.folder} is already a public edition, and holds nothing that could be "
            "withheld; pack the full edition's package"
        )
    key = edition_key(package)
    if key is None:
        raise UnusablePackage(f"{package.folder / DESCRIPTOR} has no '{EDITION_KEY}'")
    known = known or gather_known(package)
    account = Account(_inference(known, chosen_grid(package, grid)))
    contents = survey_package(package)
    digests = _digests(package, contents, stretch(progress, 0, 2))
    folder.mkdir(parents=True, exist_ok=True)
    rows = redact_files(
        known, contents, digests, key, folder, account, progress=stretch(progress, 1, 2)
    )
    public = _write_package(known, rows, account, folder)
    for empty in ("files", "originals"):
        (folder / empty).mkdir(exist_ok=True)
    account.older = not keeps_reviews(package)
    account.decisions = known.release.decision_count
    for one in known.release.waiting:
        account.waiting[one.kind, one.where] += 1
        account.waiting_with_hits += bool(one.hits)
    derived_from = {
        "package": known.release.of_text(PACKAGE, "datapackage.name", package.name) or "",
        "recordDate": record_date(package),
        "membersHmacSha256": commit(key, "members", members_text(digests.items())),
        "lastSealHmacSha256": commit(key, "seal", last_seal(package)),
    }
    return Redacted(public, account, derived_from, _withdrawn(known), known.masker.mask)


def _withdrawn(known: Known) -> tuple[Withdrawn, ...]:
    return tuple(
        Withdrawn(
            row["manifest_sha256"],
            row["record_date"],
            # the reason may name the very person whom it is about
            known.masker.mask(row["reason"]),
            row["declared"][:10],
        )
        for row in known.package.tables.rows(WITHDRAWAL)
    )


def ask_everything(package: Package) -> Known:
    """Ask for all that a public edition would need a person's word for, and write nothing.

    What was asked, and how it stands, is in `release.asked` of the value.
    Raises UnusablePackage and UnusableInput as `redact` does.
    """
    known = gather_known(package)
    account = Account(_inference(known, None))
    contents = survey_package(package)
    digests = _digests(package, contents)
    # no commitment is kept, so no key is needed for one
    rows = redact_files(known, contents, digests, NO_KEY, None, account)
    tables = {name: redact_table(known, name, account, rows).table for name in known.tables}
    _describe(known, tables)
    return known


def _inference(known: Known, cell: Decimal | None) -> Inference:
    """How coarse the edition has to be made, and how many places it could be about then."""
    package = known.package
    sites = [known.grids.sizes.get(site, {}) for site in package.tables.column(SITE, "site_id")]
    buildings, said = buildings_in_cell(package)
    published = cell_published(package)
    return coarse_enough(sites, cell, buildings, said=said, published=published)


def _digests(
    package: Package, contents: Contents, progress: Progress = say_nothing
) -> dict[str, str]:
    """Path → SHA-256 of every file of the package."""
    paths = {member.path: ("sha256",) for member in contents.members}
    sums = hash_files(package.folder, paths, progress=progress)
    for path, reason in sums.unreadable.items():
        raise UnusableInput(f"{package.folder / path} cannot be read: {reason}")
    return {path: found["sha256"] for path, found in sums.digests.items()}


def chosen_grid(package: Package, grid: str | None) -> Decimal | None:
    """The size of a cell in degrees, None for no coordinates; see `redact`."""
    own = package.descriptor.get(GRID)
    return read_grid(grid if grid is not None else None if own is None else str(own))


def _write_package(known: Known, rows: FileRows, account: Account, folder: Path) -> Package:
    tables = {}
    for name in known.tables:
        one = redact_table(known, name, account, rows)
        tables[name] = one.table
        # written by its own schema, which the model below is made of
        own = replace(known.package.model, tables={name: one.table})
        Package(folder, {}, own).write_table(name, one.frame)
    others = known.package.model.tables.keys() - known.shipped.core.tables.keys()
    account.tables_left_out = len(others)
    model, descriptor = _describe(known, tables)
    kept = {*descriptor, *_OWN_PROPERTIES}
    account.properties_left_out = len(known.package.descriptor.keys() - kept)
    write_model(model, folder)
    write_text(folder / "README.md", _readme(descriptor["title"]))
    write_text(folder / DESCRIPTOR, as_json(descriptor))
    return open_package(folder)


def _describe(known: Known, tables: Mapping[str, Table]) -> tuple[Model, dict[str, Any]]:
    """The model and the descriptor of the public edition."""
    own, shipped, release = known.package.model, known.shipped, known.release
    shown = [
        one.name
        for table in tables.values()
        for one in own.table(table.name).fields
        if one.name in table and shipped.field(table.name, one.name) is None
    ]
    shown += known.lists.keys() - shipped.core.vocabularies.keys()
    refuse_telling_names(list(dict.fromkeys(shown)), known.masker)
    model = public_model(shipped, own, tables, known.lists, release)
    raw = known.package.descriptor
    name, title = _public_names(known)
    created = str(raw.get("created", ""))
    descriptor = describe(
        model, name=name, title=title, created=created if _MOMENT.fullmatch(created) else ""
    )
    descriptor[EDITION] = "public"
    description = raw.get("description", descriptor["description"])
    if description != descriptor["description"]:
        told = _released(known, "description", description)
        descriptor["description"] = told or descriptor["description"]
    for property_name in OPEN_PROPERTIES:
        value = _released(known, property_name, raw.get(property_name))
        if value:
            descriptor[property_name] = value
    # whoever has the full edition's DOI is led to what is written there, the place's name too
    if full := _released(known, OWN_ID, raw.get(OWN_ID)):
        descriptor[FULL_ID] = full
    if (public := raw.get(PUBLIC_ID)) and doi_in(public):
        # it was given to be public, but what is withheld may be spelled in it
        if known.masker.mask(public) != public:
            raise UnusablePackage(
                f"{known.package.folder / DESCRIPTOR}: the DOI of the public edition, {public}, "
                "holds a name or number that is withheld; register one that tells nothing, and "
                "enter it with 'treenail settings --public-doi'"
            )
        descriptor[OWN_ID] = public
    if until := embargo_of(known.package):
        descriptor[EMBARGO] = until
    return model, descriptor


def _released(known: Known, name: str, value: Any) -> Any:
    """What was released of a JSON value; an object is read as one text, and known parts kept."""
    where = f"datapackage.{name}"
    if isinstance(value, str):
        return value if _VERSION.fullmatch(value) else known.release.of_text(PACKAGE, where, value)
    if isinstance(value, list):
        return [one for one in (_released(known, name, part) for part in value) if one]
    if isinstance(value, dict):
        parts = {key: value[key] for key in _PARTS if isinstance(value.get(key), str)}
        told = "; ".join(f"{key}: {text}" for key, text in parts.items())
        return parts if known.release.of_text(PACKAGE, where, told) == told else None
    return None


def _public_names(known: Known) -> tuple[str, str]:
    """The package's name and title in public; where nobody released them, by its sites."""
    from provenance._record.new import package_name

    package, release = known.package, known.release
    codes = package.tables.column(SITE, "site_id")
    names = released_names(
        known, SITE, whole_columns(package, package.model.table(SITE)).get("public_name")
    )
    public = [one or known.public_key(SITE, code) for one, code in zip(names, codes, strict=True)]
    together = " and ".join(dict.fromkeys(public)) or "a site"
    title = release.of_text(PACKAGE, "datapackage.title", package.title) or f"Record of {together}"
    name = release.of_text(PACKAGE, "datapackage.name", package.name) or package_name(together)
    stem = re.sub(r"[^a-z0-9._-]", "-", name)[:90].strip("-.") or "package"
    return f"{stem}-public", title


def _readme(title: str) -> str:
    return f"""# {title}

The public edition of a record of wood, samples, plugs and laboratory results. Exact places, people
who have not agreed to be named, restricted fields, and every text and file that no one reviewed and
released are withheld; their columns are blank and `schemas/` marks them. The bundle that this came
in says in WITHHELD.txt what, why, and whom to ask.

It is for reading. A record is continued in the package of the full edition.
"""
