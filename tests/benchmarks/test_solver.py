"""The compiled solver beside others on the same boards, cells and air, in one run; ratios count, not seconds.

`make bench` prints lines for the table in docs/benchmarks.md. BENCH_SMALL=1 shows within a minute that everything runs;
BENCH_MILLION=1 adds a million boards over a whole year. What the others do stands in ``solver_rivals``.

Errors are those of the time at which a board's mean passes 25 %MC, against LSODA at a tolerance of 1e-9 on the same
cells in air that changes without steps: the solver takes the air's mean over each 3 hours, the others the air itself.
"""

import os
import statistics
import time

import numpy as np
import pytest
import solver_rivals as rivals

from kiln import diffusion

SMALL = os.environ.get("BENCH_SMALL", "") not in ("", "0")
MILLION = os.environ.get("BENCH_MILLION", "") not in ("", "0")
STEPS = 240 if SMALL else 2920  # a year of 3 hours each
SPAN = 58  # steps: a fiftieth of a year
SIZES = (100, 1_000, 10_000) if SMALL else (10_000, 100_000, 1_000_000)
ROUNDS = 2 if SMALL else 5
CHECKED, TIMED, IN_NUMPY = (4, 32, 64) if SMALL else (24, 960, 1024)
TARGET = 0.25  # kg/kg
TOLERANCES = (1e-1, 5e-2, 2e-2, 1e-2, 5e-3, 2e-3, 1e-3, 1e-4, 1e-5)
FINE, TIGHT = 1e-9, 1e-6
ELIMINATIONS_A_STEP = 2.0  # the least that a nonlinear step takes; the solver's own count is not told

pytestmark = pytest.mark.timeout(7200 if MILLION else 1800)


def seconds(work, rounds=ROUNDS):
    """Median time of a few rounds, after one that warms up; and what the work returned."""
    result, taken = work(), []
    for _ in range(rounds):
        start = time.perf_counter()
        result = work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken), result


def by_turns(works, rounds=ROUNDS):
    """Median time of each, taken by turns, so that a machine that slows down slows all."""
    taken = [[] for _ in works]
    for round_ in range(rounds + 1):
        for work, times in zip(works, taken, strict=True):
            start = time.perf_counter()
            work()
            if round_:
                times.append(time.perf_counter() - start)
    return [statistics.median(times) for times in taken]


def solved(rows, steps, record=None, start=rivals.START, threads=1):
    """The solver over the weather: profiles [boards, recorded, nodes]."""
    t_c, rh = rivals.air_steps(steps)
    air = diffusion.AirSteps(t_c[None], rh[None], np.full(steps, rivals.STEP_S))
    flat = np.full((rows.shape[1], diffusion.NODES), start)
    record = np.array([steps]) if record is None else record
    return diffusion.march(flat, rivals.members(rows), air, record, hysteresis=False, threads=threads)


