"""The line from shares of members to stated chances: its fit, and how it does on lots it was not fitted on."""

import numpy as np
import pytest
import verdict_held as held
import verdict_summary as summary
from scipy.optimize import minimize

from kiln import calibrated

FEW = 30  # fewer in a bin tell nothing of it
KEPT = held.kept()


def bins(said, some=KEPT):
    return [one for one in summary.reliability(said, some.fit, some.lot) if one.n >= FEW]


def test_a_line_that_is_known_is_found_again():
    """Drawn from log-odds of 0.9 + 0.8 times those of the share: within three standard errors of so many draws."""
    rng = np.random.default_rng(5)
    share = rng.integers(1, 64, 20_000) / 64
    came = (rng.uniform(size=share.size) < 1.0 / (1.0 + np.exp(-(0.9 + 0.8 * held.log_odds(share))))).astype(float)
    intercept, slope = held.fitted(share, came)
    assert intercept == pytest.approx(0.9, abs=0.06)
    assert slope == pytest.approx(0.8, abs=0.05)


def test_the_line_is_the_most_likely_one():
    """Held against scipy.optimize.minimize, another way of looking for the same greatest likelihood."""

    def unlikely(line):
        x = line[0] + line[1] * held.log_odds(KEPT.share)
        return float(np.mean(np.logaddexp(0.0, x) - KEPT.fit * x))

    other = minimize(unlikely, [0.0, 1.0], method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-12})
    assert held.fitted(KEPT.share, KEPT.fit) == pytest.approx(other.x, abs=1e-3)


def test_the_table_holds_what_was_found():
    found = held.fitted(KEPT.share, KEPT.fit)
    assert pytest.approx(found, abs=0.005) == (calibrated.INTERCEPT, calibrated.SLOPE)


def test_what_is_stated_here_is_what_the_product_states():
    some = KEPT.of(np.arange(len(KEPT.lot)) % 40 == 0)
    said = held.stated(some, (calibrated.INTERCEPT, calibrated.SLOPE))
    product = [calibrated.of_all(share, [most]) for share, most in zip(some.share, some.most, strict=True)]
    assert said == pytest.approx(product)


def test_no_lot_is_judged_by_a_line_that_was_fitted_on_it():
    first = held.halves(KEPT.lot)
    assert not set(KEPT.lot[first]) & set(KEPT.lot[~first])
    assert len(set(KEPT.lot[first])) == pytest.approx(len(set(KEPT.lot)) / 2, abs=4)
    assert KEPT.plate[first].mean() == pytest.approx(KEPT.plate[~first].mean(), abs=0.05)
    # Another truth of the second half changes what is stated of the first, and nothing of what is stated of itself.
    other, as_it_is = KEPT._replace(fit=np.where(first, KEPT.fit, np.roll(KEPT.fit, 9))), held.crosswise(KEPT)
    assert np.array_equal(held.crosswise(other)[~first], as_it_is[~first])
    assert not np.array_equal(held.crosswise(other)[first], as_it_is[first])


def test_shares_of_members_say_too_little_in_the_middle():
    worst = max(bins(KEPT.share), key=lambda one: abs(one.apart))
    assert worst.apart > 0.15 and worst.apart > 3.0 * worst.clustered


def test_on_the_other_half_each_bin_lies_within_five_points_or_its_error():
    """The goal is five points; boards of one lot and days of one board are not by themselves: their error by lots."""
    said = held.crosswise(KEPT)
    for one in bins(said):
        assert abs(one.apart) <= max(summary.WITHIN, 1.6 * one.clustered), one
    assert held.log_loss(said, KEPT.fit) < held.log_loss(KEPT.share, KEPT.fit) - 0.01


def test_what_is_stated_as_sure_is_so():
    said = held.crosswise(KEPT)
    sure = said >= 0.9
    assert sure.sum() > (KEPT.share >= 0.9).sum()
    assert KEPT.fit[sure].mean() >= 0.95


def test_where_one_condition_alone_rules_it_out_it_is_out():
    assert (KEPT.most == 0.0).sum() > 1000
    assert KEPT.fit[KEPT.most == 0.0].sum() == 0.0
