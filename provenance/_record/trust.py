"""Says in plain words how far the surveyed place of a point can be trusted, the same everywhere."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from provenance._base.languages import N_, _
from provenance._model.measures import Measures
from provenance._record.joined import split_codes

POSITION, PLACES = "position", "position_place"
FITS, LEFT_OUT, UNCHECKED = "fits", "one_left_out", "unchecked"
CONFLICT, TWO_PLACES = "conflict", "two_places"
WITHHELD = (CONFLICT, TWO_PLACES)
"""Verdicts with which no single place and no 95 % range may be told."""
_GRAVER = ("", FITS, LEFT_OUT, UNCHECKED, TWO_PLACES, CONFLICT)

CONFLICT_SAYS = N_("conflict: one of them is wrong, but which one is not known")
TWO_PLACES_SAYS = N_("fit two places, mirror images across the line between the datums")
UNCHECKED_SAYS = N_("a 95 % range holds only if no tape was misread")
OFF_SAYS = N_("from where its distance from end A, clock position and timber size put it")


@dataclass(frozen=True)
class Place:
    """One place that a point may be at, on the site grid in m; `share` is how likely, 0 to 1.

    `wrong` says which readings would be wrong if it lies there, '' where that is not told.
    """

    at: tuple[float, float, float | None]
    share: float
    wrong: str = ""


@dataclass(frozen=True)
class Trust:
    """What the survey found about one point; None or '' where it says nothing.

    `about` names what the verdict is about: the hole, or the timber ends that it was computed
    from. `places` are those that conflicting readings allow, the likeliest first.
    """

    verdict: str = ""
    about: str = ""
    hidden_m: float | None = None
    search_m: float | None = None
    gap_m: float | None = None
    gap_limit_m: float | None = None
    left_out: tuple[str, ...] = ()
    places: tuple[Place, ...] = ()

    @property
    def is_withheld(self) -> bool:
        """Whether no single place and no 95 % range may be told."""
        return self.verdict in WITHHELD

    @property
    def is_off(self) -> bool:
        """Whether tapes and wood put a hole at places farther apart than chance explains."""
        return (
            self.gap_m is not None
            and self.gap_limit_m is not None
            and self.gap_m > self.gap_limit_m
        )

    @property
    def is_doubted(self) -> bool:
        """Whether somebody who looks for the point must be warned."""
        return self.is_withheld or self.is_off


NOT_JUDGED = Trust()


def trust_of(row: Mapping[str, Any], places: Iterable[Place] = ()) -> Trust:
    """What a row of the table 'position' says, numbers as such, None or no such key where blank."""
    verdict = row.get("verdict") or ""
    return Trust(
        verdict,
        point_words(row),
        row.get("hidden_m"),
        row.get("search_m"),
        row.get("wood_gap_m"),
        row.get("wood_gap_limit_m"),
        tuple(split_codes(row.get("left_out"))),
        tuple(places) if verdict in WITHHELD else (),
    )


def gravity(trust: Trust) -> int:
    """How grave a verdict is, least where a point was not judged; one not known here is gravest."""
    return _GRAVER.index(trust.verdict) if trust.verdict in _GRAVER else len(_GRAVER)


def point_words(row: Mapping[str, Any]) -> str:
    """What a row of the table 'position' is about.

    >>> point_words({"point_kind": "element_end", "element_id": "B1-014", "element_end": "a"})
    'end A of B1-014'
    """
    if row.get("point_kind") == "hole":
        return f"the hole of {row['sample_id']}"
    if row.get("point_kind") == "datum":
        return f"datum {row['datum_id']}"
    return f"end {(row.get('element_end') or '').upper()} of {row.get('element_id') or ''}"


_ABOUT = (
    N_("the hole of {code}"),
    N_("datum {code}"),
    N_("end A of {code}"),
    N_("end B of {code}"),
)


def _about_words(about: str) -> str:
    """What a verdict is about, which is kept in English, as it is said now."""
    said = []
    for part in about.split(" and "):
        starts = {one.removesuffix("{code}"): one for one in _ABOUT}
        start = next((start for start in starts if part.startswith(start)), "")
        code = part.removeprefix(start)
        said.append(_(starts[start]).format(code=code) if start else part)
    return _(" and ").join(said)


def share_words(place: Place) -> str:
    """How likely a place is."""
    return f"{place.share * 100:.0f} %"


def range_words(
    trust: Trust, major_m: float | None, height_m: float | None, measures: Measures
) -> str:
    """The 95 % range in words, or that none can be given."""
    if trust.is_withheld or major_m is None:
        return _("No 95 % range can be given")
    within = measures.say(major_m, "m", "range", other=True)
    said = _("Within {range}, 95 times in 100").format(range=within)
    if height_m is not None:
        within = measures.say(height_m, "m", "range", other=True)
        said += _("; height within {range}").format(range=within)
    return said


def trust_words(trust: Trust, measures: Measures) -> tuple[str, ...]:
    """What must be said about a point, in sentences; none where the readings fit and hide nothing.

    Coordinates are not among them; `place_words` has those.
    """
    said = []
    about = _about_words(trust.about)
    readings = _("The readings to {point} {doubt}.")
    if trust.verdict == CONFLICT:
        said.append(readings.format(point=about, doubt=_(CONFLICT_SAYS)))
    elif trust.verdict == TWO_PLACES:
        said.append(readings.format(point=about, doubt=_(TWO_PLACES_SAYS)))
    elif trust.verdict == UNCHECKED:
        unchecked = _("Nothing checks the readings to {point}: {doubt}.")
        said.append(unchecked.format(point=about, doubt=_(UNCHECKED_SAYS)))
    elif trust.verdict == LEFT_OUT:
        ties = f" ({', '.join(trust.left_out)})" if trust.left_out else ""
        left = _("A reading to {point} was wrong and was left out{ties}.")
        said.append(left.format(point=about, ties=ties))
    if trust.is_withheld and len(trust.places) > 1:
        shares = _(" or ").join(share_words(one) for one in trust.places)
        several = _("It may lie at {n} places, {shares} likely.")
        said.append(several.format(n=len(trust.places), shares=shares))
    if trust.is_withheld and trust.search_m is not None:
        search = measures.say(trust.search_m, "m", "range", other=True)
        said.append(_("Search within {range}.").format(range=search))
    if trust.is_off and trust.gap_m is not None:
        off = _("The tapes put it {range} {where}.")
        said.append(off.format(range=measures.say(trust.gap_m, "m", "range"), where=_(OFF_SAYS)))
    if trust.hidden_m and not trust.is_withheld:
        hidden = measures.say(trust.hidden_m, "m", "range", other=True)
        moved = _("An undetected misreading may have moved it by up to {range}.")
        said.append(moved.format(range=hidden))
    return tuple(said)


def brief_words(trust: Trust, measures: Measures) -> str:
    """The doubt about a point in a few words, '' where there is none."""
    said = {CONFLICT: "readings conflict", TWO_PLACES: "two places fit"}.get(trust.verdict, "")
    if said and trust.search_m is not None:
        said += f", search within {measures.say(trust.search_m, 'm', 'range')}"
    if trust.is_off and trust.gap_m is not None:
        off = f"tapes and wood differ by {measures.say(trust.gap_m, 'm', 'range')}"
        said = f"{said}; {off}" if said else off
    return said


def place_words(trust: Trust, measures: Measures) -> tuple[str, ...]:
    """One line for each place that a point may be at, with its coordinates on the site grid."""
    lines = []
    for number, one in enumerate(trust.places, start=1):
        wrong = _("; then {readings}").format(readings=one.wrong) if one.wrong else ""
        place = _("Place {number} ({share} likely): {at}")
        at = grid_words(one.at, measures)
        lines.append(place.format(number=number, share=share_words(one), at=at) + wrong)
    return tuple(lines)


def grid_words(at: tuple[float, float, float | None], measures: Measures) -> str:
    """Coordinates on a site grid.

    >>> grid_words((3.048, 1.524, None), Measures("feet_inches"))
    'x 10.00 ft, y 5.00 ft'
    """
    named = zip(("x", "y", _("height")), at, strict=True)
    return ", ".join(
        f"{name} {measures.say(m, 'm', 'survey')}" for name, m in named if m is not None
    )
