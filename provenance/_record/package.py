"""Opens, starts and writes a package: the folder with descriptor, tables, schemas and files.

A package describes itself: its tables are read with the schemas that lie inside it, never with the
ones of the installed program, so that a package stays readable when the program has moved on.

Layout (Data Package v2, datapackage.org/standard/data-package):

    datapackage.json      descriptor
    tables/NAME.csv       UTF-8, comma, LF, one header line
    schemas/NAME.json     Table Schema of each table, with vocabularies turned into enums
    schemas/model.json    profile, vocabularies and notations
    originals/            field files as received, byte for byte
    files/                photos, plans, ring-width files, reports
"""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import IO, TYPE_CHECKING, Any

import polars as pl

from provenance import __version__
from provenance._base.disk import building_folder, write_text, writing
from provenance._base.errors import UnusablePackage
from provenance._base.frames import to_pandas, write_csv
from provenance._base.locks import LOCK, locked, locked_for_reading
from provenance._base.visible import visible
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.documents import json_from
from provenance._gate.folders import read_plain, refuse_links
from provenance._model.measures import METRIC
from provenance._model.profile import general_cautions
from provenance._model.schema import (
    STRICT,
    Equipment,
    Model,
    ProfilePart,
    Table,
    notation_from,
    table_as_dict,
    table_from,
    vocabulary_as_dict,
    vocabulary_from,
)
from provenance._model.schema_faults import (
    MODEL_SHAPE,
    TABLE_SHAPE,
    descriptor_faults,
    model_faults,
    shape_faults,
)
from provenance._record.journal import JOURNAL, has_waiting
from provenance._record.origin import ORIGIN
from provenance._record.snapshot import Snapshot, snapshot_of_folder
from provenance._record.tables import ROW
from provenance._record.together import finish_writing, is_unfinished

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    import pandas as pd

    from provenance._record.remote import Place

DESCRIPTOR = "datapackage.json"
_FAULTS_NAMED = 5
_MODELS_KEPT = 8
_MODELS: dict[tuple[tuple[str, bytes], ...], Model] = {}
"""Models that were read, by the names and bytes of their files; the oldest makes room."""

_NEVER_CHANGED = (
    "is a bundle, which is never changed; 'treenail unpack' makes a package of it, to work on"
)
_FROM_A_COPY = "restore it from a copy"
_HELD_TO_THE_GATE = frozenset(
    {DESCRIPTOR, JOURNAL, LOCK, ORIGIN, "README.md", "files", "originals", "schemas", "tables"}
)
"""What a package consists of at its top; what else a person keeps there is never opened."""

DEFAULT_DESCRIPTION = "Record of wood, samples, plugs and laboratory results; see README.md."
"""What a descriptor says of its package until a person says something else."""
DATA_PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"


Stamp = tuple[int, int, int] | None


