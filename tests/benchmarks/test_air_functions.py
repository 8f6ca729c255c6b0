"""The checked functions of air and wood beside the bare numpy expression of the same formula, in one run.

Direct functions stand beside the expression alone, with constants in place and no range looked at; solvers beside
the bisection of that expression that they replace. `make bench` prints the ratios.
"""

import time

import numpy as np
import pytest

from kiln import psychrometrics, sorption

POINTS, SOLVED_POINTS = 10_000_000, 200_000
ROUNDS = 5
SLOWEST = 2.0  # times the bare expression
SEA_LEVEL_PA = 101_325.0


def air(points):
    rng = np.random.default_rng(1)
    return rng.uniform(-2.0, 60.0, points), rng.uniform(0.1, 99.9, points)


def bare_saturation_pa(t_c):
    t = t_c + 273.15
    ice_tail = t * (-0.9677843e-2 + t * (0.62215701e-6 + t * (0.20747825e-8 + t * -0.9484024e-12)))
    ice = -5674.5359 / t + 6.3925247 + ice_tail + 4.1635019 * np.log(t)
    water_tail = t * (-0.48640239e-1 + t * (0.41764768e-4 + t * -0.14452093e-7))
    water = -5800.2206 / t + 1.3914993 + water_tail + 6.5459673 * np.log(t)
    return np.exp(np.where(t_c < 0.0, ice, water))


def bare_vapour_pa(t_c, rh):
    return bare_saturation_pa(t_c) * (rh / 100.0)


def bare_ratio(t_c, rh, p=SEA_LEVEL_PA):
    pv = bare_vapour_pa(t_c, rh)
    return 0.621945 * pv / (p - pv)


def bare_emc_pct(t, rh):
    k1 = 6.27 + t * (-0.00938 + t * -0.000303)
    k2 = 1.91 + t * (0.0407 + t * -0.000293)
    u = (0.805 + t * (0.000736 + t * -0.00000273)) * (rh / 100.0)
    one, two = k1 * u, k1 * k2 * u * u
    return 1800.0 / (349.0 + t * (1.29 + t * 0.0135)) * (u / (1.0 - u) + (one + 2.0 * two) / (1.0 + one + two))


def bare_bulb_ratio(t, bulb):
    full = bare_ratio(bulb, 100.0)
    drawn = 1.006 * (t - bulb)
    ice = ((2830.0 - 0.24 * bulb) * full - drawn) / (2830.0 + 1.86 * t - 2.1 * bulb)
    water = ((2501.0 - 2.326 * bulb) * full - drawn) / (2501.0 + 1.86 * t - 4.186 * bulb)
    return np.where(bulb < 0.0, ice, water)


def bisected(above, low, high):
    for _ in range(50):
        middle = (low + high) / 2.0
        too_high = above(middle)
        low, high = np.where(too_high, low, middle), np.where(too_high, middle, high)
    return (low + high) / 2.0


def slow_dew_point_c(t, rh):
    pv = bare_vapour_pa(t, rh)
    return bisected(lambda dew: bare_saturation_pa(dew) > pv, np.full(t.shape, -60.0), t)


def slow_wet_bulb_c(t, rh):
    held = bare_ratio(t, rh)
    return bisected(lambda bulb: bare_bulb_ratio(t, bulb) > held, np.full(t.shape, -60.0), t)


def slow_rh_pct(t, mc):
    return bisected(lambda rh: bare_emc_pct(t, rh) > mc, np.zeros(t.shape), np.full(t.shape, 100.0))


def seconds(work):
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def side_by_side(ours, theirs):
    """Return the best of several seconds of each, taken in turn so that what else the machine does meets both."""
    times = [(seconds(ours), seconds(theirs)) for _ in range(ROUNDS)]
    return [min(column) for column in zip(*times, strict=True)]


DIRECT = [
    (sorption.emc_pct, bare_emc_pct),
    (lambda t, rh: psychrometrics.saturation_pressure_pa(t), lambda t, rh: bare_saturation_pa(t)),
    (lambda t, rh: psychrometrics.vapour_pressure_pa(t, rh), bare_vapour_pa),
    (lambda t, rh: psychrometrics.humidity_ratio(t, rh, SEA_LEVEL_PA), bare_ratio),
    (lambda t, rh: psychrometrics.humidity_ratio(t - 30.0, rh, SEA_LEVEL_PA), lambda t, rh: bare_ratio(t - 30.0, rh)),
    (lambda t, rh: sorption.emc_pct(21.0, rh), lambda t, rh: bare_emc_pct(21.0, rh)),
]
DIRECT_NAMES = [
    "emc",
    "saturation pressure",
    "vapour pressure",
    "humidity ratio",
    "humidity ratio about frost",
    "emc at one temperature",
]


@pytest.mark.parametrize(("ours", "bare"), DIRECT, ids=DIRECT_NAMES)
def test_direct_functions_take_less_than_twice_the_bare_expression(ours, bare, request, capsys):
    few = air(1000)
    assert ours(*few) == pytest.approx(bare(*few), rel=1e-12)
    t, rh = air(POINTS)
    ours_s, bare_s = side_by_side(lambda: ours(t, rh), lambda: bare(t, rh))
    with capsys.disabled():
        print(
            f"\n{request.node.callspec.id}: {ours_s:.3f} s for {POINTS:,} points, {ours_s / bare_s:.2f} of numpy bare"
        )
    assert ours_s < SLOWEST * bare_s


SOLVED = [
    (psychrometrics.dew_point_c, slow_dew_point_c),
    (lambda t, rh: psychrometrics.wet_bulb_c(t, rh, SEA_LEVEL_PA), slow_wet_bulb_c),
    (lambda t, rh: sorption.rh_pct_from_emc(t, rh / 5.0), lambda t, rh: slow_rh_pct(t, rh / 5.0)),
]


@pytest.mark.parametrize(("ours", "slow"), SOLVED, ids=["dew point", "wet bulb", "humidity from EMC"])
def test_solvers_are_quicker_than_the_bisection(ours, slow, request, capsys):
    t, rh = air(SOLVED_POINTS)
    t = np.maximum(t, 22.0)  # above the air in which two wet bulbs are right
    found, bisection = ours(t, rh), slow(t, rh)
    assert np.nanmax(np.abs(found - bisection)) < 1e-8
    ours_s, slow_s = side_by_side(lambda: ours(t, rh), lambda: slow(t, rh))
    with capsys.disabled():
        each_ns = 1e9 * ours_s / SOLVED_POINTS
        print(f"\n{request.node.callspec.id}: {each_ns:.0f} ns a point, bisection {slow_s / ours_s:.0f} times as long")
    assert ours_s < slow_s
