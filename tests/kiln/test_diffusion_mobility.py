"""Over every mobility of free water: the time to 25 %MC beside a fine reference made another way.

The reference keeps moisture at the middles of 160 equal cells, goes through time by LSODA (scipy) at a tolerance of
1e-6, has the board's temperature and the face's flux in tables made by bisection beforehand, and inverts the isotherm
by sorption's own array function.
"""

import film as film_formula
import numpy as np
from scipy.integrate import solve_ivp

from kiln import diffusion, psychrometrics, sorption
from kiln.march import SATURATION_SCALE

CELLS, TARGET, STEP_S = 160, 0.25, 3 * 3600.0
DENSITY, D20, SLOPE, ACTIVATION_K, RADIATED = 480.0, 1e-10, 1.15, 5280.0, 2.0
MOBILITIES = np.geomspace(1e-3, 50.0, 10)
FILMS, HALVES_M, STARTS, AIRS = (2.0, 8.0), (0.006, 0.0127, 0.025), (0.8, 1.4), ((20.0, 55.0), (10.0, 75.0))


def cases():
    """Each mobility twice, with thickness, film, start and air going round."""
    every = [(kappa, turn) for turn in range(2) for kappa in MOBILITIES]
    return [
        (kappa, HALVES_M[(i + turn) % 3], FILMS[i % 2], STARTS[(i // 2 + turn) % 2], AIRS[(i // 3) % 2])
        for i, (kappa, turn) in enumerate(every)
    ]


def potential_of(m, kappa):
    z = m - SATURATION_SCALE
    return np.where(z < 0.0, np.expm1(SLOPE * np.minimum(z, 0.0)) / SLOPE, kappa * z)


def given_off(film, air, kappa):
    """Tables by moisture of the face: potential, flux off it [kg/m²s], and diffusion [m²/s] at the board's warmth.

    At each activity the board's temperature is that at which the heat through film and surroundings carries the flux.
    """
    t_c, rh = air
    per_pa = film_formula.per_pa(film, t_c)
    p_air = float(psychrometrics.saturation_pressure_pa(t_c)) * rh / 100.0
    full = float(sorption.emc_pct(t_c, 100.0)) / 100.0  # in the cold the isotherm ends above where bound water does
    face = np.linspace(0.03, max(full, SATURATION_SCALE), 6000)
    activity = sorption.rh_pct_from_emc(t_c, 100.0 * np.minimum(face, full)) / 100.0
    cold, warm = np.full(face.size, t_c - 30.0), np.full(face.size, t_c + 15.0)
    for _ in range(60):
        board = 0.5 * (cold + warm)
        flux = per_pa * (activity * psychrometrics.saturation_pressure_pa(board) - p_air)
        heat = (film + RADIATED) * (t_c - board) / film_formula.evaporation_heat_j_kg()
        cold, warm = np.where(flux < heat, board, cold), np.where(flux < heat, warm, board)
    d = D20 * np.exp(-ACTIVATION_K * (1.0 / (board + 273.15) - 1.0 / 293.15))
    return potential_of(face, kappa), flux, d


def reference_s(kappa, half_m, film, start, air):
    """Seconds until the mean is at the target."""
    width = half_m / CELLS
    face, flux_off, d_at = given_off(film, air, kappa)
    last = face + flux_off * width / 2.0 / (DENSITY * d_at)  # potential of the last cell that brings just that flux

    def rates(_, m):
        phi = potential_of(m, kappa)
        flux, d = np.interp(phi[-1], last, flux_off), np.interp(phi[-1], last, d_at)
        flow = d * np.diff(phi) / width
        return (np.append(flow, -flux / DENSITY) - np.append(0.0, flow)) / width

    def reached(_, m):
        return m.mean() - TARGET

    reached.terminal = True
    first = np.full(CELLS, start)
    made = solve_ivp(rates, (0.0, 1e9), first, "LSODA", rtol=1e-6, atol=1e-9, lband=1, uband=1, events=reached)
    return float(made.t_events[0][0])


def ours_s(kappa, half_m, film, start, air, about_s):
    t_c, rh = air
    steps = int(np.ceil(1.3 * about_s / STEP_S)) + 20
    one = np.ones((1, steps))
    values = (half_m, DENSITY, D20, SLOPE, ACTIVATION_K, kappa, film, RADIATED, 1.0)
    who = diffusion.Members(*(np.array([v]) for v in values), np.zeros(1, np.int64))
    path = diffusion.march(
        np.full((1, diffusion.NODES), start),
        who,
        diffusion.AirSteps(t_c * one, rh * one, np.full(steps, STEP_S)),
        np.arange(steps + 1),
        hysteresis=False,
    )[0]
    return float(np.interp(-TARGET, -diffusion.mean_of(path), STEP_S * np.arange(steps + 1)))


def test_the_time_to_a_quarter_is_that_of_a_fine_reference_at_every_mobility():
    off = []
    for case in cases():
        exact = reference_s(*case)
        off.append(ours_s(*case, exact) / exact - 1.0)
        print(f"mobility {case[0]:8.4f}, {case[1:]}: {exact / 86400:6.1f} d, {100 * off[-1]:+.2f} %")
    off = np.abs(off)
    assert np.median(off) < 0.003
    assert np.quantile(off, 0.95) < 0.01
