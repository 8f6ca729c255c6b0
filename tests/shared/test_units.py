"""Conversions, against values that are exact by definition."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import units


@pytest.mark.parametrize(
    ("temperature_f", "temperature_c"), [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0), (98.6, 37.0)]
)
def test_fahrenheit_and_celsius_meet_where_they_are_defined_to(temperature_f: float, temperature_c: float) -> None:
    assert units.c_from_f(temperature_f) == pytest.approx(temperature_c, abs=1e-12)


def test_kelvin_is_celsius_moved_by_the_ice_point_for_numbers_and_arrays() -> None:
    assert units.k_from_c(20.0) == 293.15
    np.testing.assert_array_equal(units.k_from_c(np.array([-273.15, 0.0])), [0.0, 273.15])
    assert units.c_from_k(293.15) == pytest.approx(20.0, abs=1e-12)


def test_lengths_and_masses() -> None:
    assert (units.m_from_mm(27.0), units.mm_from_m(0.027)) == (0.027, 27.0)
    assert (units.kg_from_g(2500.0), units.g_from_kg(2.5)) == (2.5, 2500.0)


# NIST Special Publication 811 (2008), Appendix B.8: 1 inch = 2.54 E-02 m, exact; B.8 and 4.2.1.1: t/°F = 1.8 t/°C + 32
@pytest.mark.parametrize(("inch", "mm"), [(1.0, 25.4), (0.25, 6.35), (36.0, 914.4), (10.0, 254.0)])
def test_an_inch_is_two_and_a_half_centimetres_and_a_bit_exactly(inch: float, mm: float) -> None:
    assert units.mm_from_inches(inch) == pytest.approx(mm, rel=1e-15)
    assert units.inches_from_mm(mm) == pytest.approx(inch, rel=1e-15)


@given(st.floats(-60.0, 300.0))
def test_fahrenheit_there_and_back_and_differences_without_the_ice_point(temperature_c: float) -> None:
    assert units.c_from_f(units.f_from_c(temperature_c)) == pytest.approx(temperature_c, abs=1e-10)
    apart_f = units.f_from_c(temperature_c + 5.0) - units.f_from_c(temperature_c)
    assert units.f_difference_from_c(5.0) == 9.0 == pytest.approx(apart_f, abs=1e-10)
    assert units.c_difference_from_f(9.0) == 5.0


def test_a_board_foot_is_a_square_foot_an_inch_thick() -> None:
    # NIST SP 811 (2008), Appendix B.8: 1 board foot = 2.359 737 E-03 m³ (from memory); the inch is 25.4 mm exactly
    assert Fraction(144) * Fraction(254, 10_000) ** 3 == Fraction("0.002359737216")
    assert units.board_feet_from_m3(0.002359737216) == pytest.approx(1.0, rel=1e-15)
    assert units.board_feet_from_m3(1.0) == pytest.approx(423.776, abs=5e-4)


def test_a_moment_is_the_same_in_every_zone() -> None:
    utc = datetime(2026, 4, 1, 6, 0, tzinfo=UTC)
    there = utc.astimezone(timezone(timedelta(hours=5, minutes=45)))
    assert units.ms_from_datetime(utc) == units.ms_from_datetime(there) == 1_775_023_200_000


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        units.ms_from_datetime(datetime(2026, 4, 1))  # noqa: DTZ001


@given(st.integers(0, 95_000_000_000_000))
def test_milliseconds_survive_the_way_there_and_back(at_ms: int) -> None:
    assert units.ms_from_datetime(units.datetime_from_ms(at_ms)) == at_ms
