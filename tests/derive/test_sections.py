"""Volumes, logs and faces by cross-section, against integrals of the solids and known figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad, quad

from provenance._derive.wood.sections import (
    LENGTH,
    Form,
    cut_m2,
    estimate,
    log_m3,
    volume_m3,
    worked_m2,
)

NONE = math.nan
FORMS = {
    "round": Form("round"),
    "half": Form("half"),
    "quarter": Form("quarter"),
    "one side": Form("two_sided", 1),
    "two sides": Form("two_sided", 2),
    "squared": Form("rectangle"),
    "around the pith": Form("rectangle_boxed"),
    "plank": Form("plank"),
}


def readings(*figures: float) -> np.ndarray:
    """One piece: two readings at either end, corner to corner, in cm, and its length in m."""
    return np.array(figures, dtype=float).reshape(6, 1)


def chord_of(form: str, w: float, t: float, corner: float):
    """From where to where a cross-section reaches, and how wide it is at each height.

    Said without any of the areas that are tested.
    """
    if form == "round":
        return -t / 2, t / 2, lambda y: w * math.sqrt(max(1 - (2 * y / t) ** 2, 0))
    if form in ("half", "quarter"):
        return 0, t, lambda y: w * math.sqrt(max(1 - (y / t) ** 2, 0))
    if form == "one side":
        return -w / 2, t - w / 2, lambda y: 2 * math.sqrt(max((w / 2) ** 2 - y**2, 0))
    if form == "two sides":
        return -t / 2, t / 2, lambda y: 2 * math.sqrt(max((w / 2) ** 2 - y**2, 0))
    return -t / 2, t / 2, lambda y: min(w, 2 * math.sqrt(max((corner / 2) ** 2 - y**2, 0)))


SOLIDS = [
    ("round", (30, 28, 22, 19, NONE, 4.2)),
    ("half", (30, 14, 24, 12, NONE, 3)),
    ("half", (14, 30, 12, 24, NONE, 3)),
    ("quarter", (16, 15, 12, 13, NONE, 2.5)),
    ("one side", (30, 24, 24, 20, NONE, 5)),
    ("one side", (30, 12, 24, 10, NONE, 5)),
    ("two sides", (30, 20, 26, 19, NONE, 5)),
    ("squared", (24, 20, 20, 18, NONE, 6)),
    ("around the pith", (24, 20, 20, 18, 28, 6)),
    ("plank", (30, 4, 26, 4, NONE, 3)),
]


@pytest.mark.parametrize(("form", "figures"), SOLIDS)
def test_a_volume_is_the_integral_of_the_tapering_solid(form: str, figures) -> None:
    """SciPy integrates the width of the wood over height and length.

    Exact where the area is a product of two readings, within 0.2 % where a circle is cut.
    """
    a1, a2, b1, b2, corner, length = figures
    if form in ("half", "one side", "two sides"):
        (a1, a2), (b1, b2) = sorted((a1, a2), reverse=True), sorted((b1, b2), reverse=True)
    ends = math.hypot(a1, a2), math.hypot(b1, b2)
    corners = ends if math.isnan(corner) else (corner, corner * ends[1] / ends[0])

    def at(share: float):
        mix = (1 - share) * np.array((a1, a2, corners[0])) + share * np.array((b1, b2, corners[1]))
        return chord_of(form, *mix)

    integral, _ = dblquad(
        lambda y, share: at(share)[2](y),
        0, 1, lambda share: at(share)[0], lambda share: at(share)[1],
        epsrel=1e-5, epsabs=1e-3,
    )  # fmt: skip
    product = form not in ("one side", "two sides") and math.isnan(corner)
    found = volume_m3(FORMS[form], readings(*figures)).item()
    assert found == pytest.approx(integral * 1e-4 * length, rel=1e-4 if product else 2e-3)
    areas = [quad(at(end)[2], *at(end)[:2])[0] for end in (0, 1)]
    assert cut_m2(FORMS[form], readings(*figures)).item() == pytest.approx(
        sum(areas) * 1e-4, rel=1e-4
    )


def test_closed_forms_of_geometry_and_of_forest_mensuration() -> None:
    """Frustum of a cone and of a pyramid; Newton, two thirds Huber and one third Smalian.

    From memory: Avery and Burkhart, Forest Measurements; Husch, Beers and Kershaw, Forest
    Mensuration.
    """
    log = readings(30, 30, 20, 20, NONE, 6)
    found = volume_m3(FORMS["round"], log).item()
    assert found == pytest.approx(math.pi * 6 / 3 * (0.15**2 + 0.15 * 0.10 + 0.10**2))
    smalian = math.pi / 4 * (0.3**2 + 0.2**2) / 2 * 6
    huber = math.pi / 4 * 0.25**2 * 6
    assert found == pytest.approx(2 / 3 * huber + smalian / 3)
    beam = volume_m3(FORMS["squared"], log).item()
    assert beam == pytest.approx(6 / 3 * (0.3**2 + 0.3 * 0.2 + 0.2**2))


def test_a_square_holds_more_than_its_circle_and_its_log_more_than_both() -> None:
    square = readings(20, 20, 20, 20, NONE, 4)
    volume = volume_m3(FORMS["squared"], square)
    assert volume / volume_m3(FORMS["round"], square) == pytest.approx(4 / math.pi)
    assert log_m3(FORMS["squared"], square) / volume == pytest.approx(math.pi / 2)
    # corners that are quite round make it a log again
    rounded = readings(20, 20, 20, 20, 20, 4)
    assert volume_m3(FORMS["squared"], rounded) == pytest.approx(volume_m3(FORMS["round"], square))


@pytest.mark.parametrize(
    ("form", "share", "figures"),
    [
        ("round", 1, (30, 30, 24, 24, NONE, 4)),
        ("half", 0.5, (30, 15, 24, 12, NONE, 4)),
        ("quarter", 0.25, (15, 15, 12, 12, NONE, 4)),
    ],
)
def test_halves_and_quarters_take_their_share_of_the_log(form, share, figures) -> None:
    piece = readings(*figures)
    log = volume_m3(FORMS["round"], readings(30, 30, 24, 24, NONE, 4))
    assert log_m3(FORMS[form], piece) == pytest.approx(log)
    assert volume_m3(FORMS[form], piece) == pytest.approx(share * log)


CM = st.floats(0.1, 300)


@given(st.tuples(CM, CM, CM, CM, st.one_of(st.just(NONE), CM), st.floats(0.01, 60)))
def test_no_piece_is_larger_than_its_log_whatever_was_read(figures: tuple[float, ...]) -> None:
    piece = readings(*figures)
    for name, form in FORMS.items():
        volume, log = volume_m3(form, piece).item(), log_m3(form, piece).item()
        assert 0 <= volume <= log * (1 + 1e-9), name
        assert 0 <= worked_m2(form, piece).item() < math.inf, name


def test_nothing_is_guessed_from_one_reading_but_a_circle() -> None:
    one = readings(20, NONE, 18, NONE, NONE, 4)
    assert volume_m3(FORMS["round"], one) == pytest.approx(
        volume_m3(FORMS["round"], readings(20, 20, 18, 18, NONE, 4))
    )
    for name, form in FORMS.items():
        for measure in (volume_m3, log_m3, worked_m2, cut_m2):
            if name != "round":
                assert np.isnan(measure(form, one)), name
            assert np.isnan(measure(form, readings(20, 20, NONE, NONE, NONE, 4))), name
    assert np.isnan(volume_m3(Form("not_known"), readings(20, 20, 20, 20, NONE, 4)))
    assert np.isnan(volume_m3(Form("two_sided"), readings(20, 18, 20, 18, NONE, 4)))


def test_worked_faces_are_those_that_were_made_flat() -> None:
    """Widths of chords by Pythagoras: 15 from the middle of a circle of 34 cm a chord is 16."""
    widths = {
        "round": ((34, 30), 0),
        "half": ((34, 17), 34),
        "quarter": ((17, 16), 33),
        "one side": ((34, 32), 16),
        "two sides": ((34, 30), 32),
        "squared": ((34, 30), 128),
        "plank": ((30, 4), 68),
    }
    for name, ((w, t), width) in widths.items():
        piece = readings(w, t, w, t, NONE, 5)
        assert worked_m2(FORMS[name], piece).item() == pytest.approx(width / 100 * 5), name
    # of a square of 30 whose corners are those of a circle of 34 cm, each face is 16 wide
    waney = readings(30, 30, 30, 30, 34, 5)
    assert worked_m2(FORMS["squared"], waney).item() == pytest.approx(4 * 0.16 * 5)


def test_uncertainty_to_first_order_is_that_of_many_draws() -> None:
    """Monte Carlo as in JCGM 101: readings drawn anew, own errors and one that all share."""
    chance = np.random.default_rng(1)
    many, sd, length_sd, shared = 40_000, 0.4, 0.01, 0.5
    for form, figures in SOLIDS:
        piece = readings(*figures)
        sds = np.array([sd] * 5 + [length_sd]).reshape(6, 1)
        found = estimate(volume_m3, FORMS[form], piece, sds, np.array([shared]))
        own = piece + chance.normal(0, 1, (6, many)) * sds
        assert found.sd.item() == pytest.approx(volume_m3(FORMS[form], own).std(), rel=0.03), form
        alike = np.repeat(piece, many, axis=1)
        alike[:LENGTH] += chance.normal(0, shared, many)
        drawn = volume_m3(FORMS[form], alike).std()
        assert found.bias.item() == pytest.approx(drawn, rel=0.03), form


def test_the_uncertainty_of_a_face_that_is_hardly_hewn_is_finite_and_not_nothing() -> None:
    """The slope of a chord is not finite where it begins; draws tell how far it is off."""
    piece = readings(20, 20, 20, 20, NONE, 1)
    sds = np.full((6, 1), 0.1)
    found = estimate(worked_m2, FORMS["two sides"], piece, sds, np.array([0.0]))
    chance = np.random.default_rng(2)
    drawn = worked_m2(FORMS["two sides"], piece + chance.normal(0, 1, (6, 9999)) * sds)
    off = math.sqrt(((drawn - found.value) ** 2).mean())
    assert found.sd.item() == pytest.approx(off, rel=0.3)
