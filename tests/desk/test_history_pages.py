"""The history of a record at the desk: what is told, undone and merged is that of the functions."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from provenance._history import deciding
from provenance._history.deciding import accept, add, correct, decide, remove, rename, undo
from provenance._history.history import open_history
from provenance._history.told import claims_about
from provenance._merging.merge import merge_packages
from provenance._record.package import Package, open_package
from tests.bundle.test_hostile import a_zip
from tests.desk.sitting import Sitting, text_of
from tests.merging.test_merge import begun

NOON = "2031-05-04T12:00:00Z"


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Package:
    """A record in a folder of its own, in which everything is done at one moment."""
    monkeypatch.setattr(deciding, "moment_text", lambda: NOON)
    (tmp_path / "work").mkdir()
    return begun(tmp_path / "work")


@pytest.fixture
def sitting(package: Package) -> Iterator[Sitting]:
    sitting = Sitting(package.folder.parent, by="TQ")
    yield sitting
    sitting.desk.close()


def refuse_to_differ(one: Path, other: Path) -> None:
    """The packages must be the same, byte for byte."""
    names = [{p.relative_to(f) for p in f.rglob("*") if p.is_file()} for f in (one, other)]
    assert names[0] == names[1]
    for name in sorted(names[0]):
        if not name.name.startswith("."):
            assert (one / name).read_bytes() == (other / name).read_bytes(), name


def test_an_act_is_undone_at_the_desk_as_by_the_function(
    package: Package, sitting: Sitting
) -> None:
    act = decide(package, correct("sample", "231", {"rings_field": "88"}), who="MB", why="seen")
    later = decide(package, correct("sample", "231", {"rings_field": "90"}), who="MB", why="anew")
    at = f"/record/holl/history/{act.act_id}"
    page = sitting.page(at)
    assert f"/record/holl/history/{later.act_id}" in page
    assert "Undo that first" in page
    assert "changed since" in sitting.refused(f"{at}/undo", {"why": "x"})
    assert "reason is blank" in sitting.refused(f"{at}/undo", {}).lower()
    at = f"/record/holl/history/{later.act_id}"
    told = text_of(sitting.page(at).partition('id="undo"')[2])
    assert "Samples 231 Field ring count 90 88" in told
    assert "Undone." in sitting.do(f"{at}/undo", {"why": "the other ring"})
    assert "This act is undone" in sitting.page(at)
    copy = Path(shutil.copytree(package.folder, package.folder.parent.parent / "copy"))
    sitting.desk.close()
    other = decide(open_package(copy), undo(act.act_id), who="TQ", why="both")
    sitting.do(f"/record/holl/history/{act.act_id}/undo", {"why": "both"})
    sitting.desk.close()
    assert open_package(copy).tables.column("act", "act_id")[-1] == other.act_id
    refuse_to_differ(package.folder / "tables", copy / "tables")


def test_the_history_tells_who_did_what_by_person_day_table_and_row(
    package: Package, sitting: Sitting
) -> None:
    done = {
        "Row added": decide(package, add("party", {"party_id": "NN", "kind": "person"}), who="MB"),
        "Key changed": decide(package, rename("party", "NN", "NM"), who="OT", why="misread"),
        "Corrected": decide(package, correct("sample", "231", {"length_mm": "97"}), who="MB"),
        "Row removed": decide(package, remove("party", "NM"), who="MB"),
        "Finding accepted": decide(
            package, accept([("sample.x", "sample", "231", "", "so it is")]), who="OT"
        ),
    }
    text = text_of(sitting.page("/record/holl/history"))
    places = [text.index(one) for one in reversed(done)]
    assert places == sorted(places), "the newest comes first"
    for query, kinds in {
        "by=OT": {"Key changed", "Finding accepted"},
        "day=2031-05-04&table=party": {"Row added", "Key changed", "Row removed"},
        "day=1999-01-01": set(),
        "table=sample&key=231&by=MB": {"Corrected"},
    }.items():
        page = sitting.page(f"/record/holl/history?{query}")
        shown = set(re.findall(r"/record/holl/history/(\w{24})\"", page.rpartition("<tbody>")[2]))
        assert {done[one].act_id for one in kinds} == shown & {o.act_id for o in done.values()}, (
            query
        )
    page = text_of(sitting.page("/record/holl/history?table=sample&key=231").partition("<h1>")[2])
    said = claims_about(open_history(open_package(package.folder)), "sample", "231")
    for claim in said["length_mm"]:
        assert f"{claim.value} {'no, rejected' if claim.refused else 'yes'}" in page
    assert "settle" not in page
    assert "Entered or corrected" not in page
    assert "Finding accepted" in text_of(sitting.page("/record/holl"))
    for path in ("/record/holl/timbers/B1-014", "/record/holl/tables/sample/row?key=231"):
        assert "/record/holl/history?table=" in sitting.page(path)


def test_copies_are_merged_at_the_desk_as_by_the_function(
    package: Package, sitting: Sitting
) -> None:
    other = open_package(shutil.copytree(package.folder, package.folder.with_name("south")))
    decide(package, correct("sample", "231", {"rings_field": "88"}), who="MB", why="counted here")
    decide(other, correct("sample", "231", {"rings_field": "91"}), who="OT", why="counted there")
    decide(other, add("party", {"party_id": "NN", "kind": "person"}), who="OT", why="new")
    expected = open_package(shutil.copytree(package.folder, package.folder.parent.parent / "by"))
    merged = merge_packages(expected, other, who="TQ")
    assert merged.conflicts
    page = sitting.page("/record/holl/merge?with=record/south")
    text = text_of(page)
    assert "Done only here (1)" in text
    assert "Done only there (2)" in text
    row = text[text.index("Ours Theirs") :]
    assert (
        row.index("88")
        < row.index("MB, 2031-05-04")
        < row.index("91")
        < row.index("OT, 2031-05-04")
    )
    assert "/record/holl/numbers" in sitting.page("/record/holl/merge")
    before = {p: p.read_bytes() for p in other.folder.rglob("*") if p.is_file()}
    # the same copy as a zip from elsewhere, and zips that mean harm
    members = [(f"south/{p.relative_to(other.folder).as_posix()}", b) for p, b in before.items()]
    sent = a_zip(package.folder.parent.parent / "south.zip", *members).read_bytes()
    dropped = sitting.do("/record/holl/merge/drop", files={"copy": ("south.zip", sent)})
    assert (
        text_of(dropped)[text_of(dropped).index("Table In both") :]
        == text[text.index("Table In both") :]
    )
    for bad in ([("../out", b"x")], [("a/b", b"x")]):
        zipped = a_zip(package.folder.parent.parent / "bad.zip", *bad).read_bytes()
        to = sitting.act("/record/holl/merge/drop", files={"copy": ("bad.zip", zipped)})
        running = sitting.desk.jobs[to.headers["HX-Redirect"].removeprefix("/work/")]
        running.thread.join(60)
        assert "bad.zip" in running.problem
    chosen = re.search(r'name="with" value="([^"]+)"', dropped)
    assert chosen
    to = sitting.act("/record/holl/merge/do", {"with": chosen[1]}).headers["HX-Redirect"]
    running = sitting.desk.jobs[to.removeprefix("/work/")]
    running.thread.join(60)
    assert running.done, running.problem
    assert running.done.to == "/record/holl/settle"
    sitting.desk.close()
    refuse_to_differ(package.folder, expected.folder)
    assert {p: p.read_bytes() for p in other.folder.rglob("*") if p.is_file()} == before
