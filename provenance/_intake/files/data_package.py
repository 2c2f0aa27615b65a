"""Opens a Data Package that somebody else made: each of its tables is read like a sheet.

The reference library (frictionless) reads descriptor, dialects, encodings and rows, of versions 1
and 2 (datapackage.org). A package may come from a stranger: nothing is fetched, no path leads out
of its folder, and it is looked over under bounds before a byte of it is read.
"""

from __future__ import annotations

import json
import re
import tempfile
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from functools import cached_property
from pathlib import Path
from typing import Any

from provenance._bag.hostile import listed_folder
from provenance._bag.hostile_zip import unpack_zip
from provenance._bag.names import unsafe_because
from provenance._base.errors import UnusableInput
from provenance._gate.budget import FOREIGN_BUDGET, SheetBudget
from provenance._gate.documents import read_json
from provenance._gate.refusal import RefusedInput
from provenance._intake.files.encodings import find_encoding
from provenance._intake.files.received import CellValue, ColumnFacts, Row, SheetFacts
from provenance._record.package import DESCRIPTOR
from provenance._record.reference_library import is_address, offline_library, without_fetching

_FORMATS = ("csv", "tsv", "json", "jsonl", "ndjson", "inline")
_DELIMITERS = (b",", b";", b"\t", b"|")
_TOLD = ("name", "title", "description", "format", "mediatype", "encoding", "dialect", "type")
"""What of a resource the library is told, beside its data and its schema."""
_OF_A_FIELD = ("name", "title", "description", "type", "decimalChar", "groupChar")
_LONGEST_NAME = 80


def handed_in(path: Path) -> Path:
    """What is meant by a path: the folder of the package, where its descriptor is named."""
    if path.name == DESCRIPTOR:
        return path.resolve().parent
    return path.resolve() if path.is_dir() else path


def holds_data_package(names: set[str]) -> bool:
    """Whether a zip with these names holds a Data Package, at its top or in its one folder."""
    return _descriptor_in(names) is not None


def _descriptor_in(names: set[str]) -> str | None:
    if DESCRIPTOR in names:
        return DESCRIPTOR
    tops = {name.split("/")[0] for name in names}
    inside = f"{next(iter(tops))}/{DESCRIPTOR}" if len(tops) == 1 else ""
    return inside if inside in names else None


