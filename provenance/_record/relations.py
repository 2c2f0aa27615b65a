"""What was seen where places meet: statements of which of them is the older, and their faults."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import polars as pl

from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

TABLE = "relation"
DOUBTFUL = ("possible", "hearsay")
"""Relations of which the record is so little sure say nothing of an order."""
_COLUMNS = ("relation_id", "place_id", "relation_kind", "other_place_id", "certainty")


@dataclass(frozen=True)
class Relation:
    """One row of the table `relation`, whose two places are of one site.

    `order` is what the kind says: 'later' (the place than the other), 'same' or
    'after_unless_replaced'.
    """

    code: str
    place: str
    kind: str
    other: str
    order: str
    row: int = 0


Path = tuple[Relation, ...]
Steps = Mapping[str, Sequence[tuple[str, Relation]]]
"""Place → places that are later or of one build, each with the relation that says so."""


def related(tables: Snapshot) -> pl.DataFrame:
    """The rows of `relation` that name two places; none in an older package, which has no table."""
    if TABLE not in tables.model.tables:
        return pl.DataFrame(schema={ROW: pl.UInt32, **dict.fromkeys(_COLUMNS, pl.String)})
    return tables[TABLE].drop_nulls(["place_id", "relation_kind", "other_place_id"])


def relations_of(tables: Snapshot) -> list[Relation]:
    """What the record says of order, sorted by code.

    Left out are doubtful relations (DOUBTFUL), those of a place with itself, with a place that is
    not recorded, or with one of another site: the check names what is wrong about them.
    """
    return tables.once("relations", _read_relations)


def _read_relations(tables: Snapshot) -> list[Relation]:
    frame = related(tables)
    if frame.is_empty():
        return []
    orders = {
        term.code: str(term.attributes.get("order", ""))
        for term in tables.model.vocabularies["relation_kind"].terms
    }
    sites = dict(tables["place"].select("place_id", "site_id").fill_null("").iter_rows())
    found = []
    for row in frame.iter_rows(named=True):
        place, other, kind = row["place_id"], row["other_place_id"], row["relation_kind"]
        known = place in sites and other in sites and sites[place] == sites[other]
        if place == other or not known or row["certainty"] in DOUBTFUL or not orders.get(kind):
            continue
        code = row["relation_id"] or ""
        found.append(Relation(code, place, kind, other, orders[kind], row[ROW]))
    return sorted(found, key=lambda one: (one.code, one.row))


def steps_of(relations: Iterable[Relation]) -> Steps:
    """Steps from what is earlier to what is later, and both ways between what is of one build.

    A place can be reached from another exactly where it is later or of the same build. Places are
    sorted; of several relations between two places the first counts.
    """
    steps: dict[str, dict[str, Relation]] = defaultdict(dict)
    for one in relations:
        if one.order == "later":
            steps[one.other].setdefault(one.place, one)
        elif one.order == "same":
            steps[one.other].setdefault(one.place, one)
            steps[one.place].setdefault(one.other, one)
    return {place: sorted(onward.items()) for place, onward in steps.items()}


Reached = Mapping[str, tuple[str, Relation]]
"""Place → the place from which it was reached and the relation that led there."""


def reached_from(steps: Steps, start: str) -> Reached:
    """Every other place that is later than one or of its build, the nearest first."""
    came: dict[str, tuple[str, Relation]] = {}
    waiting = deque([start])
    while waiting:
        here = waiting.popleft()
        for place, relation in steps.get(here, ()):
            if place != start and place not in came:
                came[place] = (here, relation)
                waiting.append(place)
    return came


def path_to(place: str, came: Reached) -> Path:
    """The relations of a shortest way to a place that was reached."""
    path = []
    while place in came:
        place, relation = came[place]
        path.append(relation)
    return tuple(reversed(path))


# -- what cannot be so -----------------------------------------------------------------------------


def told_both_ways(relations: Sequence[Relation]) -> list[tuple[Relation, Relation]]:
    """Pairs of relations by which each of two places is later than the other, or carries it."""
    pairs: dict[tuple[str, ...], list[Relation]] = defaultdict(list)
    for one in relations:
        if one.order != "same":
            pairs[(one.order, *sorted((one.place, one.other)))].append(one)
    return [
        (one, other)
        for group in pairs.values()
        for one, other in combinations(group, 2)
        if one.place == other.other
    ]


def ordered_in_one_build(relations: Sequence[Relation]) -> list[tuple[Relation, Path]]:
    """Relations of order between two places that others bond together, with the shortest bond."""
    bonds = steps_of(one for one in relations if one.order == "same")
    found = []
    for one in relations:
        if one.order == "later" and one.place in (came := reached_from(bonds, one.other)):
            found.append((one, path_to(one.place, came)))
    return found


def loops(relations: Sequence[Relation]) -> list[Path]:
    """Ways of order that lead back to their start: the shortest one of each knot of places.

    What `told_both_ways` and `ordered_in_one_build` name is left out.
    """
    import networkx as nx

    named = {one.row for pair in told_both_ways(relations) for one in pair}
    named |= {one.row for one, _ in ordered_in_one_build(relations)}
    rest = [one for one in relations if one.row not in named]
    steps = steps_of(rest)
    graph = nx.DiGraph((here, place) for here, onward in steps.items() for place, _ in onward)
    knot = {
        place: number
        for number, places in enumerate(nx.strongly_connected_components(graph))
        for place in places
    }
    shortest: dict[int, Path] = {}
    for one in rest:
        if one.order == "later" and knot[one.place] == knot[one.other]:
            back = path_to(one.other, reached_from(steps, one.place))
            best = shortest.get(knot[one.place])
            if best is None or len(back) + 1 < len(best):
                shortest[knot[one.place]] = (one, *back)
    return sorted(shortest.values(), key=lambda path: path[0].code)
