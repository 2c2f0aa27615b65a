"""The same work on one process, on several, and with one of them dying."""

from __future__ import annotations

import os
import shutil
import signal
from pathlib import Path

import pytest

from provenance.catalogue.audit import audit_place
from provenance.catalogue.build import update_catalogue
from provenance.catalogue.fixity import Examination, examine_bundle
from provenance.catalogue.query import ask_sql
from provenance.catalogue.spread import Broken, Crew, do_each
from provenance.errors import TreenailError


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


@pytest.mark.filterwarnings("ignore")
class TestOnSeveralProcesses:
    """Real worker processes; skipped where Dask is not installed."""

    @pytest.fixture(autouse=True)
    def _dask(self) -> None:
        pytest.importorskip("distributed")

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
        monkeypatch.setattr("provenance.catalogue.audit.examine_bundle", examine_and_die_once)
        spread = audit_place(repository, together, crew=Crew(2))
        assert (tmp_path / "killed").exists()
        assert spread.examined == serial.examined == 7
        assert ask_sql(together, "SELECT count(*) FROM examination").row(0) == (7,)

        def told(audit) -> list[tuple]:
            names = ("path", "standing", "why", "identity", "files", "bytes", "findings", "copies")
            return [tuple(one[name] for name in names) for one in audit.standing]

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
        assert "brought down" in broken.reason
        assert all(done[number] == number for number in done)

    def test_no_cluster_at_the_address_is_said(self, repository, tmp_path, monkeypatch) -> None:
        monkeypatch.setattr("provenance.catalogue.spread.CONNECT_SECONDS", 1)
        with pytest.raises(TreenailError, match="no cluster answers"):
            update_catalogue(
                repository, tmp_path / "i.sqlite", crew=Crew(scheduler="tcp://127.0.0.1:1")
            )
