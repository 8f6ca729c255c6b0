"""The solver in blocks of sixteen lanes: its arithmetic, and that no member's numbers hang on its company."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from film import per_pa
from hypothesis import given, settings
from hypothesis import strategies as st

from kiln import diffusion, march, psychrometrics, sorption
from kiln.lanes import exp_less_one, p_sat
from shared.tables import constants

HOURS = 24 * 6
PAST_REST = 0.01  # kg/kg
USUAL = {
    "half_thickness_m": 0.0127,
    "basic_density_kg_m3": 480.0,
    "diffusion_m2_s": 1e-10,
    "moisture_slope": 1.15,
    "activation_k": 5280.0,
    "free_water_ratio": 1.0,
    "film_w_m2k": 3.0,
    "longwave_w_m2k": 1.0,
    "isotherm_scale": 1.0,
}
DAILY, DRY, JUMPING, UNKNOWN, FROST, HOT, GAPS, WILD = range(8)  # rows of the air; from WILD on, eight that jump


def board(start=0.8, row=DAILY, **given_):
    return USUAL | {"start": start, "row": row} | given_


SUBJECTS = {
    "an ordinary board": board(),
    "slow free water": board(1.2, free_water_ratio=2e-3, film_w_m2k=8.0),
    "fast free water in air that jumps": board(1.0, JUMPING, free_water_ratio=30.0, half_thickness_m=0.02),
    "a thin plate that gains water": board(0.06, half_thickness_m=0.001),
    "air with gaps": board(0.5, GAPS, free_water_ratio=0.1),
}
HARD = [
    board(1.4, JUMPING, half_thickness_m=0.0005, diffusion_m2_s=1e-9, film_w_m2k=50.0, longwave_w_m2k=0.0),
    board(1.4, DRY, film_w_m2k=50.0, free_water_ratio=1e-3, moisture_slope=6.0, diffusion_m2_s=1e-11),
    board(0.3, UNKNOWN),
    board(0.7, FROST),
    board(np.nan, DAILY),
    board(1.0, JUMPING, free_water_ratio=50.0, film_w_m2k=40.0, moisture_slope=0.5, diffusion_m2_s=1e-9),
    board(0.02, HOT, half_thickness_m=0.05),
]


REACH = {
    "half_thickness_m": (0.001, 0.05),
    "basic_density_kg_m3": (250.0, 900.0),
    "diffusion_m2_s": (1e-11, 1e-9),
    "moisture_slope": (0.5, 6.0),
    "free_water_ratio": (1e-3, 50.0),
    "film_w_m2k": (0.2, 50.0),
    "longwave_w_m2k": (0.01, 10.0),
    "start": (0.02, 2.0),
}


def crowd(count, seed):
    """Invented boards of every kind, each in one of the airs that jump."""
    rng = np.random.default_rng(seed)
    drawn = {name: np.exp(rng.uniform(*np.log(ends), count)) for name, ends in REACH.items()}
    return [board(row=WILD + i % 8, **{name: values[i] for name, values in drawn.items()}) for i in range(count)]


def members_of(boards):
    columns = {name: np.array([float(one[name]) for one in boards]) for name in USUAL}
    return diffusion.Members(**columns, air_row=np.array([one["row"] for one in boards], np.int64))


def air():
    """Invented air, a row for each of the names above."""
    hour, rng = np.arange(HOURS), np.random.default_rng(7)
    swing = np.sin(2 * np.pi * hour / 24)
    t_c, rh = np.tile(15.0 + 6.0 * swing, (WILD + 8, 1)), np.tile(70.0 - 20.0 * swing, (WILD + 8, 1))
    rh[DRY] = 5.0
    for row in (JUMPING, *range(WILD, WILD + 8)):
        t_c[row] = np.repeat(rng.uniform(0.0, 45.0, HOURS // 6), 6)
        rh[row] = np.repeat(rng.uniform(1.0, 100.0, HOURS // 6), 6)
    t_c[UNKNOWN], t_c[FROST], t_c[HOT] = np.nan, -4.0, 45.5
    t_c[GAPS, 30:40], rh[GAPS, 60:70], t_c[GAPS, 90:95] = np.nan, np.nan, -1.0
    return diffusion.AirSteps(t_c, rh, np.full(HOURS, 3600.0))


AIR = air()
RECORD = np.array([1, 2, 24, HOURS])


def marched(boards, record=RECORD, *, two_faces=False, threads=1):
    nodes = diffusion.NODES_WITH_TWO_FACES if two_faces else diffusion.NODES
    start = np.repeat(np.array([[one["start"]] for one in boards]), nodes, axis=1)
    return diffusion.march(start, members_of(boards), AIR, record, two_faces=two_faces, threads=threads)


# --- arithmetic ------------------------------------------------------------------------------------


def test_exp_less_one_is_that_of_numpy():
    x = np.concatenate(
        [np.linspace(-699.0, 699.0, 20_001), np.linspace(-1.0, 1.0, 20_001), np.geomspace(1e-300, 1, 99)]
    )
    ours = np.array([exp_less_one(one) for one in x])
    rounding = 2.3e-16  # of a figure next to -1
    assert np.all(np.abs(ours - np.expm1(x)) < 1e-11 * np.exp(x) + rounding)
    small = np.abs(x) < 0.3  # there nothing is lost to the one that is taken away
    assert ours[small] == pytest.approx(np.expm1(x[small]), rel=1e-11, abs=0.0)


def test_saturation_pressure_is_that_of_psychrometrics_above_freezing():
    t_c = np.linspace(0.0, 86.0, 2001)
    ours = np.array([p_sat(one + 273.15, water()) for one in t_c])
    assert ours == pytest.approx(psychrometrics.saturation_pressure_pa(t_c), rel=1e-9)


def test_saturation_pressure_over_water_goes_on_below_freezing():
    """ASHRAE Handbook Fundamentals, 2017, chapter 1, Equation 6, written out: the solver's secant may reach there."""
    t = np.linspace(231.0, 359.0, 1001)
    c1, c2, c3, c4, c5, c6 = water()
    printed = np.exp(c1 / t + c2 + c3 * t + c4 * t**2 + c5 * t**3 + c6 * np.log(t))
    assert np.array([p_sat(one, water()) for one in t]) == pytest.approx(printed, rel=1e-9)


