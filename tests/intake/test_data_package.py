"""A Data Package from elsewhere is read table by table, kept byte for byte, and never trusted.

The descriptors are those of Data Package v1 and v2 (specs.frictionlessdata.io, datapackage.org).
"""

from __future__ import annotations

import json
import socket
import zipfile
from pathlib import Path
from typing import Any

import pytest

from provenance._base.errors import UnusableInput
from provenance._gate.budget import SheetBudget
from provenance._intake.draft import draft_mapping
from provenance._intake.files.readers import open_received
from provenance._intake.importing import import_exports
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._record.package import Package
from tests.builders import a_package

TIMBERS = (
    "# Timber list, Hollin Reach (invented)\n"
    "Nr;Länge;Used as\n"
    "B1-014;3,25;beam\n"
    '"B1-015";"k.A.";post\n'
    "\n"
    "B1-016;2,5;wedge\n"
)
FIELDS = [
    {"name": "Nr", "type": "string", "title": "Timber no"},
    {"name": "Länge", "type": "number", "title": "Length (cm)", "decimalChar": ","},
    {"name": "Used as", "type": "string", "description": "Place of the wood in the frame"},
]
MAPPING = """\
title: Timber list from elsewhere
sources:
  - files: "survey*"
    sheet: timbers
    header_row: 2
    rows:
      - table: element
        fields:
          element_id: {column: Nr}
          length_m: {column: Länge, decimal: ","}
          function: {column: Used as, synonyms: {wedge: other}}
        values: {site_id: HOLL, place_id: B1, sampled: "no"}
"""


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever reaches for the network fails the test, also where the error would be swallowed."""

    def refuse(*_: object, **__: object) -> None:
        pytest.fail("something reached for the network")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)


def a_foreign_package(folder: Path, **changes: Any) -> Path:
    """A package of version 1: semicolons, Latin-1, decimal commas, a remark above the headings."""
    folder.mkdir()
    (folder / "lists").mkdir()
    (folder / "lists" / "timbers.csv").write_bytes(TIMBERS.encode("latin-1"))
    (folder / "photo.png").write_bytes(b"\x89PNG no table")
    (folder / "schema.json").write_text(json.dumps({"fields": FIELDS, "missingValues": ["k.A."]}))
    resource = {
        "name": "timbers",
        "path": "lists/timbers.csv",
        "profile": "tabular-data-resource",
        "encoding": "latin-1",
        "dialect": {"delimiter": ";", "commentChar": "#"},
        "schema": "schema.json",
    }
    photo = {"name": "photo", "path": "photo.png"}
    descriptor = {"name": "survey", "resources": [resource | changes, photo]}
    (folder / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    return folder


def zipped(folder: Path, inside: str = "") -> Path:
    path = folder.with_suffix(".zip")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for one in sorted(folder.rglob("*")):
            if one.is_file():
                archive.write(one, f"{inside}{one.relative_to(folder).as_posix()}")
    return path


def imported(package: Package, handed: Path, tmp_path: Path) -> Any:
    mapping = tmp_path / "mapping.yaml"
    mapping.write_text(MAPPING, encoding="utf-8")
    return import_exports(package, [handed], read_mapping(mapping, package.model))


@pytest.fixture
def package(tmp_path: Path) -> Package:
    return a_package(tmp_path).with_row("site").with_row("place").package


def test_its_tables_become_rows_whatever_their_dialect(tmp_path: Path, package: Package) -> None:
    result = imported(package, a_foreign_package(tmp_path / "survey"), tmp_path)
    assert result.added == {"element": 3}
    rows = package.table("element")[["element_id", "length_m", "function"]].values.tolist()
    assert rows == [["B1-014", "3.25", "beam"], ["B1-015", "", "post"], ["B1-016", "2.5", "other"]]


def test_all_its_files_are_kept_byte_for_byte_and_rows_say_where_they_stood(
    tmp_path: Path, package: Package
) -> None:
    folder = a_foreign_package(tmp_path / "survey")
    imported(package, folder, tmp_path)
    kept = package.table("original").set_index("file_name")["path"]
    for name in ("datapackage.json", "lists/timbers.csv", "photo.png", "schema.json"):
        bytes_kept = (package.folder / kept[f"survey/{name}"]).read_bytes()
        assert bytes_kept == (folder / name).read_bytes()
    numbers = package.table("original").set_index("original_id")["file_name"]
    origin = package.table("origin")
    assert {numbers[one] for one in origin["original_id"]} == {"survey/lists/timbers.csv"}
    assert list(origin["line"]) == ["3", "4", "6"]


@pytest.mark.parametrize("inside", ["", "survey-main/"])
def test_a_zip_is_read_as_it_is_and_kept_as_one_file(
    tmp_path: Path, package: Package, inside: str
) -> None:
    handed = zipped(a_foreign_package(tmp_path / "survey"), inside)
    result = imported(package, handed, tmp_path)
    assert result.added == {"element": 3}
    assert list(result.originals) == ["survey.zip"]
    (kept,) = package.table("original")["path"]
    assert (package.folder / kept).read_bytes() == handed.read_bytes()


def test_its_descriptor_stands_for_the_whole_package(tmp_path: Path, package: Package) -> None:
    folder = a_foreign_package(tmp_path / "survey")
    result = imported(package, folder / "datapackage.json", tmp_path)
    assert result.added == {"element": 3}


def test_importing_it_again_changes_nothing(tmp_path: Path, package: Package) -> None:
    folder = a_foreign_package(tmp_path / "survey")
    imported(package, folder, tmp_path)
    again = imported(package, folder, tmp_path)
    assert (again.added, again.changes, again.written) == ({}, (), ())


def test_a_cell_that_cannot_be_read_is_named_with_file_resource_row_and_column(
    tmp_path: Path, package: Package
) -> None:
    folder = a_foreign_package(tmp_path / "survey")
    path = folder / "lists" / "timbers.csv"
    path.write_bytes(TIMBERS.replace("3,25", "long").encode("latin-1"))
    result = imported(package, folder, tmp_path)
    (found,) = [one for one in result.findings if one.severity == "warning"]
    assert found.origin == "survey/lists/timbers.csv, sheet 'timbers', row 3, column 'Länge'"
    assert found.value == "long"


def test_a_drafted_mapping_uses_titles_types_and_marks(tmp_path: Path, package: Package) -> None:
    """'Nr' and 'Länge' say nothing to us; their titles do."""
    text = draft_mapping(package.model, [a_foreign_package(tmp_path / "survey")])
    assert 'element_id: {column: "Nr"}' in text
    assert 'length_m: {column: "Länge", decimal: ",", unit: cm}' in text
    assert "Place of the wood in the frame" in text
    assert "has 'photo', which was not read: it is not a text table (png)" in text


def test_a_type_that_a_field_cannot_hold_is_not_proposed(tmp_path: Path, package: Package) -> None:
    schema = {"fields": [FIELDS[0], FIELDS[1] | {"type": "boolean"}, FIELDS[2] | {"title": "Use"}]}
    text = draft_mapping(package.model, [a_foreign_package(tmp_path / "survey", schema=schema)])
    assert 'function: {column: "Used as"}' in text
    assert "length_m" not in text


def test_rows_that_stand_in_the_descriptor_are_read_with_every_key(tmp_path: Path) -> None:
    folder = tmp_path / "inline"
    folder.mkdir()
    data = [{"Nr": "B1-014"}, {"Nr": "B1-015", "Länge": 3.5, "profile": "round"}]
    descriptor = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "resources": [{"name": "timbers", "data": data}],
    }
    (folder / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    received = open_received(folder)
    assert list(received.sheet("timbers").rows()) == [
        (1, ["Nr", "Länge", "profile"]),
        (2, ["B1-014", None, None]),
        (3, ["B1-015", 3.5, "round"]),
    ]
    received.close()


def test_a_table_without_headings_takes_those_of_its_schema(tmp_path: Path) -> None:
    folder = a_foreign_package(
        tmp_path / "survey", dialect={"delimiter": ";", "commentChar": "#", "header": False}
    )
    received = open_received(folder)
    first, second = list(received.sheet("timbers").rows())[:2]
    assert first == (1, ["Nr", "Länge", "Used as"])
    assert second[1] == ["Nr", "Länge", "Used as"]
    assert any("without headings" in remark for remark in received.remarks)
    received.close()


def test_a_package_of_our_own_comes_back_through_a_drafted_mapping(tmp_path: Path) -> None:
    ours = a_package(tmp_path / "from").with_chain().package
    target = a_package(tmp_path / "to").package
    draft = tmp_path / "draft.yaml"
    draft.write_text(draft_mapping(target.model, [ours.folder]), encoding="utf-8")
    import_exports(target, [ours.folder], read_mapping(draft, target.model))
    for name in ("site", "party", "place", "element", "sample", "plug"):
        assert sorted(map(str, target.tables.rows(name))) == sorted(
            map(str, ours.tables.rows(name))
        ), name


# -- what is refused -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"path": "https://example.org/timbers.csv"}, "nothing here uses the network"),
        ({"path": "s3://bucket/timbers.csv"}, "nothing here uses the network"),
        ({"path": ["lists/timbers.csv", "ftp://example.org/x.csv"]}, "uses the network"),
        ({"path": "../timbers.csv"}, "leads out of the folder"),
        ({"path": "/etc/hostname"}, "leads out of the folder"),
        ({"path": "lists\\timbers.csv"}, "leads out of the folder"),
        ({"path": "~/timbers.csv"}, "leads out of the folder"),
        ({"path": "gone.csv"}, "there is no such file"),
        ({"path": "datapackage.json"}, "names itself"),
        ({"path": None}, "neither path nor data"),
        ({"schema": "https://example.org/schema.json"}, "nothing here uses the network"),
        ({"schema": "../schema.json"}, "leads out of the folder"),
        ({"schema": "lists/timbers.csv"}, "is not readable JSON"),
        ({"dialect": "http://example.org/dialect.json"}, "nothing here uses the network"),
        ({"name": "photo"}, "two resources named 'photo'"),
        ({"name": 7}, "no usable name"),
        ({"schema": {"fields": 7}}, "is not a valid descriptor"),
    ],
)
def test_a_descriptor_that_points_elsewhere_is_refused_with_a_sentence(
    tmp_path: Path, changes: dict[str, Any], said: str
) -> None:
    with pytest.raises(UnusableInput, match=r"survey/.*; ") as refused:
        open_received(a_foreign_package(tmp_path / "survey", **changes))
    assert said in str(refused.value)


def test_a_profile_that_is_an_address_is_left_out_and_told(tmp_path: Path) -> None:
    profile = "https://example.org/x.json"
    schema = {"$schema": profile, "fields": [FIELDS[0] | {"constraints": {"jsonSchema": {}}}]}
    received = open_received(a_foreign_package(tmp_path / "survey", profile=profile, schema=schema))
    told = " ".join(received.remarks)
    assert f"""'timbers'.schema.$schema = "{profile}", which was not fetched""" in told
    assert "'timbers'.schema.fields[0].constraints.jsonSchema" in told
    received.close()


def test_what_a_schema_demands_of_the_values_is_not_tried(tmp_path: Path) -> None:
    """CWE-1333: this pattern keeps Python's engine busy for ever; the key makes it be tried."""
    nr = FIELDS[0] | {"constraints": {"pattern": "(a+)+b", "unique": True}}
    schema = {"fields": [nr, *FIELDS[1:]], "primaryKey": "Nr"}
    folder = a_foreign_package(tmp_path / "survey", schema=schema)
    path = folder / "lists" / "timbers.csv"
    path.write_bytes(TIMBERS.replace("B1-014", "a" * 60).encode("latin-1"))
    received = open_received(folder)
    assert ["a" * 60, "3,25", "beam"] in [row for _, row in received.sheet("timbers").rows()]
    received.close()


