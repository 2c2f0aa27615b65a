"""The same work on one process, on several, and with one of them dying."""

from __future__ import annotations

import os
import shutil
import signal
import time
from contextlib import closing
from pathlib import Path

import pytest

from provenance._base.errors import TreenailError
from provenance._catalogue.audit.audit import audit_place
from provenance._catalogue.audit.fixity import Examination, examine_bundle
from provenance._catalogue.audit.pieces import Piecework, Portion, PutTogether
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.query import ask_sql
from provenance._catalogue.stores.spread import Broken, Crew, do_each
from tests.catalogue.conftest import flip_a_bit


def double(number: int) -> int:
    if number == 3:
        raise ValueError("three is not doubled")
    return 2 * number


def test_one_that_fails_stops_no_other() -> None:
    done = dict(do_each(double, [1, 2, 3, 4]))
    assert done[4] == 8
    assert done[3] == Broken("ValueError: three is not doubled")


def test_once_told_to_stop_nothing_more_is_begun() -> None:
    answers = iter([True, True, False])
    assert len(list(do_each(double, [1, 2, 4], go_on=lambda: next(answers)))) == 2


def test_without_dask_the_message_says_what_to_install(monkeypatch) -> None:
    import importlib

    def absent(name):
        raise ImportError(name)

    monkeypatch.setattr(importlib, "import_module", absent)
    with pytest.raises(TreenailError, match=r"treenail\[cluster\]"):
        list(do_each(double, [1], crew=Crew(2)))


def examine_and_die_once(path: Path) -> Examination:
    """Examine a bundle; the first who has 'copy-1' is killed before it can tell the result."""
    found = examine_bundle(path)
    marker = path.parent.parent / "killed"
    if path.name == "copy-1" and not marker.exists():
        marker.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return found


def die_always(number: int) -> int:
    if number == 5:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def told(audit) -> list[tuple]:
    """What an audit says, without dates and durations."""
    names = ("path", "standing", "why", "identity", "files", "bytes", "findings", "copies")
    return [tuple(one[name] for name in names) for one in audit.standing]


class DyingOnce(Piecework):
    """Does pieces of work; the first portion that is hashed dies with its worker."""

    def __call__(self, piece):  # type: ignore[no-untyped-def]
        done = super().__call__(piece)
        if isinstance(piece, Portion) and piece.number == 2:
            marker = piece.bundle.parent.parent / "killed"
            if not marker.exists():
                marker.touch()
                os.kill(os.getpid(), signal.SIGKILL)
        return done