def water():
    table = constants("psychrometrics")
    return np.array([table[f"water_{n}"].value for n in range(1, 7)])


# --- company ---------------------------------------------------------------------------------------


def in_company(subject, at, count):
    """A batch of ``count`` with the subject at a place, and hard neighbours all round."""
    boards = [HARD[i % len(HARD)] for i in range(count)]
    boards[at] = subject
    return boards


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
@pytest.mark.parametrize("name", SUBJECTS)
def test_the_same_to_the_last_bit_alone_and_anywhere_in_a_block_of_hard_neighbours(name, two_faces):
    subject = SUBJECTS[name]
    alone = marched([subject], two_faces=two_faces)[0]
    assert np.ptp(alone[-1]) > 0.0  # it did dry
    for count, places in ((9, (0, 6)), (16, (0, 6, 15)), (17, (0, 15, 16)), (33, (6, 15, 32))):
        for at in places:
            together = marched(in_company(subject, at, count), two_faces=two_faces)[at]
            assert np.array_equal(together, alone), (
                f"number {at + 1} of {count}: {np.abs(together - alone).max():.1e} kg/kg"
            )


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
def test_the_same_to_the_last_bit_beside_any_one_hard_neighbour(two_faces):
    alone = marched([board()], two_faces=two_faces)[0]
    off = [np.abs(marched([board(), other], two_faces=two_faces)[0] - alone).max() for other in HARD]
    assert off == [0.0] * len(HARD)


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
def test_the_same_to_the_last_bit_alone_and_in_a_crowd_of_every_kind(two_faces):
    boards = crowd(33, seed=1)
    together = marched(boards, two_faces=two_faces)
    apart = np.array([marched([one], two_faces=two_faces)[0] for one in boards])
    assert np.flatnonzero(np.any(together != apart, axis=(1, 2))).tolist() == [], np.abs(together - apart).max()


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
@pytest.mark.parametrize("count", [1, 9, 16, 17, 33])
def test_the_same_to_the_last_bit_with_any_number_of_threads(count, two_faces):
    boards = [*SUBJECTS.values(), *HARD]
    boards = [boards[i % len(boards)] for i in range(count)]
    one, two, three = (marched(boards, two_faces=two_faces, threads=n) for n in (1, 2, 3))
    assert np.array_equal(one, two, equal_nan=True)
    assert np.array_equal(one, three, equal_nan=True)


def test_every_module_that_is_compiled_ends_the_kept_loop_when_it_changes():
    """The compiler itself looks at one file only."""
    folder = Path(diffusion.__file__).parent
    named = {
        path.stem for path in folder.glob("*.py") if "compiled" in path.read_text(encoding="utf-8").split("def ")[0]
    }
    assert named - {"diffusion"} == set(march.COMPILED)


# --- what cannot be answered, and what is held --------------------------------------------------------


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
def test_a_start_that_is_nan_stays_nan_in_its_own_lane_alone(two_faces):
    ends = marched([board(), board(np.nan), board()], two_faces=two_faces)
    assert np.all(np.isnan(ends[1]))
    assert np.all(np.isfinite(ends[[0, 2]]))
    assert np.array_equal(ends[0], ends[2])


