"""Checking a shelf of packages and bundles at once, here and on several workers."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from provenance._base.errors import UnusableInput
from provenance._base.findings import Report
from provenance._catalogue.check_many import check_each, check_source, sources_at
from provenance._catalogue.stores.spread import Crew
from provenance._checks.check import check_package
from provenance._cli.checking import check
from provenance._record.package import open_package
from provenance._record.remote import Remote


@pytest.fixture
def mixed(repository: Path) -> Path:
    """A bundle as a folder, one as a zip, a package with a fault, and a broken zip."""
    package = Path(shutil.copytree(repository / "one" / "data", repository / "working"))
    frame = open_package(package).table("sample").assign(element_id="B9-999")
    open_package(package).write_table("sample", frame)
    (repository / "zz-broken.zip").write_bytes(b"no zip")
    return repository


def rows(report: Report) -> list[tuple]:
    return report.found.rows()


def test_a_bundle_is_checked_like_the_package_in_it(repository: Path, tmp_path: Path) -> None:
    package = Path(shutil.copytree(repository / "one" / "data", tmp_path / "package"))
    expected = check_package(open_package(package))
    found = check_source(repository / "one").report
    assert found is not None
    assert rows(found) == rows(expected)
    zipped = shutil.make_archive(str(tmp_path / "one"), "zip", repository, "one")
    again = check_source(Path(zipped)).report
    assert again is not None
    assert rows(again) == rows(expected)


def test_checking_a_bundle_writes_nothing_into_it(repository: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in (repository / "one").rglob("*")}
    check_source(repository / "one")
    assert {p: p.stat().st_mtime_ns for p in (repository / "one").rglob("*")} == before


def test_a_zip_in_a_store_is_checked(repository: Path) -> None:
    archive = shutil.make_archive(str(repository.parent / "all"), "zip", repository)
    far = check_source(Remote(f"zip://other.zip::{archive}")).report
    near = check_source(repository / "other.zip").report
    assert far is not None
    assert near is not None
    assert rows(far) == rows(near)


def test_one_that_cannot_be_checked_stops_no_other(mixed: Path) -> None:
    done = {Path(str(one.path)).name: one for one in check_each(sources_at([mixed]))}
    assert list(done) == ["one", "other.zip", "working", "zz-broken.zip"]
    assert done["zz-broken.zip"].report is None
    assert "cannot be opened" in done["zz-broken.zip"].why
    faulty = done["working"].report
    assert faulty is not None
    assert "B9-999" in set(faulty.found["value"])


@pytest.mark.filterwarnings("ignore")
@pytest.mark.usefixtures("quick_workers")
def test_several_workers_find_what_one_process_finds(mixed: Path) -> None:
    sources = sources_at([mixed])
    alone, together = check_each(sources), check_each(sources, crew=Crew(2))
    for one, other in zip(alone, together, strict=True):
        assert (one.path, one.why) == (other.path, other.why)
        assert (one.report is None) == (other.report is None)
        if one.report is not None and other.report is not None:
            assert rows(one.report) == rows(other.report)


def test_the_command_names_each_with_what_to_do(mixed: Path) -> None:
    run = CliRunner().invoke(check, [str(mixed)])
    assert run.exit_code == 2
    for name in ("one", "other.zip", "working", "zz-broken.zip"):
        assert str(mixed / name) in run.stdout
    assert "4 checked" in run.stderr
    assert "1 could not be checked" in run.stderr
    assert "zz-broken.zip" in run.stderr


def test_json_and_csv_of_several_hold_all_findings(mixed: Path) -> None:
    (mixed / "zz-broken.zip").unlink()
    places = [str(mixed / "working"), str(mixed / "one")]
    told = CliRunner().invoke(check, [*places, "--format", "json"])
    whole = json.loads(told.stdout)
    assert [one["path"] for one in whole["packages"]] == places
    assert told.exit_code == 1
    listed = CliRunner().invoke(check, [*places, "--format", "csv"])
    found = list(csv.DictReader(io.StringIO(listed.stdout)))
    counts = [len(one["report"]["findings"]) for one in whole["packages"]]
    assert [sum(row["path"] == place for row in found) for place in places] == counts


def test_pages_of_several_go_into_a_folder(mixed: Path, tmp_path: Path) -> None:
    places = [str(mixed / "working"), str(mixed / "one")]
    refused = CliRunner().invoke(check, [*places, "--format", "html"])
    assert refused.exit_code == 2
    CliRunner().invoke(check, [*places, "--format", "html", "--out", str(tmp_path / "pages")])
    pages = sorted((tmp_path / "pages").iterdir())
    assert len(pages) == 2
    assert "B9-999" in pages[0].read_text("utf-8")


def test_a_folder_without_any_is_said_to_hold_none(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    with pytest.raises(UnusableInput, match="holds neither a package nor a bundle"):
        sources_at([tmp_path])
