"""Says how far the places of holes and of wood can be trusted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from provenance._model.measures import Measures
from provenance._record.trust import Trust, range_words, trust_words
from provenance._survey.adjust.positions import ellipse_95
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.parts.observation import NORMAL_95, Floats


def hole_trust(known: KnownPoints, at: int) -> Trust:
    """How far the place of a hole (a number in `known.holes`) can be trusted.

    One that was computed from its wood is in doubt where an end of that is, and says which.
    """
    record, sample = known.record, int(known.holes.sample[at])
    own = known.trust(record.point_keys[record.n_ends + sample])
    if not own.verdict or known.is_taped(record.cell("sample", "sample_id", sample)):
        return own
    element = int(known.holes.element[at])
    ends = (known.trust(record.point_keys[2 * element + end]) for end in (0, 1))
    about = " and ".join(one.about for one in ends if one.verdict == own.verdict)
    return replace(own, about=about or own.about)


def hole_words(known: KnownPoints, at: int) -> str:
    """How far the place of a hole can be trusted, in sentences; '' where nobody judged it."""
    covariance = known.holes.bores.entry_covariance[at]
    return _words(hole_trust(known, at), covariance, "", known.record.measures)


def wood_words(known: KnownPoints, element: int) -> str:
    """How far the places of both ends of a piece of wood (a row number) can be trusted."""
    keys = known.record.point_keys
    said = [
        _words(
            known.trust(keys[end]),
            known.ends_covariance[end],
            f"End {name}: ",
            known.record.measures,
        )
        for end, name in ((2 * element, "A"), (2 * element + 1, "B"))
    ]
    return " ".join(one for one in said if one)


def datum_words(known: KnownPoints, at: int) -> str:
    """How far the place of a datum (a row number) can be trusted."""
    trust = known.trust(known.record.datum_keys[at])
    return _words(trust, known.datums_covariance[at], "", known.record.measures)


def _words(trust: Trust, covariance: Floats, name: str, measures: Measures) -> str:
    if not trust.verdict and not trust.is_off:
        return ""
    (major,), _, _ = ellipse_95(np.nan_to_num(covariance)[None])
    height = NORMAL_95 * float(np.sqrt(covariance[2, 2]))
    height_m = height if np.isfinite(height) and height else None
    told = range_words(trust, float(major), height_m, measures)
    return " ".join((f"{name}{told}.", *trust_words(trust, measures)))
