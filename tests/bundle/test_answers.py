"""What is told from a bundle bears the verdict over it; a damaged one tells nothing unasked."""

from __future__ import annotations

import json
import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

import provenance
from provenance._bag.verdict import Verdict
from provenance._base.errors import TreenailError, UnusableInput
from provenance._bundle import answering
from provenance._bundle.answering import judged_to_answer
from provenance._bundle.describe.editions import EDITIONS
from provenance._catalogue import plugs
from provenance._checks.check import check_package
from provenance._cli import COMMANDS, command_named, treenail
from provenance._ledger.custody import append_events
from provenance._record.origin import read_origin
from provenance._record.package import open_package
from tests.builders import pack_bundle
from tests.bundle.conftest import LEDGER
from tests.survey.test_plan import a_house

NOT_ANCHORED = "not anchored: every file is as it was packed"
DAMAGED = "tables/plug.csv is not what was packed"
Change = Callable[[str, bytes], bytes]


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


def rewritten(source: Path, target: Path, change: Change) -> Path:
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        for member in old.infolist():
            new.writestr(member, change(member.filename, old.read(member)))
    return target


def another_stamp(name: str, content: bytes) -> bytes:
    """Another hole is said to have that stamp; sizes stay."""
    return (
        content.replace(b",231,231,", b",231,281,") if name.endswith("tables/plug.csv") else content
    )


def another_pixel(name: str, content: bytes) -> bytes:
    return content[:-1] + b"?" if name.endswith(".png") else content


@pytest.fixture
def tampered(zip_bundle: Path, tmp_path: Path) -> Path:
    return rewritten(zip_bundle, tmp_path / "tampered.zip", another_stamp)


def refused(result: Result) -> bool:
    error = result.exception
    return isinstance(error, UnusableInput) and error.exit_code == 2 and DAMAGED in str(error)


def test_every_command_refuses_a_tampered_zip_unless_it_is_asked_for(
    pristine: Path, tampered: Path, tmp_path: Path
) -> None:
    """With the exit code 2 and a sentence that names the file."""
    asked: dict[str, tuple[object, ...]] = {
        "locate": ("locate", tampered, "281"),
        "compare": ("compare", pristine / "bundle.zip", tampered),
        "unpack": ("unpack", tampered, "--out", tmp_path / "out"),
        "relocate": ("print", "relocation", tampered, "231", "--out", tmp_path / "sheets"),
    }
    for name, words in asked.items():
        result = run(*words)
        assert refused(result), (name, result.output, result.exception)
        again = run(*words, "--even-if-damaged")
        said = again.output + str(again.exception or "")
        if name == "relocate":  # nothing of this record has coordinates
            assert not refused(again)
        else:
            assert "DAMAGED: data/" in said, name
            assert DAMAGED in said, name


def test_the_catalogue_takes_in_no_table_that_is_not_what_was_packed(
    pristine: Path, tampered: Path, tmp_path: Path
) -> None:
    index = ("--index", tmp_path / "c.sqlite")
    for command in (("locate", tampered, "281"), ("catalogue", tampered, "--stamp", "281")):
        result = run(*command, *index)
        assert DAMAGED in result.output
        assert "281" not in result.stdout.replace("'281' among 0", "")


def test_what_the_audit_found_damaged_answers_no_more(zip_bundle: Path, tmp_path: Path) -> None:
    """A picture alone is damaged, so that the catalogue has read the record."""
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    rewritten(zip_bundle, shelf / "b.zip", another_pixel)
    index = ("--index", tmp_path / "c.sqlite")
    before = run("catalogue", shelf, *index, "--format", "json", "--of", "samples")
    assert [row["verdict"] for row in json.loads(before.stdout)] == ["not verified"]
    assert "1 bundle not verified: names and sizes only were compared" in before.stderr
    located = run("locate", shelf, "231", *index)
    assert "not verified: names and sizes only" in located.stdout
    audited = json.loads(run("audit", shelf, *index, "--format", "json").stdout)
    assert [one["verdict"] for one in audited["bundles"]] == ["damaged"]
    after = run("catalogue", shelf, *index, "--format", "json", "--of", "samples")
    assert json.loads(after.stdout) == []
    assert "left out, damaged at the last audit" in after.stderr
    nothing = run("locate", shelf, "231", *index)
    assert (nothing.exit_code, "not asked" in nothing.stderr) == (1, True)
    for words in (("catalogue", "--of", "samples", "--format", "json"), ("locate", "231")):
        command, *rest = words
        asked = run(command, shelf, *rest, *index, "--even-if-damaged")
        assert "231" in asked.stdout
        assert "damaged" in asked.stdout
    listed = run("catalogue", shelf, *index, "--format", "json", "--of", "bundles")
    assert [row["verdict"] for row in json.loads(listed.stdout)] == ["damaged"]


