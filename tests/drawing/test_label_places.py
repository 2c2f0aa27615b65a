"""Labels find room without covering anything, and always the same room."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from provenance._drawing.label_places import Placed, Wanted, place_labels

AREA = (0.0, 0.0, 180.0, 120.0)
spot = st.tuples(st.floats(5, 175), st.floats(5, 115))


def overlap(one: tuple[Placed, Wanted], other: tuple[Placed, Wanted]) -> bool:
    """Whether two boxes that are not turned overlap."""
    across = abs(one[0].x - other[0].x) * 2 < one[1].width + other[1].width - 1e-9
    upright = abs(one[0].y - other[0].y) * 2 < one[1].height + other[1].height - 1e-9
    return across and upright


@given(st.lists(spot, max_size=40))
def test_no_label_covers_another_or_a_symbol_or_leaves_the_area(
    spots: list[tuple[float, float]],
) -> None:
    wanted = [Wanted(str(i), 9.0, 2.0, at, 0.8) for i, at in enumerate(spots)]
    symbols = [(x, y, 0.8) for x, y in spots]
    placed, homeless = place_labels(wanted, symbols, AREA)
    assert len(placed) + len(homeless) == len(wanted)
    by_key = {one.key: one for one in wanted}
    pairs = [(one, by_key[one.key]) for one in placed]
    assert not any(overlap(one, other) for one, other in combinations(pairs, 2))
    for label, size in pairs:
        assert size.width / 2 <= label.x <= AREA[2] - size.width / 2
        assert size.height / 2 <= label.y <= AREA[3] - size.height / 2
        for x, y, radius in symbols:
            aside = abs(label.x - x) - size.width / 2, abs(label.y - y) - size.height / 2
            assert max(aside) >= radius - 1e-9


def test_labels_are_placed_the_same_way_every_time() -> None:
    wanted = [Wanted(str(i), 8.0, 2.0, (50.0, 50.0 + i / 3), 0.5) for i in range(20)]
    assert place_labels(wanted, [], AREA) == place_labels(wanted, [], AREA)


def test_a_label_far_from_its_thing_has_a_leader_that_starts_there() -> None:
    wanted = [Wanted(str(i), 8.0, 2.0, (50.0, 50.0), 0.5) for i in range(30)]
    placed, homeless = place_labels(wanted, [(50.0, 50.0, 0.5)], AREA)
    assert homeless == []
    leaders = [one.leader for one in placed if one.leader]
    assert len(leaders) > 15
    for start, end in leaders:
        assert np.hypot(start[0] - 50, start[1] - 50) < 0.51
        assert np.hypot(end[0] - 50, end[1] - 50) > 1.0


def test_turned_labels_are_kept_apart_by_their_true_shape() -> None:
    """Two labels along two parallel beams lie close without touching; their extents do overlap."""
    beams = [
        Wanted(f"{i}", 20.0, 2.0, (50.0, 50.0), 1.0, ((50.0 + 4 * i, 50.0, 60.0),)) for i in (0, 1)
    ]
    placed, _ = place_labels(beams, [], AREA)
    assert [one.turn_deg for one in placed] == [60.0, 60.0]
