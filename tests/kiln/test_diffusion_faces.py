"""A board's faces and the air that they have: coats, a second face, a wrap, renewed stack air, sun."""

import numpy as np
import pytest
from film import evaporation_heat_j_kg, per_pa
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from kiln import diffusion, psychrometrics, sorption
from kiln.march import HIGHEST_C, SATURATION_SCALE
from shared.tables import constants

HALF_M, DENSITY, T_C, RH_PCT = 0.0127, 480.0, 20.0, 50.0
WARM = 1e12  # longwave so strong that the board has the temperature of the air
SODDEN = {"free_water_ratio": 50.0, "diffusion_m2_s": 1e-9}  # its faces stay wet
BOTH = diffusion.NODES_WITH_TWO_FACES
PSYCHROMETRICS = {name: one.value for name, one in constants("psychrometrics").items()}


def members(**given_):
    values = {
        "half_thickness_m": HALF_M,
        "basic_density_kg_m3": DENSITY,
        "diffusion_m2_s": 1e-10,
        "moisture_slope": 1.15,
        "activation_k": 5280.0,
        "free_water_ratio": 1.0,
        "film_w_m2k": 3.0,
        "longwave_w_m2k": 0.0,
        "isotherm_scale": 1.0,
    } | given_
    return diffusion.Members(**{k: np.array([float(v)]) for k, v in values.items()}, air_row=np.zeros(1, np.int64))


def constant_air(hours, t_c=T_C, rh_pct=RH_PCT, sun_w_m2=None, dt_s=3600.0):
    one = np.ones((1, hours))
    sun = None if sun_w_m2 is None else sun_w_m2 * one
    return diffusion.AirSteps(t_c * one, rh_pct * one, np.full(hours, dt_s), sun)


def daily_air(days, t_c=15.0, swing_k=6.0):
    swing = np.sin(2 * np.pi * np.arange(days * 24) / 24)
    return diffusion.AirSteps((t_c + swing_k * swing)[None], (70 - 20 * swing)[None], np.full(swing.size, 3600.0))


def path_of(start, who, air, every=1, **how):
    """Profiles [times, nodes] from a profile, or from one moisture content throughout."""
    nodes = BOTH if how.get("two_faces") else diffusion.NODES
    profile = np.full((1, nodes), start) if np.ndim(start) == 0 else np.asarray(start)[None]
    return diffusion.march(profile, who, air, np.arange(0, air.dt_s.size + 1, every), **how)[0]


def saturation_pa(t_c=T_C):
    return float(psychrometrics.saturation_pressure_pa(t_c))


def last_loss(path, thickness_m, dt_s=3600.0, *, two_faces=False):
    """What left in the last step [kg/m²s], of the thickness that the profiles stand for."""
    mean = diffusion.mean_of(path, two_faces=two_faces)
    return float(mean[-2] - mean[-1]) * DENSITY * thickness_m / dt_s


# --- two faces -------------------------------------------------------------------------------------

BOARDS = {
    "an ordinary board": {"longwave_w_m2k": 2.0},
    "slow free water": {"free_water_ratio": 2e-3, "film_w_m2k": 20.0, "moisture_slope": 5.0},
    "a thin plate in a strong film": {
        "half_thickness_m": 0.0017,
        "diffusion_m2_s": 1.7e-11,
        "film_w_m2k": 37.0,
        "free_water_ratio": 0.24,
    },
    "fast free water": {"free_water_ratio": 30.0, "film_w_m2k": 10.0},
}


@pytest.mark.parametrize("name", BOARDS)
def test_two_faces_alike_are_the_half_board_folded_out(name):
    """The same cells on the same places: the same equations, but where a shock of air halves the steps of one alone."""
    given_ = BOARDS[name]
    whole = given_ | {"half_thickness_m": 2.0 * given_.get("half_thickness_m", HALF_M)}
    half = path_of(1.1, members(**given_), daily_air(20), 24)
    both = path_of(1.1, members(**whole), daily_air(20), 24, two_faces=True)
    assert half[-1].mean() < 1.05
    assert both == pytest.approx(np.concatenate([half[:, :0:-1], half], axis=1), abs=2e-3)
    assert diffusion.mean_of(both, two_faces=True) == pytest.approx(diffusion.mean_of(half), abs=1e-3)