@dataclass(frozen=True)
class Package:
    """A package on disk. The value is cheap: a table is read when it is first asked for."""

    folder: Path
    descriptor: Mapping[str, Any]
    model: Model
    _known: dict[tuple[Stamp, ...], Snapshot] = field(
        default_factory=dict, repr=False, compare=False
    )
    held: Snapshot | None = field(default=None, repr=False, compare=False)
    bundle: Place | None = field(default=None, compare=False)
    """The bundle it lies in, as a person knows it, so that nothing here is changed."""
    verdict: str = field(default="", repr=False, compare=False)
    """The verdict over that bundle in words, once it was judged: what is told bears it."""

    @property
    def name(self) -> str:
        """The package's machine name."""
        return str(self.descriptor["name"])

    @property
    def title(self) -> str:
        """The package's title for people."""
        return str(self.descriptor.get("title") or self.name)

    @property
    def tables(self) -> Snapshot:
        """The tables as they stand now: the same value as long as none of their files changes.

        A table whose file is the same as before is not read again.
        """
        if self.held is not None:
            return self.held
        now = self.stamps
        tables = self._known.get(now)
        if tables is None:
            tables = snapshot_of_folder(self.folder, self.model)
            for then, known in list(self._known.items()):
                pairs = zip(self.model.tables, then, now, strict=True)
                tables.with_known(known, [name for name, one, other in pairs if one == other])
            self._known.clear()
            self._known[now] = tables
        return tables

    @property
    def stamps(self) -> tuple[Stamp, ...]:
        """What changes when a table does: every writer puts a new file in the place of one."""
        return self._stamps_in("tables", ".csv")

    @property
    def stamps_of_model(self) -> tuple[Stamp, ...]:
        """What changes when the descriptor or a schema does."""
        descriptor = stamp_of(os.path.join(self.folder, DESCRIPTOR))
        model = stamp_of(os.path.join(self.folder, "schemas", "model.json"))
        return descriptor, model, *self._stamps_in("schemas", ".json")

    def _stamps_in(self, folder: str, ending: str) -> tuple[Stamp, ...]:
        # asked for every few rows by some, so the paths are put together as plain texts
        place = os.path.join(self.folder, folder, "")
        return tuple(stamp_of(f"{place}{name}{ending}") for name in self.model.tables)

    def read_again(self) -> Package:
        """The package as its descriptor and schemas are now; raises as `open_package`."""
        return _read_package(self.folder, self.bundle)

    def hold(self) -> Package:
        """The package with its tables as they are now, read once and for all."""
        return replace(self, held=self.tables.hold())

    def table_path(self, name: str) -> Path:
        """Where the CSV of a table lies."""
        return self.folder / "tables" / f"{self.model.table(name).name}.csv"

    def table(self, name: str) -> pd.DataFrame:
        """A table as written: every cell as text, '' where nothing is written.

        The index is the record number in the file (the header is 1, the first row 2), which is the
        row number that findings name. Columns the schema lacks are kept, and those that the file
        lacks are blank, behind the others.
        Raises UnusablePackage when the file is missing or its records are uneven.
        """
        return to_pandas(self.tables.whole(name), index=ROW)

    def typed(self, name: str) -> pd.DataFrame:
        """A table with numbers, integers and booleans as such; unreadable cells become NA.

        Text columns (dates stay EDTF text) hold NA where nothing is written.
        """
        return self.tables.frame(name)

    def write_table(self, name: str, frame: pl.DataFrame | pd.DataFrame) -> None:
        """Replace a table by `frame` (texts, numbers or nothing), atomically.

        Columns of the schema come first; ROW is not written. Raises KeyError when a column of the
        schema is missing from `frame`.
        """
        with writing(self.table_path(name)) as stream:
            self.write_table_to(stream, name, frame)

    def write_table_to(
        self, stream: IO[bytes], name: str, frame: pl.DataFrame | pd.DataFrame
    ) -> None:
        """Write a table's CSV to an open file, for writers that put several tables in place."""
        names = list(self.model.table(name).names)
        names += [one for one in frame.columns if one not in names]
        if isinstance(frame, pl.DataFrame):
            if missing := [one for one in names if one not in frame.columns]:
                raise KeyError(f"the frame lacks {', '.join(missing)}")
            write_csv(stream, frame.select(one for one in names if one != ROW))
            return
        written = frame[names]
        # in a cell without quotes a carriage return would end the row for every reader
        bare = not any("\r" in str(cell) for column in written for cell in written[column])
        written.to_csv(
            stream,
            index=False,
            lineterminator="\n",
            encoding="utf-8",
            quoting=csv.QUOTE_MINIMAL if bare else csv.QUOTE_ALL,
        )

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Hold the package against other writers; read the tables after you hold it.

        Acts that wait in the journal stand in the tables then. Raises UnusablePackage as
        `refuse_bundle`, and RefusedInput where another account left them.
        """
        self.refuse_bundle()
        with locked(self.folder):
            if has_waiting(self.folder):
                # what an act comes to is known there alone; loaded when there is one
                from provenance._history.waiting import enter_waiting

                enter_waiting(self)
            yield

    def locked_for_reading(self) -> AbstractContextManager[None]:
        """Keep writers off the package while it is read; needs no right to write in it."""
        # a bundle has no writers, and gets no file to lock
        return nullcontext() if self.bundle else locked_for_reading(self.folder)

    def finish_writing(self) -> None:
        """Put in place what a stopped program left; raises as `locked` and `finish_writing`."""
        self.refuse_bundle()
        finish_writing(self.folder)

    def refuse_bundle(self) -> None:
        """Raise UnusablePackage for the record in a bundle, which is never changed."""
        if self.bundle:
            raise UnusablePackage(f"{self.bundle} {_NEVER_CHANGED}")

    def with_descriptor(self, changes: Mapping[str, Any]) -> Package:
        """Write changed properties of the descriptor, without those that became None.

        Returns the package as it now is.
        """
        gone = {name for name, value in changes.items() if value is None}
        merged = {**self.descriptor, **changes}
        descriptor = {name: value for name, value in merged.items() if name not in gone}
        write_text(self.folder / DESCRIPTOR, as_json(descriptor))
        return replace(self, descriptor=MappingProxyType(descriptor))


def stamp_of(path: str) -> Stamp:
    """What changes when a file does: every writer puts a new one in its place."""
    try:
        status = os.stat(path)
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino


def as_json(value: Any) -> str:
    """JSON as it is written everywhere here: indented, UTF-8, keys in order, final newline."""
    return _indented(value, "\n") + "\n"


def _indented(value: Any, end: str) -> str:
    """As json.dumps has it with an indent of 2, at a quarter of the time; `end` ends a line."""
    inner = f"{end}  "
    if isinstance(value, dict) and value:
        members = (
            f"{_on_one_line(str(key))}: {_indented(one, inner)}" for key, one in value.items()
        )
        return f"{{{inner}{f',{inner}'.join(members)}{end}}}"
    if isinstance(value, list | tuple) and value:
        return f"[{inner}{f',{inner}'.join(_indented(one, inner) for one in value)}{end}]"
    return _on_one_line(value)


_on_one_line = json.JSONEncoder(ensure_ascii=False).encode


def open_package(folder: Path | str) -> Package:
    """Open the package in a folder; raises UnusablePackage that says what is missing.

    What a stopped program of this account left is finished first.
    """
    package = described_package(folder)
    if not package.bundle and has_waiting(package.folder):
        with package.locked():
            pass  # whoever holds it writes the acts that wait
    return package


def described_package(folder: Path | str) -> Package:
    """As `open_package`, without the acts that wait to be written into the tables."""
    folder = Path(folder)
    path = folder / DESCRIPTOR
    if folder.is_dir():
        _refuse_links(folder)
    around = bag_around(folder)
    bundle = around if around != folder else None
    if path.is_file() and not bundle and is_unfinished(folder):
        finish_writing(folder)
    if folder.is_file():
        raise UnusablePackage(
            f"{folder} is a file, and a package is a folder; if it is a bundle, it is never "
            "changed: 'treenail unpack' makes a package of it, to work on"
        )
    if not folder.is_dir():
        raise UnusablePackage(f"{folder} is not there; check the name")
    if not path.is_file() and (folder / "bagit.txt").is_file():
        raise UnusablePackage(f"{folder} {_NEVER_CHANGED}")
    if not path.is_file():
        raise UnusablePackage(
            f"{folder} is not a package: it has no {DESCRIPTOR}; start one with 'treenail new'"
        )
    return _read_package(folder, bundle)


def _read_package(folder: Path, bundle: Place | None) -> Package:
    path = folder / DESCRIPTOR
    descriptor = _object_in(path, _bytes_of(path))
    _refuse(path, list(descriptor_faults(descriptor)))
    return Package(folder, MappingProxyType(descriptor), read_model(folder), bundle=bundle)


def open_to_change(folder: Path | str) -> Package:
    """As `open_package`, for one who is to change it; refuses the record in a bundle."""
    package = open_package(folder)
    package.refuse_bundle()
    return package


def bag_around(folder: Path) -> Path:
    """The bag whose payload is at `folder`, which is verified as a whole; else `folder` itself."""
    inside = folder.resolve()
    is_payload = inside.name == "data" and (inside.parent / "bagit.txt").is_file()
    return inside.parent if is_payload else folder


def _refuse_links(folder: Path) -> None:
    """Raise RefusedInput for a link where reading or writing the package would follow it.

    What lies in files/ and originals/ is looked at by whoever opens it.
    """
    refuse_links(folder, _HELD_TO_THE_GATE)
    for name in ("schemas", "tables"):
        refuse_links(folder / name)


def read_model(folder: Path) -> Model:
    """The model that a package carries in its own schemas/ folder.

    Raises UnusablePackage that names the file, every place where it is no model, and what to do.
    """
    schemas = folder / "schemas"
    paths = sorted(path for path in schemas.glob("*.json") if path.name != "model.json")
    written = {}
    room = DEFAULT_BUDGET.most_model_bytes
    for path in (schemas / "model.json", *paths):
        written[path] = _bytes_of(path, room)
        room -= len(written[path])
    # building it takes far longer than reading the bytes that say whether it is the same
    known = tuple((path.name, data) for path, data in written.items())
    model = _MODELS.get(known)
    if model is None:
        model = _model_from(schemas, written)
        while len(_MODELS) >= _MODELS_KEPT:
            _MODELS.pop(next(iter(_MODELS)))
        _MODELS[known] = model
    return model


def _model_from(schemas: Path, written: Mapping[Path, bytes]) -> Model:
    """The model that the files of the folder `schemas` describe, the first of them model.json."""
    model_path, *paths = written
    raw = _shaped(model_path, written[model_path], MODEL_SHAPE)
    tables = []
    for path in paths:
        table = table_from(_shaped(path, written[path], TABLE_SHAPE))
        if table.name != path.stem:
            _refuse(path, [f"it describes the table '{table.name}'"])
        tables.append(table)
    tables.sort(key=lambda table: table.order)
    vocabularies = [vocabulary_from(one) for one in raw["vocabularies"]]
    model = Model(
        profile=raw["profile"],
        title=raw["title"],
        description=raw["description"],
        version=raw["version"],
        tables=MappingProxyType({table.name: table for table in tables}),
        vocabularies=MappingProxyType({one.name: one for one in vocabularies}),
        notations=MappingProxyType({n["name"]: notation_from(n) for n in raw["notations"]}),
        cautions=_cautions_of(raw),
        # records from before had none of these
        units=raw.get("units", METRIC),
        language=raw.get("language", "en"),
        numbering=raw.get("numbering", STRICT),
        equipment=tuple(Equipment(one["item"], one["purpose"]) for one in raw.get("equipment", ())),
        logs=_field_names(raw.get("logs", {})),
        profiles=tuple(
            ProfilePart(
                one["name"], one["title"], _field_names(one["hide"]), _field_names(one["require"])
            )
            for one in raw.get("profiles", ())
        ),
    )
    faults: dict[str, list[str]] = {}
    for name, fault in model_faults(model):
        faults.setdefault(name, []).append(fault)
    for name, found in faults.items():
        _refuse(schemas / name, found)
    return model


def _cautions_of(raw: Mapping[str, Any]) -> tuple[str, ...]:
    own = tuple(raw["cautions"])
    # a record from before cautions added up holds those of its profile alone
    return own if "profiles" in raw else tuple(dict.fromkeys((*general_cautions(), *own)))


def _field_names(raw: Mapping[str, Sequence[str]]) -> Mapping[str, tuple[str, ...]]:
    return MappingProxyType({table: tuple(names) for table, names in raw.items()})


def write_model(model: Model, folder: Path) -> None:
    """Write the model into a package's schemas/ folder, where `read_model` finds it."""
    for table in model.tables.values():
        write_text(folder / "schemas" / f"{table.name}.json", as_json(table_as_dict(table)))
    write_text(folder / "schemas" / "model.json", as_json(model_as_dict(model)))


