"""The gap of a surface above the dew point, and rules that disagree: held against tables, and what must always hold."""

import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiln import dew_gap, psychrometrics, warming
from kiln.control import Control, worst
from kiln.dew_gap import Air, Asks, State
from kiln.records import Z80
from shared.tables import STATUSES, rows

RULES = {one.name: one for one in dew_gap.rules()}
ROOM = Air(20.0, 0.5, 65.0, 3.0)
BADNESS = {Control.NOT_SHOWN: 0, Control.CANT_SAY: 1, Control.OVER: 2}

T_C, RH = st.floats(2.0, 35.0), st.floats(15.0, 98.0)
SURFACE_C = st.floats(-5.0, 35.0)


def test_rules_are_the_figures_of_their_sources_turned_into_kelvin():
    """20, 15 and 5 °F are differences: 5/9 of a kelvin each, exactly (NIST SP 811, 2008, B.8)."""
    for name, fahrenheit in (("air_20_f", 20), ("air_15_f", 15), ("paint_5_f", 5)):
        assert RULES[name].value == pytest.approx(fahrenheit * 5 / 9, rel=1e-12)
        assert f"{fahrenheit} °F" in RULES[name].words
    assert RULES["steel_3_c"].value == 3.0 and RULES["rh_65"].value == 65.0
    assert all(one["status"] in STATUSES and one["source"] for one in rows("blush"))


