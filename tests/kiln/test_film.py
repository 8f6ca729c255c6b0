"""The air at a face: moving faster it passes more, standing still it passes some, and a stack makes its own."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from kiln import film
from kiln.errors import OutOfRange
from shared.errors import BadInput
from shared.tables import constants

widths = st.floats(0.02, 5.0)
airs = st.floats(0.0, 45.0)
speeds = st.floats(0.0, 5.0)


def usual(name):
    return constants("film")[name].value


@given(speed=speeds, more=st.floats(0.01, 1.0), along=widths, t=airs)
def test_faster_air_never_makes_a_weaker_film(speed, more, along, t):
    slow, fast = film.plate_film_w_m2k(np.array([speed, min(speed + more, 5.0)]), along, t)
    assert slow <= fast * (1.0 + 1e-12)


@given(along=widths, t=airs, difference=st.floats(0.0, 30.0))
def test_still_air_leaves_the_film_of_free_convection(along, t, difference):
    still = film.plate_film_w_m2k(0.0, along, t, difference)
    assert still == pytest.approx(film.free_film_w_m2k(along, t, difference), rel=1e-12)


def test_still_air_passes_heat_though_nobody_said_how_warm_the_board_is():
    assert film.plate_film_w_m2k(0.0, 0.2, 20.0) > 1.0


@given(speed=st.floats(0.5, 5.0), along=widths, t=airs)
def test_the_stronger_of_the_two_rules_and_together_they_are_at_most_a_quarter_more(speed, along, t):
    parts = np.array([film.forced_film_w_m2k(speed, along, t), film.free_film_w_m2k(along, t)])
    both = film.plate_film_w_m2k(speed, along, t)
    assert parts.max() <= both <= 2.0 ** (1.0 / 3.0) * parts.max() * (1.0 + 1e-12)


def test_laminar_runs_over_into_mixed_without_a_step():
    critical = usual("critical_reynolds") * float(film.air_properties(20.0).viscosity_m2_s) / 5.0
    below, above = film.forced_film_w_m2k(5.0, critical * np.array([1.0 - 1e-9, 1.0 + 1e-9]), 20.0)
    assert above == pytest.approx(below, rel=0.002)


def test_past_the_critical_point_a_longer_plate_has_the_stronger_film_again():
    films = film.forced_film_w_m2k(5.0, np.array([0.2, 1.5, 5.0]), 20.0)
    assert films[0] > films[1] < films[2]


def test_arrays_of_any_shapes_that_broadcast_and_nan_stays():
    made = film.plate_film_w_m2k(np.array([[0.0], [1.0]]), np.array([0.1, 0.2, np.nan]), 20.0)
    assert made.shape == (2, 3)
    assert np.isnan(made[:, 2]).all()
    assert made[1, 0] == film.plate_film_w_m2k(1.0, 0.1, 20.0)


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("air_speed_m_s", (-0.01, 0.2, 20.0)),
        ("air_speed_m_s", (5.01, 0.2, 20.0)),
        ("along_m", (1.0, 0.0, 20.0)),
        ("along_m", (1.0, 200.0, 20.0)),
        ("temperature_c", (1.0, 0.2, -0.1)),
        ("temperature_c", (1.0, 0.2, 45.1)),
        ("difference_k", (1.0, 0.2, 20.0, -1.0)),
    ],
)
def test_what_no_source_covers_is_refused_by_name(field, values):
    with pytest.raises(OutOfRange, match=f"^{field} is .*; accepted: "):
        film.plate_film_w_m2k(*values)


def test_renewal_is_the_gaps_air_shared_by_the_two_faces_and_the_boards_before():
    # 0.2 m/s through 20 mm brings 4 litres a second and metre of stack; 1 m of two faces has 2 m²: 2 l/s for each.
    assert film.renewal_m_s(0.2, 0.02, 1.0) == pytest.approx(0.002)
    assert film.renewal_m_s(0.0, 0.02, 1.0) == 0.0


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("air_speed_m_s", (-1.0, 0.02, 1.0)),
        ("sticker_m", (0.2, 22.0, 1.0)),
        ("from_windward_m", (0.2, 0.02, 0.0)),
    ],
)
def test_a_stack_that_cannot_be_is_refused_by_name(field, values):
    with pytest.raises(OutOfRange, match=f"^{field} is .*; accepted: "):
        film.renewal_m_s(*values)


@given(speed=st.floats(0.05, 3.0), gap=st.floats(0.01, 0.05), far=st.floats(0.1, 5.0), flux=st.floats(1e-7, 1e-4))
def test_the_gaps_vapour_by_the_balance_marched_along_it(speed, gap, far, flux):
    """The slice's balance u s dc/dx = 2 j, by an integrator that knows nothing of the closed form."""
    gain = solve_ivp(lambda _x, _c: [2.0 * flux / (speed * gap)], (0.0, far), [0.0]).y[0, -1]
    assert gain == pytest.approx(flux / float(film.renewal_m_s(speed, gap, far)), rel=1e-9)


