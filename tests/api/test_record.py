"""A record is read alike from a package, a bundle folder, a zip and a store, and harms nobody."""

from __future__ import annotations

import gc
import json
import re
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import fsspec
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import provenance
from provenance._bundle.in_place import opened_in_place
from provenance._gate.budget import Budget
from provenance._record.package import open_package


@pytest.fixture(autouse=True)
def scratch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Every temporary file lands here, and none stays."""
    folder = tmp_path / "scratch"
    folder.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(folder))
    yield folder
    assert list(folder.iterdir()) == []


@pytest.fixture
def in_memory(pristine: Path) -> Iterator[str]:
    """Package, bundle and zip in fsspec's memory."""
    memory = fsspec.filesystem("memory")
    memory.put(str(pristine), "/pristine", recursive=True)
    yield "memory://pristine"
    memory.rm("/pristine", recursive=True)


def rewritten(source: Path, target: Path, change) -> Path:
    """A zip with its members changed by `change(name, content)`; None leaves one out."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            content = change(member.filename, old.read(member))
            if content is not None:
                new.writestr(member.filename, content)
    return target


# -- every form -----------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["holl", "bundle", "bundle.zip"])
@pytest.mark.parametrize("place", ["disk", "store"])
def test_a_record_says_the_same_in_every_form(pristine, in_memory, form, place) -> None:
    package = open_package(pristine / "holl")
    with provenance.open(pristine / form if place == "disk" else f"{in_memory}/{form}") as record:
        assert (record.name, record.title) == (package.name, package.title)
        assert record.tables == tuple(package.model.tables)
        assert record.is_bundle is (form != "holl")
        for name in record.tables:
            pd.testing.assert_frame_equal(record.table(name), package.typed(name))
        pd.testing.assert_frame_equal(record.chain(), provenance.open(pristine / "holl").chain())


def test_a_table_has_the_types_of_its_schema_and_the_columns_that_are_asked_for(pristine) -> None:
    record = provenance.open(pristine / "bundle.zip")
    sample = record.table("sample", ["depth_mm", "pieces", "sample_id"])
    assert [(name, str(kind)) for name, kind in sample.dtypes.items()] == [
        ("depth_mm", "Float64"),
        ("pieces", "Int64"),
        ("sample_id", "str"),
    ]
    assert sample.index.to_list() == [2]
    assert str(record.table("element")["sampled"].dtype) == "boolean"
    record.close()


def test_a_package_is_read_as_it_stands_now(package) -> None:
    record = provenance.open(package.folder)
    assert record.chain()["stamp"].to_list() == ["231"]
    package.write_table("plug", package.table("plug").assign(stamp="13"))
    assert record.chain()["stamp"].to_list() == ["13"]


def test_a_zip_that_nobody_closes_gives_no_warning(pristine) -> None:
    """Warnings are errors in this suite, those of the garbage collector too."""
    record = provenance.open(pristine / "bundle.zip")
    assert len(record.chain()) == 1
    del record
    gc.collect()


def test_frames_outlive_the_record_and_a_closed_one_says_so(pristine) -> None:
    with provenance.open(pristine / "bundle.zip") as record:
        chain = record.chain()
    record.close()
    assert chain["sample_id"].to_list() == ["231"]
    for ask in (
        lambda: record.table("sample"),
        record.chain,
        record.check,
        lambda: record.pack("x"),
    ):
        with pytest.raises(provenance.UnusableInput, match="is closed; open it again"):
            ask()


# -- what else can be asked -----------------------------------------------------------------------


@pytest.mark.parametrize("form", ["holl", "bundle", "bundle.zip"])
def test_the_check_finds_the_same_in_every_form(pristine, form) -> None:
    from provenance._checks.check import check_package

    record = provenance.open(pristine / form)
    report = record.check()
    assert isinstance(report, provenance.Report)
    expected = check_package(open_package(pristine / "holl"))
    assert report.frame[["rule", "table", "row"]].to_numpy().tolist() == (
        expected.frame[["rule", "table", "row"]].to_numpy().tolist()
    )
    record.close()


def test_a_new_package_is_packed_verified_and_compared(package, pristine, tmp_path) -> None:
    record = provenance.open(package.folder)
    packed = record.pack(tmp_path / "b.zip", zipped=True)
    assert packed.path.read_bytes() == (pristine / "bundle.zip").read_bytes()
    verdict = provenance.verify(packed.path)
    assert verdict.sound
    assert verdict.frame.columns.to_list() == [
        "part", "severity", "rule", "path", "message", "remedy",
    ]  # fmt: skip
    package.write_table("plug", package.table("plug").assign(status="lost"))
    found = provenance.compare(packed.path, record)
    assert not found.same
    changed = found.frame.query("where == 'plug'")
    assert changed.to_numpy().tolist() == [
        ["changed", "plug", "P-231", "status", "in_place", "lost"]
    ]
    assert provenance.compare(packed.path, pristine / "bundle").same


def test_what_is_wrong_with_a_bundle_stands_in_the_frame_of_the_verdict(bundle) -> None:
    (bundle / "data" / "tables" / "plug.csv").write_text("changed", "utf-8")
    verdict = provenance.verify(bundle)
    assert not verdict.sound
    assert "data/tables/plug.csv" in verdict.frame["path"].to_list()
    assert len(verdict.frame) == len(verdict.findings)


def test_a_new_record_is_empty_and_has_its_profile(tmp_path) -> None:
    record = provenance.new(tmp_path / "reach", "log_building", title="Hollin Reach (invented)")
    assert (record.name, record.title) == ("reach", "Hollin Reach (invented)")
    assert not record.is_bundle
    assert len(record.chain()) == 0
    with pytest.raises(provenance.AlreadyThere):
        provenance.new(tmp_path / "reach")
    with pytest.raises(provenance.TreenailError, match="no_such_kind"):
        provenance.new(tmp_path / "other", "no_such_kind")


def test_a_worn_stamp_is_located_in_records_paths_and_folders_of_them(
    pristine, repository, in_memory
) -> None:
    with provenance.open(pristine / "bundle.zip") as record:
        found = provenance.locate("2?1", record, record)
        assert found.frame["sample_id"].to_list() == ["231"]
        assert found.searched == 1
        both = provenance.locate("1?", record, repository, f"{in_memory}/bundle.zip")
    assert both.frame.iloc[0]["stamp"] == "17"
    assert both.frame["probability"].sum() + both.unrecorded == pytest.approx(1)
    near = provenance.locate("2?1", pristine / "holl", place="North house").frame["why"][0]
    assert "is in North house" in near


def test_the_public_edition_is_packed_and_opened(package, tmp_path) -> None:
    packed = provenance.open(package.folder).pack(tmp_path / "public", edition="public")
    assert packed.account is not None
    public = provenance.open(tmp_path / "public")
    assert public.chain()["sample_id"].to_list() == ["231"]


# -- what cannot be -------------------------------------------------------------------------------


def test_what_is_not_there_or_no_record_is_refused(tmp_path, in_memory) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "text.zip").write_text("no zip", "utf-8")
    for path, error, words in (
        ("nowhere", provenance.UnusablePackage, "is not there; check the name"),
        ("empty", provenance.UnusablePackage, "neither a package, which .* nor a bundle"),
        ("text.zip", provenance.UnusableInput, "text.zip cannot be opened"),
    ):
        with pytest.raises(error, match=words):
            provenance.open(tmp_path / path)
    with pytest.raises(provenance.UnusableInput, match="nowhere cannot be read"):
        provenance.open(f"{in_memory}/nowhere")


def test_a_name_that_the_record_lacks_is_told_with_those_that_it_has(pristine) -> None:
    record = provenance.open(pristine / "holl")
    with pytest.raises(provenance.UnusableInput, match=r"no table 'samples'; it has site, party"):
        record.table("samples")
    with pytest.raises(provenance.UnusableInput, match=r"no column 'depth'; it has sample_id, "):
        record.table("sample", ["sample_id", "depth"])
    with pytest.raises(provenance.UnusableInput, match="no edition 'open'; there is full, public"):
        record.pack("b", edition="open")
    with pytest.raises(provenance.UnusableInput, match="no record is named"):
        provenance.locate("231")
    with pytest.raises(ValueError, match="231!"):
        provenance.locate("231!", record)


def test_a_bundle_is_not_packed_again(pristine, in_memory, tmp_path) -> None:
    for form in ("bundle", "bundle.zip"):
        with pytest.raises(provenance.UnusableInput, match="is a bundle, packed already"):
            provenance.open(pristine / form).pack(tmp_path / "again")
    with pytest.raises(provenance.UnusableInput, match="is in a store"):
        provenance.open(f"{in_memory}/holl").pack(tmp_path / "again")
    with pytest.raises(provenance.UnusableInput, match="is in a store"):
        provenance.compare(pristine / "holl", f"{in_memory}/holl")
    assert not (tmp_path / "again").exists()


def test_a_missing_and_an_uneven_table_are_named(zip_bundle, tmp_path) -> None:
    without = rewritten(
        zip_bundle,
        tmp_path / "b.zip",
        lambda name, content: None if name.endswith("tables/plug.csv") else content,
    )
    with pytest.raises(provenance.UnusablePackage, match=r"b\.zip/data/tables/plug\.csv is miss"):
        provenance.open(without, even_if_damaged=True).chain()
    uneven = rewritten(
        zip_bundle,
        tmp_path / "c.zip",
        lambda name, content: content + b"x,y\n" if name.endswith("plug.csv") else content,
    )
    with pytest.raises(provenance.UnusablePackage, match=r"plug\.csv: row 3 has 2 cells"):
        provenance.open(uneven, even_if_damaged=True).table("plug")


# -- strangers' zips ------------------------------------------------------------------------------


def refused(path: Path, words: str) -> None:
    """Also when it was asked for in spite of damage."""
    with pytest.raises(provenance.TreenailError, match=words):
        provenance.open(path, even_if_damaged=True).chain()


def test_a_link_in_a_zip_is_not_followed(zip_bundle, tmp_path) -> None:
    """CWE-59, link following."""
    path = Path(shutil.copyfile(zip_bundle, tmp_path / "b.zip"))
    member = zipfile.ZipInfo("holl-bundle/data/tables/more.csv")
    member.create_system, member.external_attr = 3, 0o120777 << 16
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(member, "/etc/passwd")
    refused(path, "is a link, not a file")


def test_a_table_that_would_fill_the_memory_is_refused(zip_bundle, tmp_path) -> None:
    """CWE-409, highly compressed data."""
    bomb = rewritten(
        zip_bundle,
        tmp_path / "b.zip",
        lambda name, content: content + b"\n" * 2**25 if name.endswith("plug.csv") else content,
    )
    refused(bomb, "would grow from")
    small = Budget(most_table_bytes=10)
    with (
        opened_in_place(zip_bundle, limits=small) as package,
        pytest.raises(provenance.UnusablePackage, match="10 are read in place at most"),
    ):
        package.tables.texts("plug")


def test_no_text_a_long_line_and_damage_are_refused(zip_bundle, tmp_path) -> None:
    def with_plug(content: bytes) -> Path:
        return rewritten(
            zip_bundle,
            tmp_path / "b.zip",
            lambda name, old: content if name.endswith("tables/plug.csv") else old,
        )

    refused(with_plug(b"plug_id\n\x00\n"), "holds a NUL")
    small = Budget(longest_line_bytes=10)
    with (
        opened_in_place(zip_bundle, limits=small) as package,
        pytest.raises(provenance.UnusablePackage, match="a line of more than 10 bytes"),
    ):
        package.tables.texts("plug")
    path = with_plug(b"plug_id,sample_id\n" + b"\n".join(b"%d,%d" % (n, n * n) for n in range(999)))
    with zipfile.ZipFile(path) as archive:
        member = archive.getinfo("holl-bundle/data/tables/plug.csv")
    raw = bytearray(path.read_bytes())
    raw[member.header_offset + 30 + len(member.filename) + member.compress_size // 2] ^= 1
    path.write_bytes(bytes(raw))
    refused(path, "is damaged inside the zip")


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("datapackage.json", b"[]", "not the descriptor of a package"),
        ("datapackage.json", b"{", "not readable JSON"),
        ("bundle.json", None, "bundle.json is missing"),
        ("schemas/model.json", b'{"vocabularies": 3}', "does not say what it must"),
        ("schemas/plug.json", b'{"name": "../plug"}', "not the name of a table"),
    ],
)
def test_words_of_a_stranger_that_make_no_record_are_refused(
    zip_bundle, tmp_path, name, content, words
) -> None:
    path = rewritten(
        zip_bundle,
        tmp_path / "b.zip",
        lambda old, was: content if old.endswith(f"data/{name}") else was,
    )
    refused(path, words)


def test_no_link_is_followed_in_a_bundle_folder(bundle) -> None:
    plug = bundle / "data" / "tables" / "plug.csv"
    plug.unlink()
    plug.symlink_to("/etc/passwd")
    refused(bundle, "is a link, not a file")


# the folder for temporary files serves all examples
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_whatever_a_stranger_writes_into_schemas_and_tables_is_read_or_refused(zip_bundle, data):
    """One value of a description, or a few bytes of a table, is made another one."""
    with zipfile.ZipFile(zip_bundle) as archive:
        members = {one.filename: archive.read(one) for one in archive.infolist()}
    named = re.compile(r"holl-bundle/data/(datapackage\.json|(schemas|tables)/.*)")
    name = data.draw(st.sampled_from([one for one in members if named.fullmatch(one)]))
    if name.endswith(".csv"):
        content = bytearray(members[name])
        for place in data.draw(st.lists(st.integers(0, len(content) - 1), min_size=1, max_size=4)):
            content[place] = data.draw(st.sampled_from(b'",\n\r\x00\xffx'))
    else:
        document = json.loads(members[name])
        holder, key = data.draw(st.sampled_from(list(places_in(document))))
        holder[key] = data.draw(st.sampled_from([None, 3, True, "x", "sample_id", [], {}, ["a"]]))
        content = json.dumps(document).encode()
    with tempfile.TemporaryDirectory() as folder:
        hostile = Path(folder) / "hostile.zip"
        with zipfile.ZipFile(hostile, "w") as archive:
            for member, old in members.items():
                archive.writestr(member, bytes(content) if member == name else old)
        with (
            suppress(provenance.TreenailError),
            provenance.open(hostile, even_if_damaged=True) as record,
        ):
            chain = record.chain()
            assert len(chain) == len(record.table("sample"))


def places_in(value: Any) -> Iterator[tuple[Any, Any]]:
    """Every (object or list, key or position) in a JSON document."""
    inside = value.items() if isinstance(value, dict) else enumerate(value)
    for key, one in list(inside):
        yield value, key
        if isinstance(one, dict | list):
            yield from places_in(one)
