"""Looking a repository over for damage and loss."""

from __future__ import annotations

import errno
import json
import os
import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from provenance._base.errors import TreenailError
from provenance._catalogue.audit import fixity
from provenance._catalogue.audit.audit import audit_place
from provenance._catalogue.audit.audit_report import audit_html, audit_json, audit_lines
from provenance._catalogue.audit.fixity import examine_bundle
from provenance._catalogue.build import withdraw_bundle
from provenance._catalogue.query import ask_sql
from provenance._cli.cataloguing import audit as audit_command
from tests.bundle.test_any_bag import a_bag
from tests.catalogue.conftest import flip_a_bit

PHOTO = Path("one/data/files/photo-001.png")


def by_name(audit) -> dict[str, dict]:
    return {Path(one["path"]).name: one for one in audit.standing}


def standings(audit) -> dict[str, str]:
    return {name: one["standing"] for name, one in by_name(audit).items()}


def test_sound_bundles_are_said_to_be_sound(repository, index) -> None:
    audit = audit_place(repository, index)
    assert audit.clean
    assert standings(audit) == {"one": "sound", "other.zip": "sound"}
    assert (audit.examined, audit.left, audit.outcome) == (2, 0, "finished")


def test_a_bit_that_fell_over_is_decay_and_the_file_is_named(repository, index) -> None:
    audit_place(repository, index)
    flip_a_bit(repository / PHOTO)
    one = by_name(audit_place(repository, index))["one"]
    assert (one["standing"], one["cause"]) == ("damaged", "decay")
    assert one["sound_at"]
    assert "data/files/photo-001.png" in {finding["path"] for finding in one["findings"]}


def test_a_file_that_was_written_to_is_not_called_decay(repository, index) -> None:
    audit_place(repository, index)
    flip_a_bit(repository / PHOTO, keep_times=False)
    one = by_name(audit_place(repository, index))["one"]
    assert (one["standing"], one["cause"]) == ("damaged", "written_to")


def test_damage_before_the_first_audit_has_no_known_cause(repository, index) -> None:
    flip_a_bit(repository / PHOTO)
    one = by_name(audit_place(repository, index))["one"]
    assert (one["standing"], one["cause"], one["sound_at"]) == ("damaged", "unknown", "")


@pytest.mark.parametrize("name", ["manifest-sha256.txt", "tagmanifest-sha512.txt", "bagit.txt"])
def test_decay_of_the_lists_themselves_is_damage_and_no_new_bundle(repository, index, name) -> None:
    audit_place(repository, index)
    flip_a_bit(repository / "one" / name, place=3)
    assert standings(audit_place(repository, index))["one"] == "damaged"


def test_a_file_that_is_gone_or_too_many_is_damage(repository, index) -> None:
    audit_place(repository, index)
    (repository / PHOTO).unlink()
    (repository / "one" / "data" / "strange.txt").write_text("strange")
    one = by_name(audit_place(repository, index))["one"]
    assert one["standing"] == "damaged"
    rules = {finding["rule"] for finding in one["findings"]}
    assert {"bag.file_missing", "bag.file_extra"} <= rules


def test_a_zip_that_was_cut_off_is_damaged(repository, index) -> None:
    audit_place(repository, index)
    path = repository / "other.zip"
    path.write_bytes(path.read_bytes()[:-5000])
    audit = audit_place(repository, index)
    assert standings(audit)["other.zip"] == "damaged"
    assert not audit.clean


