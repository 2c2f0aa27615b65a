"""What pages send to the laboratory and bring back is what the commands do."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import yaml
from click.testing import CliRunner

from provenance._api.decisions import findings_named
from provenance._base.errors import TreenailError
from provenance._cli import custody, laboratory
from provenance._history.deciding import accept, correct, decide
from provenance._identity.payload import compose_inside
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._lab.reconcile import NO_RESULT, reconcile_results
from provenance._lab.results import import_results
from provenance._ledger.custody import seal_typed
from provenance._ledger.handover import record_events
from provenance._record.package import Package, open_package
from tests.builders import a_package
from tests.desk.sitting import Sitting, text_of
from tests.lab.test_results import HEAD, MAPPING

NO_BOX = compose_inside("HOLL", "BOX-9")
WHEN = "2024-07-15T10:00:00Z"
TO_LABORATORY = {
    "samples": "231",
    "scanned": "232\n233\n232",
    "to": "LAB",
    "day": "2024-06-15",
    "due": "2024-12-01",
    "questions": "When was it felled?",
    "seal": "417",
    "by": "MB",
}


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Package:
    """231 to 233 with MB, 234 with the owner; a copy for the commands beside it."""
    builder = a_package(tmp_path / "desk").with_chain()
    for number in ("232", "233", "234"):
        builder.with_row("sample", sample_id=number)
    package = builder.package
    for sample, holder in (("231", "MB"), ("232", "MB"), ("233", "MB"), ("234", "OWN")):
        record_events(
            package,
            "collected",
            [sample],
            happened_on="2024-06-04",
            recorded_on="2024-06-04",
            to_party_id=holder,
        )
    shutil.copytree(package.folder, tmp_path / "command" / "holl")
    for module in ("_desk.laboratory.parcels", "_desk.laboratory.custody", "_history.history"):
        monkeypatch.setattr(f"provenance.{module}.moment_text", lambda moment=None: WHEN)
    return package


@pytest.fixture
def sitting(package: Package) -> Sitting:
    return Sitting(package.folder.parent)


def by_command(command: Any, tmp_path: Path, *arguments: object) -> Any:
    folder = tmp_path / "command" / "holl"
    return CliRunner().invoke(command, [str(folder), *map(str, arguments)])


def alike(package: Package, tmp_path: Path, *tables: str) -> None:
    """The tables of the desk's record are those of the commands' record, byte for byte."""
    other = open_package(tmp_path / "command" / "holl")
    for table in tables:
        assert package.table_path(table).read_bytes() == other.table_path(table).read_bytes()


def sent(sitting: Sitting, tmp_path: Path) -> None:
    """A parcel of three that arrived with 232 broken, by pages and by commands."""
    sitting.do("/record/holl/parcels", TO_LABORATORY)
    (tmp_path / "scans.txt").write_text("231\n232\n233\n232\n")
    options = ("--to", "LAB", "--on", "2024-06-15", "--due", "2024-12-01", "--seal", "417")
    done = by_command(
        laboratory.consign,
        tmp_path,
        *("--scanned", tmp_path / "scans.txt", "--questions", "When was it felled?"),
        *(*options, "--by", "MB", "--out", tmp_path / "papers"),
    )
    assert done.exit_code == 0, done.output
    handed = {"event": "handed_over", "parcel": "C-2024-1", "day": "2024-06-16", "to": "LAB"}
    sitting.do("/record/holl/custody", {**handed, "back": "parcel"})
    parcel = ("--consignment", "C-2024-1")
    by_command(
        custody.handover, tmp_path, "handed_over", *parcel, "--on", "2024-06-16", "--to", "LAB"
    )
    arrived = {"event": "received", "parcel": "C-2024-1", "day": "2024-06-20", "place": "Tray 4"}
    sitting.do("/record/holl/custody", {**arrived, "state:232": "broken"})
    broken = ("--on", "2024-06-20", "--state", "232=broken", "--place", "Tray 4")
    done = by_command(custody.handover, tmp_path, "received", *parcel, *broken)
    assert done.exit_code == 0, done.output


def test_a_parcel_made_and_followed_by_pages_is_the_one_of_the_commands(
    package: Package, sitting: Sitting, tmp_path: Path
) -> None:
    look = sitting.act("/record/holl/parcels/look", {"scanned": "231\n234"}).text
    assert "one sender, and these are with several: MB (1), OWN (1)" in text_of(look)
    said = text_of(sitting.do("/record/holl/parcels", TO_LABORATORY))
    assert "232 was scanned 2 times, on lines 1, 3; it counts once" in said
    assert "When it leaves" in said
    shutil.rmtree(package.folder)
    shutil.copytree(tmp_path / "command" / "holl", package.folder)
    sent(sitting, tmp_path)
    alike(package, tmp_path, "consignment", "custody", "change")
    look = text_of(sitting.act("/record/holl/parcels/look", {"samples": "231"}).text)
    assert "LAB, Tray 4, parcel C-2024-1" in look
    listed = text_of(sitting.page("/record/holl/parcels"))
    assert re.search(r"C-2024-1 .+ 2024-06-15 2024-06-16 2024-12-01 2024-06-20 3 \d+ days", listed)
    broken = text_of(sitting.page("/record/holl/custody/232"))
    assert "Received 2024-06-20" in broken
    then = text_of(sitting.page("/record/holl/custody?as_of=2024-06-14&find=232"))
    assert "232 MB 2024-06-04" in then
    assert "Broken" in broken
    papers = sitting.client.get("/record/holl/parcels/C-2024-1/papers").text
    links = dict(re.findall(r'href="(/made/[^"]+)" download="([^"]+)"', papers))
    made = {name: sitting.client.get(to).content for to, name in links.items()}
    assert set(made) == {"parcel-C-2024-1.pdf", "C-2024-1-list.csv", "C-2024-1-results.xlsx"}
    for name in ("C-2024-1-list.csv", "C-2024-1-results.xlsx"):
        assert made[name] == (tmp_path / "papers" / name).read_bytes()


def test_what_cannot_be_is_refused_in_the_words_of_the_commands(
    package: Package, sitting: Sitting, tmp_path: Path
) -> None:
    sent(sitting, tmp_path)
    before = {path: path.read_bytes() for path in sorted(package.folder.rglob("*.csv"))}
    to = ("--to", "LAB", "--on", "2024-06-21")
    cases: list[tuple[str, dict[str, str], Any, tuple[object, ...]]] = [
        ("parcels", {"samples": "231,234"}, laboratory.consign, ("--samples", "231,234", *to)),
        ("parcels", {"samples": "999"}, laboratory.consign, ("--samples", "999", *to)),
        (
            "custody",
            {"event": "received", "samples": "234"},
            custody.handover,
            ("received", "--samples", "234", "--on", "2024-06-21"),
        ),
        (
            "custody",
            {"event": "stored", "samples": "231", "place": NO_BOX},
            custody.handover,
            ("stored", "--samples", "231", "--place", NO_BOX, "--on", "2024-06-21"),
        ),
    ]
    for page, form, command, arguments in cases:
        refused = by_command(command, tmp_path, *arguments).exception
        assert isinstance(refused, TreenailError), form
        asked = {"to": "LAB"} if page == "parcels" else {}
        told = sitting.refused(f"/record/holl/{page}", {**asked, "day": "2024-06-21", **form})
        assert " ".join(str(refused).split()) in told, form
    told = sitting.refused("/record/holl/parcels", {"to": "LAB", "scanned": "231\nHOLL-231-XX"})
    assert "line 2:" in told
    assert {path: path.read_bytes() for path in sorted(package.folder.rglob("*.csv"))} == before


def test_results_come_in_as_they_were_shown_and_as_by_the_command(
    package: Package, sitting: Sitting, tmp_path: Path
) -> None:
    sent(sitting, tmp_path)
    form = tmp_path / "C-2024-1-results.xlsx"
    shutil.copy(tmp_path / "papers" / form.name, form)
    book = openpyxl.load_workbook(form)
    sheet = book["Laboratory results"]
    names = [one.name for one in package.model.table("lab_result").form_fields()]
    for row, (notation, rings) in {3: ("1702p - 1781B", 80), 4: ("1702 - 1781Q", 78)}.items():
        sheet.cell(row, names.index("notation") + 1, notation)
        sheet.cell(row, names.index("ring_count") + 1, rings)
        sheet.cell(row, names.index("reported_on") + 1, "2024-12-01")
    sheet.delete_rows(5)
    book.save(form)
    dropped = [("files", (form.name, form.read_bytes()))]
    page = sitting.do("/record/holl/results", {"parcel": "C-2024-1"}, files=dropped)
    said = text_of(page)
    assert "The innermost ring grew in 1702" in said
    assert "The dates of sample 232 cannot be read" in said
    shown = by_command(laboratory.import_, tmp_path, form, "--dry-run")
    assert "231: The innermost ring grew in 1702" in shown.output
    alike(package, tmp_path, "lab_result")
    keys = re.search(r'name="files" value="([^"]+)"', page)
    assert keys
    back = sitting.do("/record/holl/results/take", {"files": keys[1], "parcel": "C-2024-1"})
    assert "2 new results." in text_of(back)
    assert "Sample 233 was sent, and there is no result for it." in text_of(back)
    by_command(laboratory.import_, tmp_path, form)
    alike(package, tmp_path, "lab_result")
    assert len(package.tables.rows("lab_result")) == 2


def test_a_table_of_the_laboratorys_own_needs_its_mapping(
    package: Package, sitting: Sitting, tmp_path: Path
) -> None:
    table = ("lab.csv", f"{HEAD}A1,231,1702p - 1781rB,80,PIPO,2025-02-01,x\n".encode())
    said = sitting.do("/record/holl/results", {}, files=[("files", table)])
    assert "lab.csv: this is not a form of this program" in text_of(said)
    mapping = ("mapping.yaml", yaml.safe_dump(MAPPING).encode())
    page = sitting.do("/record/holl/results", {}, files=[("files", table), ("files", mapping)])
    assert "1 new result; 5 cells are filled from the date notation" in text_of(page)
    keys = re.search(r'name="files" value="([^"]+)"', page)
    assert keys
    sitting.do("/record/holl/results/take", {"files": keys[1]})
    for name, content in (table, mapping):
        (tmp_path / name).write_bytes(content)
    arguments = (tmp_path / "lab.csv", "--mapping", tmp_path / "mapping.yaml")
    by_command(laboratory.import_, tmp_path, *arguments)
    alike(package, tmp_path, "lab_result")


def test_points_are_worked_off_with_name_and_reason_as_by_the_commands(
    package: Package, sitting: Sitting, tmp_path: Path
) -> None:
    sent(sitting, tmp_path)
    table = tmp_path / "lab.csv"
    table.write_text(f"{HEAD}A1,231,1702 - 1781B,80,QUSP,2025-02-01,\n")
    (tmp_path / "mapping.yaml").write_text(yaml.safe_dump(MAPPING))
    other = open_package(tmp_path / "command" / "holl")
    mapping = read_mapping(tmp_path / "mapping.yaml", package.model)
    for one in (package, other):
        import_results(one, [table], mapping)
    page = sitting.page("/record/holl/reconcile?parcel=C-2024-1")
    assert "Sample 232 was sent, and there is no result for it." in text_of(page)
    assert "2024-06-20 Received, C-2024-1, MB → LAB, Broken" in text_of(page)
    point = {"parcel": "C-2024-1", "rule": NO_RESULT, "table": "sample", "key": "232"}
    why = {"why": "it fell apart", "who": "Mara Birkwood"}
    assert "Reason is blank" in sitting.refused("/record/holl/reconcile/accept", point)
    said = text_of(sitting.do("/record/holl/reconcile/accept", {**point, **why}))
    assert "Left as it is" in said
    assert "it fell apart Mara Birkwood" in said
    refused = sitting.refused("/record/holl/reconcile/accept", {**point, **why})
    assert "changed meanwhile" in refused
    decide(
        other,
        accept(findings_named(other, NO_RESULT, "sample", "232")),
        who="Mara Birkwood",
        why="it fell apart",
    )
    cell = {"table": "sample", "key": "231", "field": "length_mm", "value": "4 1/2 in"}
    said = sitting.do("/record/holl/reconcile/correct", {**cell, "why": "tape misread"})
    assert "114.3" in text_of(said)
    length = ({"length_mm": "114.3"}, {"length_mm": "4 1/2 in"})
    decide(other, correct("sample", "231", *length), who="MB", why="tape misread")
    told = sitting.refused("/record/holl/reconcile/correct", {**cell, "value": "long", **why})
    assert '"long" is not a size' in told
    alike(package, tmp_path, "sample", "lab_result")
    for one in (package, other):
        points = reconcile_results(one, "C-2024-1").findings
        assert [f.key for f in points if f.rule == NO_RESULT] == ["233"]
    said_so = [
        [{**row, "when": "", "act_id": ""} for row in one.tables.rows("accepted")]
        for one in (package, other)
    ]
    assert said_so[0] == said_so[1] != []


def test_events_typed_into_the_table_are_sealed_as_by_the_command(tmp_path: Path) -> None:
    package = a_package(tmp_path / "desk").with_chain().with_row("custody").package
    shutil.copytree(package.folder, tmp_path / "command" / "holl")
    sitting = Sitting(package.folder.parent)
    assert "Seal the events" in text_of(sitting.page("/record/holl/custody"))
    said = text_of(sitting.do("/record/holl/custody/seal"))
    assert "1 event is sealed now." in said
    assert "The ledger fits together: 1 event, 0 signed." in said
    seal_typed(open_package(tmp_path / "command" / "holl"))
    alike(package, tmp_path, "custody")
