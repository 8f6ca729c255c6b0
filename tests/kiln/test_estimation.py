"""The refit beside closed algebra, beside a brute search on a fine march, and with measurements that do not fit."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from kiln import drying, estimation, sorption
from kiln.diffusion import AirSteps
from kiln.estimation import Datum, Likelihood
from shared import tables
from shared.units import MS_PER_DAY

HOURS = 24
MASS, START, SCALE, RH_BIAS, GAP = 0, 1, 5, 8, 9
TABLE = tables.constants("drying")
DIRT_SHARE, DRY_OF_WET, DRIPPING = 0.003, 0.5, 0.25  # of the mass of a dripping board; our own judgement, see there
FINE_NODES = 41
STILL_C, STILL_RH_PCT = 20.0, 45.0


def board(thickness_m=0.028, origin="fresh-sawn", rh_error_pct=1.0):
    ash = tables.find_species("Fraxinus americana")
    spells = drying.one_spell(thickness_m, "shed", in_stack=True)
    return drying.Piece(ash, thickness_m, 0.2, 1.2, origin, spells, rh_error_pct=rh_error_pct)


def weather(days, t_c=14.0, rh_pct=68.0, swing=1.0):
    """Invented air, an hour a step: a day, and fronts."""
    hours = np.arange(days * HOURS)
    day, fronts = np.sin(2 * np.pi * hours / HOURS), np.sin(2 * np.pi * hours / 130.0)
    return AirSteps(
        (t_c + swing * (4.0 * day + 2.0 * fronts))[None],
        (rh_pct - swing * (10.0 * day + 6.0 * fronts))[None],
        np.full(len(hours), 3600.0),
    )


def seen(who, unknowns, air, days, gap_rh_pct=None):
    """Mean moisture of a board with these unknowns after so many days, marched hour by hour [kg/kg]."""
    rows = unknowns[None]
    own = AirSteps(air.temperature_c, drying.true_rh_pct(rows, air.rh_pct, gap_rh_pct), air.dt_s)
    return drying.follow(who, rows, own, np.array(days) * HOURS).means()[0]


def weighed(who, unknowns, air, days, error_kg=0.002, kind="weigh-in"):
    """What a scale without any error would say."""
    masses = np.exp(unknowns[MASS]) * (1.0 + seen(who, unknowns, air, days))
    return [Datum(kind, int(d * MS_PER_DAY), float(m), error_kg) for d, m in zip(days, masses, strict=True)]


def section(mean, day=0, error_pct=0.5):
    return Datum("oven-dry", int(day * MS_PER_DAY), 100.0 * float(mean), error_pct)


def steps(data):
    return np.array([round(one.at_ms / MS_PER_DAY * HOURS) for one in data])


def refit(who, air, data, **more):
    return estimation.fit(who, air, data, steps(data), **more)


def some_board(who, seed, spread=0.5):
    prior = drying.prior(who)
    return prior.centre + spread * prior.sd * np.random.default_rng(seed).standard_normal(len(prior.sd))


def matern(days, lasting_days):
    """Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, eq. 4.17."""
    a = np.sqrt(3.0) * np.abs(np.subtract.outer(days, days)) / lasting_days
    return (1.0 + a) * np.exp(-a)


def of_lapse(days, mean):
    """Covariance of the lapse of a board at one moisture [kg/kg]: what rests in it, and what goes with its water."""
    still = (TABLE["lapse_mc_pct"].value / 100.0) ** 2 * matern(days, TABLE["lapse_still_days"].value)
    return still + (TABLE["lapse_share"].value * mean) ** 2 * matern(days, TABLE["lapse_days"].value)


def lapse_sd(mean):
    return float(np.sqrt(of_lapse(np.zeros(1), mean)[0, 0]))


def dirt_of(mean):
    """Of one weighing, over the oven-dry mass."""
    return DIRT_SHARE * (DRY_OF_WET + (1.0 - DRY_OF_WET) * min(mean / DRIPPING, 1.0)) * (1.0 + mean)


# --- beside closed algebra ---------------------------------------------------------------------------


@dataclass
class AtRest:
    """A thin plate that has come to rest, from above, in air that never changes.

    Its moisture is the printed isotherm's at the air's humidity, so that its mass hangs on three unknowns alone: what
    it weighs dry, the scale of its isotherm, and how wrong the humidity was read. Three numbers want no march.
    """

    kind: str
    days: np.ndarray
    error_kg: float = 0.002
    who = board(0.003, "re-sawn")
    names = (MASS, SCALE, RH_BIAS)

    def moisture(self, unknowns):
        emc = sorption.emc_pct(STILL_C, STILL_RH_PCT - unknowns[2]) / 100.0
        return float(emc) * np.exp(unknowns[1]) * self.who.isotherm_share

    def data(self, mass_kg):
        return [Datum(self.kind, int(day * MS_PER_DAY), float(mass_kg), self.error_kg) for day in self.days]

    def errors(self, unknowns):
        """Covariance [data, data; (kg/kg)²]: own, dirt (of one cell, all its weights share it), lapse."""
        count, mean = len(self.days), self.moisture(unknowns)
        dirt = dirt_of(mean) ** 2
        own = np.eye(count) * (self.error_kg / np.exp(unknowns[0])) ** 2
        own += dirt * (np.ones((count, count)) if self.kind == "load cell" else np.eye(count))
        return own + of_lapse(self.days, mean)

    def posterior(self, mass_kg):
        """Centre and covariance of the three by the normal equations, linearised anew until nothing moves."""
        prior = drying.prior(self.who)
        before, precision = prior.centre[list(self.names)], np.diag(1.0 / prior.sd[list(self.names)] ** 2)
        at = before.copy()
        for _ in range(30):
            mean = self.moisture(at)
            lower, upper = (self.moisture(at + np.array([0.0, 0.0, one])) for one in (-0.01, 0.01))
            # away = told - seen: mass / dry - 1 - moisture
            row = np.array([-mass_kg / np.exp(at[0]), -mean, -(upper - lower) / 0.02])
            slope = np.tile(row, (len(self.days), 1))
            away = np.full(len(self.days), mass_kg / np.exp(at[0]) - 1.0 - mean)
            inverse = np.linalg.inv(self.errors(at))
            covariance = np.linalg.inv(precision + slope.T @ inverse @ slope)
            at = at + covariance @ (-slope.T @ inverse @ away - precision @ (at - before))
        return at, covariance


@pytest.mark.parametrize("kind", ["weigh-in", "load cell"])
@pytest.mark.parametrize("days", [np.array([80.0]), np.array([78.0, 79.0, 81.0, 95.0]), np.linspace(80.0, 82.0, 40)])
def test_the_masses_of_a_board_at_rest_teach_what_the_normal_equations_say(kind, days):
    rest = AtRest(kind, days)
    mass_kg = 1.08 * float(np.exp(drying.prior(rest.who).centre[MASS]))  # heavier than was believed
    air = weather(100, STILL_C, STILL_RH_PCT, swing=0.0)
    found = refit(rest.who, air, rest.data(mass_kg))
    centre, covariance = rest.posterior(mass_kg)
    sd = np.sqrt(np.diag(covariance))
    at = list(rest.names)
    assert np.abs((found.centre[at] - centre) / sd).max() < 0.03
    assert np.sqrt(np.diag(found.covariance)[at]) == pytest.approx(sd, rel=0.03)
    prior = drying.prior(rest.who)
    others = [i for i in range(len(prior.sd)) if i not in at]  # of which masses at rest tell nothing
    assert found.centre[others] == pytest.approx(prior.centre[others], abs=0.05)
    assert np.sqrt(np.diag(found.covariance)[others]) == pytest.approx(prior.sd[others], rel=0.01)


def of_start(told_pct, own_pct, shared_pct, count):
    """Centre and deviation of ln M at the start by one equation: ``count`` readings of it, all alike."""
    prior = drying.prior(board(origin="re-sawn"))
    at, sd = prior.centre[START], prior.sd[START]
    for _ in range(100):
        mean = np.exp(at)
        variance = (own_pct**2 / count + shared_pct**2) / 1e4 + lapse_sd(mean) ** 2
        precision = 1.0 / sd**2 + mean**2 / variance
        pull = mean * (told_pct / 100.0 - mean) / variance - (at - prior.centre[START]) / sd**2
        at += pull / precision
    return at, precision**-0.5


@pytest.mark.parametrize("count", [1, 10, 100])
def test_sections_at_the_start_teach_what_one_equation_says(count):
    data = [section(0.17, error_pct=0.8)] * count
    found = refit(board(origin="re-sawn"), weather(2), data)
    centre, sd = of_start(17.0, 0.8, 0.0, count)
    assert found.centre[START] == pytest.approx(centre, abs=0.03 * sd)
    assert np.sqrt(found.covariance[START, START]) == pytest.approx(sd, rel=0.02)


def at_start(count, bias_share=1.0):
    """Pins at the depth at which the parabola of the start has its mean."""
    depth_share = 1.0 - 1.0 / np.sqrt(3.0)
    return [Datum("pin", 0, 14.0, TABLE["pin_noise_mc_pct"].value, depth_share, bias_share=bias_share)] * count


@pytest.mark.parametrize("count", [1, 10, 100])
def test_many_pins_leave_the_bias_of_their_meter(count):
    found = refit(board(origin="re-sawn"), weather(2), at_start(count))
    own = np.hypot(TABLE["pin_noise_mc_pct"].value, TABLE["model_discrepancy_mc_pct"].value)
    shared = np.hypot(TABLE["pin_bias_mc_pct"].value, TABLE["profile_share"].value * 14.0)
    _, sd = of_start(14.0, own, shared, count)
    assert np.sqrt(found.covariance[START, START]) == pytest.approx(sd, rel=0.03)


def test_pins_of_a_calibrated_meter_leave_less():
    bare, known = (refit(board(origin="re-sawn"), weather(2), at_start(50, share)) for share in (1.0, 0.2))
    assert np.sqrt(known.covariance[START, START] / bare.covariance[START, START]) < 0.65


@pytest.mark.parametrize("kind", ["weigh-in", "load cell"])
def test_many_weigh_ins_within_days_leave_the_lapse_and_those_of_a_cell_their_dirt_too(kind):
    """How well the best mean of 48 in two days can tell the moisture, were the dry mass known and the lapse small."""
    who, hours, mean = board(0.05, "re-sawn"), np.arange(48), 0.14
    many = [Datum(kind, int(h / HOURS * MS_PER_DAY), 1.14 * 0.8, 1e-4) for h in hours]
    told = Likelihood(who, many).errors(drying.prior(who).centre, np.full(48, mean))
    lapse = of_lapse(hours / HOURS, mean)
    assert told.model == pytest.approx(lapse, rel=1e-6)
    dirt, own = dirt_of(mean), 1e-4 / np.exp(drying.prior(who).centre[MASS])
    assert np.sqrt(np.diag(told.own)) == pytest.approx(np.hypot(dirt, own))
    of_dirt = 1.0 / np.sqrt(np.linalg.inv(told.own).sum())
    assert of_dirt == pytest.approx(np.hypot(own, dirt) / np.sqrt(48) if kind == "weigh-in" else dirt, rel=0.01)
    assert 1.0 / np.sqrt(np.linalg.inv(told.all).sum()) > 0.98 * lapse_sd(mean), "the lapse is there all the while"


# --- beside a brute search ---------------------------------------------------------------------------


def brute(who, air, data, errors, begin):
    """Half the least squares, its place and curvature: hour by hour, on 41 nodes, with differences twice as exact."""
    prior, told_by = drying.prior(who), Likelihood(who, data)
    root = np.linalg.cholesky(errors.all)

    def residuals(rows):
        own = AirSteps(np.repeat(air.temperature_c, len(rows), axis=0), drying.true_rh_pct(rows, air.rh_pct), air.dt_s)
        read = told_by.seen(drying.follow(who, rows, own, steps(data), nodes=FINE_NODES))
        far = np.linalg.solve(root, told_by.away(rows, read).T).T
        return np.hstack([far, (rows - prior.centre) / prior.sd])

    def slopes(z, step=0.05):  # of the prior's deviations: below, wood that turns from giving to taking makes it rough
        near = prior.centre + prior.sd * z + step * np.vstack([np.diag(prior.sd), -np.diag(prior.sd)])
        found = residuals(near)
        return ((found[: len(z)] - found[len(z) :]) / (2.0 * step)).T

    def one(z):
        return residuals((prior.centre + prior.sd * z)[None])[0]

    best = least_squares(one, (begin - prior.centre) / prior.sd, jac=slopes, xtol=1e-10, ftol=1e-12)
    scaled = np.linalg.inv(best.jac.T @ best.jac)
    return prior.centre + prior.sd * best.x, scaled * np.outer(prior.sd, prior.sd)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("with_section", [False, True])
def test_it_ends_where_a_brute_search_on_a_fine_march_ends(seed, with_section):
    """Begun from the true board, the brute search; from the prior, in long steps of air, ours."""
    who, air = board(0.012 + 0.005 * seed), weather(40)
    true = some_board(who, seed)
    data = weighed(who, true, air, [1, 4, 9, 16, 25, 39])
    if with_section:
        data = [section(seen(who, true, air, [1])[0], day=1), *data]
    found = refit(who, air, data)
    place, covariance = brute(who, air, data, found.errors, true)
    sd = np.sqrt(np.diag(covariance))
    assert np.abs((found.centre - place) / sd).max() < 0.1
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(sd, rel=0.12)


# --- measurements that do not fit --------------------------------------------------------------------

DAYS = [1, 5, 10, 15, 20, 25, 30, 35, 40, 45]


@pytest.fixture(scope="module")
def record():
    """A board with a section and ten weigh-ins, all true."""
    who, air = board(0.02), weather(46)
    true = some_board(who, 2, spread=0.3)
    return who, air, [section(seen(who, true, air, [1])[0], day=1), *weighed(who, true, air, DAYS)]


def changed(data, factors):
    """The record with some of its weigh-ins, counted from one, this many times as heavy."""
    return [replace(one, value=one.value * factors.get(i, 1.0)) for i, one in enumerate(data)]


def moved(one, other):
    return np.abs((one.centre - other.centre) / np.sqrt(np.diag(other.covariance))).max()


@pytest.mark.parametrize(
    ("factors", "words"),
    [
        ({5: 1.25}, "too heavy"),
        ({5: 0.75}, "too light: another board"),
        ({3: 1.4}, "too heavy"),
        ({4: 1.3, 7: 1.3}, "too heavy"),
        ({3: 0.7, 8: 0.7}, "too light: another board"),
        ({10: 1.3}, "too heavy"),
    ],
)
def test_one_or_two_that_do_not_fit_are_told_and_bend_little(record, factors, words):
    who, air, data = record
    plain, slipped = refit(who, air, data), refit(who, air, changed(data, factors))
    assert not any(one.note for one in plain.measured)
    noted = {i for i, one in enumerate(slipped.measured) if one.note}
    assert noted == set(factors)
    assert all(words in slipped.measured[i].note for i in factors)
    assert moved(slipped, plain) < 1.0


def test_two_that_slipped_one_up_one_down_are_each_told_for_itself(record):
    who, air, data = record
    noted = {i: one.note for i, one in enumerate(refit(who, air, changed(data, {4: 1.3, 8: 0.7})).measured) if one.note}
    assert set(noted) == {4, 8}
    assert "too heavy" in noted[4] and "too light" in noted[8]


@pytest.mark.parametrize(("with_section", "left"), [(False, 0.93), (True, 0.8)])
def test_a_board_that_is_lighter_from_one_day_on_may_have_been_trimmed(record, with_section, left):
    who, air, data = record
    lighter = changed(data, {8: left, 9: left, 10: left})
    found = refit(who, air, lighter if with_section else lighter[1:])
    first = found.measured[-3]
    assert first.at_ms == DAYS[7] * MS_PER_DAY
    assert "as is what follows: trimmed or planed since" in first.note


def test_a_bound_that_is_kept_teaches_nothing_and_one_that_is_broken_does():
    who, air = board(), weather(10)
    prior = drying.prior(who)
    mean_pct = 100.0 * float(seen(who, prior.centre, air, [9])[0])
    for bound, kept, broken in (("at least", 0.7, 1.5), ("at most", 1.5, 0.7)):
        quiet, loud = (
            refit(who, air, [Datum("pin", 9 * MS_PER_DAY, share * mean_pct, 1.0, 0.5, bound=bound)])
            for share in (kept, broken)
        )
        assert quiet.centre == pytest.approx(prior.centre, abs=1e-12)
        assert quiet.covariance == pytest.approx(prior.covariance, abs=1e-12)
        assert np.sign(loud.centre[START] - prior.centre[START]) == (1.0 if bound == "at least" else -1.0)
        assert loud.covariance[START, START] < prior.covariance[START, START]
        assert not loud.measured[0].ground and "beyond what it can tell" in quiet.measured[0].note


def test_without_measurements_the_prior_comes_back():
    who = board()
    found = estimation.fit(who, weather(3), [], np.array([], dtype=int))
    assert np.array_equal(found.centre, drying.prior(who).centre)
    assert np.array_equal(found.covariance, drying.prior(who).covariance)


# --- the same numbers; air that was never logged; anything that may come ------------------------------


def test_a_board_gets_the_same_numbers_again_and_whatever_others_are_refitted_beside_it():
    boards = [board(thickness) for thickness in (0.012, 0.02, 0.03, 0.045)]
    air = weather(30)
    asked = [(who, weighed(who, some_board(who, i), air, [1, 8, 20, 29])) for i, who in enumerate(boards)]
    alone = [refit(who, air, data) for who, data in asked]
    again = [refit(who, air, data) for who, data in reversed(asked)][::-1]
    with ThreadPoolExecutor(4) as crowd:
        beside = list(crowd.map(lambda one: refit(one[0], air, one[1]), asked))
    for one, other, third in zip(alone, again, beside, strict=True):
        assert np.array_equal(one.centre, other.centre) and np.array_equal(one.centre, third.centre)
        assert np.array_equal(one.covariance, other.covariance)
        assert np.array_equal(one.covariance, third.covariance)
        assert one.measured == other.measured == third.measured


def test_where_no_air_was_logged_the_weigh_ins_tell_less_of_the_wood_and_something_of_the_air():
    """A plate whose dry mass is known follows its air: 8 %RH more than was filled in, of which one deviation is 10."""
    who, air = board(0.004, "re-sawn"), weather(40, STILL_C, STILL_RH_PCT, swing=0.2)
    true = drying.prior(who).centre.copy()
    true[GAP] = 0.8
    gap = np.where(np.arange(40 * HOURS) >= 20 * HOURS, 10.0, 0.0)
    means = seen(who, true, air, [15, 26, 32, 39], gap)
    data = [section(means[0], day=15, error_pct=0.2)]
    masses = np.exp(true[MASS]) * (1.0 + means)
    data += [Datum("weigh-in", d * MS_PER_DAY, float(m), 0.001) for d, m in zip([15, 26, 32, 39], masses, strict=True)]
    found = refit(who, air, data, gap_rh_pct=gap)
    assert np.sqrt(found.covariance[GAP, GAP]) < 0.75
    assert found.centre[GAP] == pytest.approx(0.8, abs=1.5 * np.sqrt(found.covariance[GAP, GAP]))
    assert found.centre[GAP] > 0.3
    logged = refit(who, air, data)
    assert logged.covariance[GAP, GAP] == pytest.approx(1.0), "where all was logged it stays as it was believed"
    assert found.covariance[SCALE, SCALE] > logged.covariance[SCALE, SCALE]

    def band(fitted, gap_rh_pct):
        drawn = fitted.draw(512, 1)
        own = AirSteps(
            np.repeat(air.temperature_c, 512, axis=0), drying.true_rh_pct(drawn, air.rh_pct, gap_rh_pct), air.dt_s
        )
        return drying.follow(who, drawn, own, np.array([39 * HOURS])).means()[:, 0].std()

    before = refit(who, air, data[:2], gap_rh_pct=gap)
    assert band(before, gap) > 1.5 * band(refit(who, air, data[:2]), None), "a gap nobody weighed in widens"
    assert band(found, gap) < 0.8 * band(before, gap), "and weigh-ins in it narrow again"


kinds = st.sampled_from(["weigh-in", "load cell", "pin", "oven-dry", "bag test"])
measurement = st.tuples(
    kinds,
    st.integers(0, 20),
    st.floats(0.02, 60.0),
    st.floats(1.0, 300.0),
    st.floats(0.0, 1.0),
    st.sampled_from(["", "", "at least", "at most", "nothing"]),
)


def as_datum(kind, day, kg, pct, depth, bound):
    if kind in ("weigh-in", "load cell"):
        return Datum(kind, day * MS_PER_DAY, kg, 0.001 * kg)
    if kind == "pin":
        return Datum(kind, day * MS_PER_DAY, pct, 1.2, depth, bound=bound, bias_share=depth)
    return Datum(kind, day * MS_PER_DAY, min(pct, 30.0) if kind == "bag test" else pct, 0.3, bound=bound)


@settings(max_examples=40, deadline=None)
@given(st.lists(measurement, min_size=1, max_size=6), st.sampled_from([0.004, 0.028, 0.08]))
def test_whatever_was_measured_gives_a_finite_centre_and_a_covariance(measured, thickness_m):
    data = sorted((as_datum(*one) for one in measured), key=lambda one: one.at_ms)
    who = board(thickness_m)
    found = refit(who, weather(21), data)
    sd = drying.prior(who).sd
    assert np.isfinite(found.centre).all()
    assert np.linalg.eigvalsh(found.covariance / np.outer(sd, sd)).min() > 0.0
    assert np.isfinite(found.covariance).all()
    assert np.isfinite(found.draw(8, 1)).all()
    assert all(np.isfinite([one.mc_pct, one.error_mc_pct, one.misfit]).all() for one in found.measured)
