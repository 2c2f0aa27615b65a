"""The sentences on a place and a piece of wood, held against the tables they follow from."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._derive.story import Story
from provenance._model.notation import write_year
from provenance._record.package import Package
from tests.builders import a_package

Rows = dict[str, list[dict[str, Any]]]

PLACES = [
    {"place_id": "B1", "site_id": "S", "parent_place_id": None, "name": "North house"},
    {"place_id": "R1", "site_id": "S", "parent_place_id": "B1", "name": "Kitchen"},
    {"place_id": "B2", "site_id": "S", "parent_place_id": None, "name": "Barn"},
    {"place_id": "W1", "site_id": "S", "parent_place_id": "B1", "name": "East wall"},
    {"place_id": "W2", "site_id": "S", "parent_place_id": "B1", "name": None},
]
COLUMNS: dict[str, tuple[str, ...]] = {
    "place": ("place_id", "site_id", "parent_place_id", "name"),
    "episode": (
        *("episode_id", "site_id", "place_id", "kind", "title", "happened", "certainty"),
        "source",
    ),
    "felling": (
        *("element_id", "tree_id", "place_id", "dated_count", "felled_from_year"),
        *("felled_to_year", "felling_class", "felling_season", "felled_by", "disagreement"),
        *("candidate", "candidate_by"),
    ),
    "phase": (
        *("phase_id", "site_id", "place_id", "first_year", "last_year", "piece_count"),
        *("tree_count", "narrow_count", "near_count", "decisive_count", "narrower_count"),
        *("wider_count", "window_years", "least_pieces", "least_narrow", "narrow_years"),
    ),
    "phase_piece": ("phase_id", "element_id", "decisive"),
    "phase_place": (
        *("place_id", "site_id", "dated_tree_count", "cutting_tree_count", "near_tree_count"),
        *("range_tree_count", "open_tree_count", "phase_count", "agreeing_count"),
        *("agreeing_cutting_count", "met_from_year", "met_to_year", "window_years"),
        *("least_pieces", "least_narrow", "narrow_years"),
    ),
    "phase_event": (
        *("comparison_id", "phase_id", "episode_id", "place_id", "agreement", "years_after"),
    ),
    "tree_bound": (
        *("bound_id", "place_id", "phase_id", "species", "bound", "trees", "trees_low"),
        *("trees_high", "bound_reason", "piece_count", "at_diameter_cm", "log_length_m"),
        *("assumption_id", "end_error_cm", "end_error_assumption_id"),
        "between_trees_assumption_id",
    ),
    "tree_bound_piece": ("bound_id",),
    "build_order": (
        *("place_id", "build_id", "layer", "built_from_year", "built_from_by", "from_place_id"),
        *("built_to_year", "built_to_by", "to_place_id", "contradiction"),
    ),
    "build_order_edge": ("earlier_build_id", "later_build_id"),
    "architecture": ("place_id", "construction", "bonding", "roof_type", "floor_type"),
    "tree_age": ("tree_id", "building_id", "species", "age_from_years", "age_to_years"),
    "size": ("element_id", "low_taper", "stem_left_m"),
}
WHOLE = ("_year", "_count", "_years", "layer", "least_pieces", "least_narrow", "_after")
FLOATS = {
    "stem_left_m",
    "trees",
    "trees_low",
    "trees_high",
    "at_diameter_cm",
    "log_length_m",
    "end_error_cm",
}


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Package:
    return a_package(tmp_path_factory.mktemp("story")).package


def story_of(package: Package, rows: Rows) -> Story:
    """The story of tables with just these rows; what is not said in a row is blank."""
    frames = {}
    for name, columns in COLUMNS.items():
        schema = {
            one: pl.Float64()
            if one in FLOATS
            else pl.Int64()
            if one.endswith(WHOLE)
            else pl.String()
            for one in columns
        }
        frames[name] = pl.DataFrame(
            [dict.fromkeys(columns) | row for row in rows.get(name, [])], schema
        )
    return Story(package, frames)


RULE = {"window_years": 3, "least_pieces": 3, "least_narrow": 2, "narrow_years": 10}
COUNTS = {
    "dated_tree_count": 14,
    "cutting_tree_count": 9,
    "near_tree_count": 0,
    "range_tree_count": 4,
    "open_tree_count": 1,
}
PHASE = {
    "phase_id": "B1-1741",
    "site_id": "S",
    "place_id": "B1",
    "first_year": 1741,
    "last_year": 1743,
    "piece_count": 13,
    "tree_count": 12,
    "narrow_count": 9,
    "near_count": 2,
    "decisive_count": 1,
    "narrower_count": 0,
    "wider_count": 15,
    **RULE,
}
HOUSE: Rows = {
    "place": PLACES,
    "phase": [PHASE, PHASE | {"phase_id": "R1-1760", "place_id": "R1", "first_year": 1760,
                              "last_year": 1760, "tree_count": 4}],
    "phase_place": [{"place_id": "B1", "phase_count": 1, **COUNTS, **RULE}],
    "phase_piece": [
        {"phase_id": "B1-1741", "element_id": "W1", "decisive": "yes"},
        {"phase_id": "B1-1741", "element_id": "W2", "decisive": "no"},
    ],
    "phase_event": [
        {"comparison_id": "1", "phase_id": "B1-1741", "episode_id": "E1", "place_id": "B1",
         "agreement": "fits", "years_after": 2},
        {"comparison_id": "2", "episode_id": "E2", "place_id": "B1", "agreement": "silent"},
    ],
    "episode": [
        {"episode_id": "E1", "site_id": "S", "place_id": "B1", "kind": "repaired",
         "title": "Roof renewed.", "happened": "1745", "certainty": "certain",
         "source": "Parish book (invented)"},
        {"episode_id": "E2", "site_id": "S", "place_id": "B1", "kind": "burned",
         "happened": "1801/..", "title": "Fire"},
    ],
    "felling": [
        {"element_id": "W1", "tree_id": "W1", "place_id": "R1", "dated_count": 2,
         "felled_from_year": 1741, "felled_to_year": 1742, "felling_class": "cutting",
         "felling_season": "winter", "felled_by": "last_ring"},
        {"element_id": "W2", "tree_id": "W1", "place_id": "R1", "dated_count": 0,
         "felled_from_year": 1741, "felled_to_year": 1742, "felling_class": "cutting"},
        {"element_id": "W3", "tree_id": "W3", "place_id": "B1", "dated_count": 1,
         "felled_from_year": 1688, "felled_to_year": 1689, "felling_class": "cutting",
         "candidate": "reuse", "candidate_by": "dates;empty_joints"},
        {"element_id": "W4", "tree_id": "W4", "place_id": "B1", "disagreement": "samples",
         "felling_class": "not_known"},
    ],
    "tree_bound": [
        {"bound_id": "1", "place_id": "B1", "bound": "lower", "trees": 5.0, "piece_count": 14,
         "bound_reason": "overlap", "at_diameter_cm": 18.5, "end_error_cm": 1.0},
        {"bound_id": "2", "place_id": "B1", "bound": "upper", "trees": 12.0},
        {"bound_id": "3", "place_id": "B1", "phase_id": "B1-1741", "bound": "lower", "trees": 4.0},
        {"bound_id": "4", "place_id": "B1", "phase_id": "B1-1741", "bound": "upper", "trees": 11.0},
    ],
    "build_order": [
        {"place_id": "R1", "build_id": "R1", "layer": 1, "built_from_year": 1741,
         "built_from_by": "phase", "from_place_id": "B1"},
        {"place_id": "W1", "build_id": "W1", "layer": 2, "built_to_year": 1802,
         "built_to_by": "document", "to_place_id": "W1"},
        {"place_id": "W2", "build_id": "W1", "layer": 2, "built_to_year": 1802},
    ],
    "build_order_edge": [{"earlier_build_id": "R1", "later_build_id": "W1"}],
    "architecture": [{"place_id": "R1", "floor_type": "flagstone"},
                     {"place_id": "B1", "construction": "log"}],
    "tree_age": [
        {"building_id": "B1", "species": "PIPO", "age_from_years": 90, "age_to_years": 93},
        {"building_id": "B1", "species": "PIPO", "age_from_years": 71},
        {"building_id": "B1", "age_from_years": 60},
    ],
    "size": [{"element_id": "W3", "low_taper": "yes", "stem_left_m": 2.5}],
}  # fmt: skip


def test_a_house_is_told_as_its_tables_have_it(package: Package) -> None:
    story = story_of(package, HOUSE)
    told = story.of_place("B1")
    assert told == [
        "Dated here: 14 trees (9 with a cutting date; 4 with a range of years). Of 1 of them only "
        "an earliest or a latest year of felling is known.",
        "The rule for a felling phase: at least 3 trees that can have been felled within 3 years, "
        "2 of them dated to within 10 years.",
        "Felling phase 1741 to 1743: 12 trees (13 pieces of wood) can have been felled between "
        "1741 and 1743. 9 of them are dated to within 10 years. 2 rest on an assumption of how "
        "many rings a near-cutting date lacks. Without W1 it would not be found. With a window of "
        "one year it is not found; with one two years wider it has 15 trees. Pieces that nobody "
        "said to be of one tree count as trees of their own here; their diameters, lengths and "
        "years allow 4 to 11 trees.",
        "Documented, and fits the phase: Roof renewed, 1745 (repaired, certain; Parish book "
        "(invented)), 2 years after it.",
        "Felling phases of its parts alone: Kitchen 1760 (4 trees).",
        "Documented events that no phase corresponds to: Fire, 1801 or later (burned).",
        "Candidates only, not findings. May be reused wood: W3 (felled in 1688 or 1689; by dates "
        "and empty joints).",
        "Without years of felling: W4. Two samples of one piece of wood allow no common year.",
        "These are years in which trees were felled, not in which wood was put in. When wood "
        "without a dated sample was felled is not known.",
        "Age at felling, at the height of the sample: species not known 1 tree of at least 60 "
        "years; Pinus ponderosa 1 tree of 90 to 93 years, 1 more of at least 71 years.",
        "14 pieces of wood come from at least 5 and at most 12 trees. 5 pieces all pass a stem "
        "diameter of 18.5 cm, which a stem has only once (each end drawn in by 1.0 cm).",
        "Order of building, as far as relations and years tell. Kitchen (R1): not before 1741 "
        "(first felling phase of North house (B1)). East wall (W1), W2: built together, later than "
        "R1, not after 1802 (documented event).",
        "Architecture of its parts. Floor: flagstones (Kitchen).",
    ]
    short = story.of_place("B1", short=True)
    assert short == [told[0], *told[2:8], told[10].partition(" 5 pieces")[0], told[11]]
    assert story.line("B1") == "felling phase 1741 to 1743 (12 trees)"
    assert story.of_wood("W1") == [
        "Of the felling phase 1741 to 1743 of North house; without it that phase would not be "
        "found."
    ]
    assert story.of_wood("W3") == [
        "A candidate only, not a finding: it may be reused wood; by dates and empty joints.",
        "Its taper is in the lowest tenth of this species here, and no base of the stem was seen; "
        "that alone does not show that it is one of several pieces of a stem.",
        "Above it the stem can have given 2.5 m more, by the median taper of its species here and "
        "the thinnest useful top that the record assumes.",
    ]
    assert story.of_wood("W4") == []


def test_silence_is_said(package: Package) -> None:
    """Where wood is dated and there is no phase, the page says what is missing for one."""

    def said(**more: Any) -> list[str]:
        row = {"place_id": "B2", "phase_count": 0, **COUNTS, **RULE} | more
        return story_of(package, {"place": PLACES, "phase_place": [row]}).of_place("B2")[1:]

    assert said(agreeing_count=2, agreeing_cutting_count=2) == [
        "No felling phase: 2 cutting dates agree within 3 years, and 3 are needed."
    ]
    assert said(agreeing_count=4, agreeing_cutting_count=1) == [
        "No felling phase: 4 trees agree within 3 years, and 2 of them must be dated to within 10 "
        "years."
    ]
    assert said(agreeing_count=1) == [
        "No felling phase: no two trees with an earliest and a latest year agree."
    ]
    assert said(agreeing_count=4, cutting_tree_count=0, met_from_year=1690, met_to_year=1714)[
        -1
    ] == (
        "Ranges only: the years that most of the trees allow, or one tree fewer, are 1690 to 1714."
    )


def test_without_derived_tables_nothing_is_said(package: Package) -> None:
    for rows in ({"place": PLACES}, {"place": PLACES, "episode": HOUSE["episode"]}):
        story = story_of(package, rows)
        for place in ("B1", "R1", "B2", "nowhere"):
            assert story.of_place(place) == []
            assert story.line(place) == ""
        assert story.of_wood("W1") == []


# blank once in a while only, since a row that lacks a number is passed over
YEAR = st.integers(-400, 2000).map(lambda year: None if year < -300 else year)
COUNT = st.integers(-1, 40).map(lambda count: None if count < 0 else count)
CODE = st.sampled_from(["W1", "W2", "W3", None])
PLACE = st.sampled_from(["B1", "R1", "B2", None])


def any_cell(column: str) -> Any:
    """Anything that a column may hold, blank at times."""
    if column.endswith("_year"):
        return YEAR
    if column in FLOATS:
        return st.one_of(st.none(), st.floats(0, 99).map(lambda value: round(value, 1)))
    return COUNT if column.endswith(WHOLE) else st.sampled_from([None, "x y"])


def rows_like(table: str, **given_as: Any) -> Any:
    """Any rows of a table."""
    columns = {one: given_as.get(one, any_cell(one)) for one in COLUMNS[table]}
    return st.lists(st.fixed_dictionaries(columns), max_size=4)


PHASES = st.sampled_from(["P1", "P2"])
TABLES = st.fixed_dictionaries(
    {
        "place": st.just(PLACES),
        "felling": rows_like(
            "felling",
            element_id=st.sampled_from(["W1", "W2", "W3"]),
            tree_id=CODE,
            place_id=PLACE,
            candidate=st.sampled_from([None, "reuse", "other_time"]),
            disagreement=st.sampled_from([None, "samples"]),
        ),
        "phase": rows_like("phase", phase_id=PHASES, place_id=PLACE),
        "phase_place": rows_like("phase_place", place_id=PLACE),
        "phase_piece": rows_like(
            "phase_piece", phase_id=PHASES, element_id=CODE.filter(bool), decisive=st.just("yes")
        ),
        "phase_event": rows_like(
            "phase_event",
            phase_id=st.one_of(st.none(), PHASES),
            episode_id=st.sampled_from(["E1", None]),
            place_id=PLACE,
            agreement=st.sampled_from(["fits", "silent"]),
        ),
        "episode": rows_like(
            "episode",
            episode_id=st.just("E1"),
            title=st.sampled_from(["Page 71 of a book", None]),
            happened=st.sampled_from(["1745", "1801/..", "-0044", "no date"]),
        ),
        "tree_bound": st.tuples(st.integers(1, 9), st.integers(1, 9)).map(
            lambda trees: [
                {
                    "place_id": "B1",
                    "phase_id": phase,
                    "bound": bound,
                    "trees": float(count),
                    "piece_count": max(trees),
                    "bound_reason": "base",
                }
                for phase in (None, "P1")
                for bound, count in (("lower", min(trees)), ("upper", max(trees)))
            ]
        ),
        "build_order": rows_like(
            "build_order",
            place_id=PLACE,
            build_id=st.sampled_from(["B1", "R1"]),
            from_place_id=PLACE,
            to_place_id=PLACE,
        ),
        "tree_age": rows_like("tree_age", building_id=PLACE),
        "size": rows_like(
            "size", element_id=CODE.filter(bool), low_taper=st.sampled_from(["yes", "no"])
        ),
    }
)


def test_every_number_in_a_story_stands_in_the_tables(package: Package) -> None:
    @settings(max_examples=60, deadline=None)
    @given(TABLES)
    def of_any_tables(rows: Rows) -> None:
        story = story_of(package, rows)
        said = [*map(story.line, ("B1", "R1", "B2"))]
        for place in ("B1", "R1", "B2"):
            said += story.of_place(place)
        for element in ("W1", "W2", "W3"):
            said += story.of_wood(element)
        known = set().union(*(numbers_of(row.values()) for some in rows.values() for row in some))
        for sentence in said:
            assert set(numbers_in(sentence)) <= known, sentence
            assert "date of construction" not in sentence
            assert "None" not in sentence
            assert not re.search(r"(?<![\d.])1 (trees|years|samples|pieces)\b", sentence), sentence

    of_any_tables()


def numbers_in(text: str) -> list[str]:
    return re.findall(r"\d+(?:\.\d+)?", text)


def numbers_of(values: Iterable[Any]) -> set[str]:
    """The numbers of a row as they may be written; a year before AD 1 as people count it."""
    found = set()
    for one in values:
        if isinstance(one, int):
            found |= {str(abs(one)), *numbers_in(write_year(one))}
        elif isinstance(one, float):
            found |= {f"{one:g}", f"{one:.1f}"}
        elif one is not None:
            found |= set(numbers_in(one)) | {str(int(two)) for two in numbers_in(one)}
            found |= {"45"} if one == "-0044" else set()
    return found
