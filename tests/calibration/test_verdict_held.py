"""The line from shares of members to stated chances: its fit, and how it does on lots it was not fitted on."""

import numpy as np
import pytest
import verdict_held as held
import verdict_line as line
import verdict_scoring
import verdict_summary as summary
from scipy.optimize import minimize

from kiln import calibrated
from kiln.records import Word

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

    def unlikely(of):
        x = of[0] + of[1] * held.log_odds(KEPT.share)
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


def one_asked(**changes):
    """A plate on one day, READY, of which 0.86 of the members meet all conditions."""
    usual = verdict_scoring.Asked(
        board=1, lot=9000, kind="plate", use="glue", origin="fresh-sawn", checked=True, day=10, word=str(Word.READY),
        chance=0.93, chances=(0.96, 1.0, 0.97, 0.96), unmet=(), fit=True, true=(True,) * 4, over_pct=-0.5,
        apart_pct=0.1, drift_pct=0.0, off_pct=0.2, said_off_pct=(0.0, 0.3, 0.6), rest_pct=8.0, said_rest_pct=None,
        warned=False, wet_when_booked=False, grounds=(), share=0.86,
    )  # fmt: skip
    return usual._replace(**changes)


def test_by_shares_alone_ready_takes_as_many_members_as_chances():
    few, enough = one_asked(), one_asked(share=0.92)
    no_room = one_asked(share=0.92, chances=(0.96, 1.0, 0.97, calibrated.as_held(0.89)))
    assert [one.word for one in line.by_shares([few, enough, no_room])] == ["WAIT", "READY", "WAIT"]
    assert [one.chance for one in line.by_shares([few, enough])] == [0.86, 0.92]
    unasked = one_asked(share=0.92, chances=(0.96, 1.0, 0.97, None))
    assert line.by_shares([unasked])[0].word == "READY"


def test_the_first_day_on_which_a_board_is_called_counts():
    some = [one_asked(day=day, word=word) for day, word in ((5, "WAIT"), (10, "READY"), (15, "READY"))]
    course = verdict_scoring.Course(1, "plate", True, 4.0, np.inf, np.inf)
    (found,) = line.courses_of(some, [course])
    assert (found.fit_day, found.ready_day, found.sure_day) == (4.0, 10.0, 5.0)
    assert line.courses_of([], [course]) == [course]


def test_lots_that_it_was_fitted_on_are_judged_crosswise_and_others_as_they_were_stated():
    known = one_asked(lot=int(KEPT.lot[0]), chance=0.2)
    before, same, more = (
        sum(one.n for one in line.of_other_lots(some)) for some in ([], [known], [known, one_asked(chance=0.2)])
    )
    assert before == same == len(KEPT.lot)
    assert more == before + 1
