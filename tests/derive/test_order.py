"""The order of building in tables, and drawn: the lines say the steps, and no more."""

from __future__ import annotations

import random
from collections import defaultdict
from itertools import product
from pathlib import Path
from typing import Any

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._checks.check import check_package
from provenance._derive.dates.order import STEPS, TABLE, derive_building_order
from provenance._derive.figures.figures import figures
from provenance._derive.figures.order_layout import Laid, lay_out
from provenance._derive.summary import derive_package, derive_tables
from provenance._record.package import open_package
from tests.builders import a_package
from tests.derive.test_figures import PLACES, assert_legible, derived, texts

WALLS = [f"W{number}" for number in range(1, 8)]
RELATIONS = (
    "W2 abuts W1",
    "W3 bonded W2",
    "W4 cuts W3",
    "W4 abuts W1",
    "W5 abuts W6",
    "W6 abuts W5",
    "W7 rests_on W1",
)


def a_house(folder: Path, said: tuple[str, ...] = RELATIONS) -> Any:
    builder = a_package(folder).with_chain().with_row("lab_result")
    builder.with_row("episode", place_id="W4", certainty="certain", happened="1770")
    builder.with_bare_row(
        "felling", element_id="B1-014", tree_id="B1-014", place_id="W1", felled_from_year=1788
    )
    for wall in WALLS:
        builder.with_row("place", place_id=wall, kind="wall", parent_place_id="B1")
    for number, one in enumerate(said, start=1):
        place, kind, other = one.split()
        builder.with_bare_row(
            "relation",
            relation_id=f"R{number}",
            site_id="HOLL",
            place_id=place,
            relation_kind=kind,
            other_place_id=other,
        )
    return builder.package


def ordered(package: Any) -> tuple[dict[str, pl.DataFrame], tuple[str, ...]]:
    return derive_building_order(package, {"felling": package.tables["felling"]})


def test_the_tables_say_order_years_and_what_contradicts(tmp_path: Path) -> None:
    package = a_house(tmp_path)
    tables, said = ordered(package)
    years = ("built_from_year", "built_from_by", "from_place_id")
    years += ("built_to_year", "built_to_by", "to_place_id", "contradiction")
    rows = {row["place_id"]: row for row in tables[TABLE].iter_rows(named=True)}
    wood, document = (1788, "wood", "W1"), (1770, "document", "W4")
    assert {place: (row["build_id"], row["layer"]) for place, row in rows.items()} == {
        "W1": ("W1", 1),
        "W5": ("W5", 1),
        "W6": ("W5", 1),
        "W2": ("W2", 2),
        "W3": ("W2", 2),
        "W4": ("W4", 3),
    }
    for place in ("W1", "W2", "W3", "W4"):
        assert tuple(rows[place][one] for one in years) == (*wood, *document, "dates"), place
    assert rows["W5"]["contradiction"] == "loop"
    assert tables[STEPS].rows() == [("W1", "W2"), ("W2", "W4")]
    assert said == (
        "Two relations contradict each other: W5 abuts W6 (R5), W6 abuts W5 (R6).",
        "W1 was built before W4 or together with it (W4 abuts W1 (R4)), but W1 not before 1788 "
        "(oldest dated wood) and W4 not after 1770 (historical event).",
    )


def test_rows_in_another_order_give_the_same_bytes(tmp_path: Path) -> None:
    package = a_house(tmp_path)
    tables, said = ordered(package)
    for name in ("relation", "place"):
        path = package.table_path(name)
        head, *rows = path.read_text("utf-8").splitlines(keepends=True)
        path.write_text(head + "".join(reversed(rows)), "utf-8")
    again, same = ordered(open_package(package.folder))
    assert same == said
    assert {name: frame.write_csv() for name, frame in again.items()} == {
        name: frame.write_csv() for name, frame in tables.items()
    }


