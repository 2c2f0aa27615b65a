"""Photos, plans and reports go into the package with their size and checksum."""

from __future__ import annotations

import hashlib

import pytest

from provenance._base.errors import AlreadyThere, UnusableInput
from provenance._intake.attachments import attach_files
from tests.builders import a_package


def test_a_file_that_a_row_names_gets_its_checksum_size_and_type(tmp_path):
    """SHA-256 as hashlib (FIPS 180-4) computes it; media type as registered with IANA."""
    photo = tmp_path / "photo-001.png"
    photo.write_bytes(b"not really a picture")
    package = a_package(tmp_path).with_row("file", path="files/photo-001.png").package

    attached = attach_files(package, photo)

    row = package.table("file").iloc[0]
    assert attached.described == ("files/photo-001.png",)
    assert (package.folder / "files" / "photo-001.png").read_bytes() == photo.read_bytes()
    assert row["sha256"] == hashlib.sha256(photo.read_bytes()).hexdigest()
    assert (row["byte_count"], row["media_type"]) == ("20", "image/png")


def test_a_folder_is_taken_with_the_folders_in_it_and_unknown_files_are_named(tmp_path):
    (tmp_path / "lab" / "rings").mkdir(parents=True)
    (tmp_path / "lab" / "rings" / "1.txt").write_text("1702 81\n")
    package = a_package(tmp_path).package

    attached = attach_files(package, tmp_path / "lab", under="files/laboratory/")

    assert attached.undescribed == ("files/laboratory/rings/1.txt",)
    assert (package.folder / "files/laboratory/rings/1.txt").is_file()


def test_the_same_file_may_come_twice_but_never_another_of_its_name(tmp_path):
    report = tmp_path / "report.txt"
    report.write_text("first")
    package = a_package(tmp_path).package
    attach_files(package, report)
    assert attach_files(package, report).unchanged == ("files/report.txt",)

    report.write_text("second")
    with pytest.raises(AlreadyThere, match="another file of that name"):
        attach_files(package, report)
    assert (package.folder / "files" / "report.txt").read_text() == "first"


@pytest.mark.parametrize("under", ["originals", "files/../tables", "/files"])
def test_files_are_kept_below_files_and_nowhere_else(tmp_path, under):
    (tmp_path / "a.txt").write_text("a")
    with pytest.raises(UnusableInput, match="not below files/"):
        attach_files(a_package(tmp_path).package, tmp_path / "a.txt", under=under)


def test_nothing_to_attach_is_said(tmp_path):
    with pytest.raises(UnusableInput, match="holds no file"):
        attach_files(a_package(tmp_path).package, tmp_path / "nothing")
