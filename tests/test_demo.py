"""The demonstration runs the whole way, and the check finds what was planted and nothing else."""

from __future__ import annotations

import doctest
import json
import os
import shlex
import shutil
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
import yaml
from click.testing import CliRunner, Result

from provenance._base.errors import AlreadyThere
from provenance._base.resources import shipped
from provenance._bundle.deposit.datacite_xml import datacite_xml
from provenance._cli import COMMANDS, command_named, treenail
from provenance._demo import DemoResult, run_demo
from provenance._demo.faulted import compare_with_plan
from provenance._record.package import open_package
from tests.bundle.deposit.test_datacite_xml import agrees


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> DemoResult:
    """One run for all tests, which must leave it as it is."""
    return run_demo(tmp_path_factory.mktemp("demo") / "out")


def test_the_demo_goes_as_planned(demo):
    assert demo.surprises == ()
    assert demo.as_planned


def test_every_output_that_the_demo_names_is_there(demo):
    named = [path for step in demo.steps for path in step.paths]
    assert [path for path in named if not path.exists()] == []
    assert len(named) >= 12


def test_the_record_has_the_numbers_of_the_story(demo):
    package = open_package(demo.folder / "hollin-reach")
    rows = {name: len(package.table(name)) for name in package.model.tables}
    expected = {
        "site": 1,
        "party": 9,
        "place": 26,
        "datum": 12,
        "tie": 250,
        "element": 120,
        "agreement": 1,
        # one of them is a hole that gave nothing
        "sample": 46,
        "plug": 41,
        "consignment": 1,
        "custody": 323,
        "lab_result": 42,
        "file": 58,
        "episode": 9,
        "relation": 8,
        "assumption": 18,
        "unread": 0,
    }
    assert {name: rows[name] for name in expected} == expected


def test_the_demonstration_is_cited_in_the_xml_of_the_reference_library(demo):
    """datacite (PyPI) and the published schema, see tests/bundle/deposit."""
    for name in ("hollin-reach-bundle", "hollin-reach-public"):
        data = demo.folder / name / "data"
        record = json.loads((data / "datacite.json").read_text("utf-8"))
        agrees(record)
        assert (data / "datacite.xml").read_text("utf-8") == datacite_xml(record)


def test_feet_centimetres_and_words_of_both_crews_come_out_alike(demo):
    """24' 1 3/4" is 7.35965 m and 11 3/8 in is 28.8925 cm (1 in = 25.4 mm exactly, 1959)."""
    elements = open_package(demo.folder / "hollin-reach").table("element").set_index("element_id")
    log, beam = elements.loc["LH-002"], elements.loc["RB-W07"]
    assert (log["length_m"], log["diameter_a1_cm"]) == ("7.35965", "28.8925")
    assert (log["function"], log["outer_surface"], log["recorded_on"]) == (
        "wall_log",
        "bark",
        "2023-06-05",
    )
    assert (beam["length_m"], beam["function"], beam["reused"]) == ("3.38", "main_beam", "yes")
    assert beam["species_field"] == "PIPO"


def test_what_was_imported_is_what_the_story_says(demo):
    """Field by field against the scenario itself, within what an inch rule resolves."""
    package = open_package(demo.folder / "hollin-reach")
    samples = package.typed("sample").set_index("sample_id")
    for truth in _invention("specimens").all_specimens():
        row = samples.loc[truth.sample_id]
        assert row["element_id"] == truth.wood.element_id
        assert row["kind"] == truth.kind
        assert float(row["length_mm"]) == pytest.approx(truth.length_mm, abs=25.4 / 16 + 0.01)
        assert float(row["along_m"]) == pytest.approx(truth.along_m, abs=0.0254 / 8 + 1e-4)
        assert row["collected_on"] == truth.collected_on
        assert row["outer_surface"] == truth.surface
        if truth.is_core:
            assert float(row["bore_mm"]) == truth.bore_mm
            assert float(row["clock"]) == truth.clock


def test_a_revision_stands_beside_what_it_supersedes(demo):
    results = open_package(demo.folder / "hollin-reach").table("lab_result")
    of_one = results[results["sample_id"] == "306"].set_index("result_id")
    assert list(of_one["outer_year"]) == ["1679", "1685"]
    assert of_one.iloc[1]["supersedes_result_id"] == of_one.index[0]