def test_an_older_package_has_no_order(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    gone = ("relation", TABLE, STEPS, "assumption", "tree_bound", "tree_bound_piece", "labor")
    for name in gone:
        (package.folder / "schemas" / f"{name}.json").unlink()
        package.table_path(name).unlink()
    older = open_package(package.folder)
    assert [
        one.message for one in check_package(older) if one.rule == "structure.rules_skipped"
    ] == []
    assert TABLE not in derive_package(older).tables
    assert figures_of_order(derive_tables(older)) == []


# -- drawn -----------------------------------------------------------------------------------------


def figures_of_order(made: Any, places: Any = PLACES) -> list[Any]:
    return [one for one in figures(made, places) if one.name == "building-order"]


def test_the_figure_says_codes_years_and_contradictions(tmp_path: Path) -> None:
    package = a_house(tmp_path)
    (figure,) = figures_of_order(derived([], order=ordered(package)[0]))
    shown = [one.text for one in texts(figure.sheet)]
    for words in ("W1", "not before 1788", "not after (1770)", "not before (1788)", "W6"):
        assert words in shown
    assert shown.count("dates contradict") == 3
    assert shown.count("earlier than itself") == 1
    assert "W2 with W3 (not before (1788), not after (1770), dates contradict)" in figure.words
    assert "n = 6 places in 4 boxes, 2 steps." in figure.sheet.description
    assert_legible(figure.sheet)


NAMES = st.sampled_from(["W1", "Wall " * 30, "木の家", "בית", "a\x1bb", "x"])


@settings(max_examples=15, deadline=None)
@given(st.integers(2, 60), st.integers(0, 10**6), NAMES)
def test_boxes_and_words_stay_legible(count: int, seed: int, name: str) -> None:
    draw = random.Random(seed)
    layers, steps = a_graph(count, draw)
    rows = [
        {
            "place_id": place,
            "build_id": code,
            "layer": layer,
            "built_from_year": draw.choice([None, 1700, -99]),
            "from_place_id": "W",
            "contradiction": draw.choice([None, None, "dates", "loop"]),
        }
        for code, layer in layers.items()
        for place in [code, *(f"{code}-{extra}" for extra in range(draw.choice([0, 0, 3])))]
    ]
    order = {
        TABLE: pl.DataFrame(rows).with_columns(
            built_to_year=pl.lit(None, pl.Int64), to_place_id=pl.lit(None, pl.String)
        ),
        STEPS: pl.DataFrame(
            steps, dict.fromkeys(("earlier_build_id", "later_build_id"), pl.String), orient="row"
        ),
    }
    names = type(PLACES)(dict.fromkeys(layers, name), {})
    (figure,) = figures_of_order(derived([], order=order), names)
    assert_legible(figure.sheet)
    assert all(any(one.text.startswith(code) for one in texts(figure.sheet)) for code in layers)


def a_graph(count: int, draw: random.Random) -> tuple[dict[str, int], list[tuple[str, str]]]:
    """Layers and steps as an order of about that many builds has them."""
    codes = [f"B{number:02}" for number in range(count)]
    layers = {codes[0]: 1}
    steps = []
    for number, code in enumerate(codes[1:], start=1):
        below = draw.sample(
            codes[max(0, number - 9) : number], min(number, draw.choice([0, 1, 1, 2]))
        )
        steps += [(one, code) for one in below]
        layers[code] = 1 + max((layers[one] for one in below), default=0)
    return layers, steps


def test_lines_lead_from_box_to_box_exactly_as_the_steps_say() -> None:
    """The drawing is read back as a person reads it: along the lines, parting at dots alone."""
    for seed in range(12):
        layers, steps = a_graph(4 + 4 * seed, random.Random(seed))
        heights = {code: 8.0 + 3 * (number % 3) for number, code in enumerate(layers)}
        laid = lay_out(layers, steps, heights, 27.0, 182.0)
        assert laid is not None
        assert laid.width <= 182.0
        assert read_back(laid) == set(steps), seed
        for one, other in steps:
            assert laid.boxes[one][1] + laid.boxes[one][3] < laid.boxes[other][1]
        for (ax, ay, aw, ah), (bx, by, bw, bh) in product(laid.boxes.values(), repeat=2):
            same = (ax, ay) == (bx, by)
            assert same or ax + aw <= bx or bx + bw <= ax or ay + ah <= by or by + bh <= ay


def read_back(laid: Laid) -> set[tuple[str, str]]:
    parts = [tuple(sorted(line)) for line in laid.lines if line[0] != line[1]]
    home = list(range(len(parts)))

    def end_of(number: int) -> int:
        while home[number] != number:
            number = home[number]
        return number

    for one, other in product(range(len(parts)), repeat=2):
        ends = [point for point in parts[one] if on(point, parts[other])]
        if one != other and ends:
            # a line that ends on the middle of another has its dot there
            middle = [point for point in ends if point not in parts[other]]
            assert all(any(near(point, dot) for dot in laid.dots) for point in middle)
            home[end_of(one)] = end_of(other)
    trunks: dict[int, tuple[set[str], set[str]]] = defaultdict(lambda: (set(), set()))
    for number, ((x0, y0), (x1, y1)) in enumerate(parts):
        for code, (left, bottom, width, height) in laid.boxes.items():
            across = left < max(x0, x1) and min(x0, x1) < left + width
            inside = bottom < max(y0, y1) - 1e-6 and min(y0, y1) + 1e-6 < bottom + height
            assert not (across and inside), "a line runs through a box"
            below, above = trunks[end_of(number)]
            for x, y in ((x0, y0), (x1, y1)):
                if left <= x <= left + width and abs(y - bottom - height) < 1e-6:
                    below.add(code)
                if left <= x <= left + width and abs(y - bottom) < 1e-6:
                    above.add(code)
    assert all(len(below) == 1 for below, _ in trunks.values())
    return {(one, other) for below, above in trunks.values() for one in below for other in above}


def near(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return abs(one[0] - other[0]) < 1e-6 and abs(one[1] - other[1]) < 1e-6


def on(point: tuple[float, float], line: Any) -> bool:
    (x0, y0), (x1, y1) = line
    x, y = point
    level = abs(y0 - y1) < 1e-9 and abs(y - y0) < 1e-6 and x0 - 1e-6 <= x <= x1 + 1e-6
    upright = abs(x0 - x1) < 1e-9 and abs(x - x0) < 1e-6
    return level or (upright and min(y0, y1) - 1e-6 <= y <= max(y0, y1) + 1e-6)