@pytest.mark.parametrize("name", BOARDS)
def test_a_mirrored_board_with_its_coats_exchanged_gives_the_mirrored_answer(name):
    start = np.linspace(1.1, 0.4, BOTH)
    one, other = ({"coat_pa_m2_s_kg": a, "back_coat_pa_m2_s_kg": b} for a, b in ((0.0, 5e9), (5e9, 0.0)))
    marked = path_of(start, members(**BOARDS[name], **one), daily_air(20), 24, two_faces=True)
    turned = path_of(start[::-1], members(**BOARDS[name], **other), daily_air(20), 24, two_faces=True)
    assert np.abs(marked[-1] - marked[-1, ::-1]).max() > 0.01  # the two faces do differ
    assert turned[:, ::-1] == pytest.approx(marked, abs=2e-3)


@pytest.mark.parametrize("mobility", [0.05, 1.0, 20.0])
def test_a_back_that_lets_nothing_pass_makes_a_half_board_of_the_whole_thickness(mobility):
    """Fine grids, as they differ; surroundings that hold the temperature, for one face cools half as much as two."""
    tight = members(back_coat_pa_m2_s_kg=np.inf, longwave_w_m2k=WARM, free_water_ratio=mobility)
    half = members(longwave_w_m2k=WARM, free_water_ratio=mobility)
    end, steps = constant_air(24 * 30), np.array([240, 720])
    both = diffusion.march(np.full((1, 161), 0.8), tight, end, steps, two_faces=True)[0]
    one = diffusion.march(np.full((1, 81), 0.8), half, end, steps)[0]
    assert diffusion.mean_of(both, two_faces=True) == pytest.approx(diffusion.mean_of(one), abs=5e-4)
    assert both[:, [0, -1]] == pytest.approx(one[:, [0, -1]], abs=2e-3)


@pytest.mark.parametrize(("film", "coat"), [(3.0, 2e9), (10.0, 5e10), (0.5, 0.0)])
def test_between_film_and_coat_an_excess_dies_away_at_the_rate_of_resistances_in_series(film, coat):
    """A plane sheet with an unlike resistance at each side: Carslaw and Jaeger, 1959, section 3.11 (from memory).

    Biot numbers a and b of the sides: tan w = w (a + b) / (w² - a b), and the excess falls as exp(-w² D t / L²).
    Hardly wetter than the air allows, wood with diffusion that does not change is linear.
    """
    d, emc = 1e-10, float(sorption.emc_pct(T_C, 60.0))
    up, down = (float(sorption.rh_pct_from_emc(T_C, emc + e)) / 100.0 for e in (1e-3, -1e-3))
    slope = saturation_pa() * (up - down) / 2e-5  # Pa per kg/kg
    a, b = (slope * HALF_M / (DENSITY * d) / (1.0 / per_pa(film, T_C) + more) for more in (0.0, coat))
    w = brentq(lambda w: (w * w - a * b) * np.sin(w) - w * (a + b) * np.cos(w), 1e-6, np.pi)
    linear = {"diffusion_m2_s": d, "moisture_slope": 1e-6, "activation_k": 0.0, "longwave_w_m2k": WARM}
    who = members(**linear, film_w_m2k=film, coat_pa_m2_s_kg=coat)
    wx = w * diffusion.node_positions_m(1.0, BOTH, two_faces=True)
    shape = np.cos(wx) + a / w * np.sin(wx)  # from the marked face, which has the film alone
    steps = int(0.5 * HALF_M**2 / (w * w * d) / 600.0)  # of ten minutes, until about e to the -1/2 is left
    start = emc / 100.0 + 2e-5 * shape / shape.max()
    path = path_of(start, who, constant_air(steps, rh_pct=60.0, dt_s=600.0), steps, two_faces=True, hysteresis=False)
    excess = path - emc / 100.0
    left = diffusion.mean_of(excess, two_faces=True)
    assert left[1] / left[0] == pytest.approx(np.exp(-w * w * d * steps * 600.0 / HALF_M**2), rel=2e-3)
    assert excess[1] / left[1] == pytest.approx(excess[0] / left[0], rel=5e-3)


# An uneven board between unlike coats against a plain method of lines: cells at their middles, scipy's LSODA, tables of
# sorption's and psychrometrics' own figures, and the faces' balance of heat and vapour solved anew at every look.
CELLS, COATS, SLOPE, RADIATED, KAPPA, THICK_M = 120, np.array([5e8, 8e9]), 4.0, 2.0, 0.6, 0.02
UNEVEN = {"moisture_slope": SLOPE, "longwave_w_m2k": RADIATED, "free_water_ratio": KAPPA, "half_thickness_m": THICK_M}
FACE, WARMTH_C = np.linspace(0.01, SATURATION_SCALE, 4001), np.linspace(0.0, 30.0, 4001)
ACTIVITY = sorption.rh_pct_from_emc(T_C, 100.0 * FACE) / 100.0
P_SAT = psychrometrics.saturation_pressure_pa(WARMTH_C)
P_AIR = float(psychrometrics.vapour_pressure_pa(T_C, RH_PCT))


