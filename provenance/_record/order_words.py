"""Says in words what contradicts an order of building."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from provenance._model.notation import write_year
from provenance._model.schema import Model
from provenance._record.building_order import Bound, Contradiction
from provenance._record.relations import (
    Relation,
    loops,
    ordered_in_one_build,
    told_both_ways,
)


def relation_words(relations: Iterable[Relation], model: Model) -> str:
    """Relations as people read them: 'W2 abuts W1 (R4), W3 cuts W2 (R7)'."""
    kinds = model.vocabularies["relation_kind"]
    return ", ".join(
        f"{one.place} {_lower(kinds.label(one.kind))} {one.other} ({one.code or 'no code'})"
        for one in relations
    )


def evidence_words(bound: Bound, model: Model) -> str:
    """What a year rests on: '1788 (oldest dated wood)'."""
    by = _lower(model.vocabularies["build_evidence"].label(bound.by))
    return f"{write_year(bound.year)} ({by})"


def contradiction_words(one: Contradiction, model: Model) -> str:
    """What the relations say, and what the years say against it."""
    if not one.path:
        return (
            f"{one.earliest.place} was not built before {evidence_words(one.earliest, model)}, yet "
            f"not after {evidence_words(one.latest, model)}."
        )
    return (
        f"{one.earliest.place} was built before {one.latest.place} or together with it "
        f"({relation_words(one.path, model)}), but {one.earliest.place} not before "
        f"{evidence_words(one.earliest, model)} and {one.latest.place} not after "
        f"{evidence_words(one.latest, model)}."
    )


def loop_words(relations: Sequence[Relation], model: Model) -> Iterator[str]:
    """A sentence for each set of relations that cannot all be so, whatever the years are."""
    for pair in told_both_ways(relations):
        yield f"Two relations contradict each other: {relation_words(pair, model)}."
    for one, path in ordered_in_one_build(relations):
        yield (
            f"{relation_words([one], model)}, but the two were built together: "
            f"{relation_words(path, model)}."
        )
    for path in loops(relations):
        yield (
            f"By its relations {path[0].other} is earlier than itself: "
            f"{relation_words(path, model)}."
        )


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
