"""Two states of one record are told apart row by row, as an independent count has it."""

from __future__ import annotations

import csv
import io
import json
import shutil
import time
from pathlib import Path

import pandas as pd
import polars as pl
import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnusableInput
from provenance._bundle.describe.editions import PUBLIC
from provenance._cli import treenail
from provenance._compare.compare import compare
from provenance._compare.difference import FIELD, NEW, NTH, TableDifference
from provenance._compare.report import (
    difference_csv,
    difference_html,
    difference_json,
    difference_text,
)
from provenance._compare.rows import compare_rows, numbered
from provenance._ledger.custody import append_events, seal_typed
from provenance._ledger.seals import FILLED_IN
from provenance._model.schema import Table
from provenance._record.package import Package, open_package
from tests.builders import SOUND, PackageBuilder, a_package, pack_bundle, unpack_bundle
from tests.bundle.conftest import LEDGER


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


def a_copy(package: Package, folder: Path) -> Package:
    shutil.copytree(package.folder, folder)
    return open_package(folder)


def the_table(found: object, name: str) -> TableDifference:
    return next(one for one in found.tables if one.table == name)  # type: ignore[attr-defined]


# -- laws ----------------------------------------------------------------------------------------

TEXT = st.text(alphabet="ab\n'\",=é ", max_size=3)


@st.composite
def a_state(draw: st.DrawFn) -> pl.DataFrame:
    """Rows of a table with a key, perhaps twice the same, and one to three other columns."""
    columns = ["id", *draw(st.lists(st.sampled_from(["x", "y", "z"]), unique=True, min_size=1))]
    rows = draw(st.lists(st.tuples(*[TEXT] * len(columns)), max_size=6))
    return pl.DataFrame(rows, schema=dict.fromkeys(columns, pl.String), orient="row")


WOOD = Table("wood", "Wood", "", "", 1, {}, (), ("id",))


def difference(old: pl.DataFrame, new: pl.DataFrame) -> TableDifference:
    return compare_rows(WOOD, old, new, bytes_same=False)


def as_multiset(frame: pl.DataFrame) -> list[tuple[tuple[str, str], ...]]:
    return sorted(tuple(sorted(row.items())) for row in frame.to_dicts())


@given(a_state())
def test_nothing_differs_from_itself(state: pl.DataFrame) -> None:
    assert difference(state, state).same


@given(a_state(), a_state())
def test_the_other_way_round_what_was_added_is_withdrawn(
    old: pl.DataFrame, new: pl.DataFrame
) -> None:
    there, back = difference(old, new), difference(new, old)
    assert there.added.equals(back.withdrawn)
    assert there.withdrawn.equals(back.added)
    swapped = back.changed.rename({"old": "new", "new": "old"}).select(there.changed.columns)
    assert as_multiset(swapped) == as_multiset(there.changed)
    assert there.columns_added == back.columns_removed


def apply_difference(old: pl.DataFrame, found: TableDifference) -> pl.DataFrame:
    """The new state of a table, made from the old one and the difference.

    The columns are those of the new state; rows that stayed are in the old order, added ones are
    behind. That this gives the new state again is what makes a difference complete.
    """
    on = [*found.primary_key, NTH]
    rows = numbered(old, found.primary_key)
    rows = rows.join(found.withdrawn, on=on, how="anti", maintain_order="left")
    blank = [pl.lit("").alias(one) for one in found.columns_added]
    rows = rows.with_columns(blank).drop(found.columns_removed, strict=False)
    for (name,), cells in found.changed.group_by(FIELD, maintain_order=True):
        if str(name) in found.columns_removed:
            continue
        now = cells.select(*on, NEW)
        rows = (
            rows.join(now, on=on, how="left", maintain_order="left")
            .with_columns(pl.coalesce(NEW, str(name)).alias(str(name)))
            .drop(NEW)
        )
    columns = found.added.columns
    return pl.concat([rows.select(columns), found.added.select(columns)]).drop(NTH)


@given(a_state(), a_state())
def test_the_old_rows_with_the_difference_applied_are_the_new_rows(
    old: pl.DataFrame, new: pl.DataFrame
) -> None:
    made = apply_difference(old, difference(old, new))
    assert made.columns == new.columns
    assert as_multiset(made) == as_multiset(new)