def given_off(beside):
    """Diffusion [m²/s] and flux off back and front [kg/m²s] from the moisture of the cells beside them."""
    faces, board_c, phi = beside, T_C, potential_of(beside)
    for _ in range(60):
        pressure = np.interp(faces, FACE, ACTIVITY) * np.interp(board_c, WARMTH_C, P_SAT)
        flux = (pressure - P_AIR) / (1.0 / per_pa(3.0, T_C) + COATS)
        before, board_c = board_c, T_C - evaporation_heat_j_kg() * flux.mean() / (3.0 + RADIATED)
        d = 1e-10 * np.exp(-5280.0 * (1.0 / (board_c + 273.15) - 1.0 / 293.15))
        wanted = moisture_of(phi - flux * THICK_M / CELLS / 2.0 / (DENSITY * d))
        moved = np.abs(wanted - faces).max() + abs(board_c - before)
        faces = 0.4 * faces + 0.6 * wanted
        if moved < 1e-8:
            break
    assert moved < 1e-8
    return d, flux


def potential_of(m):
    z = m - SATURATION_SCALE
    return np.where(z < 0.0, np.expm1(SLOPE * np.minimum(z, 0.0)) / SLOPE, KAPPA * z)


def moisture_of(phi):
    bound = np.log1p(SLOPE * np.clip(phi, -0.99 / SLOPE, 0.0)) / SLOPE
    return SATURATION_SCALE + np.where(phi < 0.0, bound, phi / KAPPA)


def rates(_, m):
    d, (back, front) = given_off(m[[0, -1]])
    flow = d * np.diff(potential_of(m)) * CELLS / THICK_M
    return np.diff(np.concatenate([[back / DENSITY], flow, [-front / DENSITY]])) * CELLS / THICK_M


def test_an_uneven_board_between_unlike_coats_within_a_tenth_of_a_percent_of_a_method_of_lines():
    days, x = np.array([2, 5, 10, 20]), (np.arange(CELLS) + 0.5) / CELLS
    span = (0.0, 86_400.0 * days[-1])
    made = solve_ivp(rates, span, start_of(x), "LSODA", 86_400.0 * days, rtol=1e-5, atol=1e-7, lband=1, uband=1)
    at = diffusion.node_positions_m(1.0, BOTH, two_faces=True)
    who = members(**UNEVEN, coat_pa_m2_s_kg=COATS[1], back_coat_pa_m2_s_kg=COATS[0])
    path = path_of(start_of(at), who, constant_air(24 * 20), 24, two_faces=True, hysteresis=False)[days]
    inside = (at >= x[0]) & (at <= x[-1])
    apart = [np.interp(at[inside], x, one) - ours[inside] for one, ours in zip(made.y.T, path, strict=True)]
    print("at most", [f"{100 * np.abs(one).max():.4f} %MC" for one in apart], "apart")
    assert made.y[-1, -1] - made.y[0, -1] > 0.02  # it tells something
    assert 100.0 * np.abs(apart).max() < 0.1


def start_of(share):
    return 0.2 + 0.3 * share**2


# --- the air that a face has -------------------------------------------------------------------------


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
@pytest.mark.parametrize(("wrap", "coat"), [(0.0, 0.0), (1e9, 0.0), (2e10, 0.0), (0.0, 3e9), (2e9, 1e9)])
def test_a_wet_board_loses_what_film_wrap_and_coat_let_pass_one_behind_the_other(wrap, coat, two_faces):
    alike = {"coat_pa_m2_s_kg": coat, "back_coat_pa_m2_s_kg": coat, "wrap_pa_m2_s_kg": wrap}
    path = path_of(1.5, members(**SODDEN, **alike, longwave_w_m2k=WARM), constant_air(12), two_faces=two_faces)
    carried = saturation_pa() * (1.0 - RH_PCT / 100.0) / (1.0 / per_pa(3.0, T_C) + wrap + coat)
    faces = 2 if two_faces else 1
    assert last_loss(path, HALF_M, two_faces=two_faces) == pytest.approx(faces * carried, rel=1e-6)


def test_a_wrapped_board_that_cools_itself_loses_a_little_less():
    """Its temperature by the balance of heat, h (T_a - T) = L j, j = (p_sat(T) - p_a) / (1/beta + wrap)."""
    wrap, film = 1e9, 3.0
    path = path_of(1.5, members(**SODDEN, wrap_pa_m2_s_kg=wrap, film_w_m2k=film), constant_air(24))
    _, flux = wet_balance(film, 0.0, wrap=wrap)
    assert last_loss(path, HALF_M) == pytest.approx(flux, rel=1e-5)
    assert flux < saturation_pa() * 0.5 / (1.0 / per_pa(film, T_C) + wrap)


