"""Two faces of which one gains or rests while the other dries and cools both; and that no step goes on for ever.

The boards and the air are invented.
"""

import numpy as np
import pytest
from film import evaporation_heat_j_kg, per_pa
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from kiln import diffusion, psychrometrics, sorption
from kiln.march import SATURATION_SCALE

ONE, BOTH = diffusion.NODES, diffusion.NODES_WITH_TWO_FACES
DENSITY, D20, THICK_M, SLOPE, KAPPA, FILM, RADIATED = 500.0, 6e-11, 0.014, 3.3, 0.6, 0.7, 0.3
AT_MOST = 100  # sub-steps of a step of the air: where faces rested by their own M alone, tens of thousands


def members(count=1, **given_):
    values = {
        "half_thickness_m": THICK_M,
        "basic_density_kg_m3": DENSITY,
        "diffusion_m2_s": D20,
        "moisture_slope": SLOPE,
        "activation_k": 5280.0,
        "free_water_ratio": KAPPA,
        "film_w_m2k": FILM,
        "longwave_w_m2k": 0.0,
        "isotherm_scale": 1.0,
        "air_row": np.zeros(count, np.int64),
    } | given_
    return diffusion.Members(**{k: np.zeros(count, np.asarray(v).dtype) + v for k, v in values.items()})


def resawn(nodes=BOTH):
    """A board whose marked face was the middle of a thicker one, dried for a while, and gained a little since."""
    x = diffusion.node_positions_m(1.0, nodes, two_faces=True)
    return np.interp(x, [0.0, 0.06, 0.14, 0.5, 0.75, 0.9, 1.0], [0.19, 0.175, 0.163, 0.235, 0.302, 0.306, 0.283])


def marched(start, who, t_c, rh_pct, dt_s, every=1):
    air = diffusion.AirSteps(np.atleast_2d(t_c), np.atleast_2d(rh_pct), np.full(np.shape(t_c)[-1], dt_s))
    return diffusion.march_whole(start, who, air, np.arange(0, len(air.dt_s) + 1, every), two_faces=True)


@pytest.mark.parametrize("hours", [1, 3])
@pytest.mark.parametrize("scale", [0.95, 1.0, 1.05, 1.1])
def test_one_face_at_rest_while_the_other_cools_the_board_takes_few_steps(scale, hours):
    swing = np.sin(2.0 * np.pi * np.arange(0, 24 * 6, hours) / 24.0)
    who = members(isotherm_scale=scale, length_m=1.2, along_ratio=10.0)
    course = marched(resawn()[None] * scale, who, 13.0 + 4.0 * swing, 86.0 - 12.0 * swing, 3600.0 * hours)
    assert np.all(np.isfinite(course.profiles))
    assert course.tried.max() <= AT_MOST
    marked = course.profiles[0, :, 0]
    assert np.any(np.diff(marked) > 1e-5) and np.any(np.diff(marked) < -1e-5)  # it does come and go


# The same cells, scipy's LSODA, tables of sorption's and psychrometrics' own figures, and the flux off both faces from
# the balances of heat and vapour at every look, by a root that is sought blindly: whether a face rests is asked at the
# board's own temperature.
T_C, RH_PCT, HOURS = 14.0, 80.0, 60
FACE, WARMTH_C = np.linspace(0.01, SATURATION_SCALE, 4001), np.linspace(0.0, 30.0, 4001)
ACTIVITY = sorption.rh_pct_from_emc(T_C, 100.0 * FACE) / 100.0
P_SAT = psychrometrics.saturation_pressure_pa(WARMTH_C)
P_AIR = float(psychrometrics.vapour_pressure_pa(T_C, RH_PCT))


def fluxes(faces):
    """Flux off each face [kg/m²s], and the board's temperature [°C]."""
    dries = np.interp(faces, FACE, ACTIVITY)
    gains = np.interp(faces / sorption.adsorption_ratio(), FACE, ACTIVITY)

    def each(board_c):
        p = np.interp(board_c, WARMTH_C, P_SAT)
        return per_pa(FILM, T_C) * (np.maximum(dries * p - P_AIR, 0.0) + np.minimum(gains * p - P_AIR, 0.0))

    def heat(board_c):
        return (FILM + RADIATED) * (T_C - board_c) - evaporation_heat_j_kg() * each(board_c).mean()

    board_c = brentq(heat, 0.0, 30.0, xtol=1e-9)
    return each(board_c), board_c


