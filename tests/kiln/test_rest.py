"""A piece at rest in its place: the room's lagged moisture, the air's own swing, and how fast a piece settles."""

from dataclasses import replace

import numpy as np

from kiln import drying, ensemble, estimation, fitness, forecast, rest, sorption
from kiln.air import ProbeHours, merge
from shared import tables
from shared.units import MS_PER_DAY, MS_PER_HOUR

NOW_MS = 1_795_600_800_000 // MS_PER_HOUR * MS_PER_HOUR


def air_of(rh_pct, t_c=20.0):
    """Invented air of a room, hour by hour until now."""
    rh = np.asarray(rh_pct, float)
    at_ms = NOW_MS - (len(rh) - np.arange(len(rh))) * MS_PER_HOUR
    t = t_c + 0.3 * np.sin(2 * np.pi * np.arange(len(rh)) / 24)
    nothing = np.zeros(len(rh), bool)
    return merge([ProbeHours(at_ms, t, rh, nothing, nothing)], int(at_ms[0]), NOW_MS)


def piece(thickness_m):
    spruce = tables.find_species("Picea sitchensis")
    return drying.Piece(
        spruce, thickness_m, 0.2, 0.5, "fresh-sawn", drying.one_spell(thickness_m, "room", in_stack=False)
    )


def crowd_of(thickness_m, way, record=None, use="glue", data=()):
    asked = forecast.Question(piece(thickness_m), way, record or way, tuple(data), tables.uses()[use], 45.0, 20.0)
    return ensemble.ensemble(asked, members=16, days=30)


def rest_pct(crowd, rh_pct, t_c=20.0):
    true = drying.true_rh_pct(crowd.boards, np.array([[rh_pct]]))
    return sorption.emc_pct(t_c, true)[:, 0] * crowd.isotherm_scale


def test_in_steady_air_it_stands_where_that_air_holds_it():
    crowd = crowd_of(0.003, air_of(np.full(40 * 24, 45.0)))
    found = rest.companion(crowd)
    assert found is not None
    assert np.allclose(found.mean_mc_pct[:, found.now], rest_pct(crowd, 45.0), atol=0.1)


def test_a_thin_plate_has_followed_a_change_of_ten_days_ago_and_a_thick_one_has_not():
    air = air_of(np.r_[np.full(70 * 24, 65.0), np.full(10 * 24, 40.0)])
    thin, thick = (crowd_of(thickness, air) for thickness in (0.003, 0.06))
    companions = [rest.companion(one) for one in (thin, thick)]
    assert all(companions)
    left = [
        np.median(made.mean_mc_pct[:, made.now] - rest_pct(crowd, 40.0))
        for made, crowd in zip(companions, (thin, thick), strict=True)
    ]
    whole = np.median(rest_pct(thin, 65.0) - rest_pct(thin, 40.0))
    assert abs(left[0]) < 0.1 * whole
    assert left[1] > 0.4 * whole


def test_it_has_always_lain_there_wherever_the_board_comes_from():
    room = air_of(np.full(60 * 24, 45.0))
    from_outside = air_of(np.r_[np.full(57 * 24, 85.0), np.full(3 * 24, 45.0)])
    crowd = crowd_of(0.003, from_outside, room)
    found = rest.companion(crowd)
    assert found is not None
    assert np.allclose(found.mean_mc_pct[:, found.now], rest_pct(crowd, 45.0), atol=0.1)


def test_a_place_that_is_hardly_on_record_has_none():
    room = air_of(np.full(60 * 24, 45.0))
    gone = replace(room, known=np.arange(len(room.known)) % 4 == 0)
    assert rest.companion(crowd_of(0.003, room, gone)) is None


