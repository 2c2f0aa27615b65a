"""What slip of the tape would explain a blunder."""

from __future__ import annotations

import pytest

from provenance._survey.adjust.slips import blunder_hint
from provenance._survey.parts.observation import Kind


@pytest.mark.parametrize(
    ("size", "hint"),
    [
        (0.3048, "that is 1 ft"),
        (-3.048, "that is 10 ft"),
        (0.0254, "that is 1 in"),
        (1.0, "that is 1 m"),
        (-0.1, "that is 10 cm"),
        (10.0, "that is 10 m"),
    ],
)
def test_a_usual_slip_is_named(size: float, hint: str) -> None:
    """NIST Special Publication 811: 1 ft is 0.3048 m, 1 in 0.0254 m, exactly."""
    assert blunder_hint(Kind.DISTANCE, 44.44, size, 0.004) == hint


@pytest.mark.parametrize(
    ("kind", "reading", "size", "sd", "hint"),
    [
        # within two and a half standard deviations
        (Kind.DISTANCE, 44.44, 1.0124, 0.005, "that is 1 m"),
        (Kind.DISTANCE, 44.44, 1.0126, 0.005, ""),
        (Kind.BEARING, 10.0, -177.6, 1.0, "the bearing may have been read at the wrong end"),
        (Kind.BEARING, 10.0, -177.5, 1.0, ""),
        (Kind.BEARING, 10.0, 1.0, 0.01, ""),
        (Kind.HEIGHT, 44.44, 1.0, 0.005, ""),
        # an inch is no slip where the readings scatter by a third of it
        (Kind.DISTANCE, 44.44, 0.0254, 0.0084, "that is 1 in"),
        (Kind.DISTANCE, 44.44, 0.0254, 0.0085, ""),
        # a tape taken for perfect is still read to a tenth of a millimetre
        (Kind.DISTANCE, 44.44, 1.00024, 0.0, "that is 1 m"),
        (Kind.DISTANCE, 44.44, 1.00026, 0.0, ""),
        (Kind.LEVEL_DISTANCE, 44.44, 1.0, 0.005, "that is 1 m"),
        (Kind.ALONG, 44.44, 1.0, 0.005, "that is 1 m"),
        # digits that changed places: 7.52 for 7.25, 3.41 for 4.31 is none of neighbours
        (Kind.DISTANCE, 7.52, 0.27, 0.004, "the tape may have shown 7.25 m"),
        (Kind.DISTANCE, 37.44, -36.0, 0.004, "the tape may have shown 73.44 m"),
        (Kind.DISTANCE, 3.41, -0.9, 0.004, ""),
        (Kind.DISTANCE, 7.52, 0.2799, 0.004, "the tape may have shown 7.25 m"),
        (Kind.DISTANCE, 7.52, 0.2801, 0.004, ""),
        (Kind.DISTANCE, 12.0, -9.2, 0.1, "the tape may have shown 21.00 m"),
        (Kind.DISTANCE, 12.0, -9.25, 0.1, ""),
        (Kind.ACROSS, -1.44, -2.889, 0.004, "the offset may be on the other side"),
        (Kind.ACROSS, -1.44, -2.891, 0.004, ""),
        (Kind.ALONG, -1.44, -2.88, 0.004, ""),
    ],
)
def test_a_slip_explains_what_it_comes_near_enough_to(
    kind: int, reading: float, size: float, sd: float, hint: str
) -> None:
    told = blunder_hint(kind, reading, size, sd)
    assert told.startswith(hint)
    assert bool(told) is bool(hint)