def rates(_, m, shares, gaps_m):
    (marked, other), board_c = fluxes(m[[0, -1]])
    z = m - SATURATION_SCALE
    phi = np.where(z < 0.0, np.expm1(SLOPE * np.minimum(z, 0.0)) / SLOPE, KAPPA * z)
    d = D20 * np.exp(-5280.0 * (1.0 / (board_c + 273.15) - 1.0 / 293.15))
    flow = d * np.diff(phi) / gaps_m
    return np.diff(np.concatenate([[marked / DENSITY], flow, [-other / DENSITY]])) / (shares * THICK_M)


def test_a_face_that_rests_while_the_other_dries_beside_a_method_of_lines():
    at = diffusion.node_positions_m(THICK_M, BOTH, two_faces=True)
    cells = diffusion.cell_shares(BOTH, two_faces=True), np.diff(at)
    emc = float(sorption.emc_pct(T_C, RH_PCT)) / 100.0
    start = (
        emc * 0.92 + (0.29 - emc * 0.92) * np.sin(np.pi / 2.0 * at / THICK_M) ** 2
    )  # marked face: at rest in the air
    assert emc * sorption.adsorption_ratio() < start[0] < emc
    assert fluxes(start[[0, -1]])[0][0] < -1e-8  # but not in that of the cooled board: it gains
    hours = np.array([6, 24, 60])
    made = solve_ivp(
        rates, (0.0, 3600.0 * HOURS), start, "LSODA", 3600.0 * hours, rtol=1e-6, atol=1e-8, lband=1, uband=1, args=cells
    )
    steps = np.full(HOURS * 4, T_C)
    course = marched(start[None], members(longwave_w_m2k=RADIATED), steps, np.full_like(steps, RH_PCT), 900.0, 4)
    print("at most", np.abs(course.profiles[0, hours] - made.y.T).max(axis=1), "kg/kg apart")
    assert course.profiles[0, hours] == pytest.approx(made.y.T, abs=3e-4)


@pytest.mark.parametrize("own_air_m", [1e-3, 0.1])
def test_in_a_closed_wrap_what_one_face_gives_is_in_the_other_or_in_the_air_to_the_last_digits(own_air_m):
    """Vapour that the air can take up, by the law of gases, is the only place where water can go."""
    course = marched(
        resawn()[None],
        members(wrap_pa_m2_s_kg=np.inf, own_air_m=own_air_m),
        np.full(240, T_C),
        np.full(240, 60.0),
        3600.0,
    )
    mean = course.means(two_faces=True)[0]
    vapour = float(psychrometrics.saturation_pressure_pa(T_C)) / (461.5 * (T_C + 273.15)) * own_air_m
    most = 0.4 * vapour * 2.0 / (DENSITY * THICK_M)
    assert course.profiles[0, -1, 0] != course.profiles[0, 0, 0]
    assert 0.0 < mean[0] - mean[-1] < most