@pytest.mark.parametrize("name", ["diffusion_m2_s", "free_water_ratio"])
def test_a_parameter_that_is_nan_comes_to_an_end_without_a_number_and_touches_nobody(name, tmp_path):
    usual = marched([board(), board(), board()])
    ends = ends_apart(tmp_path, name, "np.nan")
    assert np.array_equal(ends[[0, 2]], usual[[0, 2]])
    assert np.all(np.isnan(ends[1, -1]))


def test_a_stack_whose_air_is_not_renewed_keeps_its_water(tmp_path):
    """kiln.film.renewal_m_s gives 0 for air that stands."""
    assert ends_apart(tmp_path, "renewal_m_s", "0.0")[1] == pytest.approx(board()["start"], abs=1e-12)


def ends_apart(tmp_path, name, value):
    """What comes of a member with such a parameter between two others, worked out in a process of its own.

    A compiled loop that does not end cannot be interrupted from within.
    """
    marched([board()])  # compiles, before the other process begins
    kept, here = tmp_path / "ends.npy", Path(__file__)
    code = f"import numpy as np, {here.stem} as t; np.save({str(kept)!r}, t.with_one({name!r}, {value}))"
    paths = os.pathsep.join([str(here.parent), str(here.parents[2])])
    subprocess.run([sys.executable, "-c", code], env=os.environ | {"PYTHONPATH": paths}, timeout=20, check=True)
    return np.load(kept)


def with_one(name, value):
    """Three ordinary boards, the middle one with a parameter of its own."""
    boards = [board(), board(), board()]
    who = members_of(boards)
    usual = np.full(3, np.inf) if name == "renewal_m_s" else getattr(who, name)
    given_ = np.where(np.arange(3) == 1, value, usual)
    start = np.full((3, diffusion.NODES), boards[0]["start"])
    return diffusion.march(start, diffusion.Members(**{**vars(who), name: given_}), AIR, RECORD, threads=1)


@pytest.mark.parametrize("row", [UNKNOWN, FROST, HOT])
def test_air_that_is_not_known_holds_that_lane_alone(row):
    ends = marched([board(0.6), board(0.6, row), board(0.6)])
    assert np.all(ends[1] == 0.6)
    assert np.all(ends[[0, 2], -1, -1] < 0.3)


def test_a_gap_in_the_air_holds_the_profile_as_it_stood_and_lets_it_go_on():
    path = marched([board(0.6, GAPS), board(0.6)], np.arange(HOURS + 1))
    held = np.all(path[0, 1:] == path[0, :-1], axis=-1)
    assert np.flatnonzero(held).tolist() == [*range(30, 40), *range(60, 70), *range(90, 95)]
    assert not np.any(np.all(path[1, 1:] == path[1, :-1], axis=-1))


@pytest.mark.parametrize(("t_c", "moves"), [(-0.01, False), (0.0, True), (45.0, True), (45.01, False)])
def test_the_air_that_is_known_ends_at_0_and_45_degrees(t_c, moves):
    one = np.ones((1, 24))
    steps = diffusion.AirSteps(t_c * one, 50.0 * one, np.full(24, 3600.0))
    start = np.full((1, diffusion.NODES), 0.6)
    end = diffusion.march(start, members_of([board(0.6, 0)]), steps, np.array([24]))
    assert (end[0, 0, -1] < 0.6) == moves


# --- whatever the wood and the air ---------------------------------------------------------------------

wide = {
    "kappa": st.floats(-3.0, np.log10(50.0)).map(lambda e: 10.0**e),
    "b": st.floats(0.5, 6.0),
    "film": st.floats(0.2, 50.0),
    "thickness_m": st.floats(0.002, 0.1),
    "d20": st.floats(-11.0, -9.0).map(lambda e: 10.0**e),
    "t_c": st.lists(st.floats(0.0, 45.0), min_size=6, max_size=6),
    "rh": st.lists(st.floats(1.0, 100.0), min_size=6, max_size=6),
}


def jumping(t_c, rh, hours=12):
    steps = hours * len(t_c)
    return diffusion.AirSteps(np.repeat(t_c, hours)[None], np.repeat(rh, hours)[None], np.full(steps, 3600.0))


def made(kappa, b, film, thickness_m, d20, two_faces, **more):
    given_ = {"free_water_ratio": kappa, "moisture_slope": b, "film_w_m2k": film, "diffusion_m2_s": d20}
    half = thickness_m if two_faces else thickness_m / 2.0
    one = members_of([board(row=0, half_thickness_m=half, **given_)])
    return diffusion.Members(**{**vars(one), **{name: np.array([value]) for name, value in more.items()}})


