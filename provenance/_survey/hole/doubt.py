"""Carries what the survey says about the ends of wood to the holes that were computed from them."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np

from provenance._record.trust import NOT_JUDGED, Place, Trust, gravity, range_words, trust_words
from provenance._survey.adjust.positions import ellipse_95
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.parts.observation import NORMAL_95, Floats

_LEAST_SHARE = 0.02
"""A place less likely than this is not listed."""


def hole_trust(known: KnownPoints, at: int) -> Trust:
    """How far the place of a hole (a number in `known.holes`) can be trusted.

    One that was taped itself has its own verdict. One that was computed from its wood has that of
    the end that is in the gravest doubt, and where nothing is written to the hole itself, each
    place of an end makes a place of the hole. What moves end A along the wood moves the hole as
    far, what moves end B by its share of the length.
    """
    if not known.judged:
        return NOT_JUDGED
    record, holes = known.record, known.holes
    name = record.point_keys[record.n_ends + int(holes.sample[at])]
    own = known.trust(name)
    if known.is_taped(record.cell("sample", "sample_id", int(holes.sample[at]))):
        return own
    element = int(holes.element[at])
    ends = [known.trust(record.point_keys[2 * element + end]) for end in (0, 1)]
    verdict = max(own, *ends, key=gravity).verdict
    if not verdict:
        return own
    a, b = known.ends[2 * element], known.ends[2 * element + 1]
    axes = 3 if np.isfinite([a[2], b[2]]).all() else 2
    length = max(float(np.linalg.norm((b - a)[:axes])), 1e-9)
    share = float(record.numbers("sample", "along_m")[holes.sample[at]]) / length
    trust = replace(
        own,
        verdict=verdict,
        about=" and ".join(one.about for one in ends if one.verdict == verdict) or own.about,
        left_out=own.left_out or (*ends[0].left_out, *ends[1].left_out),
    )
    if own.hidden_m is None:
        hidden = _together(ends[0].hidden_m, ends[1].hidden_m, share)
        trust = replace(trust, hidden_m=hidden)
    if own.search_m is None:
        of_a, of_b = (_beyond_range(known, 2 * element + end) for end in (0, 1))
        beyond = _together(of_a, of_b, share)
        (major,), _, _ = ellipse_95(np.nan_to_num(holes.bores.entry_covariance[at : at + 1]))
        trust = replace(trust, search_m=None if beyond is None else float(major) + beyond)
    if trust.is_withheld and not own.places and any(one.places for one in ends):
        trust = replace(trust, places=_places(known, at, ends))
    return trust


def hole_words(known: KnownPoints, at: int) -> str:
    """How far the place of a hole can be trusted, in sentences; '' where nobody judged it."""
    return _words(hole_trust(known, at), known.holes.bores.entry_covariance[at], "")


def wood_words(known: KnownPoints, element: int) -> str:
    """How far the places of both ends of a piece of wood (a row number) can be trusted."""
    keys = known.record.point_keys
    said = [
        _words(known.trust(keys[end]), known.ends_covariance[end], f"End {name}: ")
        for end, name in ((2 * element, "A"), (2 * element + 1, "B"))
    ]
    return " ".join(one for one in said if one)


def _words(trust: Trust, covariance: Floats, name: str) -> str:
    if not trust.verdict and not trust.is_off:
        return ""
    (major,), _, _ = ellipse_95(np.nan_to_num(covariance)[None])
    height = NORMAL_95 * float(np.sqrt(covariance[2, 2]))
    told = range_words(trust, float(major), height if np.isfinite(height) and height else None)
    return " ".join((f"{name}{told}.", *trust_words(trust)))


def _together(of_a: float | None, of_b: float | None, share: float) -> float | None:
    if of_a is None and of_b is None:
        return None
    return (of_a or 0.0) + share * (of_b or 0.0)


def _beyond_range(known: KnownPoints, end: int) -> float | None:
    """How much farther than its 95 % range an end of wood is looked for, in m."""
    search = known.trust(known.record.point_keys[end]).search_m
    (major,), _, _ = ellipse_95(np.nan_to_num(known.ends_covariance[end : end + 1]))
    return None if search is None else max(search - float(major), 0.0)


def _places(known: KnownPoints, at: int, ends: list[Trust]) -> tuple[Place, ...]:
    """Where the hole is for each pair of places of the ends, the likeliest first."""
    element = int(known.holes.element[at])
    entry = known.holes.bores.entry[at]
    along = float(known.record.numbers("sample", "along_m")[known.holes.sample[at]])
    stood = known.ends[2 * element : 2 * element + 2]
    before = _on_axis(stood[0], stood[1], along)
    choices = [one.places or (_as_found(place),) for one, place in zip(ends, stood, strict=True)]
    found = []
    for a, b in product(*choices):
        moved = entry + _on_axis(_xyz(a), _xyz(b), along) - before
        height = float(moved[2]) if np.isfinite(moved[2]) else None
        wrong = "; ".join(one.wrong for one in (a, b) if one.wrong)
        found.append(Place((float(moved[0]), float(moved[1]), height), a.share * b.share, wrong))
    found.sort(key=lambda one: -one.share)
    return tuple(one for one in found if one.share >= _LEAST_SHARE)


def _as_found(xyz: Floats) -> Place:
    height = float(xyz[2]) if np.isfinite(xyz[2]) else None
    return Place((float(xyz[0]), float(xyz[1]), height), 1.0)


def _xyz(place: Place) -> Floats:
    x, y, z = place.at
    return np.array([x, y, np.nan if z is None else z])


def _on_axis(a: Floats, b: Floats, along: float) -> Floats:
    """The point at that distance from A on the way to B; without heights both lie level."""
    axis = b - a
    if not np.isfinite(axis[2]):
        axis = np.array([axis[0], axis[1], 0.0])
    return np.asarray(a + along * axis / max(float(np.linalg.norm(axis)), 1e-9), dtype=np.float64)
