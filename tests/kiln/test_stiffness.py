"""Stiffness: printed values at 12 % and green, monotone between, the green value from the intersection up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import stiffness
from kiln.errors import OutOfRange
from shared.errors import BadInput
from shared.tables import species

DRY = st.floats(5e9, 20e9)
SHARES = st.floats(0.5, 0.99)
MEETS = st.floats(18.0, 32.0)


@given(DRY, SHARES, MEETS, st.floats(0.0, 100.0))
def test_the_printed_values_come_back_at_12_and_from_the_intersection_up(dry, share, meet, above):
    assert stiffness.modulus_pa(dry, share * dry, 12.0, meet) == pytest.approx(dry, rel=1e-12)
    assert stiffness.modulus_pa(dry, share * dry, meet + above, meet) == pytest.approx(share * dry, rel=1e-12)


@given(DRY, SHARES, MEETS)
def test_wood_grows_stiffer_all_the_way_down(dry, share, meet):
    moduli = stiffness.modulus_pa(dry, share * dry, np.linspace(0.0, meet, 40), meet)
    assert np.all(np.diff(moduli) < 0)


def test_a_lot_named_after_its_species_takes_its_intersection_and_others_the_default():
    assert stiffness.intersection_mc_pct("Picea sitchensis") == 27.0
    assert stiffness.intersection_mc_pct("Picea sitchensis, pond lot") == 27.0
    assert stiffness.intersection_mc_pct("Acer saccharum") == stiffness.intersection_mc_pct() == 25.0


def test_a_timber_uses_its_own_intersection_and_arrays_equal_scalars():
    spruce = species()["Picea engelmannii"]
    at = stiffness.species_modulus_pa(spruce, np.array([6.0, 12.0, np.nan, 40.0]))
    assert at[0] == stiffness.species_modulus_pa(spruce, 6.0)
    assert at[1] == pytest.approx(spruce.moe_12_pa)
    assert np.isnan(at[2])
    assert at[3] == pytest.approx(spruce.moe_green_pa)
    pine = replace(spruce, botanical_name="Pinus palustris")  # its curve ends at 21 %, not 25
    assert stiffness.species_modulus_pa(pine, 21.0) == pytest.approx(spruce.moe_green_pa)


def test_a_timber_without_both_values_is_refused_by_name():
    spruce = species()["Picea engelmannii"]
    for lacking, said in (("moe_12_pa", "at 12 %"), ("moe_green_pa", "green")):
        with pytest.raises(BadInput, match=f"Picea engelmannii\\) {said} is empty"):
            stiffness.species_modulus_pa(replace(spruce, **{lacking: None}), 8.0)


def test_pieces_of_one_timber_scatter():
    assert 0.1 < stiffness.modulus_cv() < 0.35


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: stiffness.modulus_pa(0.0, 8e9, 8.0), "at_12 is 0"),
        (lambda: stiffness.modulus_pa(9e9, -8e9, 8.0), "green is -8e"),
        (lambda: stiffness.modulus_pa(9e9, 8e9, -0.1), "mc_pct is -0.1"),
        (lambda: stiffness.modulus_pa(9e9, 8e9, 8.0, 12.0), "intersection_pct is 12"),
    ],
)
def test_outside_its_range_the_formula_refuses_and_names_the_value(call, named):
    with pytest.raises(OutOfRange, match=named):
        call()
