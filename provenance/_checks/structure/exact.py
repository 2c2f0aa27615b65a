"""Settles exactly, one text at a time, what a number is and whether it keeps its field's limits.

The columnar checks ask here only for spellings that they cannot read and for values on a limit,
where binary numbers may round to the wrong side.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from decimal import Decimal

from provenance._base.errors import UnusablePackage
from provenance._model.schema import Field
from provenance._record.cells import decimal_of, whole_of

LIMITS: tuple[tuple[str, str, Callable[[Decimal, Decimal], bool]], ...] = (
    ("minimum", "too_small", operator.ge),
    ("maximum", "too_large", operator.le),
    ("exclusiveMinimum", "not_above", operator.gt),
    ("exclusiveMaximum", "not_below", operator.lt),
)
"""Constraint, the kind of finding when it is broken, and what must hold of value and limit."""

NOT_OF_TYPE = {
    "number": "not_a_number",
    "integer": "not_a_whole_number",
    "boolean": "not_yes_or_no",
}


def limit_of(field: Field, constraint: str) -> Decimal | None:
    """The limit that a constraint sets; None without it; UnusablePackage when it is no number."""
    if constraint not in field.constraints:
        return None
    written = field.constraints[constraint]
    limit = decimal_of(str(written))
    if limit is None or not limit.is_finite():
        raise UnusablePackage(f"field '{field.name}': {constraint} is no number: {written!r}")
    return limit


def faults_of_number(text: str, field: Field) -> tuple[str, ...]:
    """The kinds of finding that a text in a field of numbers gives rise to.

    'Not a number' is a number in Table Schema, but it keeps no limit.
    """
    number: Decimal | None
    if field.type == "integer":
        whole = whole_of(text)
        number = None if whole is None else Decimal(whole)
    else:
        number = decimal_of(text)
    if number is None:
        return (NOT_OF_TYPE[field.type],)
    limits = [(name, holds, limit_of(field, constraint)) for constraint, name, holds in LIMITS]
    return tuple(
        name
        for name, holds, limit in limits
        if limit is not None and (number.is_nan() or not holds(number, limit))
    )
