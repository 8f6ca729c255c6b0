"""The refit beside Markov chains on the same boards, likelihood and prior; and what it costs a board-year.

`make bench` prints lines for the table in docs/benchmarks.md. BENCH_SMALL=1 shows within a minute that everything runs;
its figures count for nothing. Boards, weather and measurements are invented. The chains are emcee's ensemble sampler
(Foreman-Mackey, Hogg, Lang and Goodman, Publ. Astron. Soc. Pac. 125, 2013) with moves by differential evolution; they
march all their walkers in one block, in the air steps and on the nodes of the refit's last rounds. What is compared
is what each leaves believed of a board's unknowns: both are carried on, and the model's lapse is drawn, alike.
"""

import os
import time
from dataclasses import dataclass

import emcee
import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from kiln import diffusion, drying, estimation, lapse, observations
from kiln.diffusion import AirSteps
from shared import tables
from shared.units import MS_PER_DAY

SMALL = os.environ.get("BENCH_SMALL", "") not in ("", "0")
BOARDS = 4 if SMALL else 20
WEIGHED_DAYS = np.arange(1, 58, 7)  # and nothing after: the last day told of is the 60th
NOW_DAY, LAST_DAY = 60, 400
WALKERS = 32  # half of them move at once: a whole block of the solver's lanes
STEPS, BURNT = (200, 100) if SMALL else (1500, 500)
DRAWN = 512  # boards carried on, of the refit and of the chains
LIKE_NOW = 64  # as many independent boards as a projection draws
SCALE_KG = 0.002
TARGET_PCT = 12.5
FURTHEST_SD = 5.5  # of the prior: beyond, nobody believes it, and some wood could not be marched
YEARS = (0.25, 0.5) if SMALL else (0.25, 0.5, 1.0, 2.0, 4.0)
ROUNDS = 2 if SMALL else 3
THREADS = os.cpu_count() or 1

pytestmark = pytest.mark.timeout(3600)


def weather(days, seed=0):
    """Hourly air: a year, a day, and fronts that come as they will."""
    rng, hours = np.random.default_rng(seed), np.arange(days * 24)
    year, day = np.sin(2 * np.pi * hours / 8766.0), np.sin(2 * np.pi * hours / 24.0)
    turns = np.arange(0, days * 24 + 72, 72)
    fronts = np.interp(hours, turns, rng.standard_normal(len(turns)))
    t, rh = 16.0 + 6.0 * year + 3.0 * day + 1.5 * fronts, 56.0 - 4.0 * year - 7.0 * day + 6.0 * fronts
    return AirSteps(t[None], rh[None], np.full(len(hours), 3600.0))


def in_steps(air, hours):
    """The same air in the means of so many hours."""
    t, rh = (one.reshape(1, -1, hours).mean(axis=2) for one in (air.temperature_c, air.rh_pct))
    return AirSteps(t, rh, np.full(t.shape[1], hours * 3600.0))


def carried(who, rows, air, days, nodes=None):
    """The course of boards, each in the air that it holds for true, kept at the ends of days."""
    t = np.repeat(air.temperature_c, len(rows), axis=0)
    own = AirSteps(t, drying.true_rh_pct(rows, air.rh_pct), air.dt_s)
    return drying.follow(who, rows, own, np.asarray(days) * 24, nodes=nodes)


@dataclass
class Case:
    """A board: what it truly is and does, and what was weighed."""

    who: drying.Piece
    air: AirSteps
    unknowns: np.ndarray
    means: np.ndarray  # daily from day 0 on, with what the model misses [kg/kg]
    data: list


def case(number, air):
    """A board drawn from the prior; every other one half a deviation off its centre, and not known to be."""
    rng = np.random.default_rng([7, number])
    species = tables.find_species(str(rng.choice(["Fraxinus americana", "Acer saccharum", "Liriodendron tulipifera"])))
    thick = float(rng.uniform(0.024, 0.045))
    spells = drying.one_spell(thick, "shed", in_stack=True)
    who = drying.Piece(species, thick, 0.18, 1.4, "fresh-sawn", spells, rh_error_pct=2.0)
    prior = drying.prior(who)
    off = 0.5 * rng.choice([-1.0, 1.0], len(prior.sd)) * (number % 2)
    unknowns = prior.centre + prior.sd * (off + rng.standard_normal(len(prior.sd)))
    days = np.arange(LAST_DAY + 1)
    of_model = carried(who, unknowns[None], air, days).means()[0]
    means = of_model + lapse.paths(rng, 1, days.astype(float), of_model)[0]
    dry_kg = np.exp(unknowns[0])
    weighed = dry_kg * (1.0 + means[WEIGHED_DAYS]) * (1.0 + 0.002 * rng.standard_normal(len(WEIGHED_DAYS)))
    weighed += SCALE_KG * rng.standard_normal(len(WEIGHED_DAYS))
    data = [observations.weigh_in(int(d) * MS_PER_DAY, m, SCALE_KG) for d, m in zip(WEIGHED_DAYS, weighed, strict=True)]
    of_section = means[1] + 0.01 * rng.standard_normal()
    section = observations.section(MS_PER_DAY, 0.2 * (1.0 + of_section), 0.2)
    return Case(who, air, unknowns, means, [data[0], section, *data[1:]])


