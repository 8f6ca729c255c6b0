"""What could be done about a board: its floor here, moves and their shock, and what was foretold beside what came."""

from dataclasses import replace

import numpy as np
import pytest
from test_projection import NOW_MS, logged, piece, question, weigh_ins

from kiln import air_ahead, ensemble, forecast, hindsight, options, sorption
from kiln.air_ahead import Climate
from kiln.lying import Lying, Spell
from kiln.question import Leg
from shared.units import MS_PER_DAY

ROOM = Leg(0, logged(420, rh_pct=45.0), Spell(0, 0.02, Lying("room")), "bench room")
THIN = piece(thickness_m=0.02)


@pytest.fixture(scope="module")
def damp():
    """A board in air that never brings it to room dryness, beside a room that does."""
    data, _, way = weigh_ins([1, 20, 60, 100], who=THIN, spread=0.3)
    asked = replace(question(data, way, logged(420, rh_pct=82.0), THIN), elsewhere=(ROOM,))
    return ensemble.ensemble(asked, days=300)


def test_damp_air_has_a_floor_and_a_room_is_the_way_out(damp):
    told = forecast.told(damp)
    assert told.chance_ready < 0.2
    assert told.floor_mc_pct[1] > told.wanted_mc_pct[1]
    assert told.floor_mc_pct[1] <= told.holds_mc_pct[1] + 0.1
    assert told.move is not None
    assert told.move.name.startswith("to bench room")
    assert told.move.chance_ready > 0.8
    assert told.move.loss_pct_per_day[1] > 0.0


def test_the_floor_of_steady_air_is_its_emc():
    flat = logged(420)
    flat = replace(flat, temperature_c=np.full(len(flat.at_ms), 18.0), rh_pct=np.full(len(flat.at_ms), 70.0))
    crowd = ensemble.ensemble(question(way=flat, record=flat, who=THIN), days=120)
    emc = float(sorption.emc_pct(18.0, 70.0))
    told = forecast.told(crowd)
    assert told.holds_mc_pct[1] == pytest.approx(emc, abs=0.6)
    assert told.floor_mc_pct[0] < told.floor_mc_pct[1] <= emc + 0.3


def test_options_begin_with_leaving_it_and_a_room_ends_drier(damp):
    told = {one.name: one for one in options.options(damp)}
    first = next(iter(told.values()))
    assert first.name == "leave it here"
    assert first.ready_ms[1] == options._told(damp, damp.question, options._stay(damp), "").ready_ms[1]
    room = told["to bench room now"]
    assert room.end_mc_pct[1] < first.end_mc_pct[1] - 2.0
    assert room.loss_pct_per_day[1] > first.loss_pct_per_day[1]
    assert room.from_ms == NOW_MS


def test_a_board_that_is_soon_fit_where_it_is_is_told_of_no_move():
    data, _, way = weigh_ins([1, 20, 60, 100], who=piece(thickness_m=0.012), spread=0.2)
    who = piece(thickness_m=0.012)
    dry = replace(question(data, way, logged(420, rh_pct=52.0), who), elsewhere=(ROOM,))
    assert forecast.told(ensemble.ensemble(dry, days=200)).move is None


def test_a_planned_move_changes_the_time_after_it_and_none_before(damp):
    plan = (replace(ROOM, first_day=40),)
    moved = ensemble.ensemble(replace(damp.question, plan=plan), days=300)
    at, then = damp.now + 39, damp.now + 200
    assert np.array_equal(moved.mean_mc_pct[:, : at + 1], damp.mean_mc_pct[:, : at + 1])
    assert np.median(moved.mean_mc_pct[:, then]) < np.median(damp.mean_mc_pct[:, then]) - 2.0
    assert forecast.told(moved).legs == ((NOW_MS + 40 * MS_PER_DAY, "bench room"),)


def test_an_hour_later_nothing_has_moved_but_the_hour():
    data, _, way = weigh_ins([1, 20, 60], who=THIN)
    record = logged(420)

    def until(hours):
        return [
            replace(
                one, **{name: getattr(one, name)[: len(one.at_ms) - 48 + hours] for name in one.__dataclass_fields__}
            )
            for one in (way, record)
        ]

    first, later = (forecast.project(question(data, *until(hours), THIN), days=200) for hours in (0, 1))
    ahead = slice(-190, None)
    assert np.abs(first.mean.p90[ahead] - later.mean.p90[ahead]).max() < 0.1
    assert abs(first.mean.p50[-1] - later.mean.p50[-1]) < 0.05


def test_the_usual_months_stand_in_for_seasons_not_seen():
    summer = logged(60)
    usual = Climate(tuple(np.linspace(0, 22, 12)), tuple(np.full(12, 75.0)))
    winter_ms = NOW_MS + 180 * MS_PER_DAY
    guess, told = (air_ahead.air_ahead(summer, winter_ms, 64, 30, 1, one) for one in (None, usual))
    assert np.std(told.temperature_c.mean(axis=1)) < 0.6 * np.std(guess.temperature_c.mean(axis=1))
    assert "usual months" in told.note


def test_usual_months_run_through_the_middles_of_the_months_and_round_the_year():
    usual = Climate(tuple(float(m) for m in range(12)), tuple([70.0] * 12))
    t, rh = usual.at(np.array([15, 45, 350, 0]))
    # Half a month is 15.2 days: 0.2 of a day on.
    assert t[0] == pytest.approx(0.0, abs=0.1)
    assert t[1] == pytest.approx(1.0, abs=0.1)
    assert 0.0 < t[3] < 11.0
    assert np.all(rh == 70.0)


def test_what_was_foretold_is_told_from_what_was_known_then():
    data, _, way = weigh_ins([5, 20, 40, 80], who=THIN)
    told = hindsight.history(question(data, way, logged(420), THIN))
    assert [one.at_ms for one in told] == [one.at_ms for one in data]
    shorter = hindsight.history(question(data[:3], way, logged(420), THIN))
    assert told[0] == shorter[0]
    assert told[1].foretold_kg == shorter[1].foretold_kg
    assert told[-1].foretold_kg is None
    assert [one.came_kg for one in told[:-1]] == [one.value for one in data[1:]]
    inside = [one.foretold_kg[0] <= one.came_kg <= one.foretold_kg[2] for one in told[:-1]]
    assert sum(inside) >= 1
