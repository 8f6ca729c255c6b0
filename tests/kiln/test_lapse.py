"""What the model misses: a normal process in time, against its formula in another form, and its drawn paths."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import gamma, kv

from kiln import lapse
from shared.tables import constants

DAYS = np.array([0.0, 1.0 / 24.0, 1.0, 7.0, 7.0, 20.0, 33.0, 90.0, 400.0])
TAU = constants("drying")["lapse_days"].value
PATHS = 40_000


def matern(gap_days, nu, length_days):
    """Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, eq. 4.14: any nu, by Bessel's function."""
    x = np.sqrt(2.0 * nu) * np.maximum(gap_days, 1e-9) / length_days
    return 2.0 ** (1.0 - nu) / gamma(nu) * x**nu * kv(nu, x)


def by_spectrum(gap_days, nu, length_days):
    """The same from its spectral density in one dimension (eq. 4.15), by Wiener and Khinchin (eq. 4.6)."""

    def density(s):
        first = 2.0 * np.sqrt(np.pi) * gamma(nu + 0.5) * (2.0 * nu) ** nu / (gamma(nu) * length_days ** (2.0 * nu))
        return first * (2.0 * nu / length_days**2 + 4.0 * np.pi**2 * s**2) ** -(nu + 0.5)

    half, _ = quad(lambda s: density(s) * np.cos(2.0 * np.pi * s * gap_days), 0.0, 20.0 / length_days, limit=400)
    return 2.0 * half


def test_it_is_the_matern_process_of_one_and_a_half_by_bessels_function():
    told = lapse.covariance(DAYS, DAYS, np.ones(len(DAYS)), np.ones(len(DAYS)))
    assert told == pytest.approx(matern(np.abs(DAYS[:, None] - DAYS), 1.5, TAU), abs=1e-6)


@pytest.mark.parametrize("gap_days", [0.0, 3.0, 20.0, 60.0])
def test_it_has_the_spectrum_of_that_process(gap_days):
    told = lapse.covariance(np.zeros(1), np.array([gap_days]), np.ones(1), np.ones(1))[0, 0]
    # The spectrum falls with its fourth power: what lies beyond 20 / tau is less than 1e-4.
    assert told == pytest.approx(by_spectrum(gap_days, 1.5, TAU), abs=2e-4)


def test_its_size_is_that_of_the_table_on_dry_wood_and_grows_with_moisture():
    table = constants("drying")
    still, share = table["lapse_mc_pct"].value / 100.0, table["lapse_share"].value
    assert lapse.spread(np.array([-0.01, 0.0])) == pytest.approx([still, still])
    assert lapse.spread(np.array([0.3])) == pytest.approx(np.sqrt(still**2 + (share * 0.3) ** 2))
    assert lapse.spread(np.array([10.0])) == pytest.approx(10.0 * share, rel=1e-3)


def test_the_covariance_takes_the_sizes_of_both_sides():
    some, others = np.array([0.0, 5.0]), np.array([2.0, 9.0, 30.0])
    sizes, other_sizes = np.array([0.01, 0.02]), np.array([0.03, 0.01, 0.05])
    found = lapse.covariance(some, others, sizes, other_sizes)
    assert found.shape == (2, 3)
    assert found[1, 2] == pytest.approx(0.02 * 0.05 * matern(25.0, 1.5, TAU))
    assert found == pytest.approx(lapse.covariance(others, some, other_sizes, sizes).T)


def test_drawn_paths_have_that_covariance():
    """Over so many paths a covariance is known within 1 / sqrt(paths); five of these allow for the worst of 81."""
    paths = lapse.drawn(np.random.default_rng(4), PATHS, DAYS)
    assert paths.shape == (PATHS, len(DAYS))
    asked = matern(np.abs(DAYS[:, None] - DAYS), 1.5, TAU)
    sd = np.sqrt(1.0 + asked**2) / np.sqrt(PATHS)
    assert np.abs(paths.mean(axis=0)).max() < 5.0 / np.sqrt(PATHS)
    assert np.abs(np.cov(paths.T) - asked).max() < 5.0 * sd.max()
    kurtosis = np.mean(paths**4, axis=0) / np.mean(paths**2, axis=0) ** 2
    assert kurtosis == pytest.approx(3.0, abs=0.15)  # normal