@given(units=st.floats(0.01, 50.0))
def test_in_the_middle_of_a_stack_the_two_in_series_are_once_to_twice_its_average(units):
    """Against faces all equally wet: then the slice nears them as exp(-N), and N units of transfer give up 1 - exp(-N).

    Source: effectiveness of a heat exchanger with one side at one temperature, Incropera and DeWitt, 6th edition,
    Equation 11.35a (from memory).
    """
    speed, gap, wide = 0.5, 0.02, 1.5
    film_m_s = units * speed * gap / 2.0 / wide
    series = 1.0 / (1.0 / film_m_s + 1.0 / float(film.renewal_m_s(speed, gap, wide / 2.0)))
    average = film_m_s * -np.expm1(-units) / units
    assert 1.0 - 1e-9 <= series / average <= 2.0


@pytest.mark.parametrize("place", ["yard", "shed"])
def test_film_and_renewal_of_a_usual_stack_come_to_what_is_believed_of_its_place(place):
    """The beliefs of drying.csv are of films as they act inside a stack; both are from memory, by different ways."""
    speed, believed = usual(f"air_speed_{place}"), constants("drying")[f"film_{place}"]
    moist = constants("psychrometrics")
    carried = moist["pressure_sea_level"].value / (moist["gas_constant_air"].value * 293.15) * moist["air_heat"].value
    renewal = film.renewal_m_s(speed, usual("sticker"), usual("from_windward_middle"))
    acting = 1.0 / (1.0 / film.plate_film_w_m2k(speed, 0.2, 20.0) + 1.0 / (renewal * carried))
    assert abs(np.log(acting / believed.value)) < believed.sd_ln


@pytest.mark.parametrize("name", ["yard", "shed", "room", "fan", "fan_shed"])
def test_usual_speeds_are_accepted_and_say_how_they_are_known(name):
    row = constants("film")[f"air_speed_{name}"]
    assert film.plate_film_w_m2k(row.value, 0.2, 20.0) > film.free_film_w_m2k(0.2, 20.0)
    assert row.status and row.source and row.sd_ln > 0.0


@pytest.mark.parametrize("name", film.WRAPS)
def test_a_wrapping_holds_back_far_more_than_the_air_and_its_spread_is_wide(name):
    layer = film.wrap_resistance(name)
    air = film.layer_resistance_pa_m2_s_kg(0.01)  # a film of still air is thinner than 1 cm
    assert layer.pa_m2_s_kg > 100.0 * air
    assert layer.sd_ln >= 0.4
    assert layer.source and layer.status


def test_finishes_stand_in_the_order_of_their_moisture_excluding_and_below_a_whole_sheet():
    """Order by FPL-RP-462 (Feist, Little and Wennesheimer, 1985): oil, lacquer, shellac, varnish."""
    names = ("coat_oil", "coat_lacquer", "coat_shellac", "coat_varnish")
    found = [film.coat_resistance(name).pa_m2_s_kg for name in names]
    assert found == sorted(found)
    assert found[-1] < film.wrap_resistance("wrap_sheet").pa_m2_s_kg
    assert set(names) == set(film.COATS)


@pytest.mark.parametrize(("kind", "ask"), [("wrap", film.wrap_resistance), ("coat", film.coat_resistance)])
def test_another_layer_is_refused_with_the_ones_that_there_are(kind, ask):
    with pytest.raises(BadInput, match=f"^{kind} is laminar; accepted: {kind}_"):
        ask("laminar")


def test_a_layers_resistance_grows_with_its_air_layer_and_none_is_nought():
    assert film.layer_resistance_pa_m2_s_kg(np.array([0.0, 1.0, 2.0])) == pytest.approx(
        [0.0, 5.116e9, 10.232e9], rel=1e-3
    )
    with pytest.raises(OutOfRange, match=r"^sd_m is -1 m; accepted: 0 to "):
        film.layer_resistance_pa_m2_s_kg(-1.0)


def test_air_and_its_permeability_refuse_frost():
    for ask in (film.air_properties, film.still_air_permeability_kg_m_s_pa):
        with pytest.raises(OutOfRange, match=r"^temperature_c is -5 °C; accepted: 0 to 45 °C"):
            ask(-5.0)