def crowd(seed, count=48):
    """Benched, resawn, wet, one-side-coated and wetted boards in daily air with weather; and how they are marched."""
    rng = np.random.default_rng(seed)
    two, hours = seed % 4 > 0, int(rng.choice([1, 3]))
    nodes, steps = (BOTH if two else ONE), 24 * 5 // hours
    swing = np.sin(2.0 * np.pi * (np.arange(steps) * hours - 9.0) / 24.0)
    weather = np.cumsum(rng.normal(0.0, 3.0, (8, steps)), axis=1)
    t_c = rng.uniform(3.0, 28.0, (8, 1)) + rng.uniform(1.0, 8.0, (8, 1)) * swing + rng.normal(0.0, 0.7, (8, steps))
    rh = rng.uniform(40.0, 92.0, (8, 1)) - rng.uniform(2.0, 25.0, (8, 1)) * swing + weather
    air = diffusion.AirSteps(np.clip(t_c, 0.2, 44.0), np.clip(rh, 8.0, 100.0), np.full(steps, 3600.0 * hours))

    def spread(low, high):
        return np.exp(rng.uniform(np.log(low), np.log(high), count))

    def some(share, these, others):
        return np.where(rng.random(count) < share, these, others)

    who = members(
        count,
        half_thickness_m=spread(0.004, 0.06) * (1.0 if two else 0.5),
        basic_density_kg_m3=rng.uniform(300.0, 900.0, count),
        diffusion_m2_s=spread(1.5e-11, 5e-10),
        moisture_slope=rng.uniform(0.6, 6.0, count),
        free_water_ratio=spread(1e-2, 30.0),
        film_w_m2k=spread(0.4, 25.0),
        longwave_w_m2k=some(0.5, 0.0, 4.0),
        isotherm_scale=rng.uniform(0.85, 1.15, count),
        coat_pa_m2_s_kg=some(0.6, 0.0, some(0.8, spread(1e8, 1e11), np.inf)),
        back_coat_pa_m2_s_kg=some(0.6, 0.0, some(0.8, spread(1e8, 1e11), np.inf)),
        wrap_pa_m2_s_kg=some(0.8, 0.0, spread(1e8, 1e11)),
        own_air_m=some(0.8, 0.0, 0.05),
        renewal_m_s=some(0.7, np.inf, spread(1e-5, 1e-1)),
        length_m=some(0.5, np.inf, 1.5),
        along_ratio=10.0,
        air_row=rng.integers(0, 8, count),
    )
    x, dry, wet = diffusion.node_positions_m(1.0, nodes, two_faces=two), *rng.uniform([[0.1], [0.2]], [[0.3], [0.9]])
    kinds = [
        np.full(nodes, rng.uniform(0.08, 0.25)),
        wet - (wet - dry) * (0.3 + 0.7 * x) ** 2,
        np.full(nodes, wet),
        dry + wet * np.exp(-x / 0.1),
        dry + wet * np.exp(-(1.0 - x) / 0.1),
        SATURATION_SCALE - 0.1 * np.exp(-x / 0.1) - 0.02 * np.exp(-(1.0 - x) / 0.1),
    ]
    return np.array([kinds[i % len(kinds)] for i in range(count)]), who, air, two


@pytest.mark.parametrize("seed", range(12))
def test_no_board_of_a_crowd_takes_many_steps_or_gets_lost(seed):
    start, who, air, two = crowd(seed)
    course = diffusion.march_whole(start, who, air, np.array([len(air.dt_s)]), two_faces=two)
    assert np.all(np.isfinite(course.profiles))
    assert course.tried.max() <= AT_MOST


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
def test_what_is_not_found_within_so_many_steps_is_no_number_and_touches_nobody(monkeypatch, two_faces):
    """The middle one, of film and wet wood that a step of six hours takes through saturation, needs many sub-steps."""
    nodes, hard = (BOTH if two_faces else ONE), np.arange(3) == 1
    who = members(3, **{k: np.where(hard, a, b) for k, (a, b) in PLANTED.items()})
    start = np.where(hard, 1.4, 0.25)[:, None] + np.zeros(nodes)
    air = diffusion.AirSteps(np.full((1, 8), 20.0), np.array([[90.0, 20.0] * 4]), np.full(8, 21_600.0))

    def course():
        return diffusion.march_whole(start, who, air, np.arange(9), two_faces=two_faces)

    usual = course()
    assert np.all(np.isfinite(usual.profiles))
    others = usual.tried[~hard].max()
    assert others < usual.tried[1] - 1
    monkeypatch.setattr(diffusion, "MOST_TRIED", usual.tried[1] - 1)
    bounded = course()
    assert bounded.tried[1] == usual.tried[1] - 1
    assert np.all(np.isnan(bounded.profiles[1, -1])) and np.isnan(bounded.means(two_faces=two_faces)[1, -1])
    assert np.array_equal(bounded.profiles[~hard], usual.profiles[~hard])
    begun = np.isfinite(bounded.profiles[1]).all(axis=1)
    assert np.array_equal(bounded.profiles[1, begun], usual.profiles[1, begun])  # until then it was right


PLANTED = {
    "half_thickness_m": (0.0005, 0.0127),
    "film_w_m2k": (50.0, 3.0),
    "diffusion_m2_s": (1e-9, 1e-10),
    "free_water_ratio": (30.0, 1.0),
}