def test_a_path_hangs_on_no_moment_that_is_drawn_beside_it():
    """Carried from day to day or in one leap, the far end is spread alike: its law knows no spacing."""
    far = np.array([0.0, 30.0])
    closely = np.linspace(0.0, 30.0, 301)
    leap = lapse.drawn(np.random.default_rng(1), PATHS, far)
    steps = lapse.drawn(np.random.default_rng(2), PATHS // 4, closely)[:, [0, -1]]
    for paths in (leap, steps):
        assert np.corrcoef(paths.T)[0, 1] == pytest.approx(matern(30.0, 1.5, TAU), abs=0.04)


def test_it_never_jumps_from_one_hour_to_the_next():
    """A change over an hour is as large as its slope makes it, with deviation sqrt(3) / tau a day (eq. 4.17 at 0)."""
    days = np.arange(24 * 60) / 24.0
    changes = np.diff(lapse.drawn(np.random.default_rng(7), 200, days), axis=1)
    usual = np.sqrt(3.0) / TAU / 24.0
    assert changes.std() == pytest.approx(usual, rel=0.05)
    assert np.abs(changes).max() < 6.0 * usual  # 288,000 changes
    bend = np.diff(changes, axis=1)  # nor does its slope leap, as where all is exp(-a)
    assert bend.std() < 0.15 * changes.std()


def test_twice_the_same_moment_gives_the_same_value():
    paths = lapse.drawn(np.random.default_rng(3), 50, np.array([0.0, 4.0, 4.0, 9.0]))
    assert paths[:, 1] == pytest.approx(paths[:, 2], abs=1e-9)


def two_parts(days, means):
    """What rests in a board and what goes with its water, each by Bessel's function."""
    table, gaps = constants("drying"), np.abs(days[:, None] - days)
    still = (table["lapse_mc_pct"].value / 100.0) ** 2 * matern(gaps, 1.5, table["lapse_still_days"].value)
    return still + table["lapse_share"].value ** 2 * np.outer(means, means) * matern(gaps, 1.5, TAU)


MEANS = np.linspace(0.9, 0.1, len(DAYS))  # of a board that dries


def test_a_board_that_dries_has_both_parts_each_with_its_own_time():
    assert lapse.between(DAYS, DAYS, MEANS, MEANS) == pytest.approx(two_parts(DAYS, MEANS), abs=1e-9)
    some, others = slice(0, 3), slice(3, None)
    apart = lapse.between(DAYS[some], DAYS[others], MEANS[some], MEANS[others])
    assert apart == pytest.approx(two_parts(DAYS, MEANS)[some, others], abs=1e-9)
    assert np.diag(lapse.between(DAYS, DAYS, MEANS, MEANS)) == pytest.approx(lapse.spread(MEANS) ** 2)


def test_drawn_paths_of_such_a_board_have_that_covariance():
    paths = lapse.paths(6, PATHS, DAYS, MEANS, float(np.floor(DAYS[0])))
    sizes = lapse.spread(MEANS)
    found = np.cov(paths.T) / np.outer(sizes, sizes)
    assert np.abs(found - two_parts(DAYS, MEANS) / np.outer(sizes, sizes)).max() < 5.0 * np.sqrt(2.0 / PATHS)


def test_what_a_member_has_on_a_day_hangs_on_no_other_moment_and_on_no_later_one():
    few = lapse.paths(3, 8, np.array([2.25, 7.0]), np.array([0.5, 0.4]), 0.0)
    many = lapse.paths(3, 8, np.array([0.5, 2.25, 3.0, 7.0, 300.0]), np.array([0.6, 0.5, 0.5, 0.4, 0.1]), 0.0)
    assert np.array_equal(few, many[:, [1, 3]])


@given(st.lists(st.floats(0.0, 3000.0), min_size=1, max_size=12), st.integers(0, 99))
def test_any_moments_give_a_covariance_and_finite_paths(days, seed):
    at = np.sort(np.array(days))
    values = np.linalg.eigvalsh(lapse.covariance(at, at, np.ones(len(at)), np.ones(len(at))))
    assert values.min() > -1e-9
    assert np.isfinite(lapse.drawn(np.random.default_rng(seed), 3, at)).all()
