"""Reads the record in a zip, or in a store, where it lies: a table at a time, nothing unpacked."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from provenance._bag.hostile import HostileBundle, listed_folder
from provenance._bag.hostile_zip import ZipBag
from provenance._bag.streaming import Container, opened_container, read_whole
from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._bundle.describe.lineage import identity_of
from provenance._bundle.verify import BUNDLE_FACTS, open_record
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.tables import why_no_table
from provenance._record.origin import Ancestor
from provenance._record.package import DESCRIPTOR, Package, open_package
from provenance._record.reading import TableText, read_table_bytes
from provenance._record.remote import Place
from provenance._record.snapshot import Snapshot


@contextmanager
def opened_in_place(source: Place, *, limits: Budget = DEFAULT_BUDGET) -> Iterator[Package]:
    """The package in a zip, or in a folder of a store, to be read while the block runs.

    It may come from a stranger: the zip's directory is looked through before a byte is read, and
    what describes the record passes the same gate as in `verify`. A table is read when it is asked
    for. The package's `folder` is a name for messages, nothing lies there on this disk.
    Raises UnusableInput for what is no bundle, is damaged, or could do harm.
    """
    try:
        with opened_container(source, limits) as container:
            stray = container.stray if isinstance(container, ZipBag) else ()
            if grave := [one for one in stray if one.severity == "error"]:
                raise HostileBundle(source, grave)
            inside = _inside(container, source)
            package = _described(container, source, inside, limits)
            tables = _tables_in(container, source, inside, package, limits)
            yield replace(
                package,
                folder=Path(str(source)) / inside,
                held=tables,
                bundle=source if inside else None,
            )
    except OSError as error:
        raise UnusableInput(f"{source} cannot be read: {error.strerror or error}") from error


def _inside(container: Container, source: Place) -> str:
    """The folder of the descriptor: the payload of a bag, or the top for a package in a store."""
    for inside in ("data/", ""):
        if f"{inside}{DESCRIPTOR}" in container.sizes:
            return inside
    raise UnusableInput(
        f"{source} is neither a package nor a bundle: it holds no {DESCRIPTOR}, neither at its "
        "top nor in data/"
    )


def _described(container: Container, source: Place, inside: str, limits: Budget) -> Package:
    """The package by its descriptor and schemas, which are copied to be read and thrown away."""
    with tempfile.TemporaryDirectory(prefix="treenail-") as scratch:
        folder = Path(scratch).resolve() / (source.name or "record")
        for path, size in container.sizes.items():
            below = path.removeprefix(inside)
            schema = below.startswith("schemas/") and below.count("/") == 1
            if not path.startswith(inside) or not below.endswith(".json"):
                continue
            if (schema or "/" not in below) and size <= limits.most_json_bytes:
                target = folder / path
                target.parent.mkdir(parents=True, exist_ok=True)
                with open(target, "xb") as stream:
                    stream.writelines(read_whole(container, source, path))
        if inside:
            return open_record(folder, limits, with_tables=False)
        return open_package(folder)


def _tables_in(
    container: Container, source: Place, inside: str, package: Package, limits: Budget
) -> Snapshot:
    def read(name: str) -> TableText | None:
        path = f"{inside}tables/{name}.csv"
        size = container.sizes.get(path)
        if size is None:
            return None
        if size > limits.most_table_bytes:
            raise UnusablePackage(
                f"{source}: {path} holds {size} bytes, and {limits.most_table_bytes} are read in "
                "place at most; 'treenail unpack' makes a package of it"
            )
        pieces = read_whole(container, source, path)
        if fault := why_no_table(pieces, limits):
            raise UnusablePackage(f"{source}: {path} {fault}; ask for the bundle again")
        return read_table_bytes(b"".join(pieces), f"{source}: {path}")

    return Snapshot(package.model, f"{source}/{inside}".rstrip("/"), read)


_KNOWN_BY = ("bag-info.txt", "tagmanifest-sha256.txt", f"data/{BUNDLE_FACTS}")


def known_as(source: Place, *, limits: Budget = DEFAULT_BUDGET) -> Ancestor:
    """What a bundle is known by, as its own words have it: nothing of it is verified.

    Raises UnusableInput when that cannot be read, and OSError.
    """
    with tempfile.TemporaryDirectory(prefix="treenail-") as scratch:
        folder = Path(scratch).resolve() / (source.name or "bundle")
        if isinstance(source, Path) and source.is_dir():
            listed_folder(source, limits)
            folder = source
        else:
            with opened_container(source, limits) as container:
                for path in _KNOWN_BY:
                    if container.sizes.get(path, 0) > limits.most_manifest_bytes:
                        raise UnusableInput(f"{source}: {path} is larger than it should be")
                    if path in container.sizes:
                        target = folder / path
                        target.parent.mkdir(parents=True, exist_ok=True)
                        with open(target, "xb") as stream:
                            stream.writelines(read_whole(container, source, path))
        try:
            return identity_of(folder)
        except (OSError, ValueError, RecursionError) as error:
            raise UnusableInput(f"{source} does not say which record it is: {error}") from error
