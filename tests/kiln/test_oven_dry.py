"""Sections, sample boards and constant mass: the balance closes, and no weighing passes for more than it is."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import oven_dry
from kiln.errors import OutOfRange
from kiln.oven_dry import Section, constant_mass, sample_board, section_mc_pct
from shared.errors import BadInput

HOUR = 3600.0
masses = st.floats(0.05, 50.0)
moistures = st.floats(0.0, 250.0)


def test_the_printed_section():
    # Purdue University FNR-156: a section of 136 g that is 100 g oven-dry is at 36 %.
    assert section_mc_pct(Section(0.136, 0.100))[0] == pytest.approx(36.0)


@given(mass=masses, mc=moistures)
def test_the_mass_balance_closes(mass, mc):
    dry = oven_dry.estimated_oven_dry_mass_kg(mass, mc)
    assert dry <= mass
    assert oven_dry.current_mc_pct(mass, dry) == pytest.approx(mc, abs=1e-9)


@given(mass=masses, mc=st.floats(1.0, 150.0), loss=st.floats(0.01, 0.3))
def test_a_sample_board_loses_as_much_water_as_mass(mass, mc, loss):
    board = sample_board(mass, [Section(0.1 * (1.0 + mc / 100.0), 0.1)] * 2)
    later, error = board.mc_now_pct(mass * (1.0 - loss))
    water_lost = (mc - later) / 100.0 * board.oven_dry_mass_kg
    assert water_lost == pytest.approx(mass * loss, rel=1e-6)
    assert error > 0


def test_errors_of_weighing_are_those_of_many_repeated_weighings():
    rng = np.random.default_rng(20261125)
    wet, dry, scale = 0.150, 0.100, 0.001
    repeated = 100.0 * ((wet + rng.normal(0, scale, 20_000)) / (dry + rng.normal(0, scale, 20_000)) - 1.0)
    assert section_mc_pct(Section(wet, dry, scale))[1] == pytest.approx(repeated.std(), rel=0.03)


def test_the_error_of_a_later_figure_is_that_of_many_boards():
    rng = np.random.default_rng(20261125)
    board = sample_board(5.0, [Section(0.150, 0.100, 0.0005), Section(0.146, 0.100, 0.0005)], 0.005)
    dry = board.oven_dry_mass_kg + rng.normal(0.0, board.oven_dry_error_kg, 20_000)
    now = 100.0 * ((4.0 + rng.normal(0.0, 0.005, 20_000)) / dry - 1.0)
    mc, error = board.mc_now_pct(4.0, 0.005)
    assert error == pytest.approx(now.std(), rel=0.03)
    assert mc == pytest.approx(np.median(now), abs=0.1)


def test_two_sections_give_their_mean_and_are_named_when_far_apart():
    even = sample_board(5.0, [Section(0.150, 0.100), Section(0.151, 0.100)])
    assert even.mc_pct == pytest.approx(50.5)
    assert even.flags == ()
    uneven = sample_board(5.0, [Section(0.150, 0.100), Section(0.170, 0.100)])
    assert uneven.error_mc_pct >= 10.0
    assert any("20.0 %MC apart" in flag for flag in uneven.flags)
    assert any("One section only" in flag for flag in sample_board(5.0, [Section(0.150, 0.100)]).flags)


# Criteria: EN 13183-1 (2 h, < 0.1 %), ISO 13061-1 (at least 6 h, 0.5 % or less), ASTM D4442 (3 h, twice the
# sensitivity); all from memory.
@pytest.mark.parametrize(
    ("hours", "grams", "criterion", "sensitivity_g", "reached"),
    [
        ([0, 2], [100.09, 100.0], "EN 13183-1", None, True),
        ([0, 2], [100.11, 100.0], "EN 13183-1", None, False),
        ([0, 2], [100.1, 100.0], "EN 13183-1", None, False),  # the limit itself is not less than the limit
        ([0, 1.5], [100.0, 100.0], "EN 13183-1", None, False),
        ([0, 6], [100.5, 100.0], "ISO 13061-1", None, True),
        ([0, 6], [100.6, 100.0], "ISO 13061-1", None, False),
        ([0, 5], [100.0, 100.0], "ISO 13061-1", None, False),
        ([0, 3], [100.02, 100.0], "ASTM D4442", 0.01, True),
        ([0, 3], [100.03, 100.0], "ASTM D4442", 0.01, False),
        ([0, 12, 14], [140.0, 100.05, 100.0], "EN 13183-1", None, True),
        ([0, 2, 3], [100.2, 100.05, 100.0], "EN 13183-1", None, False),  # the hour since the last one is too short
    ],
)
def test_constant_mass_by_each_standard(hours, grams, criterion, sensitivity_g, reached):
    sensitivity = None if sensitivity_g is None else sensitivity_g / 1000.0
    weighed = [1e-3 * one for one in grams]
    told = constant_mass([HOUR * h for h in hours], weighed, criterion, sensitivity)
    assert told.reached is reached
    assert (told.dry_mass_kg == weighed[-1]) if reached else (told.dry_mass_kg is None)
    assert told.status == "from memory"
    assert told.sentence.startswith("Constant mass" if reached else "Not yet")


def test_a_piece_that_gained_in_the_oven_is_not_dry():
    told = constant_mass([0.0, 2 * HOUR], [0.1, 0.101], "EN 13183-1")
    assert not told.reached
    assert "gained 1.00 g" in told.sentence


def test_a_balance_too_coarse_shows_nothing():
    told = constant_mass([0.0, 2 * HOUR], [0.1, 0.1], "EN 13183-1", balance_sensitivity_kg=0.001)
    assert not told.reached
    assert "too coarse" in told.sentence


@given(rate_h=st.floats(0.5, 6.0), moisture=st.floats(0.05, 1.0))
def test_a_drying_section_comes_to_constant_mass_only_when_it_is_dry(rate_h, moisture):
    times = np.arange(0.0, 48.0, 2.0) * HOUR
    weighed = 0.1 * (1.0 + moisture * np.exp(-times / HOUR / rate_h))
    reached = [k for k in range(1, 25) if constant_mass(times[:k], weighed[:k], "EN 13183-1").reached]
    # With a time constant of 6 h, 0.1 % in 2 h leaves 0.1 % / (exp(2/6) − 1) = 0.25 %.
    assert weighed[reached[0] - 1] / 0.1 - 1.0 < 0.0026


@pytest.mark.parametrize(
    ("times", "weighed", "criterion", "said"),
    [
        ([0.0, 7200.0], [0.1, 0.1], "EN 1", "EN 13183-1, ISO 13061-1"),
        ([0.0], [0.1, 0.1], "EN 13183-1", "1 times and 2 masses"),
        ([], [], "EN 13183-1", "at least one"),
        ([7200.0, 0.0], [0.1, 0.1], "EN 13183-1", "rising"),
        ([0.0, 7200.0], [0.1, -0.1], "EN 13183-1", "masses_kg"),
        ([0.0, 10800.0], [0.1, 0.1], "ASTM D4442", "smallest step"),
    ],
)
def test_series_that_cannot_be_judged_are_refused(times, weighed, criterion, said):
    with pytest.raises(BadInput, match=said):
        constant_mass(times, weighed, criterion)


@pytest.mark.parametrize(("wet", "dry", "error"), [(0.1, 0.0, None), (0.09, 0.1, None), (0.2, 0.1, 0.3)])
def test_an_impossible_section_is_refused(wet, dry, error):
    with pytest.raises(OutOfRange):
        Section(wet, dry, error)
    with pytest.raises(BadInput, match="one or two sections"):
        sample_board(5.0, [])


def test_weight_loss_is_a_share_of_the_wet_mass_and_says_it_is_not_moisture():
    assert oven_dry.weight_loss_pct(1.36, 1.0) == pytest.approx(26.47, abs=0.005)  # of wood at 36 %MC, dried out
    assert "not moisture content" in oven_dry.WEIGHT_LOSS_IS_NOT_MC
    with pytest.raises(OutOfRange, match="start_mass_kg"):
        oven_dry.weight_loss_pct(0.0, 1.0)


def test_baked_wood_needs_a_new_dry_mass():
    assert oven_dry.baked_flags(60.0, dry_mass_taken_before=True) == ()
    assert len(oven_dry.baked_flags(180.0, dry_mass_taken_before=False)) == 1
    assert any("take a new one" in said for said in oven_dry.baked_flags(180.0, dry_mass_taken_before=True))


def test_arrays_keep_their_shape_nan_stays_nan_and_impossible_masses_are_refused():
    mass = np.array([[1.2, np.nan], [1.1, 1.0]])
    out = oven_dry.current_mc_pct(mass, 1.0)
    assert out.shape == (2, 2)
    assert np.isnan(out[0, 1])
    assert np.isnan(oven_dry.estimated_oven_dry_mass_kg(np.nan, 10.0))
    for refused in (lambda: oven_dry.current_mc_pct(-1.0, 1.0), lambda: oven_dry.estimated_oven_dry_mass_kg(1.0, -5.0)):
        with pytest.raises(OutOfRange):
            refused()