def test_dew_point_and_gap_against_psychrolib():
    """PsychroLib 2.5.0, after ASHRAE Handbook Fundamentals, 2017, chapter 1."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for t in (5.0, 12.0, 20.0, 30.0):
        for rh in (30.0, 50.0, 65.0, 85.0):
            low, middle, high = dew_gap.dew_point(Air(t, 0.5, rh, 3.0))
            held_pa = rh / 100.0 * psychrolib.GetSatVapPres(t)
            assert psychrolib.GetSatVapPres(middle) == pytest.approx(held_pa, rel=1e-4)  # 0.002 K of dew point
            assert low < middle < high
            assert dew_gap.gap_of_air(Air(t, 0.5, rh, 3.0))[1] == pytest.approx(t - middle, abs=1e-9)


def test_two_rules_of_one_adviser_contradict_each_other():
    """By the tables of ASHRAE 65 %RH at 20 °C is only about 12 °F above its dew point; 20 °F asks for about 49 %."""
    assert dew_gap.gap_at_rh_k(20.0, 65.0) * 9 / 5 == pytest.approx(12.2, abs=0.3)
    assert dew_gap.rh_pct_at_gap(20.0, RULES["air_20_f"].value) == pytest.approx(48.7, abs=0.5)


def test_an_error_of_the_hygrometer_against_drawn_ones():
    """Drawn instruments: the straight line that carries the error is within a tenth of what thousands of draws make."""
    draw = np.random.default_rng(1)
    t = 18.0 + 0.5 * draw.standard_normal(4000)
    rh = np.clip(60.0 + 3.0 * draw.standard_normal(4000), 1.0, 100.0)
    dews = psychrometrics.dew_point_c(t, rh)
    air = Air(18.0, 0.5, 60.0, 3.0)
    assert dew_gap.dew_point(air)[2] - dew_gap.dew_point(air)[1] == pytest.approx(Z80 * dews.std(), rel=0.1)
    assert dew_gap.gap_of_air(air)[2] - dew_gap.gap_of_air(air)[1] == pytest.approx(Z80 * (t - dews).std(), rel=0.1)


def test_a_cold_surface_is_over_where_the_rooms_own_gap_is_not():
    dry = Air(20.0, 0.5, 45.0, 2.0)  # 12 K above its dew point
    warm, cold = (State(dry, dew_gap.measured(t, 0.3)) for t in (20.0, 10.0))
    assert dew_gap.hold(RULES["air_15_f"], warm).control is Control.NOT_SHOWN
    held = dew_gap.hold(RULES["air_15_f"], cold)
    assert held.control is Control.OVER
    assert held.short_by == pytest.approx(RULES["air_15_f"].value - cold.gap_k[1])


def test_a_surface_that_nobody_knows_is_never_as_warm_as_the_room():
    dry, damp = State(Air(20.0, 0.5, 30.0, 2.0), None), State(ROOM, None)
    for name in ("air_20_f", "air_15_f", "steel_3_c", "paint_5_f"):
        assert dew_gap.hold(RULES[name], dry).control is Control.CANT_SAY
    held = dew_gap.hold(RULES["air_20_f"], damp)  # even a piece as warm as the room misses this one
    assert held.control is Control.OVER and held.by_air
    assert dew_gap.hold(RULES["steel_3_c"], damp).control is Control.CANT_SAY


def test_within_the_error_of_a_limit_nobody_can_say():
    assert dew_gap.hold(RULES["rh_65"], State(Air(20.0, 0.5, 64.0, 3.0), None)).control is Control.CANT_SAY
    assert dew_gap.hold(RULES["rh_65"], State(Air(20.0, 0.5, 66.0, 3.0), None)).control is Control.OVER
    assert dew_gap.hold(RULES["rh_65"], State(Air(20.0, 0.5, 50.0, 3.0), None)).control is Control.NOT_SHOWN


def test_without_air_nothing_can_be_said():
    for rule in RULES.values():
        assert dew_gap.hold(rule, State(None, dew_gap.measured(20.0, 1.0))).control is Control.CANT_SAY


def test_the_data_sheet_comes_before_what_others_ask_of_the_same():
    state = State(ROOM, dew_gap.measured(20.0, 0.3))
    sheet = dew_gap.sheet_rules("Amber lacquer", "3 May 2026", 4.0, None, 15.0)
    held = tuple(dew_gap.hold(one, state) for one in (*sheet, *RULES.values()))
    asked = {one.rule.name for one in dew_gap.deciding(held)}
    assert asked == {"data sheet gap", "data sheet warmth", "rh_65"}
    assert all("3 May 2026" in one.source for one in sheet)


@given(T_C, RH, SURFACE_C, st.floats(0.0, 10.0), st.floats(0.0, 2.0))
@settings(max_examples=80, deadline=None)
def test_colder_or_damper_or_less_well_known_never_lowers_a_warning(t, rh, surface, colder, error):
    warm = State(Air(t, 0.5, rh, 3.0), dew_gap.measured(surface, 0.5))
    cold = State(Air(t, 0.5, rh, 3.0), dew_gap.measured(surface - colder, 0.5))
    unsure = State(Air(t, 0.5, rh, 3.0), dew_gap.measured(surface, 0.5 + error))
    damp = State(Air(t, 0.5, min(rh + 2.0 + colder, 100.0), 3.0), dew_gap.measured(surface, 0.5))
    for rule in RULES.values():
        here = BADNESS[dew_gap.hold(rule, warm).control]
        for worse in (cold, unsure):
            assert BADNESS[dew_gap.hold(rule, worse).control] >= here, (rule.name, worse)
        if here == 2:
            assert dew_gap.hold(rule, damp).control is Control.OVER


@given(T_C, RH)
@settings(max_examples=60, deadline=None)
def test_not_measuring_the_surface_never_looks_better_than_measuring_it_as_warm_as_the_room(t, rh):
    air = Air(t, 0.5, rh, 3.0)
    known, unknown = State(air, dew_gap.measured(t, 0.0)), State(air, None)
    for rule in RULES.values():
        assert BADNESS[dew_gap.hold(rule, unknown).control] >= BADNESS[dew_gap.hold(rule, known).control]


def test_thinner_cools_by_twenty_fahrenheit():
    assert dew_gap.cooled((5.0, 6.0, 7.0))[1] == pytest.approx(6.0 - 20.0 * 5 / 9)


def test_a_rule_about_the_wet_film_is_missed_where_the_cooled_surface_misses_it_and_no_other_twice():
    dry = State(Air(20.0, 0.5, 40.0, 2.0), dew_gap.measured(20.0, 0.3))  # 14 K above its dew point (from memory)
    assert dry.gap_k is not None
    left = dry.gap_k[1] - 20.0 * 5 / 9
    held = {name: dew_gap.hold(rule, dry) for name, rule in RULES.items()}
    assert held["paint_5_f"].wet_gap_k == pytest.approx(left)
    damper = State(Air(20.0, 0.5, 46.0, 2.0), dew_gap.measured(20.0, 0.3))
    paint, steel = (dew_gap.hold(RULES[name], damper) for name in ("paint_5_f", "steel_3_c"))
    assert paint.control is Control.OVER and paint.by_wet
    assert steel.control is Control.NOT_SHOWN and steel.wet_missed
    (sheet,) = dew_gap.sheet_rules("Amber lacquer", "", 3.0, None, None)
    assert dew_gap.hold(sheet, damper).control is Control.CANT_SAY
    assert held["rh_65"].wet_gap_k is None


def test_of_several_finishes_only_what_each_sheet_asks_of_comes_before_the_others():
    state = State(ROOM, dew_gap.measured(20.0, 0.3))
    asked = (*dew_gap.sheet_rules("A", "", 4.0, None, None), *dew_gap.sheet_rules("B", "", 3.0, 60.0, None))
    held = tuple(dew_gap.hold(one, state) for one in (*asked, *RULES.values()))
    names = [one.rule.name for one in dew_gap.deciding(held, ["A", "B"])]
    assert "rh_65" in names and "steel_3_c" not in names
    assert len(dew_gap.deciding(held, ["A", "B", "C"])) == len(held)


def test_a_reckoned_face_lies_between_the_slowest_and_the_fastest():
    slabs = warming.slabs_of(0.5, 8.0, 0.025, 12.0)
    low, middle, high = dew_gap.reckoned(slabs, 5.0, 20.0, 1800.0)
    assert 5.0 < low < middle < high < 20.0
    wider = dew_gap.reckoned(slabs, 5.0, 20.0, 1800.0, 0.5)
    assert wider[0] < low and wider[2] > high and wider[1] == middle


def test_the_worst_of_all_rules_is_one_of_three_words():
    words = {worst(*(dew_gap.hold(one, State(ROOM, None)).control for one in RULES.values()))}
    assert words == {Control.OVER}


def test_air_at_the_ends_of_the_scale_still_has_a_gap():
    for air in (Air(-5.0, 0.5, 100.0, 3.0), Air(20.0, 0.5, 100.0, 3.0), Air(20.0, 0.5, 0.0, 3.0)):
        assert np.all(np.isfinite(dew_gap.dew_point(air))) and np.all(np.isfinite(dew_gap.gap_of_air(air)))


def test_every_question_that_a_rule_can_ask_is_one_of_three():
    sheet = dew_gap.sheet_rules("Amber lacquer", "", 3.0, 70.0, 15.0)
    assert {one.asks for one in sheet} == set(Asks)
    assert not dew_gap.sheet_rules("Amber lacquer", "", None, None, None)


@pytest.mark.parametrize(("t", "rh"), [(5.0, 40.0), (20.0, 50.0), (30.0, 90.0)])
def test_air_warmed_at_its_dew_point_comes_to_a_humidity_there(t, rh):
    """PsychroLib: the air so warmed has this relative humidity, its dew point being the same."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    dew_c = dew_gap.dew_point(Air(t, 0.5, rh, 3.0))[1]
    warmed = dew_gap.temperature_at_rh_c(dew_c, 35.0)
    held = rh / 100.0 * psychrolib.GetSatVapPres(t) / psychrolib.GetSatVapPres(warmed)
    assert held == pytest.approx(0.35, abs=0.001)
    assert dew_gap.temperature_at_rh_c(dew_c, rh) == pytest.approx(t, abs=0.01)