def test_a_link_in_the_folder_is_not_followed(tmp_path: Path) -> None:
    folder = a_foreign_package(tmp_path / "survey")
    (folder / "lists" / "more.csv").symlink_to("/etc/hostname")
    with pytest.raises(UnusableInput, match="is a link, not a file"):
        open_received(folder)


def test_a_zip_that_grows_beyond_reason_is_refused(tmp_path: Path) -> None:
    folder = a_foreign_package(tmp_path / "survey")
    (folder / "zeros.csv").write_bytes(bytes(64 << 20))
    with pytest.raises(UnusableInput, match=r"would grow from .* to 67108864 bytes"):
        open_received(zipped(folder))


def test_a_zip_with_a_name_that_climbs_out_is_refused(tmp_path: Path) -> None:
    path = zipped(a_foreign_package(tmp_path / "survey"))
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("../outside.csv", "Nr\n")
    with pytest.raises(UnusableInput, match="climbs out of the folder"):
        open_received(path)
    assert not (tmp_path.parent / "outside.csv").exists()


def test_a_table_that_is_too_large_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match=r"resource 'timbers'.* hand it in as several files"):
        open_received(a_foreign_package(tmp_path / "survey"), limits=SheetBudget(text_bytes=10))
    received = open_received(a_foreign_package(tmp_path / "other"), limits=SheetBudget(cells=4))
    with pytest.raises(UnusableInput, match=r"timbers.csv, resource 'timbers', row 4: there are"):
        list(received.sheet("timbers").rows())