@given(a_state(), a_state())
def test_rows_are_counted_as_pandas_counts_them(old: pl.DataFrame, new: pl.DataFrame) -> None:
    """The reference is `DataFrame.merge(indicator=True)` and `DataFrame.compare` of pandas."""
    found = difference(old, new)
    frames = []
    for frame in (old, new):
        one = pd.DataFrame(frame.to_dicts(), columns=frame.columns, dtype=object)
        one["nth"] = one.groupby("id", dropna=False).cumcount()
        frames.append(one.set_index(["id", "nth"]))
    keys = [one.index.to_frame(index=False) for one in frames]
    merged = keys[0].merge(keys[1], how="outer", indicator=True)["_merge"].value_counts()
    assert len(found.added) == merged["right_only"]
    assert len(found.withdrawn) == merged["left_only"]
    both = frames[0].index.intersection(frames[1].index)
    columns = sorted(set(frames[0]) | set(frames[1]))
    aligned = [one.loc[both].reindex(columns=columns, fill_value="") for one in frames]
    cells = int((aligned[0] != aligned[1]).to_numpy().sum())
    assert len(found.changed) == cells
    if cells:
        assert found.changed_rows == len(aligned[0].compare(aligned[1]))


# -- a record ------------------------------------------------------------------------------------


def test_a_bundle_its_zip_and_its_package_say_the_same(pristine: Path) -> None:
    for new in ("bundle.zip", "holl"):
        assert compare(pristine / "bundle", pristine / new).same
    result = run("compare", pristine / "bundle", pristine / "bundle.zip")
    assert (result.exit_code, "nothing of the record differs" in result.stdout) == (0, True)


def test_what_came_changed_and_went_is_named(
    pristine: Path, package: Package, tmp_path: Path
) -> None:
    PackageBuilder(package).with_row("sample", sample_id="232").with_row(
        "plug", plug_id="P-232", sample_id="232", stamp="232"
    )
    elements = package.table("element")
    elements.loc[2, "length_m"] = "4.25"
    package.write_table("element", elements)
    package.write_table("tie", package.table("tie").iloc[0:0])
    (package.folder / "files" / "photo-001.png").rename(package.folder / "files" / "beam.png")
    (package.folder / "files" / "plan.svg").write_text("<svg/>", encoding="utf-8")
    found = compare(pristine / "bundle.zip", pack_bundle(package, tmp_path / "b"))
    assert the_table(found, "sample").added["sample_id"].to_list() == ["232"]
    assert the_table(found, "tie").withdrawn["tie_id"].to_list() == ["T1"]
    changes = list(the_table(found, "element").changes())
    assert changes == [("B1-014", "length_m", "4.2", "4.25")]
    assert found.files.added == ("files/plan.svg",)
    assert found.files.renamed == {"files/photo-001.png": "files/beam.png"}
    assert found.files.removed == ()
    assert found.broken_numbers == ()
    text = difference_text(found)
    for said in ("+ 232", "- T1", "~ B1-014: length_m '4.2' -> '4.25'", "= files/photo-001.png ->"):
        assert said in text
    assert "rows: 2 added, 1 changed, 1 withdrawn" in text


def test_csv_and_json_agree_with_set_arithmetic_on_the_files(
    pristine: Path, package: Package, tmp_path: Path
) -> None:
    """The reference reads both tables with the csv module and takes sets apart."""
    builder = PackageBuilder(package)
    for number in range(300, 320):
        builder.with_row("sample", sample_id=str(number), notes=f"line\n{number}, =1+1")
    samples = package.table("sample")
    samples.loc[samples["sample_id"] == "231", "length_mm"] = "99"
    package.write_table("sample", samples)

    def rows(folder: Path) -> dict[str, dict[str, str]]:
        text = (folder / "tables" / "sample.csv").read_text("utf-8")
        return {row["sample_id"]: row for row in csv.DictReader(io.StringIO(text, newline=""))}

    old, new = rows(pristine / "holl"), rows(package.folder)
    found = compare(pristine / "holl", package.folder)
    lines = list(csv.DictReader(io.StringIO(difference_csv(found), newline="")))
    assert {one["key"] for one in lines if one["what"] == "added"} == set(new) - set(old)
    changed = {
        (key, field, old[key][field], new[key][field])
        for key in set(old) & set(new)
        for field in new[key]
        if old[key][field] != new[key][field]
    }
    named = {(c["key"], c["field"], c["old"], c["new"]) for c in lines if c["what"] == "changed"}
    assert named == changed
    document = json.loads(difference_json(found))
    (table,) = [one for one in document["tables"] if one["table"] == "sample"]
    assert {row["sample_id"]: row for row in table["added"]} == {
        key: new[key] for key in set(new) - set(old)
    }


