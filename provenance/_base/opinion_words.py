"""Says in sentences whether the reference library agrees with the check, and where it does not."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from provenance._base.findings import Difference, SecondOpinion


def opinion_words(opinion: SecondOpinion, most: int = 10) -> Iterator[str]:
    """The verdict in one sentence, then one for each difference, no more than `most` (0: all)."""
    o = opinion
    asked = f"{o.program}, {counted(o.tables, 'table')}"
    yield f"Second opinion on the structure ({asked}): {_verdict(o)}"
    for name, row in o.cut_short.items():
        yield (
            f"CUT SHORT: {name} has so many faults that the library was stopped at row {row}; the "
            "rest has no second opinion. Correct what is named, and ask again."
        )
    for name in o.stopped:
        yield f"{name} could not be read by the library to its end, so its rows are not compared."
    if o.not_compared:
        yield (
            f"{counted(o.not_compared, 'finding')} of this check could not be compared, because "
            "the library did not get so far."
        )
    for said, alone in (
        ("The library alone names", o.library_alone),
        ("This check alone names", o.ours_alone),
    ):
        shown = alone[:most] if most else alone
        yield from (f"{said} {_difference(one)}" for one in shown)
        if len(alone) > len(shown):
            yield f"… and {len(alone) - len(shown)} more that it alone names; --format json has all"
    yield from (f"Not asked: {one}" for one in o.not_asked)


def _verdict(o: SecondOpinion) -> str:
    if o.agrees:
        if not o.both:
            return "agrees, as far as it got." if o.not_compared else "agrees, nothing is wrong."
        return f"agrees, {counted(o.both, 'fault')} named by both."
    parts = [f"both name {counted(o.both, 'fault')}"]
    if o.library_alone:
        parts.append(f"the library names {len(o.library_alone)} that this check does not")
    if o.ours_alone:
        parts.append(f"this check names {len(o.ours_alone)} that the library does not")
    return f"DIFFERS: {'; '.join(parts)}."


def counted(count: int, what: str) -> str:
    """How many of what, in words that fit: '1 row', '12 000 rows'."""
    return f"{count:,} {what}{'' if count == 1 else 's'}".replace(",", " ")


def _difference(one: Difference) -> str:
    row = {0: "", 1: ", header"}.get(one.row, f", row {one.row}")
    field = f", {one.field}" if one.field else ""
    why = f" ({one.why})" if one.why else ""
    return f"{one.rule} in {one.table}{row}{field}: {one.message}{why}"


def opinion_as_dict(opinion: SecondOpinion) -> dict[str, Any]:
    """The second opinion as plain values, for JSON."""
    return {
        "program": opinion.program,
        "agrees": opinion.agrees,
        "tables": opinion.tables,
        "both": opinion.both,
        "libraryAlone": [vars(one) for one in opinion.library_alone],
        "checkAlone": [vars(one) for one in opinion.ours_alone],
        "stopped": list(opinion.stopped),
        "cutShort": dict(opinion.cut_short),
        "notCompared": opinion.not_compared,
        "notAsked": list(opinion.not_asked),
    }
