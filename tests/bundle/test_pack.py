"""Packing: the same package makes the same bytes, all of it or nothing, and nothing unseen."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import subprocess
import time
import unicodedata
import zipfile
from datetime import date
from pathlib import Path

import pytest

from provenance._base.errors import AlreadyThere, UnusableInput, UnusablePackage
from provenance._bundle.describe.contents import record_date, survey_package
from provenance._bundle.pack import pack
from provenance._bundle.verify import verify_bundle
from provenance._record.package import Package, open_package
from tests.builders import a_package, pack_bundle
from tests.forked import started


def bytes_of(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


# -- the same bytes ------------------------------------------------------------------------------


def test_the_same_package_makes_the_same_folder(
    pristine: Path, package: Package, tmp_path: Path
) -> None:
    """Elsewhere, with other file times and another order of the files on disk."""
    for place, path in enumerate(sorted(package.folder.rglob("*"), reverse=True)):
        os.utime(path, (10**9 + place, 10**9 + place))
    pack_bundle(package, tmp_path / "again")
    assert bytes_of(tmp_path / "again") == bytes_of(pristine / "bundle")


def test_the_same_package_makes_the_same_zip_under_any_name(
    zip_bundle: Path, package: Package, tmp_path: Path
) -> None:
    pack_bundle(package, tmp_path / "another-name.zip", zipped=True)
    assert (tmp_path / "another-name.zip").read_bytes() == zip_bundle.read_bytes()


def test_another_day_makes_the_same_bundle(
    pristine: Path, package: Package, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(time, "time", lambda: 4_000_000_000.0)
    monkeypatch.setenv("TZ", "Pacific/Kiritimati")
    pack_bundle(package, tmp_path / "later")
    assert bytes_of(tmp_path / "later") == bytes_of(pristine / "bundle")
    today = date.today().isoformat().encode()
    assert not [
        path for path in (tmp_path / "later").rglob("*") if path.is_file()
        and today in path.read_bytes()
    ]  # fmt: skip


def test_a_bundle_bears_the_date_of_the_newest_entry(tmp_path: Path) -> None:
    """Due dates and permits say nothing of when the record was last written in."""
    builder = a_package(tmp_path).with_row("lab_result", reported_on="2033-02-01")
    builder.with_row("consignment", due_on="2050-01-01").with_row("site", permit_until="2060-01-01")
    builder.with_bare_row("custody", event="loaned", loan_due_on="2050-01-01")
    assert record_date(builder.package) == "2033-02-01"


def test_a_package_without_any_date_is_refused(tmp_path: Path) -> None:
    package = a_package(tmp_path).package.with_descriptor({"created": ""})
    with pytest.raises(UnusablePackage, match=r"write \"created\""):
        record_date(package)


# -- zip -----------------------------------------------------------------------------------------


def test_zip_members_lie_in_one_folder_in_order_and_bear_the_records_date(
    zip_bundle: Path, package: Package
) -> None:
    with zipfile.ZipFile(zip_bundle) as archive:
        names = archive.namelist()
        assert names == sorted(names)
        assert {name.split("/")[0] for name in names} == {"holl-bundle"}
        day = date.fromisoformat(record_date(package))
        assert {one.date_time for one in archive.infolist()} == {
            (day.year, day.month, day.day, 0, 0, 0)
        }
        by_suffix = {Path(one.filename).suffix: one.compress_type for one in archive.infolist()}
    assert by_suffix[".csv"] == zipfile.ZIP_DEFLATED
    assert by_suffix[".png"] == zipfile.ZIP_STORED


def test_other_zip_programs_find_nothing_wrong(zip_bundle: Path) -> None:
    """Python's zipfile and Info-ZIP's unzip read every member and its CRC."""
    with zipfile.ZipFile(zip_bundle) as archive:
        assert archive.testzip() is None
    if shutil.which("unzip"):
        tested = subprocess.run(["unzip", "-tq", zip_bundle], capture_output=True, text=True)
        assert tested.returncode == 0, tested.stdout


def test_a_text_that_shrinks_like_a_bomb_is_stored_so_that_verify_takes_it(
    package: Package, tmp_path: Path
) -> None:
    (package.folder / "files" / "blank.txt").write_bytes(bytes(17 * 2**20))
    pack_bundle(package, tmp_path / "b.zip", zipped=True)
    assert verify_bundle(tmp_path / "b.zip").sound


# -- what goes in --------------------------------------------------------------------------------


def test_files_that_no_row_describes_are_packed_and_listed(
    package: Package, tmp_path: Path
) -> None:
    (package.folder / "files" / "stray.txt").write_text("who am I", encoding="utf-8")
    packed = pack(package, tmp_path / "b")
    assert packed.contents.undescribed == ("files/stray.txt",)
    assert (tmp_path / "b" / "data" / "files" / "stray.txt").is_file()
    assert "files/stray.txt" in (tmp_path / "b" / "data" / "README.txt").read_text("utf-8")


def test_hidden_files_at_the_top_and_litter_are_left_out_and_listed(package: Package) -> None:
    (package.folder / ".git").mkdir()
    (package.folder / ".git" / "config").write_text("", encoding="utf-8")
    (package.folder / "files" / ".DS_Store").write_bytes(b"x")
    contents = survey_package(package)
    assert contents.left_out == (".git", "files/.DS_Store")
    assert not [m for m in contents.members if "git" in m.path or "DS_Store" in m.path]


def test_a_described_file_that_is_not_there_is_named(package: Package, tmp_path: Path) -> None:
    (package.folder / "files" / "photo-001.png").unlink()
    packed = pack(package, tmp_path / "b")
    assert packed.contents.missing == (("file", "F-1", "files/photo-001.png"),)


def test_a_file_that_is_not_the_one_of_its_checksum_is_named(
    package: Package, tmp_path: Path
) -> None:
    frame = package.table("file")
    frame["sha256"] = "0" * 64
    package.write_table("file", frame)
    assert pack(package, tmp_path / "b").differing == (("file", "F-1", "files/photo-001.png"),)
    (finding,) = [one for one in verify_bundle(tmp_path / "b").findings if one.part == "tables"]
    assert finding.path == "data/files/photo-001.png"


def test_a_link_in_a_package_is_refused(package: Package, tmp_path: Path) -> None:
    (package.folder / "files" / "plan.png").symlink_to("/etc/hostname")
    with pytest.raises(UnusablePackage, match=r"plan\.png is a link"):
        pack_bundle(package, tmp_path / "b")
    assert not (tmp_path / "b").exists()


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Wall.png", "wall.png"),
        (unicodedata.normalize("NFC", "Tür.png"), unicodedata.normalize("NFD", "Tür.png")),
        ("STRASSE.png", "straße.png"),
        ("Roof/a.png", "roof/b.png"),
    ],
)
def test_names_that_some_systems_take_for_one_are_refused(
    package: Package, tmp_path: Path, one: str, other: str
) -> None:
    """Unicode normalisation forms: UAX #15; caseless matching: The Unicode Standard, 3.13."""
    for name in (one, other):
        path = package.folder / "files" / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(b"x")
    with pytest.raises(UnusablePackage, match="one and the same name on some systems"):
        pack_bundle(package, tmp_path / "b")


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("50%.png", "percent sign"),
        ("line\nbreak.png", "control character"),
        ("line\u2028separator.png", "control character"),
        ("back\\slash.png", "backslash"),
        ("blank .png ", "begins or ends with a blank"),
        (os.fsdecode(b"latin-\xe9.png"), "not valid UTF-8"),
        ("wall: north.png", "cannot be opened on every system: it holds ':'"),
        ("nul.png", "Windows keeps the name 'nul.png' to itself"),
        ("wall.", "ends with a dot"),
        ("x" * 195, "longer than 200 characters"),
    ],
)
def test_names_that_some_system_or_list_of_checksums_cannot_hold_are_refused(
    package: Package, tmp_path: Path, name: str, reason: str
) -> None:
    (package.folder / "files" / name).write_bytes(b"x")
    with pytest.raises(UnusablePackage, match=reason):
        pack_bundle(package, tmp_path / "b")


