"""Volumes against closed forms and the formulas of forest mensuration."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._derive.size import derive_sizes, huber_m3, newton_m3, smalian_m3
from tests.builders import a_package

CM = st.floats(1, 200)
METRES = st.floats(0.1, 30)


@given(CM, METRES)
def test_all_three_are_exact_for_a_cylinder(diameter, length) -> None:
    volume = math.pi * (diameter / 200) ** 2 * length
    assert huber_m3(diameter, length) == pytest.approx(volume)
    assert smalian_m3(diameter, diameter, length) == pytest.approx(volume)
    assert newton_m3(diameter, diameter, diameter, length) == pytest.approx(volume)


@given(CM, CM, METRES)
def test_newton_is_exact_for_the_frustum_of_a_cone(a, b, length) -> None:
    """Volume of a frustum: pi h (R² + R r + r²) / 3 (elementary geometry)."""
    big, small = a / 200, b / 200
    volume = math.pi * length * (big**2 + big * small + small**2) / 3
    assert newton_m3(a, (a + b) / 2, b, length) == pytest.approx(volume)


@given(CM, CM, METRES)
def test_for_a_frustum_huber_falls_short_and_smalian_goes_over(a, b, length) -> None:
    """A known property of the formulas; the errors stand as one to two (forest mensuration)."""
    middle = (a + b) / 2
    newton = newton_m3(a, middle, b, length)
    short = newton - huber_m3(middle, length)
    over = smalian_m3(a, b, length) - newton
    assert short >= -1e-9
    assert over == pytest.approx(2 * short, abs=1e-9)


@given(CM, METRES)
def test_all_three_for_a_paraboloid(butt, length) -> None:
    """Huber and Smalian are exact for a paraboloid, half the cylinder (forest mensuration)."""
    middle = butt / math.sqrt(2)
    volume = math.pi * (butt / 200) ** 2 * length / 2
    assert huber_m3(middle, length) == pytest.approx(volume)
    assert smalian_m3(butt, 0, length) == pytest.approx(volume)
    assert newton_m3(butt, middle, 0, length) == pytest.approx(volume)


def test_sizes_of_a_recorded_beam(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().package
    row = derive_sizes(package).row(0, named=True)
    assert row["diameter_a_cm"] == pytest.approx(math.sqrt(22 * 21))
    assert row["butt_cm"] > row["top_cm"]
    assert row["taper"] == pytest.approx((math.sqrt(22 * 21) - math.sqrt(20 * 19)) / 4.2)


def test_one_measured_end_gives_no_butt_and_no_volume(tmp_path) -> None:
    builder = a_package(tmp_path).with_row("site").with_row("place")
    builder.with_row("element", diameter_b1_cm=None, diameter_b2_cm=None)
    row = derive_sizes(builder.package).row(0, named=True)
    assert row["diameter_a_cm"] == pytest.approx(math.sqrt(22 * 21))
    assert row["butt_cm"] is None
    assert row["newton_m3"] is None


def test_the_laboratorys_species_counts_more_than_the_fields(tmp_path) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_row("lab_result", species="PSME")
    assert list(derive_sizes(builder.package)["species"]) == ["PSME"]