@pytest.mark.filterwarnings("ignore")
@pytest.mark.usefixtures("quick_workers")
@pytest.mark.heavy
class TestOnSeveralProcesses:
    """Real worker processes; skipped where Dask is not installed."""

    def test_a_worker_killed_in_mid_run_changes_nothing_against_a_serial_run(
        self, repository, tmp_path, monkeypatch
    ) -> None:
        for number in range(4):
            shutil.copytree(repository / "one", repository / f"copy-{number}")
        photo = repository / "copy-2" / "data" / "files" / "photo-001.png"
        photo.write_bytes(photo.read_bytes()[:-1])
        (repository / "broken.zip").write_bytes(b"no zip")
        alone, together = tmp_path / "alone.sqlite", tmp_path / "together.sqlite"
        serial = audit_place(repository, alone)
        monkeypatch.setattr(
            "provenance._catalogue.audit.audit.examine_bundle", examine_and_die_once
        )
        spread = audit_place(repository, together, crew=Crew(2))
        assert (tmp_path / "killed").exists()
        assert spread.examined == serial.examined == 7
        assert ask_sql(together, "SELECT count(*) FROM examination").row(0) == (7,)

        assert told(spread) == told(serial)
        for table in ("site", "sample", "plug"):
            query = f"SELECT path, t.* FROM {table} t JOIN bundle USING (bundle_id)"
            frames = [
                ask_sql(index, query).drop("bundle_id").sort("path") for index in (alone, together)
            ]
            assert frames[0].equals(frames[1])

    def test_a_bundle_that_brings_down_every_worker_is_given_up_and_named(self) -> None:
        import dask
        from distributed import Client, LocalCluster

        with (
            dask.config.set({"distributed.scheduler.allowed-failures": 0}),
            LocalCluster(
                n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
            ) as cluster,
            Client(cluster, set_as_default=False),
        ):
            # by its address, as a cluster that somebody else runs
            crew = Crew(scheduler=cluster.scheduler_address)
            done = dict(do_each(die_always, list(range(24)), crew=crew))
        assert set(done) == set(range(24))
        broken = done.pop(5)
        assert isinstance(broken, Broken)
        assert "crashed" in broken.reason
        assert all(done[number] == number for number in done)

    def test_a_large_bundle_is_shared_out_by_file_and_nothing_is_counted_twice(
        self, repository, tmp_path, monkeypatch
    ) -> None:
        """One worker dies with a portion hashed; the sum is that of one process all the same."""
        flip_a_bit(repository / "one" / "data" / "files" / "photo-001.png")
        alone, together = tmp_path / "alone.sqlite", tmp_path / "together.sqlite"
        serial = audit_place(repository, alone)
        pieces: list[object] = []
        original = PutTogether.more

        def noted(self, piece, done):  # type: ignore[no-untyped-def]
            pieces.append(piece)
            return original(self, piece, done)

        monkeypatch.setattr(PutTogether, "more", noted)
        monkeypatch.setattr("provenance._catalogue.audit.audit.Piecework", DyingOnce)
        spread = audit_place(repository, together, crew=Crew(2), large_bytes=20_000)
        assert (tmp_path / "killed").exists()
        portions = [one for one in pieces if isinstance(one, Portion)]
        paths = [(one.bundle.name, path) for one in portions for path in one.paths]
        assert len(portions) > 8
        assert len(paths) == len(set(paths))
        assert {name for name, _ in paths} == {"one", "other.zip"}
        assert ask_sql(together, "SELECT count(*) FROM examination").row(0) == (2,)
        assert told(spread) == told(serial)

    def test_a_cluster_that_has_lost_all_workers_is_given_up_and_what_was_done_is_kept(
        self, repository, tmp_path
    ) -> None:
        from distributed import LocalCluster

        for number in range(3):
            shutil.copytree(repository / "one", repository / f"copy-{number}")
        index = tmp_path / "i.sqlite"
        update_catalogue(repository, index)
        with LocalCluster(
            n_workers=1, threads_per_worker=1, dashboard_address=None, silence_logs=50
        ) as cluster:
            crew = Crew(scheduler=cluster.scheduler_address, patience=2.0)
            with closing(do_each(double, [1], crew=crew)) as done:
                assert next(done) == (1, 2)
            cluster.scale(0)
            cluster.sync(cluster._correct_state)
            start = time.monotonic()
            with pytest.raises(TreenailError, match="has had no worker for") as caught:
                audit_place(repository, index, crew=crew)
            assert time.monotonic() - start < 60
            assert "Finished work is kept" in str(caught.value)
        assert audit_place(repository, index).examined == 5

    def test_no_cluster_at_the_address_is_said(self, repository, tmp_path, monkeypatch) -> None:
        monkeypatch.setattr("provenance._catalogue.stores.spread.CONNECT_SECONDS", 1)
        with pytest.raises(TreenailError, match="no cluster answers"):
            update_catalogue(
                repository, tmp_path / "i.sqlite", crew=Crew(scheduler="tcp://127.0.0.1:1")
            )


def test_what_follows_from_an_item_is_done_next_though_no_more_is_begun() -> None:
    """A large bundle that was begun is finished, also when the time is used up."""
    answers = iter([True, False])

    def more(item: int, result: object) -> list[int]:
        return [10 * item] if item < 10 else []

    done = list(do_each(double, [1, 2], go_on=lambda: next(answers), more=more))
    assert done == [(1, 2), (10, 20)]
