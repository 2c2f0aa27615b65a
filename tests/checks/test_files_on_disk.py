"""The tables 'file' and 'original' compared with the files that lie in the package."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from provenance._checks.language import files
from provenance._checks.registry import rules_in
from tests.checks.rules.record import Record, a_sound_record, only, spoken

RULES = rules_in(files)
PHOTO = b"\x89PNG invented"
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A package's folder with the two files of the sound record."""
    (tmp_path / "files").mkdir()
    (tmp_path / "files" / "photo-001.png").write_bytes(PHOTO)
    (tmp_path / "files" / "ring-widths-231.csv").write_bytes(b"abc")
    return tmp_path


def says(rule_id: str, record: Record, folder: Path) -> list[str]:
    found = next(one for one in RULES if one.id == rule_id)
    return spoken(found, replace(record.tables, where=str(folder), _views={}))


def described(**values: object) -> Record:
    return a_sound_record().but("file", "F-1", **values)


def test_files_that_lie_where_the_table_says_are_sound(folder: Path) -> None:
    sound = described(byte_count=len(PHOTO), sha256=hashlib.sha256(PHOTO).hexdigest())
    assert [says(one.id, sound, folder) for one in RULES] == [[]] * 8


def test_the_published_checksum_of_abc_is_accepted(folder: Path) -> None:
    """FIPS 180-4, example of SHA-256 for the message 'abc'."""
    sound = a_sound_record().but("file", "F-2", sha256=ABC, byte_count=3)
    assert says("files.checksum_differs", sound, folder) == []


def test_a_file_that_is_not_in_the_package_is_an_error(folder: Path) -> None:
    only(
        says("files.missing", described(path="files/photo-002.png"), folder),
        "file 2 path",
        "files/photo-002.png of file F-1 is not in the package",
    )


def test_a_folder_is_no_file(folder: Path) -> None:
    only(says("files.missing", described(path="files"), folder), "files of file F-1")


def test_a_path_no_disk_can_hold_is_an_error_and_no_traceback(folder: Path) -> None:
    only(says("files.missing", described(path="x" * 5000), folder), "cannot be read")


def test_a_path_that_climbs_out_of_the_package_is_never_opened(folder: Path) -> None:
    broken = described(path="../outside.txt", sha256=ABC)
    (folder.parent / "outside.txt").write_bytes(b"abc")
    only(says("files.leads_outside", broken, folder), "../outside.txt")
    assert says("files.checksum_differs", broken, folder) == []


def test_a_link_that_leads_out_of_the_package_is_an_error(folder: Path) -> None:
    (folder / "files" / "link.png").symlink_to("/etc/hostname")
    only(says("files.leads_outside", described(path="files/link.png"), folder), "link.png")


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("aux.jpg", "keeps the name 'aux.jpg' to itself"),
        ("wall: north.jpg", "it holds ':'"),
        ("wall?.jpg", "it holds '?'"),
        ("wall.", "ends with a dot or blank"),
        ("x" * 100 + "/" + "x" * 100, "longer than 200 characters"),
    ],
)
def test_a_name_that_some_system_cannot_hold_is_an_error_with_and_without_a_row(
    folder: Path, name: str, why: str
) -> None:
    """Microsoft, 'Naming Files, Paths, and Namespaces'."""
    file = folder / "files" / name
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(PHOTO)
    said = "files.name_not_everywhere"
    only(says(said, a_sound_record(), folder), "file 0 path", name, why)
    only(says(said, described(path=f"files/{name}"), folder), "file 2 path", name, why)


def test_a_file_of_another_size_is_an_error(folder: Path) -> None:
    broken = described(byte_count=5, sha256=ABC)
    only(says("files.size_differs", broken, folder), f"has {len(PHOTO)} bytes, not 5")
    assert says("files.checksum_differs", broken, folder) == []


def test_a_changed_file_of_the_same_size_is_an_error(folder: Path) -> None:
    (folder / "files" / "ring-widths-231.csv").write_bytes(b"abd")
    broken = a_sound_record().but("file", "F-2", sha256=ABC, byte_count=3)
    only(says("files.checksum_differs", broken, folder), "file 3 sha256", "ring-widths-231.csv")


def test_a_file_without_a_row_is_reported_for_the_table_as_a_whole(folder: Path) -> None:
    (folder / "files" / "rooms").mkdir()
    (folder / "files" / "rooms" / "loose.jpg").write_bytes(b"x")
    only(
        says("files.without_row", a_sound_record(), folder), "file 0 path", "files/rooms/loose.jpg"
    )


def with_original(folder: Path, content: bytes) -> Record:
    (folder / "originals").mkdir(exist_ok=True)
    (folder / "originals" / "book.csv").write_bytes(content)
    return a_sound_record().with_bare_row(
        "original", original_id="O-1", path="originals/book.csv", sha256=ABC, byte_count=3
    )


def test_a_received_file_is_kept_byte_for_byte(folder: Path) -> None:
    assert says("files.original_changed", with_original(folder, b"abc"), folder) == []
    only(
        says("files.original_changed", with_original(folder, b"abd"), folder),
        "original 2 sha256",
        "O-1",
    )


def test_a_received_file_that_is_gone_is_an_error(folder: Path) -> None:
    record = with_original(folder, b"abc")
    (folder / "originals" / "book.csv").unlink()
    only(says("files.original_missing", record, folder), "original 2 path", "originals/book.csv")