def test_a_column_that_a_newer_profile_adds_is_named(package: Package, tmp_path: Path) -> None:
    older = a_copy(package, tmp_path / "older")
    frame = package.table("sample")
    frame["smell"] = ["resin"]
    package.write_table("sample", frame)
    found = the_table(compare(older.folder, package.folder), "sample")
    assert found.columns_added == ("smell",)
    assert list(found.changes()) == [("231", "smell", "", "resin")]


def test_rows_in_another_order_are_no_difference_and_it_is_said(
    package: Package, tmp_path: Path
) -> None:
    older = a_copy(package, tmp_path / "older")
    package.write_table("party", package.table("party").iloc[::-1])
    found = compare(older.folder, package.folder)
    assert found.same
    assert the_table(found, "party").rewritten
    assert "another order" in difference_text(found)


def test_a_table_that_only_one_has_is_named(package: Package, tmp_path: Path) -> None:
    older = a_copy(package, tmp_path / "older")
    # a table that no other one links to, as schemas must not
    (older.folder / "schemas" / "tree_bound_piece.json").unlink()
    (older.folder / "tables" / "tree_bound_piece.csv").unlink()
    found = compare(open_package(older.folder).folder, package.folder)
    assert the_table(found, "tree_bound_piece").presence == "new"
    assert "only in the new one" in difference_text(found)


# -- ledger --------------------------------------------------------------------------------------


def test_events_added_to_the_ledger_are_no_rewriting(package: Package, tmp_path: Path) -> None:
    older = a_copy(package, tmp_path / "older")
    append_events(package, LEDGER.tail(1))
    ledger = compare(older.folder, package.folder).ledger
    assert ledger is not None
    assert (ledger.state, ledger.old_count, ledger.new_count) == ("appended", 3, 4)


def test_a_ledger_sealed_anew_after_a_change_is_history_rewritten(
    package: Package, tmp_path: Path
) -> None:
    """Each ledger by itself is sound, so only the comparison can tell."""
    older = a_copy(package, tmp_path / "older")
    package.write_table("custody", package.table("custody").iloc[0:0])
    forged = LEDGER.copy()
    forged.loc[1, "happened_on"] = "2024-06-14"
    append_events(package, pd.concat([forged, LEDGER.tail(1)]))
    found = compare(older.folder, package.folder)
    assert found.ledger is not None
    assert (found.ledger.state, found.ledger.place) == ("rewritten", 2)
    assert "HISTORY WAS REWRITTEN: from event 2" in difference_text(found)
    assert "HISTORY WAS REWRITTEN" in difference_html(found)
    assert "rewritten,custody,2" in difference_csv(found)


def test_a_ledger_that_lacks_its_end_is_history_cut_off(package: Package, tmp_path: Path) -> None:
    older = a_copy(package, tmp_path / "older")
    package.write_table("custody", package.table("custody").head(2))
    assert "HISTORY WAS CUT OFF" in difference_text(compare(older.folder, package.folder))


def test_sealing_what_was_not_sealed_is_no_rewriting(package: Package, tmp_path: Path) -> None:
    ledger = package.table("custody")
    ledger.loc[4, list(FILLED_IN)] = ""
    package.write_table("custody", ledger)
    older = a_copy(package, tmp_path / "older")
    seal_typed(package)
    append_events(package, LEDGER.tail(1))
    found = compare(older.folder, package.folder).ledger
    assert found is not None
    assert found.state == "appended"


# -- numbers -------------------------------------------------------------------------------------


def test_a_number_that_is_gone_or_given_to_other_wood_is_named(
    package: Package, tmp_path: Path
) -> None:
    older = a_copy(package, tmp_path / "older")
    PackageBuilder(package).with_row("element", element_id="B1-015")
    samples = package.table("sample")
    samples["element_id"] = "B1-015"
    package.write_table("sample", samples)
    package.write_table("plug", package.table("plug").iloc[0:0])
    found = compare(older.folder, package.folder)
    assert found.broken_numbers == (
        "231 of 'sample' had the element_id B1-014 and has B1-015 now; one number would mean two "
        "things",
        "P-231 of 'plug' is gone; a number is never taken back",
    )
    assert "NUMBERS BROKEN (2)" in difference_text(found)


# -- what is compared ----------------------------------------------------------------------------


