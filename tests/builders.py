"""Small builders, so that a test says only what it is about."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from provenance._base.disk import sha256_of
from provenance._identity.check_character import check_character, check_letters
from provenance._identity.payload import compose_code
from provenance._record.copies import note_copy
from provenance._record.edition_key import EDITION_KEY, new_edition_key
from provenance._record.new import new_package
from provenance._record.package import DESCRIPTOR, Package, open_package

STARTED = datetime(2031, 5, 4, 12, 0, tzinfo=UTC)

SOUND: dict[str, dict[str, str]] = {
    "site": {
        "site_id": "HOLL",
        "name": "Hollin Reach (invented)",
        "public_name": "Site 7",
        "kind": "mixed",
        "country": "ZZ",
        "visit_start": "2024-06-03",
        "visit_end": "2024-06-14",
        "crew_lead_id": "MB",
        "permit_number": "INV-1",
        "permit_authority_id": "AUTH",
        "permit_from": "2024-01-01",
        "permit_until": "2024-12-31",
        "owner_id": "OWN",
        "owner_consent": "given",
        "consent_on": "2024-02-01",
        "protection": "none",
        "rights": "CC-BY-4.0",
    },
    "party": {"party_id": "MB", "kind": "person", "name": "Mara Birkwood (invented)"},
    "place": {"place_id": "B1", "site_id": "HOLL", "kind": "building", "name": "North house"},
    "datum": {"datum_id": "D1", "site_id": "HOLL", "place_id": "B1", "kind": "nail"},
    "declination": {
        "declination_id": "DC1",
        "site_id": "HOLL",
        "valid_on": "2024-06-03",
        "declination_deg": "4.5",
        "source": "An invented chart",
    },
    "tie": {"tie_id": "T1", "kind": "distance", "from_datum_id": "D1", "distance_m": "2.5"},
    "element": {
        "element_id": "B1-014",
        "site_id": "HOLL",
        "place_id": "B1",
        "function": "beam",
        "in_place": "in_place",
        "length_m": "4.2",
        "diameter_a1_cm": "22",
        "diameter_a2_cm": "21",
        "diameter_b1_cm": "20",
        "diameter_b2_cm": "19",
        "shape": "round",
        "outer_surface": "bark",
        "species_field": "PIPO",
        "sampled": "true",
        "recorded_on": "2024-06-04",
        "recorded_by": "MB",
    },
    "sample": {
        "sample_id": "231",
        "site_id": "HOLL",
        "element_id": "B1-014",
        "kind": "core",
        "bore_mm": "12.7",
        "length_mm": "98",
        "along_m": "1.25",
        "clock": "3",
        "direction": "radial",
        "depth_mm": "105",
        "species_field": "PIPO",
        "outer_surface": "bark",
        "pith_seen": "no",
        "condition": "whole",
        "before_end_grain": "no",
        "before_loose_wood": "yes",
        "before_old_core": "yes",
        "why_here": "outer edge is kept",
        "collected_on": "2024-06-04",
        "collected_by": "MB",
    },
    "plug": {
        "plug_id": "P-231",
        "sample_id": "231",
        "stamp": "231",
        "orientation_mark": "none",
        "dowel_mm": "12.7",
        "status": "in_place",
        "placed_on": "2024-06-04",
        "placed_by": "MB",
    },
    "consignment": {
        "consignment_id": "C-1",
        "from_party_id": "MB",
        "to_party_id": "LAB",
        "purpose": "dating",
        "packed_on": "2024-06-15",
        "sent_on": "2024-06-16",
        "received_on": "2024-06-20",
        "sample_count": "1",
    },
    "custody": {
        "custody_id": "1",
        "event": "collected",
        "happened_on": "2024-06-04",
        "sample_id": "231",
        "to_party_id": "MB",
    },
    "lab_result": {
        "result_id": "R-1",
        "sample_id": "231",
        "laboratory_id": "LAB",
        "consignment_id": "C-1",
        "outcome": "dated",
        "method": "crossdating",
        "notation": "1702p - 1781B",
        "inner_year": "1702",
        "inner_symbol": "p",
        "outer_year": "1781",
        "outer_symbol": "B",
        "ring_count": "80",
        "species": "PIPO",
        "reported_on": "2025-02-01",
        "revision": "1",
    },
    "file": {
        "file_id": "F-1",
        "path": "files/photo-001.png",
        "kind": "photo",
        "title": "Beam B1-014 from the south (invented)",
        "about_table": "element",
        "about_id": "B1-014",
        "access": "open",
    },
    "episode": {
        "episode_id": "E-1",
        "site_id": "HOLL",
        "kind": "built",
        "title": "House first mentioned (invented)",
        "happened": "1782",
    },
}
"""One sound row a table, of an invented place; a test changes the one thing it is about."""

PARTIES = (
    SOUND["party"],
    {"party_id": "LAB", "kind": "organisation", "name": "Alder Ring Laboratory (invented)"},
    {"party_id": "AUTH", "kind": "organisation", "name": "Office of Old Places (invented)"},
    {"party_id": "OWN", "kind": "person", "name": "Odo Reedham (invented)"},
)


class PackageBuilder:
    """A package on disk that grows row by row: `a_package(tmp_path).with_row("element", …)`."""

    def __init__(self, package: Package) -> None:
        self._package = package

    def with_row(self, table: str, **values: Any) -> PackageBuilder:
        """Add the sound row of that table with `values` put in its place (None empties a cell)."""
        row = SOUND[table] | {name: _text(value) for name, value in values.items()}
        return self.with_bare_row(table, **row)

    def with_bare_row(self, table: str, **values: Any) -> PackageBuilder:
        """Add a row that holds nothing but `values`; a column that is not there is an error."""
        row = {name: _text(value) for name, value in values.items()}
        # in a cell without quotes a carriage return would end the row for every reader
        bare = not any("\r" in value for value in row.values())
        quoting = csv.QUOTE_MINIMAL if bare else csv.QUOTE_ALL
        path = self._package.table_path(table)
        with open(path, "r+", encoding="utf-8", newline="") as stream:
            content = stream.read()
            if not content.endswith("\n"):
                stream.write("\n")
            names = next(csv.reader(content.splitlines()))
            csv.DictWriter(stream, names, lineterminator="\n", quoting=quoting).writerow(row)
        return self

    def with_chain(self, **sample: Any) -> PackageBuilder:
        """Add one whole chain: site, parties, place, element, sample, plug."""
        for party in PARTIES:
            self.with_bare_row("party", **party)
        for table in ("site", "place", "element"):
            self.with_row(table)
        return self.with_row("sample", **sample).with_row("plug")

    @property
    def package(self) -> Package:
        """The package as it now lies on disk."""
        return open_package(self._package.folder)


def a_package(folder: Path, profile: str = "blank") -> PackageBuilder:
    """A new empty package in `folder`/holl, with a key of its own."""
    started, contents = _a_new_package(profile)
    there = folder / "holl"
    there.mkdir(parents=True)
    key = new_edition_key()
    for name, content in contents.items():
        if content is None:
            (there / name).mkdir()
        elif name == DESCRIPTOR:
            old = started.descriptor[EDITION_KEY]
            (there / name).write_bytes(content.replace(old.encode(), key.encode()))
        else:
            (there / name).write_bytes(content)
    descriptor = MappingProxyType({**started.descriptor, EDITION_KEY: key})
    package = replace(started, folder=there, descriptor=descriptor)
    note_copy(package, began=True)
    return PackageBuilder(package)


@contextmanager
def left_alone(folder: Path) -> Iterator[Path]:
    """Lend a folder to many tests, and fail at the end if one of them changed what is in it."""
    before = _sums(folder)
    yield folder
    after = _sums(folder)
    changed = sorted(name for name in before | after if before.get(name) != after.get(name))
    assert changed == [], f"{folder} is for many tests, and one of them changed it: {changed}"


def _sums(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): sha256_of(path)
        for path in folder.rglob("*")
        if path.is_file() and path.name != ".lock"  # which readers make too
    }


@cache
def _a_new_package(profile: str) -> tuple[Package, dict[str, bytes | None]]:
    """What `new_package` writes, path by path (None for a folder); writing it again is cheap."""
    with tempfile.TemporaryDirectory() as folder:
        started = new_package(Path(folder) / "holl", profile, created=STARTED)
        return started, {
            path.relative_to(started.folder).as_posix(): None
            if path.is_dir()
            else path.read_bytes()
            for path in sorted(started.folder.rglob("*"))
        }


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return str(value)


def pack_bundle(package: Package, out: Path | str | None = None, **options: Any) -> Path:
    """Pack a package; where the bundle lies."""
    from provenance._bundle.pack import pack

    return pack(package, out, **options).path


def unpack_bundle(bundle: Path | str, out: Path | str, **options: Any) -> Package:
    """Unpack a bundle; the package."""
    from provenance._bundle.unpack import unpack

    return unpack(bundle, out, **options).package


def code_of_before(
    site_id: str, sample_id: str, kind: str = "core", *more: str, site_name: str = ""
) -> str:
    """The text that the code of a label said before codes were short; such labels are out there."""
    full = f"{site_id}-{sample_id}"
    lines = [
        f"treenail 1 {full} {check_character(full)}",
        f"site {site_name or site_id}",
        f"number {sample_id}",
        f"kind {kind}",
    ]
    return "\n".join([*lines, *more])


def renderings(site_id: str, sample_id: str) -> list[str]:
    """Every text that a label, a page or a scanner gives for a sample, as people type it."""
    full, number = f"{site_id}-{sample_id}", sample_id
    texts = [number, full]
    for check in (check_letters(full), check_character(full)):
        texts += [f"{number}{check}", f"{full}{check}"] if check.isalpha() else []
        texts += [
            f"{number}-{check}",
            f"{full}-{check}",
            f"{full}-{check}".lower(),
            f"{site_id} {number} {check}",
            f" {site_id}–{number}—{check} ",
            f"{site_id} - {number} - {check}",
        ]
    address = "https://example.org/a"
    before = code_of_before(
        site_id, number, "core", "date 1987-06-14", f"see {address}", site_name="Hollow Farm"
    )
    return [
        *texts,
        compose_code(site_id, number),
        compose_code(site_id, number).lower() + "\r\n",
        compose_code(site_id, number, address),
        before,
        before.replace("\n", "\r\n") + "\r\n",
        before.replace("\n", " "),
        before.replace("\n", ""),
        before.partition("\n")[0],
    ]
