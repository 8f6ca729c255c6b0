"""A slab that warms through a film, against printed roots, a worked example and a grid of finite differences."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from kiln import warming
from kiln.warming import FACE, MIDDLE, Slab
from shared.tables import constants

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m² K⁴), CODATA 2018, exact


# Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, 6th edition, Table 5.1, plane wall: the first root of
# ζ tan ζ = Bi and its weight in the middle, as printed to four decimals (from memory).
@pytest.mark.parametrize(
    ("biot", "root", "weight"),
    [
        (0.01, 0.0998, 1.0017),
        (0.1, 0.3111, 1.0161),
        (0.5, 0.6533, 1.0701),
        (1.0, 0.8603, 1.1191),
        (2.0, 1.0769, 1.1785),
        (10.0, 1.4289, 1.2620),
        (100.0, 1.5552, 1.2731),
    ],
)
def test_the_first_root_as_printed(biot, root, weight):
    assert warming.roots(biot)[0] == pytest.approx(root, abs=1.0e-4)
    assert warming.weights(biot, MIDDLE)[0] == pytest.approx(weight, abs=1.0e-4)


# Carslaw and Jaeger, Conduction of Heat in Solids, 2nd edition, Appendix IV, Table I: the first three roots of
# α tan α = C for C = 1, printed to four decimals (from memory).
def test_further_roots_as_printed():
    assert warming.roots(1.0)[:3] == pytest.approx([0.8603, 3.4256, 6.4373], abs=1.0e-4)


# The same, Example 5.4 (from memory): a steel wall of 40 mm, k 63.9 W/mK, a 18.8e-6 m²/s, at −20 °C; oil of 60 °C with
# h 500 W/m²K at one face, the other insulated. After 8 min Fo 5.64: 42.9 °C at the insulated face, 45.2 °C at the oil.
def test_a_worked_example():
    wall = Slab(0.04, 63.9, 18.8e-6, 500.0)
    assert wall.biot == pytest.approx(0.313, abs=0.0005)
    assert float(warming.after(wall, -20.0, 60.0, 480.0, MIDDLE)) == pytest.approx(42.9, abs=0.4)
    assert float(warming.after(wall, -20.0, 60.0, 480.0, FACE)) == pytest.approx(45.2, abs=0.4)


def on_a_grid(slab, start_c, air, t_end_s, cells=200):
    """Finite volumes across the half thickness; ``air``: its temperature by time."""
    width = slab.half_m / cells
    outer = 1.0 / (1.0 / slab.film_w_m2k + width / 2.0 / slab.conductivity_w_mk)  # from the last cell's middle
    heat = slab.conductivity_w_mk / slab.diffusivity_m2_s

    def change(t, c):
        flow = np.zeros(cells + 1)
        flow[1:-1] = slab.conductivity_w_mk * (c[1:] - c[:-1]) / width
        flow[-1] = outer * (air(t) - c[-1])
        return np.diff(flow) / (heat * width)

    end = solve_ivp(change, (0.0, t_end_s), np.full(cells, start_c), method="BDF", rtol=1e-8, atol=1e-8, max_step=60)
    c = end.y[:, -1]
    return c[-1] + outer * (air(t_end_s) - c[-1]) * width / 2.0 / slab.conductivity_w_mk, c[0]


@pytest.mark.parametrize("minutes", [2.0, 20.0, 120.0])
@pytest.mark.parametrize("thickness_m", [0.004, 0.027, 0.08])
def test_a_step_against_a_grid(minutes, thickness_m):
    slab = warming.slab_of(0.56, 9.0, thickness_m, 8.0, 12.0)
    face, middle = on_a_grid(slab, 4.0, lambda _t: 21.0, 60.0 * minutes)
    assert float(warming.after(slab, 4.0, 21.0, 60.0 * minutes, FACE)) == pytest.approx(face, abs=0.02)
    assert float(warming.after(slab, 4.0, 21.0, 60.0 * minutes, MIDDLE)) == pytest.approx(middle, abs=0.02)


def test_air_that_changes_from_hour_to_hour_against_a_grid():
    slab = warming.slab_of(0.45, 8.0, 0.045, 8.0, 12.0)
    air_c = np.array([6.0, 9.0, 15.0, 22.0, 19.0, 17.0])
    face, middle = on_a_grid(slab, 5.0, lambda t: air_c[min(int(t // 3600.0), 5)], 6 * 3600.0)
    for depth, expected in ((FACE, face), (MIDDLE, middle)):
        found = warming.follow(slab, 5.0, 3600.0, air_c, depth)
        assert found[-1] == pytest.approx(expected, abs=0.03)


# A thin board is a lump: one exponential of h / (ρ c L). Incropera and DeWitt, section 5.1: within 5 % up to Bi 0.1.
def test_a_thin_board_is_a_lump():
    slab = warming.slab_of(0.4, 8.0, 0.002, 8.0, 15.0)
    assert slab.biot < 0.1
    heat = slab.conductivity_w_mk / slab.diffusivity_m2_s
    t = np.linspace(0.0, 600.0, 7)
    lump = 20.0 - 15.0 * np.exp(-t * slab.film_w_m2k / (heat * slab.half_m))
    assert warming.after(slab, 5.0, 20.0, t) == pytest.approx(lump, abs=0.05 * 15.0)


# Wood Handbook: thermal diffusivity of wood about 1.6e-7 m²/s, hardly moved by moisture (from memory).
@pytest.mark.parametrize("gravity", [0.35, 0.5, 0.65])
def test_diffusivity_of_wood(gravity):
    assert warming.slab_of(gravity, 10.0, 0.025, 8.0, 20.0).diffusivity_m2_s == pytest.approx(1.6e-7, rel=0.12)


# The least film is radiation alone: Stefan and Boltzmann, 4 ε σ T³, emissivity of wood 0.9 (from memory).
def test_the_least_film_is_radiation_alone():
    least = constants("warming")["film_least"].value
    assert least == pytest.approx(4.0 * 0.9 * STEFAN_BOLTZMANN * 293.15**3, rel=0.05)


# ISO 6946, 2017: surface resistances 0.13 m²K/W inside, 0.04 outside (from memory), each printed to two decimals.
@pytest.mark.parametrize(("name", "resistance"), [("usual", 0.13), ("most", 0.04)])
def test_films_are_those_of_buildings(name, resistance):
    film = constants("warming")[f"film_{name}"].value
    assert abs(1.0 / film - resistance) <= 0.005 + 1e-12
