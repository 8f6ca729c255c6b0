"""Projections in the store: what they rest on, when they are made again, and that they can be thrown away."""

import json

import numpy as np
import pytest

from dashboards import entries, projection, situation
from dashboards.projection_json import from_json, to_json
from dashboards.watch import Watch
from kiln.records import Projection, Word
from shared.errors import BadInput
from shared.store import cache
from shared.store.records import CachedProjection
from shared.units import MS_PER_HOUR

ALONE = {
    "species": "Picea abies",
    "thickness_mm": 20,
    "width_mm": 150,
    "length_mm": 900,
    "cut": "quarter-sawn",
    "origin": "fresh-sawn",
    "place": "shed",
}


def watch(yard, rounds=20):
    """Let the watch work until nothing is due."""
    watching = Watch(yard.store, yard.settings, lambda: yard.now_ms)
    made = []
    for _ in range(rounds):
        due = watching.due()
        if not due:
            break
        projection.refresh(yard.store, due[0], yard.now_ms)
        made.append(due[0])
    return made


def board(yard, code="A1"):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return next(one for one in now.boards if one.subject.code == code)


def test_the_watch_projects_every_board_once_and_then_rests(yard):
    assert len(watch(yard)) == 2
    assert watch(yard) == []
    assert isinstance(board(yard).projection, Projection)


def test_a_weigh_in_makes_its_board_due_first_and_then_those_of_its_lot_and_no_other(yard):
    yard.act(entries.add_board, "X1", days_ago=20, **ALONE)
    watch(yard)
    yard.now_ms += 60_000
    yard.act(entries.add_weigh_in, "A2", mass_g=5000)
    assert watch(yard) == [board(yard, "A2").subject.id, board(yard, "A1").subject.id]


def test_what_a_weigh_in_teaches_reaches_the_boards_of_its_lot(yard):
    watch(yard)
    before = board(yard, "A1").projection
    yard.act(entries.add_weigh_in, "A2", mass_g=5000)
    watch(yard)
    after = board(yard, "A1").projection
    assert after.boards_taught >= 1
    assert not np.array_equal(after.mean.p50, before.mean.p50)


def test_a_full_hour_makes_all_due_and_one_with_a_new_entry_comes_first(yard):
    watch(yard)
    yard.now_ms += MS_PER_HOUR
    yard.act(entries.add_weigh_in, "A2", mass_g=5000)
    assert watch(yard) == [board(yard, "A2").subject.id, board(yard, "A1").subject.id]


def test_a_piece_of_a_set_is_projected_for_what_the_set_is_wanted_for_unless_it_has_a_use_of_its_own(yard):
    watch(yard)
    usual = board(yard).projection.target_mc_pct
    yard.act(entries.add_set, "T1")
    yard.act(entries.put_in_set, "A1", set_code="T1")
    yard.act(entries.plan_use, "T1", use="brace", kind="set", destination_rh_pct=35)
    assert watch(yard) == [board(yard).subject.id]
    assert board(yard).projection.target_mc_pct < usual - 1
    yard.act(entries.plan_use, "A1", use="bend")
    watch(yard)
    assert board(yard).projection.target_mc_pct > usual + 1


def test_undoing_a_weigh_in_gives_the_numbers_from_before_it(yard):
    watch(yard)
    before = board(yard).projection
    made = yard.act(entries.add_weigh_in, "A1", mass_g=4400)
    watch(yard)
    assert not np.array_equal(board(yard).projection.mean.p50, before.mean.p50)
    yard.act(entries.undo, made.kind, made.fact_id)
    watch(yard)
    assert np.array_equal(board(yard).projection.mean.p50, before.mean.p50)


def test_the_cache_can_be_thrown_away_and_comes_back_the_same(yard):
    watch(yard)
    before = board(yard).projection
    with yard.store.writing() as connection:
        cache.drop_projections(connection)
    assert board(yard).verdict.word is Word.CANT_SAY
    watch(yard)
    after = board(yard).projection
    assert np.array_equal(after.mean.p90, before.mean.p90)
    assert after.ready_ms == before.ready_ms


def test_what_comes_out_of_the_cache_is_what_went_in(yard):
    watch(yard)
    first = board(yard).projection
    again = from_json(to_json(first))
    assert again.measured == first.measured
    assert np.allclose(again.profiles.p10, first.profiles.p10, atol=1e-3)
    assert again.profile_ms.tolist() == first.profile_ms.tolist()
    assert json.loads(to_json(again)) == json.loads(to_json(first))


def test_a_projection_by_an_older_program_is_not_read_but_made_again(yard):
    watch(yard)
    with yard.store.writing() as connection:
        for held in cache.projections(connection).values():
            old = json.dumps({"model": "0", "at_ms": []})
            cache.put_projection(connection, CachedProjection(held.board_id, "old", held.computed_at_ms, old))
    assert board(yard).verdict.word is Word.CANT_SAY
    assert "being worked out" in board(yard).verdict.reason
    assert len(watch(yard)) == 2


def test_a_board_that_makes_the_physics_fail_does_not_stop_the_watch(yard, monkeypatch):
    honest = projection.refresh
    victim = board(yard).subject.id

    def failing(store, board_id, now_ms, settings, memory):
        if board_id == victim:
            raise RuntimeError("planted")
        honest(store, board_id, now_ms, settings, memory)

    monkeypatch.setattr(projection, "refresh", failing)
    watching = Watch(yard.store, yard.settings, lambda: yard.now_ms)
    looks = iter([False] * 8)
    monkeypatch.setattr("time.sleep", lambda _s: None)
    watching.run(lambda: next(looks, True))
    assert "failed" in board(yard).verdict.reason
    assert isinstance(board(yard, "A2").projection, Projection)


def test_a_destination_that_the_physics_does_not_cover_is_refused_at_entry(yard):
    with pytest.raises(BadInput, match="destination temperature"):
        yard.act(entries.plan_use, "A1", use="machine", destination_temperature_c=-5)


def test_a_board_in_a_place_without_air_says_so_and_what_to_do(yard):
    yard.act(entries.add_place, "cellar", kind="room", days_ago=50)
    yard.act(
        entries.add_board,
        "C1",
        species="Acer saccharum",
        thickness_mm=30,
        width_mm=100,
        length_mm=500,
        cut="quarter-sawn",
        origin="part-seasoned",
        place="cellar",
        days_ago=20,
    )
    watch(yard)
    verdict = board(yard, "C1").verdict
    assert verdict.word is Word.CANT_SAY
    assert "No probe is heard" in verdict.reason
    assert "Put a probe in" in verdict.next_step