def test_a_descriptor_nested_beyond_reason_is_refused(tmp_path: Path) -> None:
    folder = a_foreign_package(tmp_path / "survey")
    for deep in ("[" * 100_000, '{"resources": [{"name": "a", "data": [], "schema": '):
        text = deep if deep[0] == "[" else deep + '{"a":' * 900 + "1" + "}" * 900 + "}]}"
        (folder / "datapackage.json").write_text(text, encoding="utf-8")
        with pytest.raises(UnusableInput, match=r"survey/datapackage\.json is "):
            open_received(folder)


def test_a_wrong_encoding_names_file_and_remedy(tmp_path: Path) -> None:
    received = open_received(a_foreign_package(tmp_path / "survey", encoding="utf-8"))
    with pytest.raises(UnusableInput, match=r"timbers.csv, resource 'timbers', .*encoding"):
        list(received.sheet("timbers").rows())
    received.close()


def test_a_resource_that_is_packed_or_no_table_is_remarked(tmp_path: Path) -> None:
    folder = a_foreign_package(tmp_path / "survey", compression="gz")
    with pytest.raises(UnusableInput, match=r"holds no table .* is packed; unpack it"):
        open_received(folder)


def test_a_folder_without_a_descriptor_is_no_package(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match=r"folder without datapackage.json"):
        open_received(tmp_path)


def test_a_table_of_too_many_columns_is_refused_before_the_library_compares_them(
    tmp_path: Path,
) -> None:
    folder = a_foreign_package(tmp_path / "survey")
    path = folder / "lists" / "timbers.csv"
    path.write_text(";".join(f"c{n}" for n in range(6_000)) + "\n", encoding="latin-1")
    with pytest.raises(UnusableInput, match=r"'timbers'\) has 6,000 columns; up to 1,000 are read"):
        open_received(folder)
    rows = [dict.fromkeys((f"c{n}" for n in range(1_001)), 1)]
    with pytest.raises(UnusableInput, match="has 1,001 columns"):
        open_received(a_foreign_package(tmp_path / "inline", path=None, data=rows))