def test_what_the_air_does_to_a_piece_at_rest_is_not_held_against_its_steadiness():
    days = 60
    swing = 45.0 + 20.0 * (np.arange(days * 24) > (days - 3) * 24)  # three damp days at the end
    air = air_of(swing)
    at_rest = crowd_of(0.003, air)
    found = rest.companion(at_rest)
    mean, now = at_rest.mean_mc_pct, at_rest.now
    plain = np.abs(mean[:, now] - mean[:, now - 7])
    own = fitness.own_drift(at_rest.question, at_rest.at_ms, mean, now, found)
    assert np.median(plain) > 0.5
    assert own is not None and np.median(np.abs(own)) < 0.35 * np.median(plain)


def test_a_board_that_came_in_three_days_ago_moves_by_itself_however_still_the_room():
    room = air_of(np.full(60 * 24, 45.0))
    from_outside = air_of(np.r_[np.full(57 * 24, 85.0), np.full(3 * 24, 45.0)])
    crowd = crowd_of(0.003, from_outside, room)
    own = fitness.own_drift(crowd.question, crowd.at_ms, crowd.mean_mc_pct, crowd.now, rest.companion(crowd))
    assert own is not None and np.median(own) < -3.0


def test_the_room_is_judged_by_days_and_not_by_this_minute():
    steady = np.full(60 * 24, 45.0)
    airing = steady.copy()
    airing[-1:] = 68.0  # somebody opened the door an hour ago
    damp = steady.copy()
    damp[-4 * 24 :] = 68.0
    chances = [
        forecast.project(crowd_of(0.003, air_of(rh)).question, 64, 30).chance_room for rh in (steady, airing, damp)
    ]
    assert chances[0] > 0.9 and chances[1] > 0.7 and chances[2] < 0.1


def test_a_use_that_asks_for_no_room_has_no_chance_of_one():
    assert (
        forecast.project(crowd_of(0.003, air_of(np.full(40 * 24, 45.0)), use="machine").question, 64, 30).chance_room
        is None
    )


def test_how_fast_a_piece_settles_is_cranks_first_term_where_the_film_does_not_count():
    """tau = L² / (beta² D), beta the first root of beta tan beta = Bi; Crank, 1975, equations 4.50 and 4.53.

    The thick board's film is small beside its wood; its diffusion is taken where it rests.
    """
    way = air_of(np.full(90 * 24, 45.0))
    crowd = crowd_of(0.08, way)
    wide = replace(crowd.question.piece, width_m=20.0, length_m=20.0)  # no edges or ends to dry by
    boards = crowd.boards.copy()
    boards[:, 0] += np.log(wide.volume_m3 / crowd.question.piece.volume_m3)
    crowd = replace(crowd, question=replace(crowd.question, piece=wide), boards=boards)
    found = rest.slowest_days(crowd, way)
    m = rest_pct(crowd, 45.0)[:16] / 100.0
    saturated = 0.3 * crowd.isotherm_scale[:16]
    d = np.exp(boards[:16, 2] + np.exp(boards[:16, 6]) * (m - saturated))
    first_days = (2 * 0.04 / np.pi) ** 2 / d / 86400.0
    # From a level start a slab is down to 1/e after (1 + ln(8 / pi²)) time constants.
    expected = np.quantile(first_days * (1 + np.log(8 / np.pi**2)), 0.9)
    assert 0.9 * expected < found < 1.4 * expected  # a film only slows


def test_twins_of_thin_spruce_are_told_at_their_own_plateau_and_one_that_dries_is_not():
    way = air_of(np.full(40 * 24, 45.0))
    days = (-21, -14, -7, -1)
    still = [estimation.Datum("weigh-in", NOW_MS + d * MS_PER_DAY, 0.150, 0.0, common_error=2e-5) for d in days]
    falling = [replace(one, value=0.150 - 0.0012 * k) for k, one in enumerate(still)]
    for data, fit in ((still, True), (falling, False)):
        plateau = rest.plateau_of(crowd_of(0.003, way, data=data), None)
        assert plateau is not None
        assert (plateau.chance is not None and plateau.chance > 0.9) is fit, plateau.sentence
