"""Makes the public edition of a package as a package of its own, in another folder."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any

from provenance._bag.hashing import hash_files
from provenance._base.disk import write_text
from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._base.progress import Progress, say_nothing, stretch
from provenance._bundle.describe.contents import record_date, survey_package
from provenance._bundle.describe.withdrawn import Withdrawn
from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.candidates import (
    BUILDINGS,
    CELL_SHOWN,
    buildings_in_cell,
    cell_published,
    coarse_enough,
)
from provenance._bundle.redaction.commitments import commit, members_text
from provenance._bundle.redaction.files import FILE, NO_FILES, FileRows, redact_files
from provenance._bundle.redaction.gathering import SITE, Known, gather_known, whole_columns
from provenance._bundle.redaction.masking import WITHHELD, Masker
from provenance._bundle.redaction.places import read_grid
from provenance._bundle.redaction.stand_ins import FULL_ONLY, WITHDRAWAL
from provenance._bundle.redaction.tables import redact_table
from provenance._ledger.custody import last_seal
from provenance._model.schema import Field, Model, Notation, Table, Term, Vocabulary, read_core
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
"""Properties of the descriptor that go into the public edition, searched like any open text."""
_OWN_PROPERTIES = ("$schema", "name", "title", "description", "created", "profileName",
                   "writtenBy", "resources", EDITION_KEY, GRID, BUILDINGS, CELL_SHOWN)  # fmt: skip


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
    package must have an edition key. What is withheld follows from its schemas alone; `known` is
    what `gather_known` gave for it, if it was asked already.
    Raises UnusablePackage when a table cannot be read, the package is a public edition itself, or a
    name in its profile gives something away; UnusableInput for a grid that is none.
    """
    if is_public(package):
        raise UnusablePackage(
            f"{package.folder} is a public edition already, and holds nothing that could be "
            "withheld; pack the full edition's package"
        )
    key = edition_key(package)
    if key is None:
        raise UnusablePackage(f"{package.folder / DESCRIPTOR} has no '{EDITION_KEY}'")
    cell = chosen_grid(package, grid)
    contents = survey_package(package)
    known = known or gather_known(package)
    sites = [known.grids.sizes.get(site, {}) for site in package.tables.column(SITE, "site_id")]
    buildings, said = buildings_in_cell(package)
    published = cell_published(package)
    account = Account(coarse_enough(sites, cell, buildings, said=said, published=published))
    paths = {member.path: ("sha256",) for member in contents.members}
    sums = hash_files(package.folder, paths, progress=stretch(progress, 0, 2))
    for path, reason in sums.unreadable.items():
        raise UnusableInput(f"{package.folder / path} cannot be read: {reason}")
    digests = {path: found["sha256"] for path, found in sums.digests.items()}
    folder.mkdir(parents=True, exist_ok=True)
    rows = redact_files(
        known, contents, digests, key, folder, account, progress=stretch(progress, 1, 2)
    )
    public = _write_package(known, rows, account, folder)
    for empty in ("files", "originals"):
        (folder / empty).mkdir(exist_ok=True)
    derived_from = {
        "package": known.masker.mask(package.name),
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


def chosen_grid(package: Package, grid: str | None) -> Decimal | None:
    """The size of a cell in degrees, None for no coordinates; see `redact`."""
    own = package.descriptor.get(GRID)
    return read_grid(grid if grid is not None else None if own is None else str(own))


def _write_package(known: Known, rows: FileRows, account: Account, folder: Path) -> Package:
    tables = {}
    for name in known.package.model.tables:
        if name in FULL_ONLY:
            continue
        one = redact_table(known, name, account, rows if name == FILE else NO_FILES)
        tables[name] = one.table
        # written by its own schema, which the model below is made of
        own = replace(known.package.model, tables={name: one.table})
        Package(folder, {}, own).write_table(name, one.frame)
    model = public_model(known.package.model, tables, known.masker, account)
    write_model(model, folder)
    name, title = _public_names(known)
    descriptor = describe(
        model, name=name, title=title, created=str(known.package.descriptor.get("created", ""))
    )
    descriptor[EDITION] = "public"
    descriptor["description"] = _masked(
        known, known.package.descriptor.get("description", descriptor["description"])
    )
    for one_name, value in known.package.descriptor.items():
        if one_name in OPEN_PROPERTIES:
            descriptor[one_name] = _masked(known, value)
        elif one_name not in _OWN_PROPERTIES:
            account.properties_left_out += 1
    write_text(folder / "README.md", _readme(title))
    write_text(folder / DESCRIPTOR, as_json(descriptor))
    return open_package(folder)


def _masked(known: Known, value: Any) -> Any:
    """A JSON value with every text in it searched; a list or object keeps its shape."""
    if isinstance(value, str):
        return known.masker.mask(value)
    if isinstance(value, list):
        return [_masked(known, one) for one in value]
    if isinstance(value, dict):
        return {known.masker.mask(str(name)): _masked(known, one) for name, one in value.items()}
    return value


def _public_names(known: Known) -> tuple[str, str]:
    """The package's name and title in public: without the real name of a site."""
    from provenance._record.new import package_name

    package = known.package
    codes = package.tables.column(SITE, "site_id")
    names = whole_columns(package, package.model.table(SITE)).get("public_name", codes)
    public = [
        known.masker.mask(one or known.public_key(SITE, code))
        for one, code in zip(names, codes, strict=True)
    ]
    together = " and ".join(dict.fromkeys(public)) or "Record"
    title = known.masker.mask(package.title)
    if title != package.title:
        title = " ".join(title.replace(WITHHELD, together).split())
    name = package.name
    if not known.masker.is_clean(name):
        name = package_name(together)
    stem = re.sub(r"[^a-z0-9._-]", "-", name)[:90].strip("-.") or "package"
    return f"{stem}-public", title


def _readme(title: str) -> str:
    return f"""# {title}

The public edition of a record of wood, samples, plugs and laboratory results. Exact places, people
who have not agreed to be named, and restricted fields are withheld; their columns are blank and
`schemas/` marks them. The bundle that this came in says in WITHHELD.txt what, why, and whom to ask.

It is for reading. A record is continued in the package of the full edition.
"""


def public_model(
    model: Model, tables: Mapping[str, Table], masker: Masker, account: Account
) -> Model:
    """The model with its public tables, every text in it without withheld values.

    Raises UnusablePackage when a code, or the name of a field or profile, that the crew's profile
    added holds one: those cannot be replaced.
    """
    _refuse_telling_names(model, masker)
    bare = replace(model, tables=MappingProxyType(dict(tables)))
    core = read_core()
    # the program's own words give nothing away, but for an example that is the very value
    own = set(_texts(core)) - {one.example for _, one in core.every_field()}
    texts = [text for text in dict.fromkeys(_texts(bare)) if text not in own]
    masked = dict(zip(texts, masker.masked(texts), strict=True))
    account.schema_words = sum(new != old for old, new in masked.items())
    public: Model = _with_texts(bare, lambda text: masked.get(text, text))
    return public


def _refuse_telling_names(model: Model, masker: Masker) -> None:
    core = read_core()
    known = {term.code for one in core.vocabularies.values() for term in one.terms}
    known |= {name for table in core.tables.values() for name in table.names}
    names = [model.profile]
    names += [term.code for one in model.vocabularies.values() for term in one.terms]
    names += [name for table in model.tables.values() for name in table.names]
    own = [name for name in dict.fromkeys(names) if name not in known]
    for name, masked in zip(own, masker.masked(own), strict=True):
        if name != masked:
            raise UnusablePackage(
                f"the profile of this package has the name or code '{name}', which holds something "
                "that must not be public (a name, a place or a number); give it another one in the "
                "profile and in the tables, 'treenail new --update' brings it in"
            )


def _texts(model: Model) -> Iterator[str]:
    found: list[str] = []

    def note(text: str) -> str:
        found.append(text)
        return text

    _with_texts(model, note)
    yield from found


_TEXTS: Mapping[type, tuple[str, ...]] = {
    Model: ("title", "description", "cautions", "tables", "vocabularies", "notations"),
    Table: ("title", "description", "sections", "fields"),
    Field: ("title", "description", "example", "synonyms"),
    Vocabulary: ("title", "description", "source", "terms"),
    Term: ("label", "definition", "source", "match", "synonyms", "attributes"),
    Notation: ("title", "source", "example"),
}
"""Where the texts for people stand in each part of a model."""


def _with_texts(value: Any, turn: Callable[[str], str]) -> Any:
    """A model, or a part of one, with every text for people turned."""
    if isinstance(value, str):
        return turn(value)
    if isinstance(value, tuple):
        return tuple(_with_texts(one, turn) for one in value)
    if isinstance(value, Mapping):
        return MappingProxyType({key: _with_texts(one, turn) for key, one in value.items()})
    names = _TEXTS.get(type(value), ())
    turned = {name: _with_texts(getattr(value, name), turn) for name in names}
    if isinstance(value, Field) and turned["example"] != value.example:
        # an example may be the very value that the column withholds
        turned["example"] = None
    return replace(value, **turned) if turned else value
