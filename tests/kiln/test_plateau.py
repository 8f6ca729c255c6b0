"""Whether a piece stands at its own plateau: against exact exponentials and a slab's series, with noise and without."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from kiln import plateau
from kiln.errors import OutOfRange
from kiln.plateau import FEW, MISFIT, SHORT, UNSEEN, bags_agree
from shared.errors import BadInput
from shared.units import MS_PER_DAY

START_MS = 1_790_000_000_000


def moments(days):
    return START_MS + (np.asarray(days) * MS_PER_DAY).astype(np.int64)


def asked(days, mass_g, scale_g=0.01, tau=20.0, **more):
    mass = np.asarray(mass_g, dtype=float) / 1000.0
    return plateau.plateau(moments(days), mass, np.full(len(mass), scale_g / 1000.0), tau, **more)


def exponential_g(days, plateau_g, last_over_g, tau):
    days = np.asarray(days, dtype=float)
    return plateau_g + last_over_g * np.exp((days[-1] - days) / tau)


def slab_left(dimensionless_time):
    """Share of the water to be lost that a slab still holds. Crank, The Mathematics of Diffusion, 1975, eq. 4.18."""
    odd = 2.0 * np.arange(200)[:, None] + 1.0
    return (8.0 / (np.pi * odd) ** 2 * np.exp(-((odd * np.pi) ** 2) * np.asarray(dimensionless_time) / 4.0)).sum(axis=0)


@given(
    st.floats(50.0, 5000.0),
    st.floats(-0.02, 0.02),
    st.floats(2.0, 60.0),
    st.lists(st.floats(0.05, 1.0), min_size=3, max_size=9),
)
def test_an_exact_exponential_is_found_again_within_its_error(plateau_g, over_share, tau, steps):
    days = np.cumsum(steps) * 2.5 * tau / np.sum(steps)
    told = asked(days, exponential_g(days, plateau_g, over_share * plateau_g, tau), 0.001 * plateau_g, tau)
    if days[-1] - days[0] < tau:
        assert told.reason == SHORT
        return
    assert abs(told.distance_share - over_share) <= told.error_share
    assert abs(told.plateau_kg * 1000.0 / plateau_g - 1.0) <= 2.0 * told.error_share


def test_the_error_holds_what_it_says_of_an_exponential_weighed_with_noise():
    """80 % of normal errors lie within 1.2816 of them; handling is in the noise as it is in the error."""
    chance, days, scale_g = np.random.default_rng(3), np.linspace(0.0, 50.0, 7), 0.2
    truth, held, runs = 0.001, 0, 1500
    for _ in range(runs):
        exact = exponential_g(days, 1000.0, 1000.0 * truth, 20.0)
        noise = np.hypot(scale_g, 0.0003 * 1000.0) * chance.standard_normal(len(days))
        told = asked(days, exact + noise, scale_g)
        if told.reason != MISFIT:
            held += abs(told.distance_share - truth) <= norm.ppf(0.9) * told.error_share
    assert 0.79 <= held / runs <= 0.95  # widened where it scatters by chance, never narrowed


def test_chances_come_true():
    """Pieces somewhere about their plateau: of those told p in 10, about p in 10 are within the limit."""
    chance, days = np.random.default_rng(5), np.linspace(0.0, 45.0, 8)
    told, true = [], []
    for _ in range(3000):
        over = chance.uniform(-0.01, 0.01)
        exact = exponential_g(days, 1000.0, 1000.0 * over, 20.0)
        found = asked(days, exact + np.hypot(0.3, 0.3) * chance.standard_normal(len(days)), 0.3)
        if found.chance is not None:
            told.append(found.chance)
            true.append(abs(over) <= 0.002)
    told, true = np.array(told), np.array(true)
    middling = (told > 0.3) & (told < 0.7)
    assert middling.sum() > 40 and 0.3 <= true[middling].mean() <= 0.75
    assert true[told > 0.9].mean() > 0.88 and true[told < 0.1].mean() < 0.05


@pytest.mark.parametrize("first_taus", [0.3, 1.0, 2.0])
def test_a_slab_that_dries_by_cranks_series_is_followed_within_its_error(first_taus):
    """Its slowest time constant is 4 l² / (π² D): 0.4053 of l² / D."""
    chance, tau, runs, held = np.random.default_rng(7), 20.0, 400, 0
    taus = first_taus + np.linspace(0.0, 2.5, 8)
    left = slab_left(taus * 4.0 / np.pi**2)
    for _ in range(runs):
        mass = 1000.0 * (1.0 + 0.05 * left)
        told = asked(taus * tau, mass + np.hypot(0.2, 0.3) * chance.standard_normal(8), 0.2, tau)
        held += told.reason != MISFIT and abs(told.distance_share - 0.05 * left[-1]) <= 1.2816 * told.error_share
    assert held / runs >= 0.78


def test_a_slab_that_dries_is_not_told_to_be_at_its_plateau_while_it_is_not():
    """Crank's slab from its first moment on, when no single exponential holds yet, by time constants that are wrong."""
    tau = 20.0
    for last_taus in (0.5, 1.0, 1.5, 2.0, 2.5):
        taus = np.linspace(0.0, last_taus, 8)
        left = slab_left(taus * 4.0 / np.pi**2)
        for wrong in (0.7, 1.0, 1.4):
            told = asked(taus * tau, 1000.0 * (1.0 + 0.05 * left), 0.2, wrong * tau)
            assert 0.05 * left[-1] > 0.002
            assert told.chance is None or told.chance < 0.9  # what a verdict asks


