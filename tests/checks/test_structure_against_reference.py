"""The structure layer gives the verdicts of the reference library, whatever is wrong.

Source: frictionless-py 5, the reference implementation of Data Package v2 and Table Schema v2
(see tests/checks/reference.py, and provenance/checks/structure.py for what differs on purpose).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from provenance._base.findings import Report
from provenance._checks.structure.structure import check_structure
from provenance._model.profile import load_model
from provenance._model.schema import Field, ForeignKey, Model, Table
from provenance._record.package import Package
from tests.builders import PARTIES, SOUND
from tests.checks.reference import library_says, reference_errors, we_say

NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
"""The library takes its time, and shrinking would ask it hundreds of times more."""

Rows = list[list[str]]


def _field(name: str, type: str = "string", /, **constraints: object) -> Field:
    return Field(name, type, name, "", "", 0, "open", "", constraints=constraints)


def _table(name: str, key: tuple[str, ...], links: tuple[ForeignKey, ...], *fields: Field) -> Table:
    return Table(name, name, "", "record", 0, {}, fields, key, links)


def _model(*tables: Table) -> Model:
    return Model("made_up", "", "", "1", MappingProxyType({t.name: t for t in tables}), {}, {})


EVERY_CONSTRAINT = _model(
    _table(
        "wood",
        ("code",),
        (ForeignKey(("part_of",), "wood", ("code",)),),
        _field("code", required=True, unique=True),
        _field("part_of"),
        _field("length", "number", minimum=0.1, maximum=1000),
        _field("width", "number", exclusiveMinimum=0, exclusiveMaximum=0.3),
        _field("rings", "integer", minimum=0, maximum=9007199254740993),
        _field("year", "integer", exclusiveMinimum=-5, exclusiveMaximum=5, required=True),
        _field("waney", "boolean"),
        _field("sound", "boolean", enum=[True]),
        _field("use", enum=["beam", "lintel", "post"]),
        _field("side", "integer", enum=[1, 2, 3]),
        _field("note", minLength=2, maxLength=3),
        _field("stamp", unique=True, pattern="(?:[0-9A-Z]{1,4}|x)"),
        _field("mark", pattern=r"(?!b)\w+"),
        _field("bore", "number", enum=[12.7, 15.875]),
    ),
    _table(
        "core",
        ("wood", "number"),
        (
            ForeignKey(("wood",), "wood", ("code",)),
            ForeignKey(("after_wood", "after_number"), "core", ("wood", "number")),
        ),
        _field("wood"),
        _field("number", "integer"),
        _field("after_wood"),
        _field("after_number", "integer"),
        _field("serial", "number", unique=True),
    ),
)
"""Two tables with every type and constraint, a key of two fields and links into themselves."""

_NUMBERS = re.findall(
    r"\S+",
    """
