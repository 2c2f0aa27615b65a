"""Protected places: found in every notation, and numbers of other things left alone."""

from __future__ import annotations

import math
import random
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._disclosure.places import net as net_module
from provenance._disclosure.places.frames import METRES_A_DEGREE, Point
from provenance._disclosure.places.net import PlaceNet
from tests.disclosure.places.notations import (
    BY_FORM,
    CONTEXTS,
    NOTATIONS,
    PLACES,
    harmless,
    variants,
    written,
)


@pytest.fixture(scope="module")
def nets() -> dict[Point, PlaceNet]:
    return {point: PlaceNet([point]) for point in PLACES}


def test_a_place_is_found_in_every_notation_and_context(nets: dict[Point, PlaceNet]) -> None:
    count, missed = 0, []
    for number, (point, net) in enumerate(nets.items()):
        # all contexts for one place; for the others in turn, since they are read alike
        made = list(variants(point, contexts=2 if number else len(CONTEXTS)))
        hits = net.hits([text for _, _, text in made])
        count += len(made)
        missed += [one for one, found in zip(made, hits, strict=True) if not found]
    print(f"{count} variants of {len(NOTATIONS)} notations and {len(PLACES)} places, "
          f"{len(missed)} missed")  # fmt: skip
    assert missed == []


