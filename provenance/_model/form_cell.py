"""How a value of the record shows in a cell of a form: codes as words, numbers as numbers."""

from __future__ import annotations

import math

from provenance._base.languages import N_, _
from provenance._model.schema import Field, Model

YES, NO = N_("Yes"), N_("No")


def form_cell(model: Model, one: Field, text: str) -> str | float:
    """What stands in the cell; a text that does not fit its field stays as it is.

    >>> form_cell(model, model.table("element").field("length_m"), "4.20")  # doctest: +SKIP
    4.2
    """
    if one.type in ("number", "integer"):
        try:
            number = float(text)
        except ValueError:
            return text
        return number if math.isfinite(number) else text
    if one.type == "boolean":
        return {"true": _(YES), "false": _(NO)}.get(text, text)
    vocabulary = model.vocabulary_of(one)
    if vocabulary is None:
        return text
    if one.separator:
        return "; ".join(vocabulary.label(code.strip()) for code in text.split(one.separator))
    return vocabulary.label(text)