def steps_of(data):
    return np.array([round(24 * one.at_ms / MS_PER_DAY) for one in data])


def refit(one):
    return estimation.fit(one.who, one.air, one.data, steps_of(one.data))


class Posterior:
    """Log density of a board's unknowns [rows], up to a constant: the refit's likelihood, without its linearisation."""

    def __init__(self, one):
        self.who, self.prior = one.who, drying.prior(one.who)
        self.told_by = estimation.Likelihood(one.who, one.data)
        self.days = steps_of(one.data) // 24
        self.air = in_steps(one.air, estimation.SHORT_HOURS)

    def __call__(self, rows):
        away_prior = (rows - self.prior.centre) / self.prior.sd
        found = -0.5 * (away_prior**2).sum(axis=1)
        near = np.abs(away_prior).max(axis=1) < FURTHEST_SD
        if not near.any():
            return np.full(len(rows), -np.inf)
        seen = self.told_by.seen(carried(self.who, rows[near], self.air, self.days, estimation.SOUGHT_NODES))
        away = self.told_by.away(rows[near], seen)
        found[~near] = -np.inf
        found[near] += [self._density(*each) for each in zip(rows[near], seen, away, strict=True)]
        return found

    def _density(self, unknowns, seen, away):
        if not np.isfinite(away).all():
            return -np.inf
        root = np.linalg.cholesky(self.told_by.errors(unknowns, seen).all)
        return -0.5 * np.sum(np.linalg.solve(root, away) ** 2) - np.log(np.diag(root)).sum()


def chains(one, seed):
    """Rows that the chains leave, and how many steps they take for one independent row of the slowest unknown."""
    posterior = Posterior(one)
    rng = np.random.default_rng(seed)
    begin = posterior.prior.centre + 0.5 * posterior.prior.sd * rng.standard_normal((WALKERS, len(posterior.prior.sd)))
    moves = [(emcee.moves.DEMove(), 0.7), (emcee.moves.DESnookerMove(), 0.1), (emcee.moves.StretchMove(), 0.2)]
    sampler = emcee.EnsembleSampler(WALKERS, begin.shape[1], posterior, moves=moves, vectorize=True)
    sampler.random_state = np.random.RandomState(seed).get_state()
    sampler.run_mcmc(begin, STEPS, progress=False)
    slow = sampler.get_autocorr_time(discard=BURNT, quiet=True, tol=0)
    kept = sampler.get_chain(discard=BURNT, flat=True)
    return kept[rng.choice(len(kept), DRAWN, replace=False)], float(np.nanmax(slow))


@dataclass
class Believed:
    """What rows of unknowns lead to expect: members' last moisture [%MC] and the day they come to the target."""

    now_pct: np.ndarray
    ready_day: np.ndarray


def first_below(means):
    """The first day after now at which a mean [.., days] is at the target; infinite where it never is."""
    there = 100.0 * means[..., NOW_DAY + 1 :] <= TARGET_PCT
    return np.where(there.any(axis=-1), NOW_DAY + 1.0 + there.argmax(axis=-1), np.inf)