def test_every_answer_from_a_whole_bundle_says_that_its_ledger_is_not_anchored(
    pristine: Path, zip_bundle: Path, tmp_path: Path
) -> None:
    located = run("locate", zip_bundle, "231")
    compared = run("compare", pristine / "bundle", zip_bundle)
    unpacked = run("unpack", zip_bundle, "--out", tmp_path / "out")
    for result, count in ((located, 1), (compared, 2), (unpacked, 1)):
        assert (result.exit_code, result.stdout.count(NOT_ANCHORED)) == (0, count), result.output
    for command in (("locate", pristine / "holl", "231"), ("compare", *[pristine / "holl"] * 2)):
        assert "anchored" not in run(*command).output  # a package is no bundle
    found = json.loads(run("locate", zip_bundle, "231", "--format", "json").stdout)
    assert found["candidates"][0]["verdict"].startswith(NOT_ANCHORED)
    both = json.loads(run("compare", zip_bundle, zip_bundle, "--format", "json").stdout)
    assert all(both[side]["verdict"].startswith(NOT_ANCHORED) for side in ("old", "new"))
    page = run("compare", zip_bundle, zip_bundle, "--format", "html").stdout
    assert page.count(NOT_ANCHORED) == 2


NEVER_CHANGED = re.compile(
    r"never (be )?changed.*.treenail unpack. makes a package of it", re.DOTALL
)
READS = {
    "print labels": [()],
    "print tags": [(), ("--consignment", "C-1")],
    "print cards": [()],
    "print sheets": [("--sheet", "sample")],
    "print workbook": [()],
    "settings": [()],
    "print phone": [()],
    "day": [()],
    "history": [(), ("sample", "231")],
    "custody show": [(), ("231",), ("--overdue",), ("--format", "csv")],
    "custody keys": [()],
    "custody consign": [("--again", "C-1")],
    "results reconcile": [()],
    "survey compute": [(), ("--residuals",)],
    "print plan": [(), ("--format", "gpkg")],
    "derive": [()],
    "print relocation": [("231",)],
}
"""Command → arguments behind PACKAGE with which it only reads."""
WRITES = {
    "stamps": [("1", "--crew", "north")],
    "settings": [("--units", "feet-inches"), ("--doi", "10.5072/hr-1")],
    "print workbook": [("--filled", "--out", "OUT/filled.xlsx")],
    "import": [(__file__,)],
    "attach": [(__file__,)],
    "survey trace": [(__file__,), (__file__, "--points", __file__)],
    "change correct": [("sample", "231", "pieces=2", "--why", "x")],
    "change add": [("sample", "sample_id=299", "--why", "x")],
    "change settle": [("sample", "231", "pieces", "2", "--why", "x")],
    "change rename": [("sample", "231", "299", "--why", "x")],
    "change remove": [("sample", "231", "--why", "x")],
    "change split": [("sample", "231", "299", "--source", "IN-1", "--why", "x")],
    "change join": [("sample", "231", "232", "--why", "x")],
    "change accept": [("x", "sample", "231", "--why", "x")],
    "change undo": [("last", "--why", "x")],
    "merge": [("BUNDLE",)],
    "custody handover": [("stored", "--samples", "231")],
    "custody keys": [("--new", "OUT/key.pem", "--party", "MB")],
    "custody show": [("--seal",)],
    "custody consign": [("--samples", "231", "--to", "LAB")],
    "results import": [(__file__,)],
    "review": [()],
    "pack": [(), ("--edition", "public")],
}
"""Command → arguments behind PACKAGE with which it would change what is there."""