def test_records_of_different_sites_are_said_to_be_that(package: Package, tmp_path: Path) -> None:
    other = (
        a_package(tmp_path / "other").with_row("site", site_id="FERN", name="Fern Low (invented)")
    ).package
    found = compare(package.folder, other.folder)
    assert (found.kind, found.tables, found.same) == ("other_site", (), False)
    assert "different sites: HOLL and FERN" in difference_text(found)
    assert run("compare", package.folder, other.folder).exit_code == 1


def test_a_full_edition_against_a_public_one_is_said_to_be_that(
    package: Package, pristine: Path, tmp_path: Path
) -> None:
    public = pack_bundle(package, tmp_path / "public", edition=PUBLIC)
    found = compare(pristine / "bundle", public)
    assert (found.kind, found.same, found.ledger) == ("editions", False, None)
    assert "withheld on purpose" in difference_text(found)
    assert "keep it where the full edition is kept" in difference_html(found)
    assert found.broken_numbers == ()


def test_a_bundle_says_that_it_goes_on_from_the_other(pristine: Path, tmp_path: Path) -> None:
    package = unpack_bundle(pristine / "bundle.zip", tmp_path / "back")
    append_events(package, LEDGER.tail(1))
    newer = pack_bundle(package, tmp_path / "newer")
    assert compare(pristine / "bundle", newer).lineage == "forward"
    back = compare(newer, pristine / "bundle")
    assert back.lineage == "backward"
    assert "in the wrong order" in difference_text(back)


def test_what_is_damaged_or_nothing_at_all_cannot_be_compared(
    bundle: Path, pristine: Path, tmp_path: Path
) -> None:
    path = bundle / "data" / "tables" / "plug.csv"
    path.write_text(path.read_text("utf-8").replace("P-231", "P-281"), encoding="utf-8")
    with pytest.raises(UnusableInput, match=r"data/tables/plug\.csv is not what was packed"):
        compare(pristine / "bundle", bundle)
    with pytest.raises(UnusableInput, match="is not there"):
        compare(pristine / "bundle", tmp_path / "nowhere.zip")


def test_hostile_text_is_shown_as_text(package: Package, tmp_path: Path) -> None:
    older = a_copy(package, tmp_path / "older")
    samples = package.table("sample")
    samples["notes"] = "\x1b[2J<script>alert(1)</script>\u202e\nrows: 7 forged"
    package.write_table("sample", samples)
    found = compare(older.folder, package.folder)
    text, page = difference_text(found), difference_html(found)
    assert "\x1b" not in text
    assert "\u202e" not in text + page
    assert "\nrows: 7 forged" not in text
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


def test_the_command_writes_every_format(package: Package, tmp_path: Path) -> None:
    older = a_copy(package, tmp_path / "older")
    PackageBuilder(package).with_row("sample", sample_id="232")
    for shape in ("text", "json", "html", "csv"):
        out = tmp_path / f"difference.{shape}"
        arguments = ("compare", older.folder, package.folder, "--format", shape, "--out", out)
        assert run(*arguments).exit_code == 1
        assert "232" in out.read_text("utf-8")


def test_a_long_list_is_cut_with_a_loud_word(package: Package, tmp_path: Path) -> None:
    older = a_copy(package, tmp_path / "older")
    builder = PackageBuilder(package)
    for number in range(300, 330):
        builder.with_row("sample", sample_id=str(number))
    found = compare(older.folder, package.folder)
    assert "... and 10 MORE" in difference_text(found, most=20)
    assert "MORE" not in difference_text(found, most=0)
    assert "Only the first 5 of 30" in difference_html(found, most=5)


def test_a_hundred_thousand_rows_take_seconds() -> None:
    """A bound that a row-by-row comparison in Python would not meet on any machine by far."""
    count = 100_000
    old = pl.DataFrame({"id": [str(n) for n in range(count)]}).with_columns(
        [pl.col("id").alias(f"field_{n}") for n in range(20)]
    )
    new = old.with_columns(field_3=pl.col("id") + "a").slice(1000)
    started = time.process_time()
    found = difference(old, new)
    assert (len(found.withdrawn), found.changed_rows, NTH in found.changed.columns) == (
        1000,
        count - 1000,
        True,
    )
    assert time.process_time() - started < 20


def test_every_sound_row_can_be_compared(tmp_path: Path) -> None:
    """No table of the schema lacks the column its rows are known by."""
    builder = a_package(tmp_path)
    for table in SOUND:
        builder.with_row(table)
    assert compare(builder.package.folder, builder.package.folder).same