def believed(one, fitted, rows):
    days = np.arange(LAST_DAY + 1)
    means = carried(one.who, rows, in_steps(one.air, 3), days).means()
    read = means[:, steps_of(one.data) // 24]
    means = means + fitted.lapse(rows, read, days.astype(np.int64) * MS_PER_DAY, means, 1)
    solved = np.isfinite(means).all(axis=1)
    return Believed(100.0 * means[solved, NOW_DAY], first_below(means[solved]))


def held(values, truth):
    """Whether the band that leaves one in ten on each side holds the truth; an endless date counts as late."""
    low, high = (np.quantile(values, share, method="inverted_cdf") for share in (0.1, 0.9))
    return bool(low <= truth <= high)


def off(values, truth):
    middle = np.quantile(values, 0.5, method="inverted_cdf")
    return abs(middle - truth) if np.isfinite(middle) and np.isfinite(truth) else np.nan


def say(capsys, *lines):
    with capsys.disabled():
        print("\n" + "\n".join(lines))


def timed(work):
    start = time.perf_counter()
    found = work()
    return found, time.perf_counter() - start


def beside(number, air):
    """One board both ways: costs [s], steps a row, coverage, errors, and how their bands of the moisture compare."""
    one = case(number, air)
    fitted, ours_s = timed(lambda: refit(one))
    (chained, slow), theirs_s = timed(lambda: chains(one, number))
    # Beside its burning in, as many steps as it takes to as many independent boards as a projection draws.
    theirs_s *= (BURNT + LIKE_NOW / WALKERS * slow) / STEPS
    told = [believed(one, fitted, rows) for rows in (fitted.draw(DRAWN, 1), chained)]
    true_pct, true_day = 100.0 * one.means[NOW_DAY], float(first_below(one.means))
    to_come = true_day > NOW_DAY + 1
    inside = [(held(each.now_pct, true_pct), held(each.ready_day, true_day)) for each in told]
    error = [(off(each.now_pct, true_pct), off(each.ready_day, true_day) if to_come else np.nan) for each in told]
    (low, middle, high), (their_low, their_middle, their_high) = (
        np.quantile(each.now_pct, [0.1, 0.5, 0.9]) for each in told
    )
    band = their_high - their_low
    return (ours_s, theirs_s, slow), inside, error, ((high - low) / band, abs(middle - their_middle) / band)


def test_beside_markov_chains(capsys):
    air = weather(LAST_DAY)
    refit(case(0, air))  # compiled before the clock starts
    with threadpool_limits(1):
        made = [beside(number, air) for number in range(BOARDS)]
    costs, inside, errors, bands = (np.array(each, dtype=float) for each in zip(*made, strict=True))
    held_pct, error = 100.0 * inside.mean(axis=0), np.nanmedian(errors, axis=0)  # [refit or chains, moisture or date]
    waiting = int(np.isfinite(errors[:, :, 1]).all(axis=1).sum())
    ours_s, theirs_s, slow = costs.T
    wide, apart = bands.T
    say(
        capsys,
        f"refit beside chains, {BOARDS} boards, {len(WEIGHED_DAYS)} weigh-ins and a section: 80 % bands hold the last "
        f"moisture of {held_pct[0, 0]:.0f} % beside {held_pct[1, 0]:.0f} %, the ready date of {held_pct[0, 1]:.0f} % "
        f"beside {held_pct[1, 1]:.0f} % (goal: within 5 points)",
        f"… median error {error[0, 0]:.2f} beside {error[1, 0]:.2f} %MC; of {waiting} boards whose date was to come "
        f"{error[0, 1]:.1f} beside {error[1, 1]:.1f} days (goal: within 10 %)",
        f"… band of the last moisture {np.median(wide):.2f} of the chains' as wide (median; {wide.min():.2f} to "
        f"{wide.max():.2f}), its middle {np.median(apart):.2f} of that band away (median; at most {apart.max():.2f})",
        f"… {1e3 * np.median(ours_s):.0f} ms a board beside {np.median(theirs_s):.1f} s: "
        f"{np.median(theirs_s / ours_s):,.0f} times less (goal: 30); the chains' slowest unknown wants "
        f"{np.median(slow):.0f} steps for an independent row (at most {slow.max():.0f}, of {STEPS - BURNT})",
    )
    assert np.isfinite(bands).all() and np.isfinite(costs).all()


def yearly(years):
    """A board that dries for so long, weighed every seventh day."""
    days = int(365 * years)
    air = weather(days + 1, seed=3)
    who = case(0, weather(LAST_DAY)).who
    true = drying.prior(who).centre
    at = np.arange(1, days, 7)
    means = carried(who, true[None], in_steps(air, 3), at).means()[0]
    rng = np.random.default_rng(5)
    masses = np.exp(true[0]) * (1.0 + means) * (1.0 + 0.002 * rng.standard_normal(len(at)))
    data = [observations.weigh_in(int(d) * MS_PER_DAY, m, SCALE_KG) for d, m in zip(at, masses, strict=True)]
    return Case(who, air, true, means, data)


def least_s(work, clock, rounds=ROUNDS):
    """The least time of a few rounds after one that warms up: what else the machine does only ever adds to it."""
    work()
    taken = []
    for _ in range(rounds):
        start = clock()
        work()
        taken.append(clock() - start)
    return min(taken)


def test_the_cost_of_a_board_year(capsys, monkeypatch):
    """On one thread by the time of the processor, on which other work does not tell; on all by the clock."""
    made = {years: yearly(years) for years in YEARS}
    whole = made[max(years for years in YEARS if years <= 1.0)], max(years for years in YEARS if years <= 1.0)
    for threads, clock in ((1, time.process_time), (THREADS, time.perf_counter)):
        monkeypatch.setattr(diffusion.os, "cpu_count", lambda count=threads: count)  # the solver's
        with threadpool_limits(threads):  # numpy's
            alone = {years: least_s(lambda one=one: refit(one), clock) / years for years, one in made.items()}
            row = least_s(lambda: [refit(whole[0]) for _ in range(16)], clock, 1) / 16 / whole[1]
        each = ", ".join(f"{years:g}: {1e3 * taken:.0f}" for years, taken in alone.items())
        say(capsys, f"refit, weighed every 7 days, {threads} thread{'s' * (threads > 1)}: ms a board-year by years of "
            f"hourly air: {each}; 16 boards of {whole[1]:g} years in a row: {1e3 * row:.0f} (goal: 10)")  # fmt: skip
        assert min(alone.values()) > 0.0 and row > 0.0
