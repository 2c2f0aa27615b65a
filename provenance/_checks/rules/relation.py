"""Rules about what was seen where two places meet."""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.building_order import FELLING, Years, order_of, replaced_supports, years_of
from provenance._record.joined import places_around
from provenance._record.order_words import contradiction_words, evidence_words, relation_words
from provenance._record.relations import (
    TABLE,
    loops,
    ordered_in_one_build,
    related,
    relations_of,
    told_both_ways,
)
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

PARTS_THAT_COME_LATER = ("cuts", "blocks")
"""What a part may do to the place that it lies in: a doorway cuts its wall, a filling blocks it."""


def _found(lines: Iterable[tuple[int, str]]) -> pl.DataFrame:
    return pl.DataFrame(list(lines), {ROW: pl.UInt32, "said": pl.String}, orient="row")


@rule(
    "relation.with_itself",
    table=TABLE,
    field="other_place_id",
    severity="error",
    says="Relation {relation_id}: {place_id} is related to itself.",
    remedy="Enter the place that it meets.",
    source=COMMON_PRACTICE,
)
def with_itself(tables: Snapshot) -> pl.DataFrame:
    """A place is not older than itself."""
    return related(tables).filter(pl.col("place_id") == pl.col("other_place_id"))


@rule(
    "relation.with_its_own_part",
    table=TABLE,
    field="other_place_id",
    severity="warning",
    says="Relation {relation_id}: {place_id} {kind} {other_place_id}, but one of them is inside "
    "the other.",
    remedy="Enter the parts that meet; a wall does not abut the room it belongs to.",
    source=COMMON_PRACTICE,
)
def with_its_own_part(tables: Snapshot) -> pl.DataFrame:
    """A whole and its part are not two things of which one is the older; a late opening is."""
    frame = related(tables).filter(pl.col("place_id") != pl.col("other_place_id"))
    if frame.is_empty():
        return frame.with_columns(kind="relation_kind")
    around = places_around(tables)
    kinds = tables.model.vocabularies["relation_kind"]
    rows = zip(frame["place_id"], frame["other_place_id"], frame["relation_kind"], strict=True)
    nested = [
        place in around.get(other, ())
        or (other in around.get(place, ()) and kind not in PARTS_THAT_COME_LATER)
        for place, other, kind in rows
    ]
    label = {term.code: term.label.lower() for term in kinds.terms}
    return frame.filter(nested).with_columns(kind=pl.col("relation_kind").replace(label))


@rule(
    "relation.told_both_ways",
    table=TABLE,
    field="relation_kind",
    severity="error",
    says="Two relations contradict each other: {said}.",
    remedy="Look at the joint again and correct the one that is wrong; the first place in the "
    "sentence is the later one.",
    source=COMMON_PRACTICE,
)
def both_ways(tables: Snapshot) -> pl.DataFrame:
    """One of two places was there first."""
    return _found(
        (other.row, relation_words((one, other), tables.model))
        for one, other in told_both_ways(relations_of(tables))
    )


@rule(
    "relation.order_in_one_build",
    table=TABLE,
    field="relation_kind",
    severity="error",
    says="Relation {said}.",
    remedy="Look at the joints again: either they are not bonded, or neither is later.",
    source=COMMON_PRACTICE,
)
def order_in_one_build(tables: Snapshot) -> pl.DataFrame:
    """Bonded parts were built together, so none is later than another."""
    return _found(
        (
            one.row,
            f"{one.code}: {relation_words([one], tables.model)}, but they were built together by "
            f"{relation_words(path, tables.model)}",
        )
        for one, path in ordered_in_one_build(relations_of(tables))
    )


@rule(
    "relation.loop",
    table=TABLE,
    field="relation_kind",
    severity="error",
    says="By its relations {said}.",
    remedy="Look at these joints again: one of the relations is reversed, or one place was built "
    "in two stages and needs two rows.",
    source=COMMON_PRACTICE,
)
def loop(tables: Snapshot) -> pl.DataFrame:
    """Places that are earlier than each other in a circle have no order."""
    return _found(
        (
            path[0].row,
            f"{path[0].other} is earlier than itself: {relation_words(path, tables.model)}",
        )
        for path in loops(relations_of(tables))
    )


@rule(
    "relation.dates_against_order",
    table=TABLE,
    field="relation_kind",
    severity="warning",
    says="Dates contradict the sequence: {said}",
    remedy="Check the joints, whether the timbers were installed later or reused (say so with the "
    "timber), and what the event or assumption applies to; then run 'treenail derive'.",
    source=COMMON_PRACTICE,
)
def dates_against_order(tables: Snapshot) -> pl.DataFrame:
    """Relations and years are independent evidence of one order; dates are those last derived."""
    relations, years = relations_of(tables), _own_years(tables)
    first = {end: one.row for one in reversed(relations) for end in (one.place, one.other)}
    return _found(
        (
            one.path[-1].row if one.path else first[one.latest.place],
            contradiction_words(one, tables.model),
        )
        for one in order_of(relations, years).contradictions
    )


@rule(
    "relation.support_is_younger",
    table=TABLE,
    field="relation_kind",
    severity="warning",
    says="The support is younger than what it supports: {said}",
    remedy="Supports are replaced: if this one was, say so in the notes of the place and accept "
    "the finding; otherwise check the dates.",
    source=COMMON_PRACTICE,
)
def support_is_younger(tables: Snapshot) -> pl.DataFrame:
    """A support is there first, unless it was replaced."""
    relations, model = relations_of(tables), tables.model
    return _found(
        (
            one.row,
            f"{relation_words([one], model)}, but {one.place} was not built after "
            f"{evidence_words(latest, model)}, and {one.other} not before "
            f"{evidence_words(earliest, model)}.",
        )
        for one, earliest, latest in replaced_supports(relations, _own_years(tables))
    )


def _own_years(tables: Snapshot) -> dict[str, Years]:
    def read(tables: Snapshot) -> dict[str, Years]:
        known = [name for name in FELLING if name in tables.model.tables]
        return years_of(tables, {name: tables[name] for name in known})

    return tables.once("years of building", read)