def many(rows, count):
    return np.tile(rows, -(-count // rows.shape[1]))[:, :count]


def passed_s(times_s, means):
    """When each mean [boards, times] first passes the target [s]; NaN where it does not."""
    found = []
    for mean in means:
        after = int(np.argmax(mean < TARGET))
        if not after:
            found.append(np.nan)
            continue
        before, now = mean[after - 1], mean[after]
        found.append(times_s[after - 1] + (before - TARGET) / (before - now) * (times_s[after] - times_s[after - 1]))
    return np.array(found)


def error_of(profiles, fine_s, times_s):
    """Median error of the time to the target, as a share of it."""
    apart = np.abs(passed_s(times_s, diffusion.mean_of(profiles)) / fine_s - 1.0)
    return float(np.nanmedian(apart))


def say(capsys, *lines):
    with capsys.disabled():
        print("\n" + "\n".join(lines))


@pytest.fixture(scope="module")
def fine():
    """Boards that pass the target in good time, when they do, the times at which that was looked at [s]."""
    drawn, times_s = rivals.boards(4 * CHECKED), np.arange(STEPS + 1) * rivals.STEP_S
    at_s = passed_s(times_s, diffusion.mean_of(rivals.by_lsoda(drawn, times_s, FINE)))
    good = np.flatnonzero(at_s < 0.9 * times_s[-1])[:CHECKED]
    assert len(good) == CHECKED, "too few of the invented boards dry in the time"
    return drawn[:, good], at_s[good], times_s


@pytest.fixture(scope="module")
def cheapest(fine):
    """The ODE solver at the cheapest tolerance at which it errs no more than the solver: (tolerance, error, ours)."""
    rows, fine_s, times_s = fine
    ours = error_of(solved(rows, STEPS, np.arange(STEPS + 1)), fine_s, times_s)
    ends, kept = times_s[[0, -1]], []
    for tolerance in TOLERANCES:
        error = error_of(rivals.by_lsoda(rows, times_s, tolerance), fine_s, times_s)
        if error <= ours:
            taken_s, _ = seconds(lambda t=tolerance: rivals.by_lsoda(rows, ends, t), 1)
            kept.append((taken_s, tolerance, error))
    assert kept, f"no tolerance down to {TOLERANCES[-1]} comes within the solver's error of {ours:.2%}"
    _, tolerance, error = min(kept)
    return tolerance, error, ours


def test_against_an_ode_solver_with_a_compiled_right_hand_side(fine, cheapest, capsys):
    rows, _, times_s = fine
    tolerance, error, ours = cheapest
    batch, ends = many(rows, TIMED), times_s[[0, -1]]
    ours_s, lsoda_s = by_turns([lambda: solved(batch, STEPS), lambda: rivals.by_lsoda(rows, ends, tolerance)])
    each, other = ours_s / TIMED, lsoda_s / CHECKED
    say(capsys, f"solver, one thread, {TIMED} boards over {STEPS} steps: {STEPS / each:,.0f} board-steps/s; "
        f"{other / each:,.0f} times LSODA with a compiled right-hand side at errors of {ours:.2%} (ours) and "
        f"{error:.2%} in the time to 25 %MC (medians; its tolerance {tolerance:g})")  # fmt: skip
    assert ours < 0.05


def test_against_an_ode_solver_with_a_python_right_hand_side(fine, cheapest, capsys):
    rows, _, times_s = fine
    some, batch, ends = rows[:, :2], many(rows, TIMED), times_s[[0, -1]]

    def theirs(tolerance):
        return [rivals.by_lsoda_python(board, ends, tolerance)[-1] for board in some.T]

    works = [lambda: solved(batch, STEPS), lambda: theirs(cheapest[0]), lambda: theirs(TIGHT)]
    ours_s, equal_s, tight_s = by_turns(works, 1 if SMALL else 2)
    equal, tight = (taken / some.shape[1] / (ours_s / TIMED) for taken in (equal_s, tight_s))
    say(capsys, f"… {equal:,.0f} times LSODA with a numpy right-hand side at the same tolerance (goal: 5,000), "
        f"{tight:,.0f} times at {TIGHT:g}, where it errs far less")  # fmt: skip
    assert np.abs(np.array(theirs(1e-7)) - rivals.by_lsoda(some, ends, 1e-7)[:, -1]).max() < 1e-5


def test_against_a_batch_in_numpy(capsys):
    drawn = rivals.boards(4 * IN_NUMPY)
    t_c, rh = rivals.air_steps(SPAN)
    lines = []
    for said, of_form in (("slow", drawn[rivals.KAPPA] < 1.0), ("fast", drawn[rivals.KAPPA] >= 1.0)):
        rows = drawn[:, of_form][:, :IN_NUMPY]
        works = [lambda r=rows: solved(r, SPAN), lambda r=rows: rivals.in_numpy(r, t_c, rh)]
        ours_s, numpy_s = by_turns(works)
        apart = np.abs(diffusion.mean_of(works[0]()[:, 0]) - diffusion.mean_of(works[1]().T))
        lines.append(
            f"… free water {said}: {numpy_s / ours_s:,.1f} times a batch in numpy of {IN_NUMPY} boards "
            f"(goal: 10); {100 * np.median(apart):.2f} %MC apart (median)"
        )
        assert np.median(apart) < 0.005
    say(capsys, *lines)


def test_against_the_elimination_alone(fine, capsys):
    lanes, times = 32, 200 if SMALL else 20_000
    side = np.full((diffusion.NODES, lanes), -0.3)
    middle = 1.0 - 2.0 * side
    middle[[0, -1]] = 1.3  # what goes in comes out: no water is lost
    right, held = np.ones_like(side), np.empty_like(side)
    batch = many(fine[0], TIMED)

    def alone():
        rivals.eliminations(side, middle, side, right, held, times)

    ours_s, alone_s = by_turns([lambda: solved(batch, STEPS), alone])
    per_s = lanes * times / alone_s
    steps_s = TIMED * STEPS / ours_s
    say(capsys, f"… {steps_s / per_s:.2f} steps for each bare elimination ({per_s:,.0f} a second, {lanes} lanes of "
        f"{diffusion.NODES} nodes): {ELIMINATIONS_A_STEP * steps_s / per_s:.2f} of it for each of the "
        f"{ELIMINATIONS_A_STEP:g} that a step takes at least (goal: 0.5)")  # fmt: skip
    assert np.allclose(right, 1.0, atol=1e-9)


def test_the_cost_is_linear(fine, capsys):
    rates = []
    for boards in SIZES:
        rows = many(fine[0], boards)
        taken_s, _ = seconds(lambda r=rows: solved(r, SPAN, threads=None), 3 if boards < SIZES[-1] else 1)
        rates.append(boards * SPAN / taken_s)
    said = ", ".join(f"{boards:,}: {rate:,.0f}" for boards, rate in zip(SIZES, rates, strict=True))
    say(capsys, f"… board-steps/s by the number of boards, each over 1/50 year, all threads: {said}; "
        f"cost of a step at most {max(rates) / min(rates) - 1.0:.0%} apart (goal: 15 %)")  # fmt: skip
    assert min(rates) > 0.0


@pytest.mark.skipif(not MILLION, reason="a million board-years take minutes: BENCH_MILLION=1")
def test_a_million_board_years(fine, capsys):
    small, large = (many(fine[0], boards) for boards in (10_000, 1_000_000))
    small_s, _ = seconds(lambda: solved(small, STEPS, threads=None), 1)
    start = time.perf_counter()
    solved(large, STEPS, threads=None)
    large_s = time.perf_counter() - start
    say(capsys, f"… a million board-years in {large_s / 60:.1f} minutes (goal: 10); {large_s / small_s:.1f} times "
        "ten thousand (goal: 100 ± 15)")  # fmt: skip
    assert large_s > small_s


def test_free_water_beside_bound_water(fine, capsys):
    rows = many(fine[0], TIMED)
    slow, fast = rows.copy(), rows.copy()
    slow[rivals.KAPPA], fast[rivals.KAPPA] = 0.3, 5.0
    cases = [(slow, 0.8), (fast, 0.8), (slow, 0.25), (fast, 0.25)]
    times = by_turns([lambda r=r, s=s: solved(r, STEPS, start=s) for r, s in cases])
    rates = [TIMED * STEPS / taken for taken in times]
    said = ("free water slow", "free water fast")
    say(capsys, f"… {said[0]}: {rates[0]:,.0f} board-steps/s, {said[1]}: {rates[1]:,.0f}: ratio "
        f"{rates[0] / rates[1]:.2f}; bound water alone: {rates[2]:,.0f} and {rates[3]:,.0f}, so that wet wood goes at "
        f"{rates[0] / rates[2]:.2f} and {rates[1] / rates[3]:.2f} of the speed")  # fmt: skip
    assert all(rate > 0.0 for rate in rates)