1 -1 +1 01 1.0 1. .1 0.1 0.3 0.30000000000000004 0.10000000000000000001 0.09999999999999999999
0.29999999999999998 1000 1000.0 1e3 1E-2 1000.00000000000000001 NaN nan -NaN INF -inf Infinity
1_000 1__0 1,5 ٣ ² 0x1 1e400 1e-400 -1e-400 99999999999999999999 9007199254740993 9007199254740992
9007199254740994 --1 -0 - . e5 5 -5 -4 4 1/2 true 12.7 12.70 15.875 2 3 0 1e 1d 1f infinit
""",
)
_NUMBERS += [" 1 ", "\t1\n", "  ", "1 2"]
_TRUTHS = ["true", "True", "TRUE", "1", "false", "False", "FALSE", "0", "yes", "tRUE", " true", "2"]
_TEXTS = ["A1", "A2", "a1", "B", "beam", "Beam", "lintel", "x", "xx", "231", "231\n", "0", "NOPE"]
_TEXTS += ["ä€", "a\nb", 'a"b', "a,b", " ", "abcd", "αβγδ", "b1", "#", "NA", "null", "beam\n"]


def _cell(one: Field) -> st.SearchStrategy[str]:
    pool = {"number": _NUMBERS, "integer": _NUMBERS, "boolean": _TRUTHS}.get(one.type, _TEXTS)
    return st.one_of(st.just(""), st.sampled_from(pool), st.sampled_from(pool))


@st.composite
def _rows(draw: st.DrawFn, table: Table, at_most: int) -> Rows:
    rows = draw(
        st.lists(st.tuples(*(_cell(one) for one in table.fields)).map(list), max_size=at_most)
    )
    for row in rows:
        cut = draw(st.sampled_from([None, None, None, None, "short", "long", "blank", "commas"]))
        if cut == "short":
            del row[draw(st.integers(0, len(row))) :]
        elif cut == "long":
            row += draw(st.lists(st.sampled_from(["", "x"]), min_size=1, max_size=3))
        elif cut == "blank":
            row.clear()
        elif cut == "commas":
            row[:] = [""] * len(row)
    return rows


@st.composite
def _header(draw: st.DrawFn, table: Table, rows: Rows) -> list[str]:
    """A header; columns may be dropped, renamed, added, left without heading or put elsewhere."""
    labels = list(table.names)
    for _ in range(draw(st.sampled_from([0, 0, 0, 1, 2]))):
        place = draw(st.integers(0, len(labels) - 1))
        what = draw(st.sampled_from(["drop label", "drop", "rename", "add", "blank", "swap"]))
        if what == "drop label" and len(labels) > 2:
            del labels[place]
        elif what == "drop" and len(labels) > 2:
            del labels[place]
            for row in rows:
                del row[place : place + 1]
        elif what == "rename":
            labels[place] = f"{labels[place]}_{len(labels)}"
        elif what == "add":
            labels.insert(place, f"more_{place}_{len(labels)}")
        elif what == "blank" and "" not in labels:
            labels[place] = ""
        elif what == "swap":
            labels[0], labels[place] = labels[place], labels[0]
            for row in rows:
                if len(row) > place:
                    row[0], row[place] = row[place], row[0]
    return labels


def _write(folder: Path, tables: Mapping[str, Rows], ending: str = "\n") -> None:
    for name, rows in tables.items():
        text = io.StringIO(newline="")
        csv.writer(text, lineterminator=ending).writerows(rows)
        path = folder / "tables" / f"{name}.csv"
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(text.getvalue().encode())


def _check(folder: Path, model: Model) -> Report:
    return check_structure(Package(folder, MappingProxyType({"name": "made-up"}), model))


def _assert_alike(folder: Path, model: Model) -> Report:
    report = _check(folder, model)
    theirs, ours = library_says(folder, model), we_say(report, model)
    other_headings = {one.table for one in ours if one.row == 1 and one.kind != "incorrect-label"}
    # beside other faults of a header the library says nothing of its order
    ours = {one for one in ours if one.kind != "incorrect-label" or one.table not in other_headings}
    assert ours == theirs
    return report


@st.composite
def _files(draw: st.DrawFn, model: Model, at_most: int) -> dict[str, Rows]:
    files = {}
    for name, table in model.tables.items():
        rows = draw(_rows(table, at_most))
        header = draw(_header(table, rows))
        files[name] = [header, *rows]
    return files


@given(files=_files(EVERY_CONSTRAINT, 6), ending=st.sampled_from(["\n", "\r\n"]))
@settings(max_examples=20, phases=NO_SHRINKING, suppress_health_check=[HealthCheck.too_slow])
def test_every_fault_gets_the_verdict_of_the_reference_library(
    tmp_path_factory: pytest.TempPathFactory, files: dict[str, Rows], ending: str
) -> None:
    folder = tmp_path_factory.getbasetemp()
    _write(folder, files, ending)
    _assert_alike(folder, EVERY_CONSTRAINT)


LINKED = ("party", "place", "element", "sample", "plug")


def _real_model() -> Model:
    """Five linked tables of the real schemas, without the links that lead out of the five."""
    model = load_model("blank")
    tables = {
        name: replace(
            model.table(name),
            foreign_keys=tuple(k for k in model.table(name).foreign_keys if k.table in LINKED),
        )
        for name in LINKED
    }
    return replace(model, tables=MappingProxyType(tables))


def _sound_rows(model: Model) -> dict[str, Rows]:
    files = {}
    for name, table in model.tables.items():
        rows = [SOUND[name]] if name != "party" else list(PARTIES)
        files[name] = [list(table.names)] + [
            [row.get(field, "") for field in table.names] for row in rows
        ]
    place = files["place"][0].index("parent_place_id")
    room = list(files["place"][1])
    room[0], room[place] = "B1-1", "B1"
    files["place"].append(room)
    for name in ("element", "sample", "plug"):
        for number in range(2, 5):
            row = list(files[name][1])
            row[0] = f"{row[0]}{number}"
            files[name].append(row)
    return files


@st.composite
def _damaged(draw: st.DrawFn, model: Model) -> dict[str, Rows]:
    """The sound rows with a dozen cells, rows and headings damaged."""
    files = _sound_rows(model)
    for _ in range(draw(st.integers(1, 14))):
        name = draw(st.sampled_from(LINKED))
        table, rows = model.table(name), files[name]
        at = draw(st.integers(1, len(rows) - 1))
        what = draw(st.sampled_from(["cell"] * 8 + ["again", "gone", "blank", "cut", "longer"]))
        if what == "cell" and rows[at]:
            column = draw(st.integers(0, len(rows[at]) - 1))
            one = table.fields[min(column, len(table.fields) - 1)]
            codes = [*one.constraints.get("enum", ())][:3]
            codes += ["B1-014", "231", "MB", "2024-13"]
            rows[at][column] = draw(st.one_of(_cell(one), st.sampled_from(codes)))
        elif what == "again":
            rows.append(list(rows[at]))
        elif what == "gone" and len(rows) > 2:
            del rows[at]
        elif what == "blank":
            rows.insert(at, [])
        elif what == "cut":
            del rows[at][draw(st.integers(0, len(rows[at]))) :]
        elif what == "longer":
            rows[at].append("x")
    return files


@given(files=_damaged(_real_model()))
@settings(max_examples=4, phases=NO_SHRINKING, suppress_health_check=[HealthCheck.too_slow])
def test_the_real_schemas_get_the_verdicts_of_the_reference_library(
    tmp_path_factory: pytest.TempPathFactory, files: dict[str, Rows]
) -> None:
    folder = tmp_path_factory.getbasetemp()
    _write(folder, files)
    _assert_alike(folder, _real_model())


def test_a_sound_record_is_sound_for_both(tmp_path: Path) -> None:
    model = _real_model()
    _write(tmp_path, _sound_rows(model))
    assert len(_assert_alike(tmp_path, model)) == 0
    assert reference_errors(tmp_path, model, "exact") == []


# -- what differs on purpose: see the head of provenance/checks/structure.py --------------------

SMALL = _model(_table("wood", ("code",), (), _field("code", required=True), _field("use")))


def _said(folder: Path, model: Model, content: bytes) -> list[tuple[str, int, str]]:
    (folder / "tables").mkdir(exist_ok=True)
    (folder / "tables" / "wood.csv").write_bytes(content)
    return [(one.rule, one.row, one.field) for one in _check(folder, model)]


def _kinds(folder: Path, model: Model, fields_match: str = "exact") -> set[str]:
    return {error.type for _, error in reference_errors(folder, model, fields_match)}


def test_columns_in_another_order_are_one_finding_and_their_cells_are_sound(tmp_path: Path) -> None:
    """The library's default wants the schema's order, and then reads cells by position."""
    assert _said(tmp_path, SMALL, b"use,code\nbeam,A1\n") == [("structure.label_order", 1, "use")]
    assert _kinds(tmp_path, SMALL) == {"incorrect-label"}
    assert _kinds(tmp_path, SMALL, "equal") == set()


def test_a_heading_that_stands_twice_is_an_error_for_both(tmp_path: Path) -> None:
    assert _said(tmp_path, SMALL, b"code,code\nA1,beam\n") == [
        ("structure.label_duplicate", 1, "code"),
        ("structure.label_missing", 1, "use"),
    ]
    assert _kinds(tmp_path, SMALL) == {"duplicate-label"}


def test_an_empty_file_is_an_error_for_both(tmp_path: Path) -> None:
    assert _said(tmp_path, SMALL, b"") == [("structure.file_empty", 0, "")]
    assert _kinds(tmp_path, SMALL) == {"source-error"}


def test_a_missing_file_is_an_error_for_both(tmp_path: Path) -> None:
    (tmp_path / "tables").mkdir()
    assert [one.rule for one in _check(tmp_path, SMALL)] == ["structure.file_missing"]
    assert _kinds(tmp_path, SMALL) == {"scheme-error"}


def test_a_cell_that_is_not_utf8_is_named_and_the_rest_is_checked(tmp_path: Path) -> None:
    """The library gives up on the table."""
    assert _said(tmp_path, SMALL, b"code,use\nA1,M\xe4rz\n,beam\n") == [
        ("structure.not_utf8", 2, "use"),
        ("structure.required", 3, "code"),
    ]
    assert _kinds(tmp_path, SMALL) == {"encoding-error"}


def test_a_blank_first_line_is_an_error_of_ours_alone(tmp_path: Path) -> None:
    assert _said(tmp_path, SMALL, b"\ncode,use\nA1,beam\n") == [("structure.header_blank", 1, "")]
    assert _kinds(tmp_path, SMALL) == set()


def test_a_quote_that_is_never_closed_is_an_error_of_ours_alone(tmp_path: Path) -> None:
    """It swallows every row behind it, and the library is silent about that."""
    assert _said(tmp_path, SMALL, b'code,use\nA1,"beam\nA2,post\n') == [
        ("structure.quote_open", 2, "")
    ]
    assert _kinds(tmp_path, SMALL) == set()


def test_a_pattern_with_branches_holds_for_the_whole_value(tmp_path: Path) -> None:
    """XML Schema, which Table Schema refers to, anchors every branch; the library only the ends."""
    model = _model(
        _table("wood", ("code",), (), _field("code"), _field("use", pattern="beam|post"))
    )
    _said(tmp_path, model, b"code,use\nA1,beams\n")
    assert [one.rule for one in _check(tmp_path, model)] == ["structure.wrong_form"]
    import frictionless

    field = frictionless.Field.from_descriptor(
        {"name": "use", "type": "string", "constraints": {"pattern": "beam|post"}}
    )
    assert field.read_cell("beams") == ("beams", None)


def test_there_is_no_limit_to_the_number_of_findings(tmp_path: Path) -> None:
    rows = b"".join(b",beam\n" for _ in range(3000))
    assert len(_said(tmp_path, SMALL, b"code,use\n" + rows)) == 3000