def test_names_in_other_scripts_go_in_and_come_back(package: Package, tmp_path: Path) -> None:
    for name in ("дверь 3.png", "梁.png", "poutre à l’étage.png", "نقشه.png"):
        (package.folder / "files" / name).write_bytes(name.encode())
    for out, zipped in ((tmp_path / "b", False), (tmp_path / "b.zip", True)):
        pack_bundle(package, out, zipped=zipped)
        assert verify_bundle(out).sound


def test_a_file_where_the_bundle_has_its_own_is_refused(package: Package, tmp_path: Path) -> None:
    (package.folder / "index.html").write_text("mine", encoding="utf-8")
    with pytest.raises(UnusablePackage, match="move it into files/"):
        pack_bundle(package, tmp_path / "b")


def test_a_package_name_that_would_lead_elsewhere_is_refused(package: Package) -> None:
    with pytest.raises(UnusablePackage, match="not a package name"):
        pack_bundle(package.with_descriptor({"name": "../../elsewhere"}))


# -- all or nothing ------------------------------------------------------------------------------


def test_what_is_there_already_is_never_replaced(package: Package, tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_bytes(b"precious")
    with pytest.raises(AlreadyThere):
        pack_bundle(package, tmp_path / "b.zip", zipped=True)
    assert (tmp_path / "b.zip").read_bytes() == b"precious"


def test_a_bundle_is_not_written_into_its_own_package(package: Package) -> None:
    with pytest.raises(UnusableInput, match="inside the package"):
        pack_bundle(package, package.folder / "files" / "b")


@pytest.mark.parametrize("zipped", [False, True])
def test_a_table_that_cannot_be_read_leaves_nothing_behind(
    package: Package, tmp_path: Path, zipped: bool
) -> None:
    package.table_path("element").write_bytes(b'element_id\n"never closed')
    with pytest.raises(UnusablePackage, match=r"element\.csv"):
        pack_bundle(package, tmp_path / "b", zipped=zipped)
    assert [path.name for path in tmp_path.iterdir()] == ["holl"]


def packing(package: Path, out: Path) -> None:
    pack_bundle(open_package(package), out, zipped=out.suffix == ".zip")


@pytest.mark.heavy
@pytest.mark.parametrize("name", ["b", "b.zip"])
def test_a_kill_at_any_moment_leaves_a_whole_bundle_or_none(
    package: Package, tmp_path: Path, name: str
) -> None:
    """Four SIGKILLs at random moments of a way that takes about as long as the longest wait."""
    moments = random.Random(name)
    took = 0.0
    for attempt in range(5):
        out = tmp_path / f"{attempt}" / name
        out.parent.mkdir()
        process = started(packing, package.folder, out)
        begun = time.monotonic()
        if attempt == 0:  # once undisturbed, to know how long it takes
            process.join()
            assert process.exitcode == 0
            took = time.monotonic() - begun
        else:
            time.sleep(moments.uniform(0, took * 1.1))
            process.kill()
            process.join()
        if out.exists():
            assert verify_bundle(out).sound
        else:
            assert attempt > 0


def test_the_package_itself_is_not_altered_by_packing(
    pristine: Path, package: Package, tmp_path: Path
) -> None:
    pack_bundle(package, tmp_path / "b")
    assert bytes_of(package.folder) == bytes_of(pristine / "holl")
    assert open_package(package.folder).name == "holl"


@pytest.mark.parametrize("zipped", [False, True])
def test_progress_never_runs_backwards_and_ends_at_its_total(
    package: Package, tmp_path: Path, zipped: bool
) -> None:
    told: list[tuple[int, int]] = []
    pack(package, tmp_path / "b", zipped=zipped, progress=lambda d, t: told.append((d, t)))
    packed = len(told)
    verify_bundle(tmp_path / "b", progress=lambda d, t: told.append((d, t)))
    for way in (told[:packed], told[packed:]):
        shares = [done / total for done, total in way]
        assert shares == sorted(shares)
        assert shares[-1] == 1


# -- a zip without a second copy -----------------------------------------------------------------


def test_a_zip_is_the_same_where_the_disk_gives_no_second_names(
    zip_bundle: Path, package: Package, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    pack_bundle(package, tmp_path / "copied.zip", zipped=True)
    assert (tmp_path / "copied.zip").read_bytes() == zip_bundle.read_bytes()


def test_packing_a_zip_leaves_the_files_of_the_package_as_they_were(
    package: Package, tmp_path: Path
) -> None:
    before = bytes_of(package.folder)
    pack_bundle(package, tmp_path / "bundle.zip", zipped=True)
    assert bytes_of(package.folder) == before
    assert {path.stat().st_nlink for path in package.folder.rglob("*") if path.is_file()} == {1}
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_a_file_that_is_written_into_while_it_is_packed_makes_no_bundle(
    package: Package, tmp_path: Path
) -> None:
    """Its checksum is taken before its bytes go into the zip."""
    photo = next(path for path in sorted((package.folder / "files").rglob("*")) if path.is_file())
    calls = 0

    def write_into_it(done: int, total: int) -> None:
        nonlocal calls
        calls += 1
        if done and done > total * 0.9:
            with open(photo, "ab") as stream:
                stream.write(b"more")

    with pytest.raises(UnusablePackage, match=f"{photo.name} was changed while it was packed"):
        pack_bundle(package, tmp_path / "bundle.zip", zipped=True, progress=write_into_it)
    assert calls
    assert not (tmp_path / "bundle.zip").exists()
