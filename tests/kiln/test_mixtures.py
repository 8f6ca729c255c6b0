"""Finishes as their data sheets print them: the worst composition, and what keeps an answer from being given."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import linprog

from kiln.errors import OutOfRange
from kiln.mixtures import Basis, Ingredient
from shared.errors import BadInput
from shared.tables import find_substance
from tests.kiln.finishes import finish, listed

LACQUER = finish(listed("toluene", 0.1, 0.3), listed("ethanol", 0.2, 0.5), listed("solids", 0.2, 0.4))


@st.composite
def ranges(draw):
    """Ranges as sheets have them, whose least shares are no more than the whole."""
    found = draw(st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)), min_size=1, max_size=6))
    pairs = [tuple(sorted(pair)) for pair in found]
    assume(sum(low for low, _ in pairs) <= 1.0)
    return pairs


@given(ranges(), st.data())
def test_the_worst_composition_is_that_of_a_linear_program(pairs, data):
    weights = data.draw(st.lists(st.floats(0.0, 1e4), min_size=len(pairs), max_size=len(pairs)))
    mixture = finish(*(Ingredient("x", low, high, None) for low, high in pairs))
    solved = linprog(-np.array(weights), A_ub=np.ones((1, len(pairs))), b_ub=[1.0], bounds=pairs, method="highs")
    assert mixture.worst(weights) == pytest.approx(-solved.fun, rel=1e-6, abs=1e-6)


@given(ranges(), st.data())
def test_what_is_unknown_takes_no_room_from_what_is_known(pairs, data):
    weights = data.draw(st.lists(st.floats(0.0, 1e4), min_size=len(pairs), max_size=len(pairs)))
    some = data.draw(st.lists(st.booleans(), min_size=len(pairs), max_size=len(pairs)))
    known = [pair for pair, unknown in zip(pairs, some, strict=True) if not unknown]
    assume(known)
    whole = finish(*(Ingredient("x", low, high, None) for low, high in pairs))
    part = finish(*(Ingredient("x", low, high, None) for low, high in known))
    held = [None if unknown else weight for weight, unknown in zip(weights, some, strict=True)]
    assert whole.worst(held) == pytest.approx(part.worst([one for one in held if one is not None]))


def test_each_hazard_is_taken_at_its_own_worst():
    mixture = finish(listed("toluene", 0.1, 0.6), listed("ethanol", 0.1, 0.6), listed("solids", 0.3, 0.5))
    assert mixture.worst([1.0, 0.0, 0.0]) == pytest.approx(0.6)
    assert mixture.worst([0.0, 1.0, 0.0]) == pytest.approx(0.6)
    assert mixture.worst([1.0, 1.0, 0.0]) == pytest.approx(0.7)


def test_a_sheet_that_names_all_and_all_of_which_is_listed_leaves_nothing_unknown():
    assert LACQUER.unknowns() == ()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (replace(LACQUER, ingredients=(*LACQUER.ingredients, Ingredient("foo", 0.0, 0.1, None))), "foo is not in the"),
        (replace(LACQUER, ingredients=LACQUER.ingredients[:2]), "20 % of it is not named"),
        (replace(LACQUER, density_kg_m3=None), "density is not given"),
        (replace(LACQUER, isocyanate=None), "Nobody has said whether it holds isocyanate"),
        (replace(LACQUER, formaldehyde=None), "Nobody has said whether it holds formaldehyde"),
    ],
)
def test_what_is_unknown_is_said(changed, said):
    assert any(said in text for text in changed.unknowns())


def test_an_ingredient_by_volume_wants_its_own_density():
    toluene = find_substance("toluene")
    volume = finish(Ingredient("x", 1.0, 1.0, toluene), basis=Basis.VOLUME, density=None)
    assert volume.unknowns() == ()
    assert volume.mass_per_share_kg_m3(volume.ingredients[0]) == toluene.density_kg_m3
    weightless = finish(Ingredient("x", 1.0, 1.0, replace(toluene, density_kg_m3=None)), basis=Basis.VOLUME)
    assert "no density is listed" in weightless.unknowns()[0]


def test_a_missing_density_never_counts_as_more_than_the_lightest_liquid():
    known = LACQUER.mass_per_share_kg_m3(LACQUER.ingredients[0])
    assert 0.0 < replace(LACQUER, density_kg_m3=None).mass_per_share_kg_m3(LACQUER.ingredients[0]) <= known


@pytest.mark.parametrize(
    "name", ["isocyanate", "HDI trimer", "hexamethylene diisocyanate", "822-06-0", "formaldehyde", "50-00-0"]
)
def test_an_ingredient_that_sensitizes_refuses_the_whole(name):
    mixture = replace(LACQUER, ingredients=(*LACQUER.ingredients, Ingredient(name, 0.0, 0.01, None)))
    assert mixture.refusal() is not None


@pytest.mark.parametrize("name", ["Polyisocyanate clear coat", "two-pack polyurethane lacquer", "pre-cat lacquer"])
def test_the_name_of_the_product_refuses_it_where_section_3_is_silent(name):
    assert LACQUER.refusal() is None
    assert replace(LACQUER, name=name).refusal() is not None


@pytest.mark.parametrize("flag", ["isocyanate", "formaldehyde"])
def test_what_the_sheet_says_of_the_whole_refuses_it(flag):
    refusal = replace(LACQUER, **{flag: True}).refusal()
    assert refusal is not None
    assert flag in refusal.group
    assert LACQUER.refusal() is None


@pytest.mark.parametrize(
    ("make", "named"),
    [
        (lambda: finish(), "ingredients is empty"),
        (lambda: finish(listed("toluene", 0.6, 0.7), listed("ethanol", 0.5, 0.6)), "ingredients is 110 % at least"),
        (lambda: finish(listed("toluene", 0.6, 0.5)), "share of toluene is 0.6 to 0.5"),
        (lambda: finish(listed("toluene", 0.6, float("nan"))), "share of toluene"),
        (lambda: finish(listed("toluene", 0.6, 60.0)), "share of toluene"),
        (lambda: LACQUER.worst([1.0]), "weights is 1; accepted: 3"),
        (lambda: LACQUER.worst([1.0, -1.0, 0.0]), "weights is -1"),
    ],
)
def test_bad_input_is_named(make, named):
    with pytest.raises(BadInput, match=named):
        make()


@pytest.mark.parametrize("density", [0.9, 90.0, 9000.0, float("nan")])
def test_a_density_in_the_wrong_unit_is_refused(density):
    with pytest.raises(OutOfRange, match="density_kg_m3"):
        finish(listed("toluene", 1.0, 1.0), density=density)
