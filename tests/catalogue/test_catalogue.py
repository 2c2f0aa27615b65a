"""Bringing the catalogue up to what lies at a place."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from pathlib import Path

import pytest

from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.resources import shipped
from provenance._catalogue.build import index_place, update_catalogue, withdraw_bundle
from provenance._catalogue.columns import catalogue_tables, catalogue_text
from provenance._catalogue.database import opened_catalogue, read_only_catalogue
from provenance._catalogue.query import ask_sql
from tests.catalogue.conftest import flip_a_bit


def states(index: Path) -> dict[str, str]:
    frame = ask_sql(index, "SELECT path, state FROM bundle")
    return {Path(path).name: state for path, state in frame.iter_rows()}


def test_a_folder_of_bundles_is_read_once_and_not_again(repository, index, monkeypatch) -> None:
    first = update_catalogue(repository, index)
    assert len(first.read) == 2
    monkeypatch.setattr(
        "provenance._catalogue.build.read_entry", lambda path, symbols: pytest.fail("read again")
    )
    again = update_catalogue(repository, index)
    assert (again.read, again.unchanged, again.vanished) == ((), 2, ())


def test_folder_and_zip_of_one_bundle_have_one_identity(repository, index) -> None:
    from provenance._catalogue.entry import read_entry
    from provenance._record.package import open_package

    package = open_package(shutil.copytree(repository / "one" / "data", repository.parent / "w"))
    assert package.name == "holl"
    shutil.make_archive(str(repository / "zipped"), "zip", repository, "one")
    folder, zipped = read_entry(repository / "one"), read_entry(repository / "zipped.zip")
    assert folder.facts == zipped.facts
    assert folder.facts["identity"]


def test_only_a_changed_bundle_is_read_again(repository, index) -> None:
    update_catalogue(repository, index)
    manifest = repository / "one" / "manifest-sha256.txt"
    manifest.write_text(manifest.read_text() + "\n")
    assert update_catalogue(repository, index).read == (str(repository / "one"),)


def test_a_vanished_bundle_is_marked_and_not_forgotten(repository, index) -> None:
    update_catalogue(repository, index)
    shutil.rmtree(repository / "one")
    assert update_catalogue(repository, index).vanished == (str(repository / "one"),)
    assert states(index) == {"one": "vanished", "other.zip": "there"}
    assert len(ask_sql(index, "SELECT * FROM sample")) == 3
    assert update_catalogue(repository, index).vanished == ()


def test_a_bundle_that_comes_back_is_there_again(repository, index, tmp_path) -> None:
    update_catalogue(repository, index)
    (repository / "other.zip").rename(tmp_path / "away.zip")
    update_catalogue(repository, index)
    (tmp_path / "away.zip").rename(repository / "other.zip")
    update_catalogue(repository, index)
    assert states(index)["other.zip"] == "there"


def test_bundles_of_another_place_are_left_alone(repository, index, tmp_path) -> None:
    shutil.copytree(repository, tmp_path / "second")
    update_catalogue(repository, index)
    update_catalogue(tmp_path / "second", index)
    assert list(ask_sql(index, "SELECT count(*) FROM bundle WHERE state = 'there'").row(0)) == [4]


def test_a_place_that_is_gone_makes_nothing_vanish(repository, index, tmp_path) -> None:
    """A disk that is not mounted must not look like a repository that was emptied."""
    update_catalogue(repository, index)
    repository.rename(tmp_path / "elsewhere")
    with pytest.raises(UnusableInput, match="neither a package"):
        update_catalogue(repository, index)
    assert set(states(index).values()) == {"there"}


def test_what_lies_in_a_folder_that_may_not_be_entered_is_not_taken_for_gone(
    repository, index, monkeypatch
) -> None:
    (repository / "room").mkdir()
    shutil.move(repository / "one", repository / "room" / "one")
    update_catalogue(repository, index)
    # access rights do not bind the superuser, who may run the tests
    from provenance._catalogue.stores import records

    monkeypatch.setattr(records.os, "access", lambda path, mode: Path(path).name != "room")
    update = update_catalogue(repository, index)
    assert update.vanished == ()
    assert update.unreadable == {str(repository / "room"): "Permission denied"}
    assert states(index)["one"] == "out_of_sight"
    monkeypatch.undo()
    update_catalogue(repository, index)
    assert states(index)["one"] == "there"


def test_a_bundle_that_cannot_be_read_is_named_and_keeps_what_was_known(repository, index) -> None:
    update_catalogue(repository, index)
    (repository / "other.zip").write_bytes(b"PK\x03\x04 cut off")
    why = update_catalogue(repository, index).unreadable[str(repository / "other.zip")]
    assert "not a readable zip" in why
    assert states(index)["other.zip"] == "unreadable"
    assert len(ask_sql(index, "SELECT * FROM sample WHERE site_id = 'MILL'")) == 2


def test_a_bag_that_lost_its_lists_is_still_known_as_a_bundle(repository, index) -> None:
    for name in ("manifest-sha256.txt", "manifest-sha512.txt"):
        (repository / "one" / name).unlink()
    update_catalogue(repository, index)
    assert states(index) == {"one": "there", "other.zip": "there"}


def test_a_bundle_that_changes_while_it_is_read_is_not_stored(
    repository, index, monkeypatch
) -> None:
    from provenance._catalogue import entry

    original = entry._facts

    def disturb(source):
        manifest = repository / "one" / "manifest-sha256.txt"
        manifest.write_text(manifest.read_text() + "\n")
        return original(source)

    monkeypatch.setattr(entry, "_facts", disturb)
    update = update_catalogue(repository, index)
    assert "changed while it was read" in update.unreadable[str(repository / "one")]


def test_a_catalogue_that_several_begin_at_one_moment_is_taken_for_no_stranger(tmp_path) -> None:
    faults: list[BaseException] = []
    together = threading.Barrier(6)

    def begin(index: Path) -> None:
        together.wait()
        try:
            with opened_catalogue(index), read_only_catalogue(index):
                pass
        except BaseException as error:
            faults.append(error)

    for number in range(40):
        index = tmp_path / f"{number}.sqlite"
        threads = [threading.Thread(target=begin, args=(index,)) for _ in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert faults == []


def test_two_catalogues_at_once_lose_and_double_nothing(repository, index) -> None:
    for number in range(6):
        shutil.copytree(repository / "one", repository / f"copy-{number}")
    faults: list[BaseException] = []

    def build() -> None:
        try:
            update_catalogue(repository, index)
        except BaseException as error:
            faults.append(error)

    threads = [threading.Thread(target=build) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert ask_sql(index, "SELECT count(*), count(DISTINCT path) FROM bundle").row(0) == (8, 8)
    assert ask_sql(index, "SELECT count(*) FROM sample").row(0) == (9,)
    assert ask_sql(index, "PRAGMA integrity_check").row(0) == ("ok",)


def test_a_catalogue_is_never_written_into_a_bundle(repository) -> None:
    with pytest.raises(UnusableInput, match="must stay as it is"):
        index_place(repository / "one")
    with pytest.raises(UnusableInput, match="must stay as it is"):
        index_place(repository, repository / "one" / "data" / "x.sqlite")
    assert index_place(repository) == repository / "catalogue.sqlite"


def test_a_database_of_another_program_is_not_written_to(repository, tmp_path) -> None:
    strange = tmp_path / "strange.sqlite"
    with sqlite3.connect(strange) as database:
        database.execute("CREATE TABLE sheep (name)")
    before = strange.read_bytes()
    with pytest.raises(TreenailError, match="not a catalogue"):
        update_catalogue(repository, strange)
    assert strange.read_bytes() == before


def test_a_bundle_taken_away_on_purpose_is_noted_with_the_reason(repository, index) -> None:
    update_catalogue(repository, index)
    with pytest.raises(UnusableInput, match="still there"):
        withdraw_bundle(index, repository / "one", "returned")
    shutil.rmtree(repository / "one")
    with pytest.raises(UnusableInput, match="lists no bundle"):
        withdraw_bundle(index, repository / "none", "returned")
    withdraw_bundle(index, repository / "one", "returned to the depositor")
    update = update_catalogue(repository, index)
    assert update.vanished == ()
    assert states(index)["one"] == "withdrawn"


def test_a_clock_that_stands_before_the_last_entry_is_named(repository, index, monkeypatch) -> None:
    update_catalogue(repository, index)
    monkeypatch.setattr("provenance._catalogue.database.now", lambda: "1999-01-01T00:00:00Z")
    clock = update_catalogue(repository, index).clock
    assert clock is not None
    assert "1999-01-01" in clock


def test_the_database_says_itself_what_every_column_means(repository, index) -> None:
    update_catalogue(repository, index)
    for table in catalogue_tables():
        columns = ask_sql(index, f"SELECT name FROM pragma_table_info('{table.name}')")
        told = ask_sql(
            index,
            f"SELECT column_name FROM description WHERE table_name = '{table.name}' "
            "AND column_name != '' AND meaning != ''",
        )
        assert set(columns["name"]) == set(told["column_name"])


def test_the_text_about_the_tables_is_the_one_that_is_generated() -> None:
    assert (shipped("schemas") / "CATALOGUE.md").read_text(encoding="utf-8") == catalogue_text()


def test_the_queries_to_start_from_can_be_asked(repository, index) -> None:
    update_catalogue(repository, index)
    queries = catalogue_text().split("```sql")[1].split("```")[0].split(";")
    assert len(queries) >= 4
    for query in queries[:-1]:
        ask_sql(index, query)


def test_a_decayed_file_does_not_make_the_catalogue_read_again(repository, index) -> None:
    """Finding decay is the audit's work; the catalogue looks at the list of checksums only."""
    update_catalogue(repository, index)
    flip_a_bit(repository / "one" / "data" / "files" / "photo-001.png")
    assert update_catalogue(repository, index).unchanged == 2
