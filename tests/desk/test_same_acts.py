"""What people do at the desk the command line can do, and the package is then the same bytes.

The commands and the pages share no code above the acts: each reads what was typed by itself.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import TreenailError
from provenance._cli import treenail
from provenance._history import deciding
from provenance._history.entering import enter_hand_edits
from tests.builders import a_package
from tests.desk.sitting import Sitting

TYPED = {
    "element": {
        "length_m": ["9 ft 6 in", "4.2", "4,10", "12' 6 1/2\"", "", "long"],
        "diameter_a1_cm": ["11 3/8 in", "21", ""],
        "shape": ["round", "Squared", "hexagonal", ""],
        "position_note": ['third from "north"', "a, b; c", "=1+1", ""],
        "recorded_on": ["2024-06-04", "4 June 2024", "2024-13-01"],
        "place_id": ["B1", "nowhere", ""],
    },
    "sample": {
        "bore_mm": ["5/8 in", "12.7", "0.5 in"],
        "element_id": ["B1-014", "B1-015", "B1-16"],
        "condition": ["whole", "broken", ""],
        "notes": ["naïve ☃", "two\nlines", ""],
    },
}
KEYS = {"element": ["B1-014", "B1-015", "B1-016"], "sample": ["231", "232", "B1-014"]}


def by_command(folder: Path, act: tuple[Any, ...]) -> bool:
    what, table, key, *rest = act
    if what == "cells":
        words = ["correct", folder, table, key, *(f"{name}={text}" for name, text in rest[0])]
    elif what == "new":
        own = f"{table}_id"
        cells = [f"{own}={key}", *(f"{name}={text}" for name, text in rest[0] if text)]
        words = ["add", folder, table, *cells]
    elif what == "undo":
        words = ["undo", folder, "last"]
    else:
        words = [what, folder, table, key, *rest]
    asked = ["change", *map(str, words), "--by", "MB", "--why", ""]
    result = CliRunner().invoke(treenail, asked)
    # the group leaves it to `main` to say what a person can mend
    assert result.exception is None or isinstance(result.exception, SystemExit | TreenailError)
    return result.exit_code in (0, 1) and not isinstance(result.exception, TreenailError)


def by_page(sitting: Sitting, act: tuple[Any, ...]) -> bool | None:
    """Whether it was done; None where a page shows no such row to do it with."""
    what, table, key, *rest = act
    at = f"/record/record/tables/{table}"
    sheet = sitting.client.get(f"{at}/rows").json()
    names = [one["name"] for one in sheet["columns"]]
    own = f"{table}_id"
    stands = {one[names.index(own)]: dict(zip(names, one, strict=True)) for one in sheet["rows"]}
    if what != "undo" and (key in stands) == (what == "new"):
        return None
    value: Any
    if what in ("cells", "new"):
        path, before = f"{at}/cells", stands.get(key, {})
        value = [
            {"key": key, "field": name, "before": before.get(name, ""), "after": text}
            for name, text in ([(own, key)] if what == "new" else []) + rest[0]
            if what == "cells" or text
        ]
    elif what == "undo":
        path, value = "/record/record/acts/undo", {"act": "last"}
    else:
        path, value = f"{at}/{what}", {"key": key, **({"new_key": rest[0]} if rest else {})}
    answer = sitting.client.post(path, json=value, headers=sitting.headers)
    assert answer.status_code in (200, 409, 422), answer.text
    return answer.status_code == 200


def an_act(table: str) -> st.SearchStrategy[tuple[Any, ...]]:
    key = st.sampled_from(KEYS[table])
    cell = st.sampled_from([(name, text) for name, all_ in TYPED[table].items() for text in all_])
    cells = st.lists(cell, min_size=1, max_size=4, unique_by=lambda one: one[0])
    whole = cells.map(lambda some: [*some, *NEEDED[table]]) if table in NEEDED else cells
    return st.one_of(
        st.tuples(st.just("cells"), st.just(table), key, cells),
        st.tuples(st.just("new"), st.just(table), key, whole),
        st.tuples(st.just("rename"), st.just(table), key, key),
        st.tuples(st.just("remove"), st.just(table), key),
        st.tuples(st.just("undo"), st.just(table), key),
    )


NEEDED = {
    "element": [("site_id", "HOLL"), ("function", "beam")],
    "sample": [("site_id", "HOLL"), ("kind", "core")],
}


@settings(max_examples=15)
@given(st.lists(st.sampled_from(sorted(TYPED)).flatmap(an_act), min_size=1, max_size=8))
def test_the_desk_and_the_command_line_make_the_same_package(acts: list[tuple[Any, ...]]) -> None:
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patched:
        patched.setattr(deciding, "moment_text", lambda: "2031-05-04T12:00:00Z")
        package = a_package(Path(folder)).with_chain().package
        enter_hand_edits(package)
        one = package.folder
        other = Path(shutil.copytree(one, Path(folder) / "desk" / "record"))
        sitting = Sitting(other.parent)
        for act in acts:
            if (done := by_page(sitting, act)) is not None:
                assert done == by_command(one, act), act
        sitting.desk.close()
        for path in sorted((one / "tables").iterdir()):
            assert (other / "tables" / path.name).read_bytes() == path.read_bytes(), path.name
