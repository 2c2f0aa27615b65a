"""Killing the catalogue and the audit at any moment, and disks that are full."""

from __future__ import annotations

import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from provenance._base.errors import TreenailError
from provenance._catalogue.audit.audit import audit_place
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.query import ask_sql
from tests.catalogue.conftest import flip_a_bit
from tests.forked import started

WORK = {"catalogue": update_catalogue, "audit": audit_place}


def killed_after(seconds: float, work: str, place: Path, index: Path) -> bool:
    """Start the work, kill -9 it after so long; True when it was still at it."""
    process = started(WORK[work], place, index)
    time.sleep(seconds)
    process.kill()
    process.join()
    return process.exitcode == -signal.SIGKILL


def told(audit) -> list[tuple]:
    names = ("path", "standing", "why", "identity", "files", "bytes", "findings", "copies")
    return [tuple(one[name] for name in names) for one in audit.standing]


def is_begun(index: Path) -> bool:
    """Whether the tables are there; a catalogue that was killed before that holds nothing."""
    try:
        return bool(ask_sql(index, "SELECT 1").row(0))
    except TreenailError as error:
        if "there is no index" not in str(error):
            raise
        return False


def assert_whole(index: Path) -> None:
    """The database is sound and holds bundles whole or not at all."""
    assert ask_sql(index, "PRAGMA integrity_check").row(0) == ("ok",)
    for table in ("site", "sample", "plug"):
        lost = f"SELECT count(*) FROM {table} WHERE bundle_id NOT IN (SELECT bundle_id FROM bundle)"
        assert ask_sql(index, lost).row(0) == (0,)
    halves = (
        "SELECT count(*) FROM bundle WHERE state = 'there' AND name = 'holl' "
        "AND bundle_id NOT IN (SELECT bundle_id FROM plug)"
    )
    assert ask_sql(index, halves).row(0) == (0,)


@pytest.mark.heavy
@pytest.mark.parametrize("work", ["catalogue", "audit"])
def test_killed_again_and_again_it_ends_as_if_it_had_never_been(repository, tmp_path, work) -> None:
    for number in range(3):
        shutil.copytree(repository / "one", repository / f"copy-{number}")
    flip_a_bit(repository / "copy-1" / "data" / "files" / "photo-001.png")
    never, often = tmp_path / "never.sqlite", tmp_path / "often.sqlite"
    expected = told(audit_place(repository, never))
    began = time.monotonic()
    WORK[work](repository, tmp_path / "timed.sqlite")
    took = time.monotonic() - began
    chance = random.Random(7)
    killed = 0
    for _ in range(5):
        killed += killed_after(chance.uniform(0, took), work, repository, often)
        if is_begun(often):
            assert_whole(often)
    assert killed
    if work == "catalogue":
        update_catalogue(repository, often)
        query = "SELECT path, sample.* FROM sample JOIN bundle USING (bundle_id) ORDER BY path"
        frames = [ask_sql(index, query).drop("bundle_id") for index in (never, often)]
        assert frames[0].equals(frames[1])
    assert told(audit_place(repository, often)) == expected
    twice = "SELECT count(*) FROM examination GROUP BY path, run_id HAVING count(*) > 1"
    assert len(ask_sql(often, twice)) == 0


def test_a_catalogue_killed_before_its_first_table_is_none_yet_and_is_made(
    repository, index
) -> None:
    """Whatever the kill left: no file, an empty one, a header without tables and its journal."""
    killed_at_once = """
import os, signal, sqlite3, sys
database = sqlite3.connect(sys.argv[1], isolation_level=None)
database.execute("PRAGMA cache_size = 1")
database.execute("BEGIN IMMEDIATE")
for number in range(200):
    database.execute(f"CREATE TABLE t{number} (a)")
database.execute("PRAGMA user_version = 4")
os.kill(os.getpid(), signal.SIGKILL)
"""
    assert not is_begun(index)
    index.touch()
    assert not is_begun(index)
    subprocess.run([sys.executable, "-c", killed_at_once, str(index)], check=False)
    assert index.stat().st_size
    assert not is_begun(index)
    assert len(update_catalogue(repository, index).read) == 2
    assert is_begun(index)


def test_a_catalogue_killed_in_a_transaction_can_be_read_at_once(repository, index) -> None:
    """The journal of the killed transaction is still there and must be rolled back to read."""
    update_catalogue(repository, index)
    kill_within = """
import os, signal, sqlite3, sys
database = sqlite3.connect(sys.argv[1], isolation_level=None)
database.execute("PRAGMA cache_size = 1")
database.execute("BEGIN IMMEDIATE")
database.execute("UPDATE sample SET species = hex(randomblob(2000))")
database.execute("DELETE FROM bundle")
os.kill(os.getpid(), signal.SIGKILL)
"""
    subprocess.run([sys.executable, "-c", kill_within, str(index)], check=False)
    assert index.with_name(f"{index.name}-journal").stat().st_size
    assert_whole(index)
    assert ask_sql(index, "SELECT count(*) FROM bundle").row(0) == (2,)
    assert set(ask_sql(index, "SELECT species FROM sample")["species"]) == {"PIPO", "QUSP"}


def test_a_full_disk_ends_it_with_a_word_and_keeps_what_was_there(repository, index) -> None:
    """A limit on the size of files stands for the full disk: writing fails at the same place."""
    audit_place(repository, index)
    before = ask_sql(index, "SELECT * FROM examination")
    for number in range(40):
        shutil.copytree(repository / "one", repository / f"copy-{number}")
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (index.stat().st_size + 4096, old[1]))
    try:
        with pytest.raises(TreenailError, match="was written before is safe"):
            update_catalogue(repository, index)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, old)
        signal.signal(signal.SIGXFSZ, handler)
    assert_whole(index)
    assert ask_sql(index, "SELECT * FROM examination").equals(before)
    assert len(update_catalogue(repository, index).read) == 40


def test_a_report_that_does_not_fit_leaves_the_old_one(tmp_path) -> None:
    from provenance._base.disk import write_text

    report = tmp_path / "audit.html"
    write_text(report, "old")
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, old[1]))
    try:
        with pytest.raises(OSError, match="too large"):
            write_text(report, "new" * 1000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, old)
        signal.signal(signal.SIGXFSZ, handler)
    assert report.read_text() == "old"
    assert os.listdir(tmp_path) == ["audit.html"]
