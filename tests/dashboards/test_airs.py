"""Air follows the board: through stacks that move, and past probes that are moved in mid-history."""

import numpy as np
import pytest

from dashboards import airs, entries
from shared.units import MS_PER_DAY, MS_PER_HOUR


def way(yard, code="A1", days=36):
    with yard.store.reading() as connection:
        where = airs.positions(connection)
        board_id = next(b for b in where.boards)
        start = yard.now_ms - days * MS_PER_DAY
        stays = where.board_stays(board_id, start, yard.now_ms)
        return stays, airs.way_air(connection, where, stays)


def test_a_board_has_the_air_of_the_place_of_its_stack(yard):
    stays, air = way(yard)
    assert len(stays) == 1
    assert len(air.at_ms) == 36 * 24
    assert np.mean(air.temperature_c) == pytest.approx(12.0, abs=0.2)
    assert air.known.all()


def test_when_the_stack_moves_the_air_moves_with_it_and_no_hour_is_lost_or_doubled(yard):
    yard.act(entries.move_stack, "S1", place="room", days_ago=10.3)
    stays, air = way(yard)
    assert stays[0].place_id != stays[1].place_id
    assert np.all(np.diff(air.at_ms) == MS_PER_HOUR)
    assert air.rh_pct[-24:].mean() == pytest.approx(45.0, abs=1.0)
    assert air.rh_pct[:24].mean() == pytest.approx(68.0, abs=1.0)


def test_a_probe_moved_in_mid_history_takes_its_readings_with_it_from_then_on_only(yard):
    yard.act(entries.move_probe, "north", place="room", days_ago=15)
    _, air = way(yard)
    assert air.known[: 20 * 24].all()
    assert not air.known[22 * 24 :].any()
    yard.act(entries.add_probe, "south", topic="workshop/shed/south", place="shed", days_ago=15)
    yard.log("south", 15, t=11.0)
    _, air = way(yard)
    assert air.known.all()


def test_undoing_the_move_gives_the_air_back(yard):
    moved = yard.act(entries.move_probe, "north", place="room", days_ago=15)
    assert not way(yard)[1].known.all()
    yard.act(entries.undo, moved.kind, moved.fact_id)
    assert way(yard)[1].known.all()


def test_a_stay_without_any_probe_is_unknown_air_between_known_ends(yard):
    yard.act(entries.add_place, "van", kind="room", days_ago=50)
    yard.act(entries.move_stack, "S1", place="van", days_ago=12)
    yard.act(entries.move_stack, "S1", place="shed", days_ago=9)
    _, air = way(yard)
    gap = ~air.known
    assert 70 <= gap.sum() <= 74
    assert np.isfinite(air.temperature_c).all()
    assert air.spread_rh_pct[gap].max() > 5