def test_a_bit_that_fell_over_in_a_zip_is_damage(repository, index) -> None:
    audit_place(repository, index)
    path = repository / "other.zip"
    flip_a_bit(path, place=path.stat().st_size // 3)
    assert standings(audit_place(repository, index))["other.zip"] == "damaged"


def test_another_sound_bundle_in_the_same_place_is_change_told_once(
    repository, index, tmp_path
) -> None:
    audit_place(repository, index)
    (repository / "other.zip").unlink()
    zipped = shutil.make_archive(str(tmp_path / "new"), "zip", repository, "one")
    shutil.move(zipped, repository / "other.zip")
    first = audit_place(repository, index)
    assert standings(first)["other.zip"] == "changed"
    assert not first.clean
    assert standings(audit_place(repository, index))["other.zip"] == "sound"


def test_bags_of_others_are_judged_as_bags_and_never_called_damaged(
    repository, index, tmp_path
) -> None:
    """By RFC 8493 alone; one put where a bundle lay is told as a change."""
    bags = {name: a_bag(repository / name) for name in ("whole", "holey", "broken", "decayed")}
    a_bag(repository / "weak", algorithms=("md5",))
    shutil.make_archive(str(repository / "zipped"), "zip", tmp_path, "repository/whole/data")
    line = "https://reach.example/plan.tif 4 data/plan.tif\n"
    (bags["holey"] / "fetch.txt").write_text(line, encoding="utf-8")
    (bags["holey"] / "data" / "plan.tif").unlink()
    (bags["broken"] / "data" / "plan.tif").unlink()
    first = audit_place(repository, index)
    assert standings(first) == {
        "one": "sound",
        "other.zip": "sound",
        "whole": "bag_valid",
        "weak": "bag_warned",
        "holey": "bag_incomplete",
        "broken": "bag_not_valid",
        "decayed": "bag_valid",
        "zipped.zip": "not_a_bag",
    }
    assert {one["verdict"] for one in first.standing} == {"not anchored", "no record"}
    assert not first.clean
    assert "amaged" not in "".join(audit_lines(first))
    for name in ("holey", "broken", "zipped.zip"):
        path = repository / name
        path.unlink() if path.is_file() else shutil.rmtree(path)
        withdraw_bundle(index, path, "sent back")
    second = audit_place(repository, index)
    assert second.clean
    assert "judged as bags alone" in audit_html(second)
    flip_a_bit(bags["decayed"] / "data" / "plan.tif", place=1)
    shutil.rmtree(repository / "one")
    shutil.copytree(bags["whole"], repository / "one")
    third = by_name(audit_place(repository, index))
    assert third["one"]["standing"] == "bag_changed"
    decayed = third["decayed"]
    assert (decayed["standing"], decayed["cause"]) == ("bag_not_valid", "decay")
    assert "data/plan.tif" in {finding["path"] for finding in decayed["findings"]}
    assert standings(audit_place(repository, index))["one"] == "bag_valid"


def test_a_vanished_bundle_is_missing_until_it_is_noted_as_withdrawn(repository, index) -> None:
    audit_place(repository, index)
    shutil.rmtree(repository / "one")
    for _ in range(2):
        audit = audit_place(repository, index)
        assert standings(audit)["one"] == "missing"
        assert not audit.clean
    withdraw_bundle(index, repository / "one", "returned")
    audit = audit_place(repository, index)
    assert standings(audit)["one"] == "withdrawn"
    assert audit.clean


def test_a_bundle_at_a_new_path_has_moved(repository, index) -> None:
    audit_place(repository, index)
    (repository / "room").mkdir()
    (repository / "one").rename(repository / "room" / "renamed")
    audit = audit_place(repository, index)
    assert by_name(audit)["one"]["moved_to"] == [str(repository / "room" / "renamed")]
    assert standings(audit) == {"one": "moved", "renamed": "sound", "other.zip": "sound"}
    assert audit.clean


def test_a_lost_copy_is_missing_though_another_is_there(repository, index) -> None:
    shutil.copytree(repository / "one", repository / "copy")
    audit_place(repository, index)
    shutil.rmtree(repository / "copy")
    copy = by_name(audit_place(repository, index))["copy"]
    assert copy["standing"] == "missing"
    assert f"Sound copies to restore it from: {repository / 'one'}" in copy["why"]


def test_copies_are_named_and_a_damaged_one_is_never_offered(repository, index) -> None:
    shutil.copytree(repository / "one", repository / "copy")
    audit = audit_place(repository, index)
    assert by_name(audit)["one"]["copies"] == [str(repository / "copy")]
    flip_a_bit(repository / PHOTO)
    flip_a_bit(repository / "copy" / PHOTO.relative_to("one"))
    assert "Sound copies" not in by_name(audit_place(repository, index))["one"]["why"]


def test_a_later_bundle_of_the_same_name_supersedes(repository, index, tmp_path) -> None:
    from tests.builders import pack_bundle, unpack_bundle

    package = unpack_bundle(repository / "one", tmp_path / "again")
    later = package.with_descriptor({"created": "2040-01-01T00:00:00Z"})
    pack_bundle(later, repository / "later")
    audit = audit_place(repository, index)
    assert by_name(audit)["one"]["superseded_by"] == [str(repository / "later")]
    assert by_name(audit)["later"]["superseded_by"] == []


def test_an_intact_bundle_with_a_faulty_record_is_faulty_and_not_damaged(
    repository, index, tmp_path
) -> None:
    from provenance._bag.bag import write_bag

    for path in (repository / "one").glob("*manifest*"):
        path.unlink()
    (repository / "one" / "data" / "ro-crate-metadata.json").write_text("{}")
    for name in ("bagit.txt", "bag-info.txt"):
        (repository / "one" / name).unlink()
    write_bag(repository / "one", {"Bagging-Date": "2031-05-04"})
    assert standings(audit_place(repository, index))["one"] == "faulty"


def test_a_bundle_that_changes_while_it_is_read_is_never_sound(
    repository, index, monkeypatch
) -> None:
    from provenance._bundle import verify

    original = verify.judge_folder

    def disturb(*args, **kwargs):
        verdict = original(*args, **kwargs)
        assert verdict.sound
        os.utime(repository / PHOTO)
        return verdict

    monkeypatch.setattr(verify, "judge_folder", disturb)
    assert examine_bundle(repository / "one").outcome == "unsettled"
    monkeypatch.undo()
    assert examine_bundle(repository / "one").outcome == "sound"


@pytest.mark.parametrize(
    ("number", "outcome"),
    [(errno.EIO, "unreadable"), (errno.EACCES, "unreadable"), (errno.ENOSPC, "not_examined")],
)
def test_a_failure_of_the_machine_is_no_word_about_the_bundle(
    repository, monkeypatch, number, outcome
) -> None:
    def fail(path):
        raise OSError(number, os.strerror(number), str(path))

    monkeypatch.setattr(fixity, "_states", fail)
    found = examine_bundle(repository / "one")
    assert found.outcome == outcome
    assert os.strerror(number) in found.findings[0]["message"]


def test_no_room_for_the_tables_of_a_zip_is_not_damage(repository, monkeypatch) -> None:
    from collections import namedtuple

    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr("provenance._bag.hostile.shutil.disk_usage", lambda path: usage(10, 10, 0))
    assert examine_bundle(repository / "other.zip").outcome == "not_examined"


def test_a_bundle_changed_since_its_audit_is_not_said_to_be_sound(repository, index) -> None:
    audit_place(repository, index)
    manifest = repository / "one" / "manifest-sha256.txt"
    manifest.write_text(manifest.read_text())
    audit = audit_place(repository, index, minutes=0)
    assert standings(audit)["one"] == "stale"
    assert audit.left == 2


def test_damage_stays_reported_while_the_time_runs_out(repository, index) -> None:
    flip_a_bit(repository / PHOTO)
    audit_place(repository, index)
    os.utime(repository / "one" / "manifest-sha256.txt")
    audit = audit_place(repository, index, minutes=0)
    assert audit.examined == 0
    assert not audit.clean


def test_the_longest_unchecked_comes_first_and_the_time_is_kept(
    repository, index, monkeypatch
) -> None:
    order: list[str] = []
    original = examine_bundle

    def noted(path):
        order.append(path.name)
        return original(path)

    monkeypatch.setattr("provenance._catalogue.audit.audit.examine_bundle", noted)
    audit_place(repository, index)
    shutil.copytree(repository / "one", repository / "zz-new")
    audit_place(repository, index)
    assert order == ["one", "other.zip", "zz-new", "one", "other.zip"]
    # the new one was examined first, then the others: it is now the longest unchecked
    ticks = iter([0.0, 0.0, 100.0, 100.0])
    clock = SimpleNamespace(monotonic=lambda: next(ticks))
    monkeypatch.setattr("provenance._catalogue.audit.audit.time", clock)
    audit = audit_place(repository, index, minutes=1)
    assert order[5:] == ["zz-new"]
    assert (audit.examined, audit.left, audit.outcome) == (1, 2, "out_of_time")


def test_an_audit_that_was_stopped_is_taken_up_and_nothing_is_done_twice(
    repository, index, monkeypatch
) -> None:
    original = examine_bundle
    order: list[str] = []

    def stop(path):
        if order:
            raise KeyboardInterrupt
        order.append(path.name)
        return original(path)

    monkeypatch.setattr("provenance._catalogue.audit.audit.examine_bundle", stop)
    with pytest.raises(KeyboardInterrupt):
        audit_place(repository, index)
    monkeypatch.undo()
    audit = audit_place(repository, index)
    assert (audit.resumed, audit.examined, audit.left) == (1, 2, 0)
    assert ask_sql(index, "SELECT count(*) FROM examination").row(0) == (2,)
    assert audit_place(repository, index).resumed == 0


def test_anew_leaves_an_interrupted_audit_behind(repository, index, monkeypatch) -> None:
    monkeypatch.setattr(
        "provenance._catalogue.audit.audit.examine_bundle",
        lambda path: (_ for _ in ()).throw(SystemExit),
    )
    with pytest.raises(SystemExit):
        audit_place(repository, index)
    monkeypatch.undo()
    audit = audit_place(repository, index, anew=True)
    assert audit.resumed == 0
    runs = ask_sql(index, "SELECT outcome FROM run WHERE kind = 'audit' ORDER BY run_id")
    assert runs["outcome"].to_list() == ["abandoned", "finished"]


def test_a_clock_that_goes_backwards_does_not_change_which_word_is_the_last(
    repository, index, monkeypatch
) -> None:
    audit_place(repository, index)
    flip_a_bit(repository / PHOTO)
    monkeypatch.setattr("provenance._catalogue.audit.fixity.now", lambda: "1999-01-01T00:00:00Z")
    monkeypatch.setattr("provenance._catalogue.database.now", lambda: "1999-01-01T00:00:00Z")
    audit = audit_place(repository, index)
    assert standings(audit)["one"] == "damaged"
    assert audit.update.clock is not None
    assert "1999" in audit_html(audit)


def test_two_audits_at_once_are_refused(repository, index) -> None:
    from provenance._catalogue.audit.audit import _only_audit

    with _only_audit(index), pytest.raises(TreenailError, match="another audit"):
        audit_place(repository, index)
    assert audit_place(repository, index).clean


def test_a_package_that_is_not_packed_is_never_called_sound(repository, index) -> None:
    shutil.copytree(repository / "one" / "data", repository / "working")
    audit = audit_place(repository, index)
    assert standings(audit)["working"] == "not_packed"


def test_page_and_lines_name_everything_and_show_hostile_names_as_text(repository, index) -> None:
    shutil.move(repository / "one", repository / "<script>alert(1)<")
    (repository / "<script>alert(1)<" / "data" / "files" / "photo-001.png").write_bytes(b"x")
    audit = audit_place(repository, index)
    page = audit_html(audit)
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;" in page
    assert any("photo-001.png" in line for line in audit_lines(audit))
    raw = json.loads(audit_json(audit))
    assert raw["counts"] == {"damaged": 1, "sound": 1}
    assert raw["clean"] is False


def test_the_exit_code_tells_cron(repository, tmp_path) -> None:
    runner = CliRunner()
    run = runner.invoke(audit_command, [str(repository), "--out", str(tmp_path / "report")])
    assert run.exit_code == 0, run.output
    assert json.loads((tmp_path / "report" / "audit.json").read_text())["clean"] is True
    assert "<h1>" in (tmp_path / "report" / "audit.html").read_text()
    flip_a_bit(repository / PHOTO)
    run = runner.invoke(audit_command, [str(repository), "--format", "json"])
    assert run.exit_code == 1
    assert json.loads(run.stdout)["counts"]["damaged"] == 1
    assert runner.invoke(audit_command, [str(tmp_path / "nowhere")]).exit_code == 2


def test_a_report_that_cannot_be_written_is_no_finding_about_bundles(repository, tmp_path) -> None:
    (tmp_path / "taken").write_text("a file where the folder should be")
    run = CliRunner().invoke(audit_command, [str(repository), "--out", str(tmp_path / "taken")])
    assert isinstance(run.exception, TreenailError)
    assert run.exception.exit_code == 2
    assert "is kept in the catalogue" in str(run.exception)