def model_as_dict(model: Model) -> dict[str, Any]:
    """What schemas/model.json holds: the model without its tables."""
    return {
        "profile": model.profile,
        "title": model.title,
        "description": model.description,
        "version": model.version,
        "units": model.units,
        "language": model.language,
        # said only where it is not the usual one, so that other records keep their bytes
        **({"numbering": model.numbering} if model.numbering != STRICT else {}),
        "cautions": list(model.cautions),
        "equipment": [vars(one) for one in model.equipment],
        "logs": dict(model.logs),
        "profiles": [
            {**vars(one), "hide": dict(one.hide), "require": dict(one.require)}
            for one in model.profiles
        ],
        "notations": [vars(one) for one in model.notations.values()],
        "vocabularies": [vocabulary_as_dict(one) for one in model.vocabularies.values()],
    }


def describe(model: Model, *, name: str, title: str, created: str) -> dict[str, Any]:
    """The Data Package v2 descriptor of a package; `created` is an RFC 3339 date-time."""
    return {
        "$schema": DATA_PACKAGE_PROFILE,
        "name": name,
        "title": title,
        "description": DEFAULT_DESCRIPTION,
        "version": "1",
        "created": created,
        "profileName": model.profile,
        "schemaVersion": model.version,
        "writtenBy": f"treenail {__version__}",
        "resources": [_resource(table) for table in model.tables.values()],
    }


