"""Pin meters: corrected, calibrated, cut off at their limits, and never surer than they are."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import meters
from kiln.errors import OutOfRange
from kiln.meters import AT_LEAST, AT_MOST, Pair, Pin, fit_pairs, read
from kiln.records import Z80
from shared.errors import BadInput
from shared.tables import constants, limit


# Wood Handbook FPL-GTR-190, 2010, chapter 13: ±0.5 %MC per 5.6 °C (10 °F) away from the calibration temperature.
@pytest.mark.parametrize(("reading_pct", "wood_c", "mc_pct"), [(15.0, 10.0, 16.0), (10.0, 32.4, 9.0)])
def test_half_a_percent_per_ten_degrees_fahrenheit(reading_pct, wood_c, mc_pct):
    assert meters.temperature_corrected_pct(reading_pct, wood_c, 21.2) == pytest.approx(mc_pct, abs=1e-9)


# FPL-GTR-6, 1988: conductance varies usefully only below about 30 % MC; the lower limit of 6 % is from memory.
@pytest.mark.parametrize(("shown_pct", "censored", "mc_pct"), [(45.0, AT_LEAST, 27.0), (4.0, AT_MOST, 6.0)])
def test_a_reading_beyond_the_range_is_flagged_and_never_reported(shown_pct, censored, mc_pct):
    answer = read(Pin(shown_pct, wood_temperature_c=21.1))
    assert (answer.censored, answer.mc_pct) == (censored, mc_pct)
    assert any(censored in flag for flag in answer.flags)


@given(reading=st.floats(0.1, 200.0), wood_c=st.floats(-20.0, 60.0))
def test_no_answer_lies_beyond_the_limits(reading, wood_c):
    answer = read(Pin(reading, wood_temperature_c=wood_c))
    assert constants("meters")["at_most_mc_pct"].value <= answer.mc_pct <= limit("pin_at_least")
    assert answer.error_mc_pct > 0


@given(reading=st.floats(6.0, 25.0), colder=st.floats(0.1, 40.0))
def test_colder_wood_is_wetter_than_it_reads(reading, colder):
    here, there = meters.temperature_corrected_pct(reading, np.array([20.0, 20.0 - colder]), 20.0)
    assert there > here == reading


def test_without_pairs_a_reading_has_the_error_of_an_uncalibrated_meter_and_says_so():
    drying = constants("drying")
    answer = read(Pin(12.0, wood_temperature_c=21.1))
    assert answer.error_mc_pct == pytest.approx(
        np.hypot(drying["pin_bias_mc_pct"].value, drying["pin_noise_mc_pct"].value)
    )
    assert any("oven-dried offcut" in flag for flag in answer.flags)
    assert meters.species_correction("Platanus occidentalis") is None


def test_an_unknown_wood_temperature_widens_the_band_and_is_said():
    known, unknown = read(Pin(12.0, wood_temperature_c=21.1)), read(Pin(12.0))
    assert unknown.error_mc_pct > known.error_mc_pct
    assert any("temperature is not known" in flag for flag in unknown.flags)


@pytest.mark.parametrize(
    ("pin", "said"),
    [
        (Pin(14.0, 20.0, origin="water-reclaimed"), "falsely wet"),
        (Pin(14.0, 20.0, thickness_m=0.0032), "bag test"),
        (Pin(14.0, 20.0, waited_s=600.0), "drifts"),
        (Pin(14.0, -5.0), "temperature correction is not to be relied on"),
        (Pin(26.0, 20.0), "temperature correction is not to be relied on"),
    ],
)
def test_what_spoils_a_reading_is_flagged(pin, said):
    assert any(said in flag for flag in read(pin).flags)
    assert not any(said in flag for flag in read(Pin(14.0, 20.0, thickness_m=0.025, origin="re-sawn")).flags)


@given(reading=st.floats(8.0, 22.0), off=st.floats(-2.0, 2.0))
def test_one_pair_gives_an_offset(reading, off):
    lot = fit_pairs([Pair(reading, reading + off, 0.3)])
    assert lot.slope == pytest.approx(1.0)
    mc, _error = lot.apply(12.0)
    assert mc == pytest.approx(12.0 + off, abs=1e-9)
    assert "offset only" in lot.sentence


def test_pairs_over_a_span_move_the_slope_and_narrow_the_band():
    x = np.linspace(8.0, 22.0, 8)
    lot = fit_pairs([Pair(one, 12.0 + 0.7 * (one - 14.0), 0.2) for one in x])
    assert 0.7 < lot.slope < 0.78  # drawn a little towards 1
    assert "offset only" not in lot.sentence
    one = fit_pairs([Pair(15.0, 12.7, 0.2)])
    assert lot.apply(20.0)[1] < one.apply(20.0)[1]
    assert lot.apply(15.0)[1] < read(Pin(15.0, 21.1)).error_mc_pct


def test_three_more_pairs_for_each_halve_the_error_of_the_line():
    few = fit_pairs([Pair(12.0, 13.0, 0.3)] * 2)
    many = fit_pairs([Pair(12.0, 13.0, 0.3)] * (2 + few.pairs_to_halve))
    scatter = few.scatter_mc_pct / many.scatter_mc_pct  # alike pairs also make the scatter look smaller
    assert many.middle_error_mc_pct * scatter == pytest.approx(few.middle_error_mc_pct / 2.0, rel=0.05)
    assert f"{few.pairs_to_halve} more pairs" in few.sentence


@pytest.mark.parametrize("count", [1, 3, 8])
def test_eight_in_ten_of_the_bands_of_a_calibrated_lot_hold_the_truth(count):
    # Lots invented as the model believes them: slope 1 ± 0.15, any level, scatter as tabled. Three standard errors of
    # a share of 0.8 over 3000 trials are 0.022; the scatter is estimated, so a little more is allowed.
    rng = np.random.default_rng(20261125)
    noise, held, trials = constants("drying")["pin_noise_mc_pct"].value, 0, 3000
    for _ in range(trials):
        slope, level = rng.normal(1.0, 0.15), rng.normal(14.0, 1.5)

        def truth(reading, slope=slope, level=level):
            return level + slope * (reading - 14.0) + rng.normal(0.0, noise, np.shape(reading))

        x = rng.uniform(11.0, 17.0, count)
        dried = np.clip(truth(x) + rng.normal(0.0, 0.3, count), 6.0, 25.0)
        lot = fit_pairs([Pair(a, b, 0.3) for a, b in zip(x, dried, strict=True)])
        mc, error = lot.apply(15.5)
        held += abs(truth(15.5) - mc) <= Z80 * error
    assert held / trials == pytest.approx(0.8, abs=0.035)


def test_a_calibrated_reading_is_shown_by_its_line_and_named_outside_its_pairs():
    lot = fit_pairs([Pair(10.0, 8.5, 0.3), Pair(18.0, 16.5, 0.3)])
    inside = read(Pin(14.0, 21.1), lot)
    assert inside.mc_pct == pytest.approx(12.5)
    assert inside.flags == ()
    assert any("Outside the lot's pairs" in flag for flag in read(Pin(22.0, 21.1), lot).flags)


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        ([], "at least one"),
        ([Pair(28.0, 20.0, 0.3)], "reading_pct is 28.*6 to 25"),
        ([Pair(10.0, 30.0, 0.3)], "oven_dry_mc_pct is 30.*6 to 25"),
        ([Pair(10.0, 10.0, 0.0)], "error_mc_pct"),
        ([Pair(np.nan, 10.0, 0.3)], "reading_pct"),
    ],
)
def test_pairs_that_cannot_serve_are_refused(pairs, said):
    with pytest.raises(BadInput, match=said):
        fit_pairs(pairs)


@pytest.mark.parametrize(
    ("depth_m", "name"),
    [(0.005, "fifth to quarter"), (0.00625, "fifth to quarter"), (0.0075, "three tenths"), (0.0125, ""), (0.001, "")],
)
def test_the_two_conventions_of_depth_are_told_apart(depth_m, name):
    assert meters.convention_of(depth_m, 0.025) == name


def test_readings_by_both_conventions_are_mixed_and_shell_with_core_are_not():
    assert meters.mixed([0.2, 0.3])
    assert not meters.mixed([0.2, 0.25])
    assert not meters.mixed([0.05, 0.5])
    assert not meters.mixed([])


def test_a_depth_beyond_the_board_is_refused():
    with pytest.raises(OutOfRange, match="depth_m"):
        meters.convention_of(0.03, 0.025)
    with pytest.raises(OutOfRange, match="reading_pct"):
        read(Pin(0.0))


def test_arrays_keep_their_shape_and_nan_stays_nan():
    lot = fit_pairs([Pair(10.0, 8.5, 0.3)])
    readings = np.array([[10.0, np.nan], [12.0, 14.0]])
    for out in (*lot.apply(readings), meters.temperature_corrected_pct(readings, 20.0)):
        assert out.shape == (2, 2)
        assert np.isnan(out[0, 1])
    assert not meters.temperature_rule_holds(np.nan, 20.0)