def test_what_the_air_explains_is_no_distance():
    days, rng = np.linspace(0.0, 50.0, 9), np.random.default_rng(11)
    swing = 0.004 * np.sin(days / 5.0)
    exact = exponential_g(days, 800.0, 0.0, 20.0) * (1.0 + swing) + 0.05 * rng.standard_normal(9)
    assert asked(days, exact, 0.05, swing_share=swing).distance_share == pytest.approx(0.0, abs=0.0005)
    assert asked(days, exact, 0.05).chance in (None, pytest.approx(0.0, abs=0.9))
    with_swing, without = asked(days, exact, 0.05, swing_share=swing), asked(days, exact, 0.05)
    assert without.reason == MISFIT or without.error_share > with_swing.error_share


def test_a_piece_at_rest_is_told_so_and_one_that_still_goes_is_not():
    days = [0.0, 10.0, 20.0, 30.0, 40.0]
    still = asked(days, [1000.1, 999.9, 1000.0, 1000.1, 1000.0], 0.1)
    assert still.chance > 0.9 and still.reason == "" and "0.2 % is asked" in still.sentence
    going = asked(days, exponential_g(days, 1000.0, 20.0, 20.0), 0.1)
    assert going.chance < 1e-6 and going.distance_share == pytest.approx(0.02, rel=0.01)
    assert "above" in going.sentence
    gaining = asked(days, exponential_g(days, 1000.0, -20.0, 20.0), 0.1)
    assert gaining.distance_share == pytest.approx(-0.02, rel=0.01) and "below" in gaining.sentence


def test_a_small_piece_on_a_kitchen_scale_cannot_be_seen_and_the_scale_that_would_do_is_told():
    """0.2 % of 60 g is 0.12 g. The scale that is named does, and one half as bad again does not."""
    days, mass = np.linspace(0.0, 50.0, 8), np.full(8, 60.0)
    told = asked(days, mass, 2.0)
    assert told.reason == UNSEEN and told.chance is None and told.error_share > 0.002
    assert "0.2 % of it is 0.12 g" in told.sentence
    need_g = 1000.0 * told.scale_would_do_kg
    assert asked(days, mass, 0.999 * need_g).chance > 0.9
    assert asked(days, mass, 1.5 * need_g).chance is None


def test_few_weigh_ins_cannot_be_helped_by_any_scale_when_handling_alone_is_more():
    told = asked([0.0, 10.0, 21.0], [60.0, 60.0, 60.0], 0.1, limit_share=0.0003)
    assert told.reason == UNSEEN and told.scale_would_do_kg is None and "on any scale" in told.sentence


def test_too_few_or_too_short_a_span_says_which():
    assert asked([0.0, 30.0], [1000.0, 1000.0]).reason == FEW
    assert asked([], []).reason == FEW
    old = asked([0.0, 100.0, 200.0], [1000.0, 1000.0, 1000.0], tau=20.0)
    assert old.reason == FEW and "1 of its weigh-ins" in old.sentence
    short = asked([0.0, 1.0, 2.0, 3.0], [1000.0] * 4, tau=20.0)
    assert short.reason == SHORT and "3.0 days" in short.sentence and short.chance is None


