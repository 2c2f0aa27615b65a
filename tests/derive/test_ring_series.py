"""Ring widths in plain tables: however the table is laid out, they come to the same."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from provenance._base.frames import to_pandas
from provenance._derive.dates.ring_series import derive_ring_series
from tests.builders import a_package

COMPARED = ["ring_count", "missing_ring_count", "mean_width_mm", "sd_width_mm", "mean_sensitivity"]


def summed_up_by_pandas(widths: pd.Series) -> list[float]:
    """The sums by another library; mean sensitivity as in Fritts 1976 (from memory)."""
    pair_sum, pair_difference = widths + widths.shift(), widths.diff()
    changes = (2 * pair_difference / pair_sum).abs()[pair_sum > 0]
    return [len(widths), (widths == 0).sum(), widths.mean(), widths.std(), changes.mean()]


def test_long_and_wide_tables_in_any_unit_come_to_what_pandas_makes_of_them(tmp_path) -> None:
    random = np.random.default_rng(5)
    truth = pd.DataFrame(
        {"231": random.gamma(4, 30, 80).round(), "307": random.gamma(4, 30, 80).round()},
        index=pd.RangeIndex(1702, 1782, name="year"),
    )
    truth.loc[[1710, 1711], "231"] = 0
    truth.loc[:1719, "307"] = np.nan
    builder = a_package(tmp_path).with_chain().with_row("sample", sample_id="307")
    files = builder.package.folder / "files"
    long = truth.melt(ignore_index=False, var_name="Sample").dropna().sample(frac=1, random_state=1)
    long.rename(columns={"value": "Ring width [1/100 mm]"}).to_csv(files / "long.csv")
    # as a program of another country writes it, by the text of the label
    named = truth.rename(columns={"231": "231-JV"}) / 100
    named.to_csv(files / "wide.txt", sep=";", decimal=",")
    (truth * 10).to_excel(files / "book.xlsx", sheet_name="Widths")
    own = truth["307"].dropna().rename("width_um") * 10
    own.to_csv(files / "own.tsv", sep="\t")
    titles = {"wide.txt": "Widths in mm", "book.xlsx": "Widths in 1/1000 mm"}
    for name in ("long.csv", "wide.txt", "book.xlsx", "own.tsv"):
        builder.with_row("file", file_id=name, path=f"files/{name}", kind="ring_widths",
                         title=titles.get(name), about_table="sample", about_id="307")  # fmt: skip
    found = to_pandas(derive_ring_series(builder.package))
    assert sorted(zip(found["file_id"], found["sample_id"], strict=True)) == [
        ("book.xlsx", "231"), ("book.xlsx", "307"), ("long.csv", "231"), ("long.csv", "307"),
        ("own.tsv", "307"), ("wide.txt", "231"), ("wide.txt", "307"),
    ]  # fmt: skip
    assert not found["year_gap_count"].any()
    for _, row in found.iterrows():
        widths = truth[row["sample_id"]].dropna() / 100
        assert (row["inner_year"], row["outer_year"]) == (widths.index[0], widths.index[-1])
        assert list(row[COMPARED]) == pytest.approx(summed_up_by_pandas(widths)), row["file_id"]


def test_what_is_worked_out_by_hand(tmp_path) -> None:
    """1, 2, (no width), 3, 0, 0 in mm: changes |2·1/3| and |2·(-3)/3| = 2, mean 4/3; mean 6/5."""
    builder = a_package(tmp_path).with_chain()
    text = "ring,width_mm\n1,1\n2,2\n4,3\n5,0\n6,0\n"
    (builder.package.folder / "files" / "a.csv").write_text(text)
    builder.with_row("file", path="files/a.csv", kind="ring_widths", about_table="sample",
                     about_id="231")  # fmt: skip
    (row,) = derive_ring_series(builder.package).rows(named=True)
    assert row["mean_sensitivity"] == pytest.approx(4 / 3)
    assert row["mean_width_mm"] == pytest.approx(1.2)
    assert (row["inner_year"], row["outer_year"], row["ring_count"]) == (None, None, 5)
    assert (row["missing_ring_count"], row["year_gap_count"]) == (2, 1)
