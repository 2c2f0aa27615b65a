"""Sheets of several crews and their corrected copies come to one record, in whatever order."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._history.deciding import correct, decide, rename, undo
from provenance._history.history import open_history
from provenance._intake.claims import Sameness
from provenance._intake.importing import PERHAPS_RENAMED, ImportResult
from provenance._record.package import Package, open_package
from tests.builders import a_package
from tests.intake.forms import bring_in, write_csv

CORES = """
title: core sheets (invented)
sources:
  - files: "*.csv"
    columns_left_out: [Page]
    rows:
      - table: sample
        when: Core
        values: {site_id: HOLL, kind: core}
        fields:
          sample_id: {column: Core}
          element_id: {column: Timber}
          rings_field: {column: Rings}
          notes: {column: Remarks}
      - table: plug
        when: Core
        values: {status: in_place}
        fields:
          plug_id: {column: Core}
          sample_id: {column: Core}
          stamp: {column: Core}
"""
HEADINGS = ("Page", "Core", "Timber", "Rings", "Remarks")
FIELDS = {"Timber": "element_id", "Rings": "rings_field", "Remarks": "notes"}
COMPARED = ("sample", "plug", "conflict", "former_key", "origin", "unread")
Sheet = Mapping[str, tuple[str, str, str]]
"""Core → timber, rings, remarks as written."""

sheets = st.dictionaries(
    st.sampled_from(("201", "202", "203")),
    st.tuples(
        st.sampled_from(("B1-1", "B1-2")),
        st.sampled_from(("", "88", "140")),
        st.sampled_from(("", "wane", "knot")),
    ),
    min_size=1,
)
crews = st.lists(st.lists(sheets, min_size=1, max_size=2), min_size=2, max_size=3)
"""What each crew hands in: its sheet and, perhaps, a corrected copy."""


@contextmanager
def a_record() -> Iterator[Package]:
    with tempfile.TemporaryDirectory() as folder:
        yield a_package(Path(folder)).package


def hand_in(package: Package, crew: int, version: int, sheet: Sheet) -> Path:
    # no two of them have the same bytes, which would be one file
    page = f"crew {crew}, {version}"
    lines = [
        dict(zip(HEADINGS, (page, core, *cells), strict=True)) for core, cells in sheet.items()
    ]
    return write_csv(package.folder.parent / f"{crew}-{version}.csv", lines, HEADINGS)


def read(package: Package, paths: Sequence[Path], same_as: Sameness) -> ImportResult:
    return bring_in(package, *paths, mapping=CORES, same_as=same_as)


def bring_all_in(
    package: Package,
    handed_in: Sequence[Sequence[Sheet]],
    chance: random.Random,
    between: Callable[[], None] = lambda: None,
) -> None:
    """Import the sheets in some order, several in one call where none is a corrected copy."""
    waiting = {crew: list(enumerate(versions)) for crew, versions in enumerate(handed_in)}
    codes: dict[int, str] = {}
    while waiting:
        crew = chance.choice(list(waiting))
        if crew in codes:
            version, sheet = waiting[crew].pop(0)
            path = hand_in(package, crew, version, sheet)
            result = read(package, [path], Sameness(replaces=codes[crew]))
            codes[crew] = result.originals[path.name]
        else:
            others = [one for one in waiting if one not in codes and chance.random() < 0.5]
            new = dict.fromkeys([crew, *others])
            paths = {one: hand_in(package, one, *waiting[one].pop(0)) for one in new}
            result = read(package, list(paths.values()), Sameness(new=True))
            codes |= {one: result.originals[path.name] for one, path in paths.items()}
        waiting = {one: left for one, left in waiting.items() if left}
        between()


def said(package: Package) -> dict[str, list[tuple[tuple[str, str], ...]]]:
    tables = open_package(package.folder).tables
    return {name: sorted(tuple(row.items()) for row in tables.rows(name)) for name in COMPARED}


def refuse_to_lose(package: Package, handed_in: Sequence[Sequence[Sheet]]) -> None:
    """What the newest copies say stands, is one side of a conflict, or a person decided against."""
    state = open_history(package).state
    told = {(c.table, c.row, c.field, claim.value) for c in state.conflicts for claim in c.claims}
    for versions in handed_in:
        for core, cells in versions[-1].items():
            for (_, field), text in zip(FIELDS.items(), cells, strict=True):
                if text:
                    shown = state.rows["sample"][core].get(field)
                    claims = state.said_of("sample", core, field)
                    refused = {one.value for one in claims if one.refused}
                    told_here = ("sample", core, field, text) in told
                    assert text in {shown, *refused} or told_here, (core, field)


@settings(max_examples=3)
@given(crews, st.randoms(use_true_random=False))
def test_the_order_and_grouping_of_imports_never_decides(
    handed_in: list[list[Sheet]], chance: random.Random
) -> None:
    found = []
    for _ in range(2):
        with a_record() as package:
            bring_all_in(package, handed_in, chance)
            refuse_to_lose(package, handed_in)
            found.append(said(package))
    assert found[0] == found[1]


@settings(max_examples=2)
@given(crews, st.randoms(use_true_random=False))
def test_what_a_person_corrects_in_between_is_never_reverted_and_can_be_undone(
    handed_in: list[list[Sheet]], chance: random.Random
) -> None:
    acts: list[str] = []
    with a_record() as package:

        def mend() -> None:
            if not acts and (
                there := open_package(package.folder).tables.column("sample", "sample_id")
            ):
                cells = correct("sample", there[0], {"rings_field": "99"})
                acts.extend([there[0], decide(package, cells, who="MB", why="recounted").act_id])

        bring_all_in(package, handed_in, chance, mend)
        refuse_to_lose(package, handed_in)
        state = open_history(package).state
        core, act = acts
        sides = {
            claim.value
            for one in state.conflicts
            if (one.row, one.field) == (core, "rings_field")
            for claim in one.claims
        }
        assert "99" in {state.rows["sample"][core]["rings_field"], *sides}
        decide(package, undo(act), who="MB")
        with a_record() as untouched:
            bring_all_in(untouched, handed_in, chance)
            assert said(package) == said(untouched)


def test_a_corrected_sheet_with_the_number_that_a_sample_was_given_means_that_sample(
    tmp_path: Path,
) -> None:
    package = a_package(tmp_path).package
    first = {"201": ("B1-1", "88", "wane"), "203": ("B1-2", "61", "knot, near end A")}
    code = read(package, [hand_in(package, 0, 0, first)], Sameness(new=True)).originals["0-0.csv"]
    decide(package, correct("sample", "203", {"rings_field": "62"}), who="MB", why="recounted")
    newer = {"201": first["201"], "205": first["203"]}
    sheet = hand_in(package, 0, 1, newer)
    # where nobody said that the row has another number now, it is asked
    result = read(package, [sheet], Sameness(replaces=code))
    assert (result.exit_code, result.conflicts, result.unread) == (1, (), 0)
    (asked,) = [one for one in result.findings if one.rule == PERHAPS_RENAMED]
    assert (asked.table, asked.value, asked.key) == ("sample", "203", "205")
    decide(package, undo(result.acts[sheet.name]), who="MB")

    for table in ("sample", "plug"):
        decide(package, rename(table, "203", "205"), who="MB", why="label misread")
    result = read(package, [sheet], Sameness(replaces=code))
    assert (result.added, result.removed, result.conflicts) == ({}, {}, ())
    rows = open_package(package.folder).tables.rows("sample")
    assert [(row["sample_id"], row["rings_field"]) for row in rows] == [
        ("201", "88"),
        ("205", "62"),
    ]
    # the old number goes on meaning it, too; a sheet with both means two things
    code = result.originals["0-1.csv"]
    both = {**first, "204": ("B1-1", "70", "")}
    result = read(package, [hand_in(package, 0, 2, both)], Sameness(replaces=code))
    assert (result.added, result.conflicts) == ({"sample": 1, "plug": 1}, ())
    both["205"] = ("B1-1", "140", "another core")
    result = read(package, [hand_in(package, 1, 0, both)], Sameness(new=True))
    assert "one_key_several_rows" in {one.kind for one in result.conflicts}