def wet_balance(film, sun_w_m2, t_c=T_C, rh_pct=RH_PCT, wrap=0.0):
    """Temperature [°C] of a wet face in the sun, and what it gives off [kg/m²s], by its balance of heat."""
    p_air = saturation_pa(t_c) * rh_pct / 100.0

    def flux(board_c):
        return (saturation_pa(board_c) - p_air) / (1.0 / per_pa(film, t_c) + wrap)

    board_c = brentq(lambda t: film * (t - t_c) - sun_w_m2 + evaporation_heat_j_kg() * flux(t), t_c - 30.0, t_c + 70.0)
    return board_c, flux(board_c)


@pytest.mark.parametrize("coats", [(0.0, 0.0), (0.0, np.inf)], ids=["faces alike", "a tight back"])
@pytest.mark.parametrize("dt_s", [60.0, 3600.0])
def test_what_leaves_a_wrap_in_the_long_run_hangs_neither_on_the_air_in_it_nor_on_the_step(coats, dt_s):
    """Once its air is what it will be, a wrap passes the same however much air it holds."""
    usual = members(**SODDEN, longwave_w_m2k=WARM, wrap_pa_m2_s_kg=1e10, back_coat_pa_m2_s_kg=coats[1])
    steps = constant_air(round(86_400 / dt_s), dt_s=dt_s)
    losses = []
    for own_air_m in (0.0, 1e-3, 1e-2):
        who = diffusion.Members(**{**vars(usual), "own_air_m": np.array([own_air_m])})
        losses.append(last_loss(path_of(1.5, who, steps, two_faces=True), HALF_M, dt_s, two_faces=True))
    assert losses == pytest.approx([losses[0]] * 3, rel=1e-3)


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
@pytest.mark.parametrize("coat", [0.0, 4e9])
def test_a_closed_wrap_keeps_the_water_of_wood_and_air_together(two_faces, coat):
    """Wood that dries into a closed wrap: at rest its air holds what the wood lost, and is what the isotherm says."""
    own_air_m, start, thin_m = 2.0, 0.16, 0.004
    thin = {"half_thickness_m": thin_m, "diffusion_m2_s": 1e-9, "moisture_slope": 1.0}
    given_ = {"wrap_pa_m2_s_kg": np.inf, "own_air_m": own_air_m, "coat_pa_m2_s_kg": coat}
    air = daily_air(150, T_C, 0.0)
    path = path_of(start, members(**thin, **given_), air, air.dt_s.size, two_faces=two_faces)
    at_rest = path[-1]
    assert np.ptp(at_rest) < 1e-12
    lost = (start - float(diffusion.mean_of(at_rest, two_faces=two_faces))) * DENSITY * thin_m
    pressure = saturation_pa() * float(sorption.rh_pct_from_emc(T_C, 100.0 * at_rest[-1])) / 100.0
    first = saturation_pa() * air.rh_pct[0, 0] / 100.0
    faces = 2 if two_faces else 1
    per_pa_held = faces * own_air_m / (PSYCHROMETRICS["gas_constant_vapour"] * (T_C + 273.15))
    assert pressure > first * 1.01
    assert lost == pytest.approx(per_pa_held * (pressure - first), rel=1e-9)
    whole = DENSITY * thin_m * start + per_pa_held * first
    assert DENSITY * thin_m * (start - at_rest[-1]) == pytest.approx(
        per_pa_held * (pressure - first), abs=1e-10 * whole
    )


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
@pytest.mark.parametrize("tight", [{"wrap_pa_m2_s_kg": np.inf}, {"coat_pa_m2_s_kg": np.inf}])
def test_where_there_is_no_air_nothing_moves(tight, two_faces):
    path = path_of(0.9, members(**tight, back_coat_pa_m2_s_kg=np.inf), daily_air(20), two_faces=two_faces)
    assert np.all(path == pytest.approx(0.9, abs=1e-13))


