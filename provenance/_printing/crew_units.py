"""Lengths in the cells of forms and pages, as the crew of a record writes them."""

from __future__ import annotations

from contextlib import suppress

from provenance._base.errors import UnreadableValue
from provenance._base.languages import N_
from provenance._intake.values.units import read_length
from provenance._model.measures import INCH
from provenance._model.schema import Field, Model

HOW_TO_WRITE = {
    "ft-in": N_("feet and inches such as 12' 6 1/2\""),
    "in": N_("inches such as 11 3/8"),
    "ft": N_("feet such as 12.54"),
}
"""Unit of a crew that measures in feet and inches → how to write it."""


def as_crews_write(model: Model, one: Field, text: str, written: str = "") -> str:
    """A length in feet and inches: as it was read, else as it is said where that is exact.

    A number that no rule shows keeps its metric unit, so that what nobody touches comes back as it
    left.
    """
    assert one.unit is not None
    measures, unit = model.measures, model.form_unit(one)
    said = [measures.say(text, one.unit, one.measure, step=step) for step in (None, INCH / 64)]
    for words in (written, *said):
        with suppress(UnreadableValue):
            if words and read_length(words, unit, one.unit, allow_negative=True) == float(text):
                return words
    return f"{text} {one.unit}"
