"""The tables of a package as they stood at one moment."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.disk import write_text
from provenance._base.errors import TreenailError, UnusablePackage
from provenance._cli import treenail
from provenance._model.profile import load_model
from provenance._record.package import Package, open_package
from provenance._record.reading import read_table_bytes
from provenance._record.snapshot import MissingTable, Snapshot
from provenance._record.tables import ROW
from tests.builders import a_package, left_alone

MODEL = load_model("blank")


def of_bytes(**tables: bytes) -> Snapshot:
    """A snapshot of tables that lie in memory."""
    read = {name: read_table_bytes(data) for name, data in tables.items()}
    return Snapshot(MODEL, "here", read.get)


def with_a_long_row(package: Package) -> int:
    """Put one cell too many behind the first sample; returns how many the header has."""
    path = package.table_path("sample")
    header, first, *rest = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([header, first + ",one too many", *rest]) + "\n", encoding="utf-8")
    return header.count(",") + 1


COMMANDS = (
    ["pack", "holl"],
    ["print", "labels", "holl", "--stock", "a4_70x37", "--out", "labels.pdf"],
    ["print", "cards", "holl", "--out", "cards.pdf"],
    ["survey", "compute", "holl"],
    ["print", "plan", "holl", "--out", "plans"],
    ["derive", "holl"],
    ["results", "reconcile", "holl"],
    ["custody", "handover", "holl", "packed", "--samples", "all", "--on", "2024-06-20"],
    ["catalogue", "holl", "--index", "index.sqlite"],
    ["locate", "holl", "231"],
    ["compare", "sound", "holl"],
)


@pytest.fixture(scope="module")
def sound(tmp_path_factory) -> Iterator[Path]:
    """A folder with the package 'holl' and its bundle 'sound'; never to be changed."""
    folder = tmp_path_factory.mktemp("sound")
    package = a_package(folder).with_chain().package
    words = ["pack", str(package.folder), "--out", str(folder / "sound")]
    CliRunner().invoke(treenail, words, catch_exceptions=False)
    with left_alone(folder):
        yield folder


@pytest.mark.parametrize("command", COMMANDS, ids=lambda one: one[0])
def test_an_uneven_row_is_named_in_the_same_words_everywhere(
    command, sound, tmp_path, monkeypatch
) -> None:
    package = open_package(shutil.copytree(sound, tmp_path / "both") / "holl")
    monkeypatch.chdir(tmp_path / "both")
    width = with_a_long_row(package)
    done = CliRunner().invoke(treenail, command)
    said = done.output + (str(done.exception) if done.exception else "")
    assert done.exit_code != 0
    assert isinstance(done.exception, TreenailError | SystemExit), said
    assert f"row 2 has {width + 1} cells, and the header has {width}" in " ".join(said.split())
    assert "'treenail check' names every such row" in " ".join(said.split())


def test_the_check_names_the_row_itself(tmp_path, monkeypatch) -> None:
    package = a_package(tmp_path).with_chain().package
    width = with_a_long_row(package)
    done = CliRunner().invoke(treenail, ["check", str(package.folder)])
    assert done.exit_code == 1
    assert f"{width + 1} cells" in done.output


def test_of_two_columns_with_one_heading_the_first_counts() -> None:
    tables = of_bytes(site=b"site_id,site_id,name\nA,B,C\n")
    assert tables.columns("site") == ("site_id", "name")
    assert tables.column("site", "site_id") == ["A"]


def test_columns_beyond_the_schema_are_kept_as_texts_and_only_there() -> None:
    tables = of_bytes(site=b"site_id,crew_word\nA,hut\nB,\n")
    assert tables.rows("site")[0]["crew_word"] == "hut"
    assert "crew_word" not in tables["site"].columns
    frame = tables.frame("site")
    assert frame["crew_word"].isna().tolist() == [False, True]
    assert list(frame.index) == [2, 3]


def test_a_column_of_a_later_schema_is_blank() -> None:
    tables = of_bytes(site=b"site_id\nA\nB\n")
    assert tables.column("site", "name") == ["", ""]
    assert list(tables.tuples("site", ("name", "region"))) == [("", "")] * 2
    assert tables.rows("site")[0]["name"] == ""
    assert tables["site"]["name"].null_count() == 2


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "it has no header"),
        (b"\nA\n", "it has no header"),
        (b"site_id,name\nA\n", "row 2 has 1 cells, and the header has 2"),
        (b"site_id,name\nA,B\nC,D,E\n", "row 3 has 3 cells, and the header has 2"),
        (b'site_id,name\nA,"B\n', "a quote that is open in row 2 is never closed"),
        (b"site_id,name\nA,\xff\n", "row 2 has bytes that are not UTF-8"),
    ],
)
def test_what_cannot_be_used_is_refused_but_by_those_who_look_for_faults(data, words) -> None:
    tables = of_bytes(site=data)
    for ask in (tables.texts, tables.rows, tables.count, tables.frame, tables.__getitem__):
        with pytest.raises(UnusablePackage, match=rf"here/tables/site\.csv: {words}"):
            ask("site")
    assert isinstance(tables.with_faults()["site"], pl.DataFrame)
    # and afterwards still
    with pytest.raises(UnusablePackage):
        tables["site"]


def test_a_missing_table_says_which() -> None:
    for tables in (of_bytes(), of_bytes().with_faults()):
        with pytest.raises(MissingTable) as refused:
            tables["site"]
        assert refused.value.table == "site"
        assert "here/tables/site.csv is missing" in str(refused.value)


def test_each_table_is_read_once_and_each_view_made_once() -> None:
    asked: list[str] = []

    def read(name: str):
        asked.append(name)
        return read_table_bytes(b"site_id,name\nA,B\n")

    tables = Snapshot(MODEL, "here", read)
    views = []
    for _ in range(3):
        tables["site"], tables.texts("site"), tables.rows("site"), tables.frame("site")
        views.append(tables.once("view", lambda tables: object()))
    assert asked == ["site"]
    assert len({id(one) for one in views}) == 1


def test_a_view_goes_when_nobody_has_asked_for_it_since() -> None:
    tables = of_bytes(site=b"site_id,name\nA,B\n")
    made: list[str] = []
    for asked in ("ab", "b", "ab", ""):
        for name in asked:
            tables.once(name, lambda tables, name=name: made.append(name))
        tables.let_go_unwanted()
    assert made == ["a", "b", "a"]


def test_a_package_shows_what_was_written_since_and_a_held_one_does_not(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().package
    before = package.tables
    assert package.tables is before
    held = package.hold()
    frame = package.table("sample")
    frame["notes"] = "written since"
    package.write_table("sample", frame)
    assert set(package.tables.column("sample", "notes")) == {"written since"}
    assert "written since" not in held.tables.column("sample", "notes")
    assert "written since" not in before.hold().column("sample", "notes")


def test_what_one_does_to_a_frame_of_pandas_reaches_nobody_else(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().package
    for frame in (package.table("sample"), package.typed("sample")):
        frame["sample_id"] = "changed"
    assert "changed" not in package.tables.column("sample", "sample_id")


CELLS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\r\0"), max_size=8)


@given(st.lists(st.tuples(CELLS, CELLS), max_size=6))
def test_every_way_to_ask_gives_the_same_cells(rows) -> None:
    quoted = [",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows]
    tables = of_bytes(site="\n".join(["site_id,name", *quoted, ""]).encode())
    assert list(tables.tuples("site", ("site_id", "name"))) == rows
    assert [(row["site_id"], row["name"]) for row in tables.rows("site")] == rows
    assert (
        list(zip(*(tables.column("site", one) for one in ("site_id", "name")), strict=True)) == rows
    )
    assert tables.whole("site").select("site_id", "name").rows() == rows
    assert tables.texts("site")[ROW].to_list() == list(range(2, len(rows) + 2))


def test_only_a_table_whose_file_is_another_is_read_again(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    before = package.tables
    assert before is package.tables
    rows = {name: before[name] for name in ("element", "sample")}
    path = package.table_path("sample")
    write_text(path, path.read_text("utf-8").replace("231", "232"))
    now = package.tables
    assert now["sample"]["sample_id"].to_list() == ["232"]
    assert now["element"] is rows["element"]
    assert before["sample"] is rows["sample"]
    path.unlink()
    with pytest.raises(MissingTable):
        package.tables["sample"]
