"""Rows walked a stretch at a time."""

from __future__ import annotations

import pandas as pd
import pytest

from provenance._base.frames import row_tuples


@pytest.mark.parametrize("count", [0, 1, 20_000, 20_001, 45_000])
def test_no_row_is_lost_where_one_stretch_ends_and_the_next_begins(count) -> None:
    frame = pd.DataFrame({"a": [str(number) for number in range(count)], "b": range(count)})
    assert list(row_tuples(frame, ["b", "a"])) == [(number, str(number)) for number in range(count)]
