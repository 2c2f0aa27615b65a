"""What the tests of the descriptions share: published schemas, and a place made coarse."""

from __future__ import annotations

from pathlib import Path

import pytest

from provenance._bundle.deposit.files import write_deposit_files
from provenance._bundle.deposit.form import Described
from provenance._bundle.describe.citation import datacite_record
from provenance._bundle.describe.contents import record_date
from provenance._bundle.describe.editions import FULL, PUBLIC, Edition
from provenance._record.package import Package
from tests.builders import a_package

PUBLISHED = Path(__file__).parent / "published"


def described(package: Package, folder: Path, edition: Edition = FULL) -> Path:
    """A folder with nothing in it but the descriptions of a package."""
    write_deposit_files(
        package,
        folder,
        edition,
        day=record_date(package),
        formats=("text/csv",),
        sizes=("1 sample",),
    )
    return folder


def a_description(package: Package, edition: Edition) -> Described:
    """What the forms are made of, on the day that the tests have."""
    record = datacite_record(package, edition, day="2024-06-14", formats=())
    return Described(package, edition, record, "2024-06-14")


@pytest.fixture
def coarse(tmp_path: Path) -> Package:
    """A package as the public edition has it: its site lies somewhere within eight kilometres."""
    builder = a_package(tmp_path / "coarse").with_chain()
    frame = builder.package.table("site")
    frame["name"] = "HOLL"
    frame["latitude"], frame["longitude"] = "-48.05", "-123.05"
    frame["coordinate_uncertainty_m"] = "8000"
    frame["geodetic_epsg"] = "4326"
    frame["data_generalizations"] = "middle of a cell of 0.1 degree"
    frame["information_withheld"] = "Name of the site; Permit number"
    builder.package.write_table("site", frame)
    return builder.with_row("lab_result").package


@pytest.fixture
def full(package: Package, tmp_path: Path) -> Path:
    """The descriptions of the full edition."""
    return described(package, tmp_path / "full", FULL)


@pytest.fixture
def public(coarse: Package, tmp_path: Path) -> Path:
    """The descriptions of the public edition."""
    return described(coarse, tmp_path / "public", PUBLIC)