class DataPackage:
    """A folder or zip with datapackage.json; implements ReceivedFile, a sheet for each table."""

    def __init__(self, path: Path, limits: SheetBudget) -> None:
        """Look it over and read its descriptor.

        Raises UnusableInput, naming file, resource and remedy, for a package that is hostile, is
        damaged, lacks a file, or has no table.
        """
        self._limits = limits
        self._open = ExitStack()
        try:
            self._begin(path)
        except BaseException:
            self.close()
            raise

    def _begin(self, path: Path) -> None:
        self.name = path.name
        if path.is_dir():
            # hidden entries (a version history, notes of a file manager) belong to no package
            sizes = listed_folder(path, FOREIGN_BUDGET)
            shown = sorted(name for name in sizes if not re.search(r"(?:^|/)\.", name))
            sizes = {name: sizes[name] for name in shown}
            folder, self.files = path, {f"{self.name}/{name}": path / name for name in sizes}
            self._kept_as = f"{self.name}/"
        else:
            folder = Path(self._open.enter_context(tempfile.TemporaryDirectory(prefix="treenail-")))
            with zipfile.ZipFile(path) as archive:
                inside = _descriptor_in(set(archive.namelist()))
            unpack_zip(path, folder.resolve(), limits=FOREIGN_BUDGET, one_folder=False)
            folder = (folder / str(inside)).parent
            sizes = listed_folder(folder, FOREIGN_BUDGET)
            self.files = {self.name: path}
            self._kept_as = ""
        self._folder, self._sizes = folder, sizes
        self._remarks: list[str] = []
        descriptor = self._document(DESCRIPTOR, "the package")
        resources = descriptor.get("resources")
        if not isinstance(resources, list) or not resources:
            raise self._refused("has no list of resources", "is it the descriptor of a package?")
        paths: dict[str, str] = {}
        asked: dict[str, Any] = {"name": "received", "resources": []}
        if "$schema" in descriptor:
            asked |= self._unfetched({"$schema": descriptor["$schema"]}, "")
        for number, one in enumerate(resources, start=1):
            told = self._resource(one, number, paths)
            if told is not None:
                asked["resources"].append(told)
        if not asked["resources"]:
            raise self._refused(
                "holds no table that can be read: " + "; ".join(self._remarks),
                "hand in the files themselves",
            )
        with offline_library() as library:
            try:
                package = library.Package.from_descriptor(asked, basepath=str(folder))
                self._sheets = {
                    one.name: PackageTable(
                        self.file_of(paths[one.name]), one, self._limits, self._remarks
                    )
                    for one in package.resources
                }
            except Exception as error:
                said = _in_words(library, error)
                raise self._refused(f"is not a valid descriptor: {said}", "correct it") from error
        self._paths = paths

    @property
    def sheet_names(self) -> tuple[str, ...]:
        """The names of the tables, in the order of the descriptor."""
        return tuple(self._sheets)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was left out, and what had to be decided."""
        return tuple(self._remarks)

    def sheet(self, name: str) -> PackageTable:
        """One of the tables; raises KeyError when there is none of that name."""
        return self._sheets[name]

    def place_of(self, sheet: str) -> str:
        """The file that a table lies in: a name in `files`."""
        return self.file_of(self._paths[sheet])

    def file_of(self, path: str) -> str:
        """The name that a file of the package is kept under."""
        return f"{self._kept_as}{path}" if self._kept_as else self.name

    def close(self) -> None:
        """Take away what was unpacked."""
        self._open.close()

    # -- the descriptor ---------------------------------------------------------------------------

    def _refused(self, what: str, remedy: str, path: str = DESCRIPTOR) -> UnusableInput:
        return UnusableInput(f"{self.name}/{path} {what}; {remedy}")

    def _unfetched(self, document: Any, where: str) -> Any:
        """A document without what the library would fetch, which is remarked."""
        try:
            kept, places = without_fetching(document, where)
        except RecursionError:
            raise self._refused(f"is nested too deep in {where}", "export it again") from None
        self._remarks += [f"points at {place}, which was not fetched" for place in places]
        return kept

    def _resource(self, one: Any, number: int, paths: dict[str, str]) -> dict[str, Any] | None:
        """What the library is told of a resource, None for one that is no text table."""
        name = one.get("name") if isinstance(one, dict) else None
        if not isinstance(name, str) or not name or len(name) > _LONGEST_NAME:
            raise self._refused(f"gives resource {number} no usable name", "write one")
        if name in paths:
            raise self._refused(f"has two resources named '{name}'", "rename one of them")
        told = {key: one[key] for key in _TOLD if key in one}
        if "data" in one:
            paths[name] = DESCRIPTOR
            told["data"] = _with_every_key(one["data"])
        else:
            listed = one.get("path")
            several = listed if isinstance(listed, list) else [listed]
            for path in several:
                self._keep_inside(path, f"resource '{name}'")
            paths[name] = several[0]
            told["path"] = several[0]
            if several[1:]:
                told["extrapaths"] = several[1:]
                self._remarks.append(
                    f"has '{name}' in {len(several)} files; its rows are counted through all"
                )
        if (why := self._no_table(one, paths[name])) is not None:
            self._remarks.append(f"has '{name}', which was not read: it {why}")
            return None
        for key in ("schema", "dialect"):
            document = one.get(key)
            if isinstance(document, str):
                if key == "dialect" and document == "default":
                    document = {}
                else:
                    document = self._document(document, f"{key} of resource '{name}'")
            if document is not None:
                kept = self._unfetched(document, f"'{name}'.{key}")
                told[key] = _without_conditions(kept) if key == "schema" else kept
        if "data" not in told and "encoding" not in told:
            found = find_encoding(self._folder / paths[name])
            told["encoding"] = found.name
            if found.remark:
                told_where = found.remark.replace("in the mapping (encoding:)", "in its descriptor")
                self._remarks.append(f"has '{name}', which {told_where}")
        return told

    def _no_table(self, one: Mapping[str, Any], path: str) -> str | None:
        """Why a resource is no table that is read here, None when it is one."""
        if "data" in one:
            tabular = isinstance(one["data"], list)
            for row in one["data"] if tabular else ():
                self._refuse_many(
                    len(row) if isinstance(row, list | dict) else 0, path, one["name"]
                )
            return None if tabular else "holds data that are not rows"
        suffix = path.rpartition(".")[2].lower()
        shape = str(one.get("format") or suffix).lower()
        if one.get("compression") or suffix in ("gz", "zip", "bz2", "xz"):
            return "is packed; unpack it and correct its path"
        if shape not in _FORMATS or (shape == "json" and not one.get("schema")):
            return f"is not a text table ({shape}); hand it in by itself if it holds rows"
        if self._sizes[path] > self._limits.text_bytes:
            raise self._refused(
                f"(resource '{one['name']}') has {self._sizes[path] / (1 << 20):.0f} MB; a text "
                f"table is read up to {self._limits.text_bytes / (1 << 20):.0f} MB",
                "hand it in as several files",
                path,
            )
        self._refuse_columns(path, one["name"])
        return None

    def _refuse_columns(self, path: str, name: str) -> None:
        with open(self._folder / path, "rb") as stream:
            line = stream.readline(self._limits.text_bytes)
        self._refuse_many(max(map(line.count, _DELIMITERS)) + 1, path, name)

    def _refuse_many(self, columns: int, path: str, name: str) -> None:
        if columns > self._limits.package_columns:
            raise self._refused(
                f"(resource '{name}') has {columns:,} columns; up to "
                f"{self._limits.package_columns:,} are read",
                "check its delimiter, or hand it in as several tables",
                path,
            )

    def _keep_inside(self, path: Any, whose: str) -> None:
        if not isinstance(path, str) or not path:
            raise self._refused(f"gives {whose} neither path nor data", "write its path")
        if is_address(path):
            raise self._refused(
                f"looks for {whose} at {path[:200]}, and nothing here uses the network",
                "fetch the file, put it into the folder, and write its name as the path",
            )
        if reason := unsafe_because(path):
            raise self._refused(
                f"looks for {whose} at {path[:200]!r}, which leads out of the folder: {reason}",
                "put the file into the folder, and write its name as the path",
            )
        if path == DESCRIPTOR:
            raise self._refused(f"names itself as {whose}", "write the path of the data")
        if path not in self._sizes:
            raise self._refused(
                f"looks for {whose} at {path}, and there is no such file",
                "put it back, or remove it of the descriptor",
            )

    def _document(self, path: str, whose: str) -> Any:
        """A JSON document of the package."""
        if path != DESCRIPTOR:
            self._keep_inside(path, whose)
        if path not in self._sizes:
            raise self._refused("is not there", "hand in the folder that holds it", path)
        try:
            document = read_json(self._folder / path, FOREIGN_BUDGET, bom=True)
        except RefusedInput as error:
            raise self._refused(error.found, error.limit or "export it again", path) from error
        if not isinstance(document, dict):
            raise self._refused("is not a JSON object", "export it again", path)
        return document


def _in_words(library: Any, error: Exception) -> str:
    """What the library says, or what a strange descriptor led to in it, which may be anything."""
    if isinstance(error, library.FrictionlessException):
        return "; ".join(one.note for one in error.to_errors())[:1000]
    return f"the library that reads it fails at it ({type(error).__name__}: {error})"[:1000]


def _without_conditions(schema: Any) -> Any:
    """A schema that says what its columns are, and not what must hold for them.

    A pattern of a stranger may keep the library busy for ever, and our own check comes later.
    """
    fields = schema.get("fields") if isinstance(schema, dict) else None
    if not isinstance(fields, list) or not all(isinstance(one, dict) for one in fields):
        return schema
    told = {key: schema[key] for key in ("$schema", "missingValues") if key in schema}
    return told | {
        "fields": [{key: one[key] for key in _OF_A_FIELD if key in one} for one in fields]
    }


def _with_every_key(data: Any) -> Any:
    """Rows as the library takes them: of rows with keys it would read those of the first alone."""
    if not isinstance(data, list) or not data or not all(isinstance(one, dict) for one in data):
        return data
    keys = list(dict.fromkeys(key for one in data for key in one))
    return [keys, *([one.get(key) for key in keys] for one in data)]


class PackageTable:
    """One table of a package; implements ReceivedSheet."""

    def __init__(
        self, file_name: str, resource: Any, limits: SheetBudget, remarks: list[str]
    ) -> None:
        self._resource = resource
        self._limits = limits
        self._where = f"{file_name}, resource '{resource.name}'"
        self._named = not resource.dialect.header
        if self._named:
            remarks.append(
                f"has '{resource.name}' without headings; the names in its schema stand for them "
                "as row 1, so that its rows are counted from 2"
            )

    @property
    def states_missing(self) -> bool:
        """Whether its schema says what stands for 'nothing written', so that nothing else does."""
        return bool(self._resource.schema.has_defined("missing_values"))

    @cached_property
    def columns(self) -> Mapping[str, ColumnFacts]:
        """What the schema says of each column, by its heading."""
        return {
            field.name: ColumnFacts(
                field.title or "",
                field.description or "",
                field.type,
                getattr(field, "decimal_char", ""),
            )
            for field in self._resource.schema.fields
        }

    def facts(self) -> SheetFacts:
        """Its name alone: a text table has no formulas, no merged and no hidden cells."""
        return SheetFacts(self._resource.name)

    def rows(self) -> Iterator[Row]:
        """The headings, then every row that holds anything; numbers count the file's records.

        Raises UnusableInput when the library cannot read the table to its end.
        """
        missing = set(self._resource.schema.missing_values)
        number = 0
        with offline_library() as library:
            try:
                with self._resource.to_copy() as resource:
                    heading = self._headings(resource)
                    if heading is not None:
                        yield heading
                        number = heading[0]
                    cells = 0
                    for row in resource.row_stream:
                        number = row.row_number + self._named
                        cells += len(row.cells)
                        if len(row.cells) > self._limits.columns or cells > self._limits.cells:
                            raise UnusableInput(
                                f"{self._where}, row {number}: there are more than "
                                f"{self._limits.columns:,} columns or {self._limits.cells:,} "
                                "cells; check the delimiter in its dialect"
                            )
                        values = [_value(cell, missing) for cell in row.cells]
                        if any(value is not None for value in values):
                            yield number, values
            except UnusableInput:
                raise
            except Exception as error:
                said = _in_words(library, error)
                raise UnusableInput(
                    f"{self._where}, after row {number}: {said}; correct the file, "
                    "or its encoding and dialect in the descriptor"
                ) from error

    def _headings(self, resource: Any) -> Row | None:
        if self._named:
            return 1, [field.name for field in resource.schema.fields]
        labels = list(resource.labels)
        return (max(resource.dialect.header_rows), labels) if any(labels) else None


def _value(cell: Any, missing: set[str]) -> CellValue:
    """A cell as the intake takes it; what the schema calls missing is blank."""
    if isinstance(cell, str):
        text = cell.replace("\r\n", "\n").replace("\r", "\n").strip()
        return None if text in missing or cell in missing else text or None
    if cell is None or isinstance(cell, bool | int | float):
        return cell
    return json.dumps(cell, ensure_ascii=False, default=str)