def test_far_from_the_place_the_same_notations_are_mostly_left_alone(
    nets: dict[Point, PlaceNet], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Within its reach a position tells more than the public cell; beyond it, no more."""
    monkeypatch.setattr(net_module, "by_form", lambda text: ())
    shares = {}
    for km in (0.3, 3.0, 60.0):
        found, count = [], 0
        for point, net in nets.items():
            one = written(_moved(point, km))
            texts = {name: write(one) for name, write in NOTATIONS.items() if name not in BY_FORM}
            hits = net.hits([f"The gate is at {text}, ask first." for text in texts.values()])
            found += [name for name, hit in zip(texts, hits, strict=True) if hit]
            count += len(texts)
        shares[km] = len(found) / count
        print(f"{km} km away {len(found)} of {count} are taken for the place")
    assert shares[0.3] > 0.9
    assert shares[3.0] > 0.7
    assert shares[60.0] < 0.02


def _moved(point: Point, km: float) -> Point:
    north = km * 1000 / METRES_A_DEGREE * 0.8
    east = km * 1000 / METRES_A_DEGREE * 0.6 / math.cos(math.radians(point.latitude))
    longitude = (point.longitude + east + 180) % 360 - 180
    return replace(point, latitude=point.latitude + north, longitude=longitude)


def test_notes_full_of_numbers_are_left_alone(nets: dict[Point, PlaceNet]) -> None:
    """The rate is that of notes that a person would have to look at for nothing."""
    notes = harmless(700)
    found = [
        (note, [hit.what for hit in hits])
        for net in nets.values()
        for note, hits in zip(notes, net.hits(notes), strict=True)
        if hits
    ]
    print(f"{len(found)} of {len(notes) * len(nets)} harmless notes are taken for a place")
    assert len(found) < 0.005 * len(notes) * len(nets), found[:5]


@pytest.mark.parametrize(
    "text",
    [
        "T1 N side and R12 S", "sec 14 of the log", "parcel 12 sent 2024-06-03", "lot 14",
        "https://doi.org/10.1000/182", "https://creativecommons.org/licenses/by/4.0/",
        "https://orcid.org/0000-0002-1825-0097", "https://ror.org/03yrm5c26",
        "37 °C and 37.48 %, 37.5 cm", "2023-01-17 01:54:20", "folio 12, 37' 28\"",
        "IMG_3748.jpg",
    ],
)  # fmt: skip
@pytest.mark.parametrize("place", [0, 1])
def test_what_only_looks_like_a_place_is_left_alone(
    nets: dict[Point, PlaceNet], place: int, text: str
) -> None:
    assert nets[PLACES[place]].hits([text]) == [[]]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("waypoint 3 37º 28′ 55″ on the map", "37º 28′ 55″"),
        ("37⁰28′55″ N", "37⁰28′55″ N"),
        ("at thirty-seven point four eight two one north", "thirty-seven point four eight two one"),
        ("lat\u200b 37.\u200b48213°N, ask", "37.\u200b48213°N"),
        ("sheet 4: ３７．４８２１３ west gate", "３７．４８２１３"),
        ("site_N3748W10851_photo.jpg", "3748W10851"),
        ("EXIF (37.0, 28.0, 55.7), (108.0, 31.0, 0.3)", "37.0, 28.0, 55.7108.0, 31.0, 0.3"),
        ("12S7195664151255", "7195664151255"),
        ("北緯37度28分55秒 西経108度31分0秒", "37度28分55108度31分0"),
        ("41.6468 gon, 120.5742 gon", "41.6468120.5742"),
        ("37.4821e0 N", "37.4821e0 N"),
    ],
)
def test_a_hit_is_the_position_and_nothing_else(
    nets: dict[Point, PlaceNet], text: str, found: str
) -> None:
    hits = nets[PLACES[0]].hits([text])[0]
    assert "".join(text[one.start : one.end] for one in hits) == found


def test_what_was_found_can_be_taken_out() -> None:
    """With all hits taken out nothing of the place is left to find."""
    for point in PLACES[:3]:
        net = PlaceNet([point])
        for name, _, text in variants(point, contexts=1):
            left = text
            for hit in reversed(net.hits([text])[0]):
                left = f"{left[: hit.start]}[withheld]{left[hit.end :]}"
            assert net.hits([left]) == [[]], (name, text, left)


# -- files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "lines",
    [
        ["parked at N 37°28'", "55.7\" W 108°31'", "and walked"],
        ["37.48213", "-108.51674"],
        ["id,lat,lon", "1,37.4821,-108.5167"],
        ["position thirty-seven point four", "eight two one north"],
        ["X 719566", "Y 4151255"],
        ["719566", "4151255"],
        ["12S YG", "19565 51255"],
    ],
)
def test_a_position_over_two_lines_is_found(nets: dict[Point, PlaceNet], lines: list[str]) -> None:
    assert nets[PLACES[0]].hits_in_file(lines)


def test_ring_widths_are_no_position_until_one_stands_among_them(
    nets: dict[Point, PlaceNet],
) -> None:
    draw = random.Random(5)
    files = [
        [f"{year} " + " ".join(f"{draw.randint(8, 420):4d}" for _ in range(10))
         for year in range(1500, 1800, 10)]
        for _ in range(10)
    ] + [
        [f"{year}\t{draw.uniform(0.2, 4):.3f}\t{draw.uniform(0.2, 4):.3f}"
         for year in range(1500, 1700)]
        for _ in range(5)
    ]  # fmt: skip
    for net in nets.values():
        assert [net.hits_in_file(lines) for lines in files] == [[]] * len(files)
    for position in ("37.4821 108.5167", "37 28 55.7 108 31 00.3", "719566 4151255"):
        hidden = [*files[0][:9], position, *files[0][9:]]
        assert nets[PLACES[0]].hits_in_file(hidden), position


# -- what it costs -------------------------------------------------------------------------------


def test_grids_are_computed_once_for_points_that_lie_together_and_only_where_asked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[int] = []
    computed = net_module.grids_here
    monkeypatch.setattr(
        net_module,
        "grids_here",
        lambda number, area: asked.append(number) or computed(number, area),
    )
    monkeypatch.setattr(net_module, "other_grids", lambda number, area: pytest.fail("not asked"))
    middle = PLACES[0]
    points = [replace(middle, latitude=middle.latitude + step / 1e5) for step in range(300)]
    net = PlaceNet(points)
    assert net.hits(["The north barn.", "12 cores of oak, 3 cm", "37.4835 N"])[2]
    assert asked == []
    assert net.hits(["UTM 719570 E"])[0]
    assert net.hits(["UTM 719570 E"])[0]
    assert asked == [0]


# -- texts of any kind ---------------------------------------------------------------------------

_TEXTS = st.text(st.sampled_from("0123456789 .,°'\"-+/NSEWTR:eE\n\u200b٣３½⁰xg"), max_size=60)


@settings(max_examples=200)
@given(st.one_of(st.text(max_size=60), _TEXTS))
def test_any_text_can_be_searched_and_every_hit_lies_in_it(text: str) -> None:
    for net in (PlaceNet(PLACES[:2], [712345.6]), PlaceNet([Point(0.0, 0.0)]), PlaceNet([])):
        for hit in [*net.hits([text])[0], *net.hits_in_file(text.splitlines())]:
            assert 0 <= hit.start < hit.end <= len(text)
            assert hit.what


def test_points_that_are_nowhere_and_grids_that_are_none_are_left_out() -> None:
    net = PlaceNet([Point(137.5, -200.0), Point(37.48213, -108.51674, (999999,))])
    assert net.hits(["137.5 N", "37.4821 N", "719566 4151255"])[1:] != [[], []]


def test_lone_halves_count_without_their_other_half() -> None:
    net = PlaceNet([], [451234.57], latitudes=[51.47391], longitudes=[-101.28376])
    found = net.hits(["51.4739 N", "101.2838 W", "451235", "12345678"])
    assert [bool(one) for one in found] == [True, True, True, False]
    assert not any(re.search("pair", hit.what) for hits in found for hit in hits)