def test_every_command_reads_a_bundle_or_says_that_it_is_never_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    house = a_house(tmp_path).with_row("consignment").with_row("lab_result").package
    append_events(house, LEDGER)
    shelf = tmp_path / "shelf"
    bundles = [
        pack_bundle(house, shelf / "house"),
        pack_bundle(house, shelf / "house.zip", zipped=True),
    ]
    verdicts = {}

    def judged_once(place: Path, *others: Any) -> Verdict:
        if place not in verdicts:
            verdicts[place] = judged_to_answer(place, *others)
        return verdicts[place]

    monkeypatch.setattr(answering, "judged_to_answer", judged_once)
    before = _bytes_below(shelf)
    for name in COMMANDS:
        takes = "package" in {one.name for one in command_named(name).params}
        assert takes == (name in READS or name in WRITES), name
        for number, bundle in enumerate(bundles):
            for words in READS.get(name, [])[: None if number else 1]:
                out = tmp_path / f"{name}-{number}{''.join(words)}"
                out.mkdir()
                monkeypatch.chdir(out)
                said = run(*name.split(), bundle, *words)
                assert said.exception is None or isinstance(said.exception, SystemExit), said
                assert said.exit_code in (0, 1), (name, said.output)
                told = said.stderr if "csv" in words else said.stdout
                assert told.splitlines()[-1].startswith("faulty: every file"), (name, said.output)
            for words in WRITES.get(name, ()):
                places = [bundle / "data", bundle] if bundle.is_dir() else [bundle]
                for place in places:
                    meant = [
                        one.replace("BUNDLE", str(bundle)).replace("OUT", str(tmp_path))
                        for one in words
                    ]
                    error = run(*name.split(), place, *meant).exception
                    assert isinstance(error, TreenailError), (name, place, error)
                    assert error.exit_code == 2
                    assert NEVER_CHANGED.search(str(error)), (name, place, error)
    for bundle in bundles:
        checked = run("check", bundle)
        assert checked.exit_code == 1
        assert checked.stderr.startswith("faulty: every file is as it was packed")
    monkeypatch.chdir(bundles[0])
    for words in (
        ("print", "plan", "."),
        ("derive",),
        ("print", "cards", bundles[0], "--out", "cards.pdf"),
    ):
        inside = run(*words)
        assert inside.exit_code == 2, inside.output
        assert "say with --out where else" in inside.output
    assert run("survey", "compute").exit_code == 0  # only shows
    assert NEVER_CHANGED.search(str(run("change", "finish", bundles[0]).exception))
    assert _bytes_below(shelf) == before
    assert (tmp_path / "derive-1" / "holl-figures" / "span.csv").is_file()
    assert not (tmp_path / "key.pem").exists()
    assert (
        "it has faults" not in run("custody", "show", house.folder).output
    )  # a package is no bundle


def _bytes_below(folder: Path) -> dict[str, bytes]:
    return {str(one): one.read_bytes() for one in folder.rglob("*") if one.is_file()}


def test_the_positions_of_a_bundle_are_computed_and_written_where_one_says(
    tmp_path: Path,
) -> None:
    """As in the package, from the full edition and on each building's own grid from the public."""
    house = a_house(tmp_path).package
    for edition in EDITIONS.values():
        bundle = pack_bundle(house, tmp_path / f"{edition.name}.zip", zipped=True, edition=edition)
        out = tmp_path / f"{edition.name}.csv"
        said = run("survey", "compute", bundle, "--out", out)
        assert said.exit_code == 0, said.output
        assert ("This is a public edition" in said.stderr) == edition.is_public
        assert pd.read_csv(out)["found_by"].value_counts()["recorded"] == 8
        mapped = run(
            "print", "plan", bundle, "--format", "geojson", "--out", tmp_path / "m.geojson"
        )
        # a sentence names the bundle, never the folder that it was unpacked to
        assert f"{bundle}/data/tables/site.csv: GeoJSON needs" in str(mapped.exception)
    before = (house.folder / "tables" / "position.csv").read_bytes()
    run("survey", "compute", house.folder, "--out", tmp_path / "package.csv")
    assert (house.folder / "tables" / "position.csv").read_bytes() == before
    assert (tmp_path / "package.csv").read_bytes() == (tmp_path / "full.csv").read_bytes()


def test_paper_from_a_bundle_bears_the_verdict(tmp_path: Path) -> None:
    bundle = pack_bundle(a_house(tmp_path).package, tmp_path / "house.zip", zipped=True)
    damaged = rewritten(bundle, tmp_path / "damaged.zip", another_stamp)
    for path, options, said in (
        (bundle, (), "faulty: every file is as it was packed"),
        (damaged, ("--even-if-damaged",), "DAMAGED: data/"),
    ):
        out = tmp_path / path.stem
        for words, paper, before in (
            (
                ("print", "relocation", path, "231", "--out", out),
                "relocation-231.pdf",
                "of the record. ",
            ),
            (("print", "plan", path, "--out", out), "plan-B1.pdf", "of the record, "),
            (("print", "plan", path, "--out", out), "strips-B1.pdf", "of the record, "),
            (("print", "cards", path, "--out", out / "cards.pdf"), "cards.pdf", ""),
        ):
            result = run(*words, *options)
            assert result.exit_code == 0, result.exception
            assert said in result.stdout
            page = " ".join(PdfReader(out / paper).pages[0].extract_text().split())
            if paper != "cards.pdf" or path == damaged:
                assert f"{before}{said}".casefold() in page.casefold(), page