def as_a_film(film, longwave, renewal, t_c):
    """Film and longwave [W/m²K] in the open that set against vapour and heat what stack air does, one behind another.

    Vapour: C/h + R_v T/g with C = rho c_p Le R_v T, which is C/h' for 1/h' = 1/h + 1/(g rho c_p Le).
    Heat: 1/(h + h_r) + 1/(g rho c_p), which is 1/(h' + h_r').
    """
    rho_cp = (
        PSYCHROMETRICS["pressure_sea_level"]
        / (PSYCHROMETRICS["gas_constant_air"] * (t_c + 273.15))
        * PSYCHROMETRICS["air_heat"]
    )
    new = 1.0 / (1.0 / film + 1.0 / (renewal * rho_cp * PSYCHROMETRICS["lewis_factor"]))
    return new, 1.0 / (1.0 / (film + longwave) + 1.0 / (renewal * rho_cp)) - new


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
@pytest.mark.parametrize(("renewal", "longwave"), [(2e-4, 0.0), (2e-3, 0.0), (2e-3, 2.0), (0.05, 5.0)])
def test_stack_air_that_is_renewed_is_a_film_of_the_resistances_together(renewal, longwave, two_faces):
    film, longwave_too = as_a_film(3.0, longwave, renewal, T_C)
    given_ = {"film_w_m2k": 3.0, "longwave_w_m2k": longwave, "renewal_m_s": renewal}
    in_stack = path_of(0.9, members(**given_), daily_air(30, T_C, 0.0), 24, two_faces=two_faces)
    who = members(film_w_m2k=film, longwave_w_m2k=longwave_too)
    in_open = path_of(0.9, who, daily_air(30, T_C, 0.0), 24, two_faces=two_faces)
    assert in_stack == pytest.approx(in_open, abs=1e-7)


def test_the_better_the_stack_is_aired_the_nearer_it_is_to_the_open():
    mean = [diffusion.mean_of(path_of(0.9, members(renewal_m_s=g), daily_air(10), 240)[-1]) for g in renewals()]
    apart = np.array(mean[:-1]) - mean[-1]
    assert np.all(np.diff(apart) < 0) and np.all(apart > 0)  # wetter behind less air
    assert apart[2] == pytest.approx(10.0 * apart[3], rel=0.05)
    assert apart[3] < 1e-4


def renewals():
    return 0.002, 0.02, 2.0, 20.0, np.inf


# --- sun ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("film", "sun"), [(3.0, 50.0), (3.0, 70.0), (10.0, 50.0), (10.0, 120.0), (10.0, 200.0)])
def test_a_wet_board_in_the_sun_dries_by_its_balance_of_heat(film, sun):
    t_c, share = 20.0, 0.8
    air = constant_air(8, t_c, 55.0, sun / share)
    path = path_of(1.5, members(**SODDEN, film_w_m2k=film, sun_share=share), air)
    board_c, flux = wet_balance(film, sun, t_c, 55.0)
    print(f"film {film:g}, sun {sun:g} W/m²: {board_c:.1f} °C, {3.6e6 * flux:.1f} g/m²h")
    assert last_loss(path, HALF_M) == pytest.approx(flux, rel=2e-5)
    both = path_of(1.5, members(**SODDEN, film_w_m2k=film, sun_share=share), air, two_faces=True)
    assert last_loss(both, HALF_M, two_faces=True) == pytest.approx(2.0 * flux, rel=2e-5)


@pytest.mark.parametrize(("film", "beyond"), [(3.0, False), (3.0, True), (10.0, False), (10.0, True)])
def test_sun_that_would_make_a_dry_board_warmer_than_the_model_knows_holds_the_state(film, beyond):
    sun = film * (HIGHEST_C - T_C) + (0.1 if beyond else -0.1)
    path = path_of(0.5, members(film_w_m2k=film, sun_share=1.0), constant_air(24, sun_w_m2=sun))
    assert np.all(path == 0.5) == beyond
    shade = path_of(0.5, members(film_w_m2k=film), constant_air(24, sun_w_m2=sun))
    assert shade[-1, -1] < 0.3  # no share of it


def test_a_board_at_rest_in_the_sun_is_as_dry_as_air_of_its_own_warmth_makes_it():
    sun, film = 40.0, 4.0
    thin = {"half_thickness_m": 0.002, "film_w_m2k": film, "longwave_w_m2k": 1.0}
    air = constant_air(24 * 200, sun_w_m2=sun)
    in_sun, in_shade = (float(path_of(0.25, members(**thin, sun_share=s), air, air.dt_s.size)[-1, 0]) for s in (1, 0))
    warm_c = T_C + sun / (film + 1.0)
    rh = RH_PCT * saturation_pa() / saturation_pa(warm_c)
    assert in_shade == pytest.approx(float(sorption.emc_pct(T_C, RH_PCT)) / 100.0, abs=2e-4)
    assert in_sun == pytest.approx(float(sorption.emc_pct(T_C, rh)) / 100.0, abs=2e-4)
    assert in_sun < in_shade - 0.02