def _resource(table: Table) -> dict[str, Any]:
    return {
        "name": table.name,
        "title": table.title,
        "description": table.description,
        "path": f"tables/{table.name}.csv",
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        # said in full, because readers guess from the cells what is left unsaid
        "dialect": {
            "header": True,
            "headerRows": [1],
            "delimiter": ",",
            "quoteChar": '"',
            "doubleQuote": True,
            "skipInitialSpace": False,
        },
        "schema": f"schemas/{table.name}.json",
    }


def start_package(
    folder: Path | str,
    model: Model,
    *,
    name: str,
    title: str,
    created: str,
    readme: str,
    more_files: Mapping[str, str] = MappingProxyType({}),
    more_properties: Mapping[str, Any] = MappingProxyType({}),
) -> Package:
    """Write a new package with empty tables; raises AlreadyThere when the folder exists.

    `name` follows Data Package v2 (lower case letters, digits, '.', '_', '-'); `more_files` maps
    file names in the package to their text, `more_properties` go into the descriptor.
    """
    folder = Path(folder)
    descriptor = {
        **describe(model, name=name, title=title, created=created),
        **more_properties,
    }
    with building_folder(folder) as being_built:
        write_model(model, being_built)
        for table in model.tables.values():
            header = ",".join(table.names) + "\n"
            write_text(being_built / "tables" / f"{table.name}.csv", header)
        for empty in ("files", "originals"):
            (being_built / empty).mkdir()
        for file_name, text in {"README.md": readme, **more_files}.items():
            write_text(being_built / file_name, text)
        write_text(being_built / DESCRIPTOR, as_json(descriptor))
    return open_package(folder)


def _shaped(path: Path, data: bytes, shape: object) -> dict[str, Any]:
    raw = _object_in(path, data)
    _refuse(path, list(shape_faults(raw, shape)))
    return raw


def _refuse(path: Path, faults: list[str]) -> None:
    """Raise UnusablePackage with the first of the faults in a file, if there are any."""
    if faults:
        more = f"; and {len(faults) - _FAULTS_NAMED} more" if len(faults) > _FAULTS_NAMED else ""
        told = visible("; ".join(faults[:_FAULTS_NAMED]))
        raise UnusablePackage(
            f"{path} does not say what it must: {told}{more}; restore it from a copy"
        )


def _bytes_of(path: Path, room: int = DEFAULT_BUDGET.most_model_bytes) -> bytes:
    """The bytes of a file that describes the package, for which so much room is left."""
    try:
        return read_plain(path, room)
    except FileNotFoundError:
        raise UnusablePackage(f"{path} is missing; restore it from a copy") from None


def _object_in(path: Path, data: bytes) -> dict[str, Any]:
    raw = json_from(data, path, remedy=_FROM_A_COPY)
    if not isinstance(raw, dict):
        raise UnusablePackage(f"{path} does not hold a JSON object; {_FROM_A_COPY}")
    return raw