def test_undated_samples_have_their_reasons(demo):
    results = open_package(demo.folder / "hollin-reach").table("lab_result")
    undated = results[results["outcome"] == "undated"]
    assert Counter(undated["undated_reason"]) == {
        "complacent": 1,
        "broken": 1,
        "too_few_rings": 1,
        "species": 1,
        "no_reference": 1,
    }


def test_no_fault_is_planted_without_a_word_of_where_and_what(demo):
    faults = _planted(demo)
    assert len(faults) >= 12
    for fault in faults:
        assert fault["was"] != fault["is"]
        assert (demo.folder / "papers" / "faulted" / "field" / fault["file"]).is_file() or (
            demo.folder / "papers" / "faulted" / "laboratory" / fault["file"]
        ).is_file()


def test_a_fault_that_no_rule_named_would_be_missed_aloud(demo):
    """The comparison itself can fail: without its finding, the fault is reported as not named."""
    from provenance._checks.check import check_package

    report = check_package(open_package(demo.folder / "hollin-reach-faulted"))
    assert compare_with_plan(_planted(demo), report) == ([], [])

    blind = report.found.filter(pl.col("rule") != "plug.stamp_is_not_its_sample")
    missed, unplanned = compare_with_plan(_planted(demo), replace(report, found=blind))
    assert [one for one in missed if "plug.stamp_is_not_its_sample" in one]
    assert unplanned == []

    missed, unplanned = compare_with_plan(_planted(demo)[1:], report)
    assert missed == []
    assert [one for one in unplanned if one.startswith("sample.longer_than_wood")]


def test_the_commands_that_the_demo_shows_do_what_it_did(demo, tmp_path, monkeypatch):
    """Typed in a folder that holds nothing but the papers, they give the same tables.

    What takes long and leaves those tables as they are, whose commands have tests of their own, is
    only read as a command is; those that come after it find what the demonstration made.
    """
    shutil.copytree(demo.folder / "papers", tmp_path / "papers")
    monkeypatch.chdir(tmp_path)
    for step in demo.steps[1:-1]:
        if step.title in _LEFT_BEHIND:
            for command in step.commands:
                _, *words = shlex.split(command)
                name = " ".join(words[:2])
                name = name if name in COMMANDS else words[0]
                command_named(name).make_context(name, words[len(name.split()) :])
            for name in _LEFT_BEHIND[step.title]:
                made = demo.folder / name
                (shutil.copytree if made.is_dir() else shutil.copyfile)(made, tmp_path / name)
            continue
        for command in step.commands:
            told = _type(command)
            # the misread tape, the lost core, what the deposit added, and the two cores of one
            # number are meant to be found
            found = step.title in ("Positions", "Reconcile", "Compare")
            expected = int(found or " merge " in command or command.endswith(" --open"))
            assert told.exit_code == expected, f"{command}\n{told.output}"
    typed, shown = (
        open_package(tmp_path / "hollin-reach"),
        open_package(demo.folder / "hollin-reach"),
    )
    for name in ("element", "sample", "plug", "custody", "lab_result", "file", "position", "span"):
        assert typed.table_path(name).read_bytes() == shown.table_path(name).read_bytes()


def test_every_block_of_the_worked_example_shows_what_it_says(demo, tmp_path, monkeypatch):
    """On a copy, for an example may write; what the page asks of is what the demonstration left."""
    for name in ("papers", "hollin-reach"):
        shutil.copytree(demo.folder / name, tmp_path / name)
    shutil.copy2(demo.folder / "hollin-reach-bundle.zip", tmp_path)
    monkeypatch.chdir(tmp_path)
    session = _blocks(Path(__file__).parents[1] / "docs" / "worked_example.md")
    assert len(session.examples) > 20
    said: list[str] = []
    doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE).run(session, out=said.append)
    assert not said, "".join(said)


def test_a_second_demo_replaces_the_first_and_nothing_else(tmp_path, monkeypatch):
    monkeypatch.setattr("provenance._demo.STEPS", ())
    out = tmp_path / "out"
    run_demo(out)
    (out / "left over").touch()
    run_demo(out)
    assert not (out / "left over").exists()

    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "record.csv").touch()
    with pytest.raises(AlreadyThere, match="not made by the demo"):
        run_demo(mine)
    assert (mine / "record.csv").exists()