def test_of_a_large_bundle_it_is_said_that_it_was_not_verified(
    zip_bundle: Path, tampered: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The tables that an answer is made of are held against their checksums all the same."""
    for module in (answering, plugs):
        monkeypatch.setattr(module, "ORDINARY_BYTES", 0)
    picture = rewritten(zip_bundle, tmp_path / "picture.zip", another_pixel)
    said = "not verified: names and sizes only were compared"
    assert said in run("locate", picture, "231").stdout
    assert said in run("compare", picture, zip_bundle).stdout
    for command in (("locate", tampered, "281"), ("compare", zip_bundle, tampered)):
        assert refused(run(*command)), command


def test_what_is_left_of_a_damaged_bundle_is_unpacked_and_marked_for_good(
    zip_bundle: Path, tmp_path: Path
) -> None:
    damaged = rewritten(zip_bundle, tmp_path / "b.zip", another_pixel)
    result = run("unpack", damaged, "--out", tmp_path / "out", "--even-if-damaged")
    assert "DAMAGED: data/files/photo-001.png is not what was packed" in result.stdout
    origin = read_origin(tmp_path / "out")
    assert origin is not None
    assert any("photo-001.png" in one for one in origin.damaged)
    report = check_package(open_package(tmp_path / "out"))
    marks = [one for one in report if one.rule == "lineage.from_damaged_bundle"]
    assert marks
    assert "photo-001.png is not what was packed" in marks[0].message
    packed = pack_bundle(open_package(tmp_path / "out"), tmp_path / "again")
    assert "from_damaged_bundle" in (packed / "data" / "check" / "report.json").read_text("utf-8")


def test_nothing_is_unpacked_from_a_bundle_whose_record_cannot_be_read(bundle: Path) -> None:
    for name in ("data/bundle.json", "data/tables/plug.csv"):
        copy = Path(shutil.copytree(bundle, bundle.parent / f"{Path(name).stem}-copy"))
        (copy / name).write_bytes(b"{\0")
        for options in ((), ("--even-if-damaged",)):
            result = run("unpack", copy, "--out", bundle.parent / "out", *options)
            assert isinstance(result.exception, UnusableInput), (name, result.output)
            assert not (bundle.parent / "out").exists()


def test_the_names_for_other_programs_bear_the_verdict_too(
    pristine: Path, zip_bundle: Path, tampered: Path
) -> None:
    with provenance.open(zip_bundle) as record:
        assert record.verdict.startswith(NOT_ANCHORED)
        found = provenance.locate("231", record)
        assert [one[: len(NOT_ANCHORED)] for one in found.verdicts.values()] == [NOT_ANCHORED]
    assert provenance.open(pristine / "holl").verdict == ""
    assert provenance.locate("231", pristine / "holl").verdicts == {}
    for ask in (
        lambda: provenance.open(tampered),
        lambda: provenance.locate("281", tampered),
        lambda: provenance.compare(zip_bundle, tampered),
    ):
        with pytest.raises(provenance.UnusableInput, match="it is damaged"):
            ask()
    (said,) = provenance.locate("281", tampered, even_if_damaged=True).verdicts.values()
    assert said.startswith("DAMAGED: data/")
    with provenance.open(tampered, even_if_damaged=True) as record:
        assert record.verdict.startswith("DAMAGED: data/")
        assert record.table("plug")["stamp"].to_list() == ["281"]
    found = provenance.compare(zip_bundle, tampered, even_if_damaged=True)
    assert found.verdicts[0].startswith(NOT_ANCHORED)
    assert found.verdicts[1].startswith("DAMAGED")
    assert found.frame["what"].to_list()[0] == "damaged"


def test_whoever_asks_the_payload_of_a_bag_asks_the_bag(bundle: Path, tmp_path: Path) -> None:
    (bundle / "data" / "files" / "photo-001.png").write_bytes(b"x")
    for words in (
        ("locate", bundle / "data", "231"),
        ("compare", bundle / "data", bundle / "data"),
        ("print", "relocation", bundle / "data", "231", "--out", tmp_path / "sheets"),
        ("catalogue", bundle / "data", "--index", tmp_path / "c.sqlite", "--of", "samples"),
    ):
        result = run(*words)
        said = f"{result.output} {result.exception}"
        assert "it is damaged" in said or "not verified" in said, words
    with pytest.raises(provenance.UnusableInput, match="it is damaged"):
        provenance.open(bundle / "data")