@settings(max_examples=60, deadline=None)
@given(start=st.floats(0.02, 2.0), two_faces=st.booleans(), **wide)
def test_never_nan_and_never_beyond_the_start_or_what_the_air_can_give(
    start, two_faces, kappa, b, film, thickness_m, d20, t_c, rh
):
    """Within a step of an hour a face may pass its rest: what comes of falling back to first order is worse."""
    steps = jumping(t_c, rh)
    profile = np.full((1, diffusion.NODES_WITH_TWO_FACES if two_faces else diffusion.NODES), start)
    who = made(kappa, b, film, thickness_m, d20, two_faces)
    path = diffusion.march(profile, who, steps, np.arange(73), two_faces=two_faces)[0]
    emc = sorption.emc_pct(np.array(t_c), np.array(rh)) / 100.0
    assert np.all(np.isfinite(path))
    assert path.min() >= min(start, emc.min()) - PAST_REST  # drying ends at the curve as printed …
    assert path.max() <= max(start, emc.max() * sorption.adsorption_ratio()) + PAST_REST  # … gaining short of it
    assert path.min() >= 0.0


@pytest.mark.parametrize("two_faces", [False, True], ids=["one face", "two faces"])
def test_a_crowd_of_every_kind_stays_within_its_starts_and_airs(two_faces):
    boards = [one for seed in range(8) for one in crowd(32, seed)]
    path = marched(boards, np.arange(HOURS + 1), two_faces=two_faces)
    rows, start = [one["row"] for one in boards], np.array([one["start"] for one in boards])
    emc = sorption.emc_pct(AIR.temperature_c[rows], AIR.rh_pct[rows]) / 100.0
    below = np.minimum(start, emc.min(axis=1)) - path.min(axis=(1, 2))
    above = path.max(axis=(1, 2)) - np.maximum(start, emc.max(axis=1) * sorption.adsorption_ratio())
    assert below.max() < 1e-5 and above.max() < 1e-5
    assert not two_faces or np.abs(path - path[..., ::-1]).max() < 1e-3  # alike at both faces, and so it stays


@settings(max_examples=60, deadline=None)
@given(ends=st.tuples(st.floats(0.02, 2.0), st.floats(0.02, 2.0)), two_faces=st.booleans(), **wide)
def test_the_mean_moves_by_nothing_but_what_passes_the_faces(
    ends, two_faces, kappa, b, film, thickness_m, d20, t_c, rh
):
    """Behind coats that let nothing pass any profile levels out in any air, and no water is lost or made."""
    profile = np.linspace(*ends, diffusion.NODES_WITH_TWO_FACES if two_faces else diffusion.NODES)[None]
    tight = {"coat_pa_m2_s_kg": np.inf, "back_coat_pa_m2_s_kg": np.inf}
    who = made(kappa, b, film, thickness_m, d20, two_faces, **tight)
    path = diffusion.march(profile, who, jumping(t_c, rh), np.arange(73), two_faces=two_faces)[0]
    means = diffusion.mean_of(path, two_faces=two_faces)
    assert means == pytest.approx(means[0], rel=1e-11)
    assert min(ends) - 1e-5 <= path.min() and path.max() <= max(ends) + 1e-5
    assert np.ptp(path[-1]) < np.ptp(path[0]) or np.ptp(path[0]) < 1e-9


@settings(max_examples=40, deadline=None)
@given(
    start=st.floats(0.2, 1.5),
    rh=st.floats(20.0, 85.0),
    kappa=wide["kappa"],
    b=wide["b"],
    film=wide["film"],
    d=wide["d20"],
)
def test_what_was_lost_is_what_the_film_took(start, rh, kappa, b, film, d):
    """Hour by hour: by BDF2 with equal steps 3/2 of its loss less 1/2 of the last one's left in it."""
    hours, half_m = 240, 0.03
    one = np.ones((1, hours))
    steps = diffusion.AirSteps(20.0 * one, rh * one, np.full(hours, 3600.0))
    who = made(kappa, b, film, 2.0 * half_m, d, False, longwave_w_m2k=1e12)
    profile = np.full((1, diffusion.NODES), start)
    path = diffusion.march(profile, who, steps, np.arange(hours + 1), hysteresis=False)[0]
    lost = -np.diff(diffusion.mean_of(path)) * USUAL["basic_density_kg_m3"] * half_m
    passed = (1.5 * lost[1:] - 0.5 * lost[:-1])[24:]
    full = float(sorption.emc_pct(20.0, 100.0)) / 100.0
    activity = sorption.rh_pct_from_emc(20.0, 100.0 * np.minimum(path[2:, -1], full)) / 100.0
    pressure = float(psychrometrics.saturation_pressure_pa(20.0)) * (activity - rh / 100.0)
    carried = (3600.0 * per_pa(film, 20.0) * pressure)[24:]
    assert passed.sum() == pytest.approx(carried.sum(), rel=2e-3, abs=1e-6)
    assert np.median(np.abs(passed - carried)) < 1e-3 * np.abs(carried).max()