def test_the_demo_ends_with_the_desk(tmp_path, monkeypatch):
    """What it says to type is a command that there is, on the folder that was made."""
    monkeypatch.setattr("provenance._demo.STEPS", ())
    told = CliRunner().invoke(treenail, ["demo", str(tmp_path / "o ut")]).output
    program, name, *words = shlex.split(told.splitlines()[-1].partition(": ")[2])
    assert Path(program).name == "treenail"
    chosen = command_named(name).make_context(name, words)
    assert chosen.params["folder"] == tmp_path / "o ut"


def test_the_papers_can_be_made_again_the_same(tmp_path):
    """Every cell of every paper and every size of a picture is as shipped."""
    folder = shipped("demo_package")
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, str(folder / "make_demo.py"), str(tmp_path)]
    subprocess.run(command, check=True, env=environment)

    made = {path.relative_to(tmp_path) for path in tmp_path.rglob("*") if path.is_file()}
    parts = ("field", "laboratory", "two_laptops", "files", "faulted")
    kept = {path.relative_to(folder) for part in parts for path in (folder / part).rglob("*.*")}
    assert made == {path for path in kept if (folder / path).is_file()}
    for path in sorted(made):
        assert _content(tmp_path / path) == _content(folder / path), path


def test_every_paper_says_that_it_is_invented():
    folder = shipped("demo_package")
    for path in sorted(folder.rglob("*")):
        if path.suffix in (".csv", ".tsv", ".txt", ".yaml", ".md"):
            text = path.read_bytes().decode("cp1252", errors="replace")
            assert "invented" in text[:600].lower(), path
        elif path.suffix == ".xlsx":
            assert any("invented" in str(rows[:2]).lower() for rows in _content(path).values()), (
                path
            )


def test_the_demonstration_is_small_enough_to_travel_with_the_program():
    sizes = [path.stat().st_size for path in shipped("demo_package").rglob("*") if path.is_file()]
    assert sum(sizes) < 3_000_000


# -- reading what the demo left ------------------------------------------------------------------


def _planted(demo):
    path = demo.folder / "papers" / "faulted" / "FAULTS.yaml"
    return yaml.safe_load(path.read_text(encoding="utf-8"))


_LEFT_BEHIND = {
    "Review": ["review.html"],
    "Public edition": ["hollin-reach-public"],
    "Archive bundle": ["hollin-reach-bundle", "hollin-reach-bundle.zip"],
    "Proof": [],
    "Accession": ["store"],
}
"""Steps → what they leave in the folder, beside the record."""


def _blocks(page: Path) -> doctest.DocTest:
    """The blocks as one session; all other lines are left blank, so that line numbers are right."""
    lines = []
    inside = False
    for line in page.read_text("utf-8").splitlines():
        if line.startswith("```"):
            inside = line == "```pycon"
            line = ""
        lines.append(line if inside else "")
    text = "\n".join(lines) + "\n"
    return doctest.DocTestParser().get_doctest(text, {}, page.name, str(page), 0)


def _type(command: str) -> Result:
    program, *words = shlex.split(command)
    if words[:1] == ["-r"]:
        assert program == "cp"
        shutil.copytree(words[1], words[2])
        return Result(CliRunner(), b"", b"", b"", None, 0, None)
    assert program == "treenail"
    return CliRunner().invoke(treenail, words)


def _invention(name):
    """A module of the generator, which lies beside the data it makes."""
    import importlib

    folder = str(shipped("demo_package"))
    sys.path.insert(0, folder)
    writes, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    try:
        return importlib.import_module(f"invention.{name}")
    finally:
        sys.path.remove(folder)
        sys.dont_write_bytecode = writes


def _content(path: Path) -> object:
    """What a paper says, whatever library wrote it: cells, bytes of text, size of a picture."""
    if path.suffix == ".xlsx":
        import python_calamine

        book = python_calamine.CalamineWorkbook.from_path(path)
        return {name: book.get_sheet_by_name(name).to_python() for name in book.sheet_names}
    if path.suffix in (".png", ".jpg"):
        from PIL import Image

        with Image.open(path) as image:
            return image.size, image.format
    return path.read_bytes()