def test_a_piece_that_goes_on_as_fast_as_before_is_on_no_course():
    told = asked([0.0, 30.0, 60.0], [1010.0, 1005.0, 1000.0], 0.1)
    assert told.reason == MISFIT and told.chance is None


@given(st.floats(0.01, 100.0), st.floats(-0.02, 0.02))
def test_the_answer_hangs_on_shares_alone(factor, over):
    days = np.array([0.0, 12.0, 20.0, 33.0, 48.0])
    mass = exponential_g(days, 1000.0, 1000.0 * over, 20.0) + np.array([0.1, -0.1, 0.2, 0.0, -0.1])
    one, other = asked(days, mass, 0.1), asked(days, factor * mass, factor * 0.1)
    assert other.distance_share == pytest.approx(one.distance_share, rel=1e-9, abs=1e-12)
    assert other.error_share == pytest.approx(one.error_share, rel=1e-9)


def test_what_the_weights_leave_open_of_tau_is_in_the_error():
    """True time constants scatter by 30 %, as is allowed for: 80 % of distances lie within 1.2816 errors."""
    chance, days, held = np.random.default_rng(13), np.linspace(0.0, 50.0, 9), []
    for _ in range(1000):
        exact = exponential_g(days, 1000.0, 10.0, 20.0 * np.exp(0.3 * chance.standard_normal()))
        told = asked(days, exact + np.hypot(2.0, 0.3) * chance.standard_normal(9), 2.0, tau=20.0)
        held.append(told.distance_share is not None and abs(told.distance_share - 0.01) <= 1.2816 * told.error_share)
    assert np.mean(held) > 0.77


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: asked([0, 1, 2], [1.0, 0.0, 1.0]), "mass_kg is 0"),
        (lambda: asked([0, 1, 2], [1.0, float("nan"), 1.0]), "mass_kg is nan"),
        (lambda: asked([0, 1, 2], [1.0, 1.0, 1.0], -1.0), "scale_error_kg is -0.001"),
        (lambda: asked([0, 1, 2], [1.0, 1.0, 1.0], tau=0.0), "tau_days is 0"),
        (lambda: asked([0, 1, 2], [1.0, 1.0, 1.0], limit_share=0.0), "limit_share is 0"),
        (lambda: asked([0, 2, 1], [1.0, 1.0, 1.0]), "moments of the weigh-ins is not in order"),
        (lambda: asked([0, 1], [1.0, 1.0, 1.0]), "weigh-ins is 2 moments and 3 masses"),
        (lambda: bags_agree((8.0, -1.0), (8.0, 1.0)), "error_mc_pct is -1"),
        (lambda: bags_agree((8.0, 0.5), (8.0, 1.0), common_mc_pct=0.8), "common_mc_pct is 0.8"),
    ],
)
def test_what_is_impossible_is_named(call, named):
    with pytest.raises((OutOfRange, BadInput), match=named):
        call()


def test_bags_agree_by_the_normal_curve_and_the_common_part_drops_out():
    """Within 0.5 of a difference of 0.3 with standard deviation 0.5: Φ(0.4) − Φ(−1.6) = 0.6006, normal tables."""
    assert bags_agree((8.3, 0.3), (8.0, 0.4)) == pytest.approx(0.6554 - 0.0548, abs=2e-4)
    assert bags_agree((8.0, 0.4), (8.3, 0.3)) == pytest.approx(bags_agree((8.3, 0.3), (8.0, 0.4)))
    together = bags_agree((8.3, np.hypot(0.3, 1.0)), (8.0, np.hypot(0.4, 1.0)), common_mc_pct=1.0)
    assert together == pytest.approx(0.6006, abs=2e-4)
    assert bags_agree((8.3, np.hypot(0.3, 1.0)), (8.0, np.hypot(0.4, 1.0))) < 0.3
    assert bags_agree((8.0, 0.0), (8.4, 0.0)) == 1.0 and bags_agree((8.0, 0.0), (8.6, 0.0)) == 0.0
