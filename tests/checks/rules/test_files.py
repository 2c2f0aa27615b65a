"""Photos, plans, ring widths, and what was handed in."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import a_sound_record, only


@pytest.mark.parametrize(
    ("table", "key"), [("element", "B1-015"), ("sample", "B1-014"), ("element", ""), ("", "B1-014")]
)
def test_a_file_about_a_row_that_does_not_exist_is_an_error(table: str, key: str) -> None:
    broken = a_sound_record().but("file", "F-1", about_table=table, about_id=key)
    only(broken.says("files.about_nothing"), "file 2 about_id", table or "?", key or "?")


def test_a_file_may_be_about_an_event_of_the_ledger() -> None:
    sound = a_sound_record().but("file", "F-1", about_table="custody", about_id="4")
    assert sound.says("files.about_nothing") == []


def test_a_file_of_nobody_knows_what_is_noted() -> None:
    broken = a_sound_record().but("file", "F-1", about_table="", about_id="")
    only(broken.says("files.about_unsaid"), "F-1", "files/photo-001.png")


@pytest.mark.parametrize("kind", ["photo", "plan", "drawing"])
def test_a_picture_has_a_title_for_those_who_cannot_see_it(kind: str) -> None:
    """W3C Web Content Accessibility Guidelines 2.2, 1.1.1."""
    broken = a_sound_record().but("file", "F-1", kind=kind, title="")
    only(broken.says("files.picture_without_title"), "file 2 title", kind)


@pytest.mark.parametrize(
    "path", ["files/Photo-001.PNG", "files/photo\uff0d001.png", "Files/photo-001.png"]
)
def test_paths_that_some_disks_take_for_one_are_an_error(path: str) -> None:
    """RFC 8493 warns of names that differ in case and in Unicode form (UAX 15)."""
    broken = a_sound_record().with_row("file", file_id="F-3", path=path)
    only(broken.says("files.paths_alike"), "file 4 path", path, "files/photo-001.png")


def test_folders_that_some_disks_take_for_one_are_an_error() -> None:
    """Unicode 15, CaseFolding.txt: the sharp s folds to two letters."""
    broken = (
        a_sound_record()
        .with_row("file", file_id="F-3", path="files/Stra\u00dfe/1.png")
        .with_row("file", file_id="F-4", path="files/strasse/2.png")
    )
    only(broken.says("files.paths_alike"), "file 5 path", "strasse/2.png", "Stra\u00dfe/2.png")


def test_ring_widths_belong_to_a_sample_or_a_result() -> None:
    broken = a_sound_record().but("file", "F-2", about_table="element", about_id="B1-014")
    only(broken.says("files.ring_widths_of_nothing"), "F-2")
    unsaid = a_sound_record().but("file", "F-2", about_table="", about_id="")
    only(unsaid.says("files.ring_widths_of_nothing"), "F-2")


def test_a_date_without_its_ring_widths_is_noted() -> None:
    only(a_sound_record().without("file", "F-2").says("files.no_ring_widths"), "R-1", "231")
    of_sample = a_sound_record().but("file", "F-2", about_table="sample", about_id="231")
    assert of_sample.says("files.no_ring_widths") == []


UNREAD = {
    "unread_id": "U-1",
    "original_id": "O-1",
    "sheet": "Timbers",
    "line": "14",
    "column": "Dia A",
    "cell_text": "7 3/",
    "table_name": "element",
    "row_key": "B1-014",
    "field": "diameter_a1_cm",
    "why": "write 7 3/8 or 7.375",
}


def test_a_cell_that_could_not_be_read_is_reported_until_it_is_settled() -> None:
    broken = a_sound_record().with_bare_row("unread", **UNREAD)
    only(
        broken.says("intake.cell_unread"),
        "unread 2 cell_text",
        "\"7 3/\" in column 'Dia A', line 14 of sheet 'Timbers'",
        "element, row B1-014, field diameter_a1_cm",
    )
    settled = a_sound_record().with_bare_row("unread", **UNREAD, settled="entered 7 3/8 by hand")
    assert settled.says("intake.cell_unread") == []


def test_a_row_whose_line_is_gone_from_a_newer_file_is_noted() -> None:
    origin = {"table_name": "element", "row_key": "B1-014", "original_id": "O-1", "line": "14"}
    broken = a_sound_record().with_bare_row("origin", **origin, still_there=False)
    only(broken.says("intake.line_gone"), "origin 2", "element B1-014", "line 14")
