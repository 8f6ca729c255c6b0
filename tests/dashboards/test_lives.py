"""How a board lay and was cut, from the entries to its projection. The yard and its boards are invented."""

import numpy as np
import pytest

from dashboards import entries, lives, projection
from dashboards.yard_entries import read_entries
from kiln import lying
from kiln.records import Projection
from shared.settings import Settings
from shared.store import facts
from shared.store import records as r
from shared.units import MS_PER_DAY

THICK = {
    "species": "Fraxinus americana",
    "thickness_mm": 60,
    "width_mm": 200,
    "length_mm": 1000,
    "cut": "quarter-sawn",
    "origin": "fresh-sawn",
    "stack": "S1",
}


def number(yard, code):
    with yard.store.reading() as connection:
        return facts.subject(connection, r.SubjectKind.BOARD, code).id


def spells_of(yard, code):
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
        life = lives.parts(held, number(yard, code), yard.now_ms)
        return lives.spells(held, life, life[0].begin_ms)


def projected(yard, code, settings=None):
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms, settings)
        asked = projection.question(connection, held, number(yard, code), yard.now_ms)
    made = projection.forecast.project(asked, members=12, days=60)
    assert isinstance(made, Projection)
    return made


def at(made, days_ago, now_ms):
    """Median mean [%MC] so many days ago."""
    return float(np.interp(now_ms - days_ago * MS_PER_DAY, made.at_ms, made.mean.p50))


@pytest.fixture
def thick(yard):
    yard.act(entries.add_board, "B1", days_ago=36, **THICK)
    return yard


def test_the_physics_and_the_entries_have_the_same_words():
    assert tuple(str(one) for one in r.Rest) == lying.RESTS
    assert tuple(str(one) for one in r.Coat) == lying.COATS
    assert set(lying.FILMS) == {str(one) for one in r.PlaceKind}


def test_a_board_of_which_nothing_was_said_lies_as_its_place_has_it(thick):
    (only,) = spells_of(thick, "B1")
    assert (only.first_hour, only.thickness_m, only.slice_left) == (0, 0.06, None)
    assert (only.lying.place_kind, only.lying.rest, only.lying.coat) == ("shed", lying.STACK, lying.BARE)


def test_each_entry_begins_a_spell_and_a_move_ends_what_was_said_of_its_rest(thick):
    thick.act(entries.say_rest, "B1", rest="middle of its stack", days_ago=30)
    thick.act(entries.say_coat, "B1", coat="bare", ends_sealed=True, days_ago=25)
    thick.act(entries.move_board, "B1", place="room", days_ago=10)
    thick.act(entries.say_rest, "B1", rest="flat on a bench", days_ago=5)
    found = spells_of(thick, "B1")
    assert [one.first_hour for one in found] == [0, 144, 264, 624, 744]
    rests = [(one.lying.rest, one.lying.ends_sealed, one.lying.place_kind) for one in found]
    assert rests == [
        (lying.STACK, False, "shed"),
        (lying.MIDDLE, False, "shed"),
        (lying.MIDDLE, True, "shed"),
        (lying.FREE, True, "room"),
        (lying.BENCH, True, "room"),
    ]


def test_a_planed_board_is_the_inner_part_of_what_it_was(thick):
    thick.act(entries.add_weigh_in, "B1", mass_kg=10.0, days_ago=20)
    before = projected(thick, "B1")
    thick.act(entries.plane_board, "B1", off_marked_mm=10, off_other_mm=10, days_ago=8)
    (first, second) = spells_of(thick, "B1")
    assert first.slice_left is None
    assert second.slice_left == pytest.approx((1 / 6, 5 / 6))
    assert (first.thickness_m, second.thickness_m) == pytest.approx((0.06, 0.04))
    after = projected(thick, "B1")
    # Its faces were the driest: what is left is wetter than the whole was …
    assert at(after, 7, thick.now_ms) > at(before, 7, thick.now_ms) + 0.5
    # … and it is lighter by a third, so the weigh-in of before still tells its oven-dry mass.
    share = after.oven_dry_mass_kg[1] / before.oven_dry_mass_kg[1]
    assert share == pytest.approx(2 / 3, rel=0.03)
    weighed = next(one for one in after.measured if one.kind == "weigh-in")
    assert abs(weighed.misfit) < 2.0
    assert weighed.mc_pct == pytest.approx(at(after, 20, thick.now_ms), abs=5.0)


def test_a_piece_sawn_off_goes_on_from_the_water_that_its_part_had(thick):
    thick.act(entries.add_weigh_in, "B1", mass_kg=10.0, days_ago=20)
    thick.act(entries.resaw_board, "B1", kerf_mm=4, piece="B2", depth_mm=20, days_ago=8)
    (old, new) = spells_of(thick, "B2")
    assert old.thickness_m == pytest.approx(0.06)
    assert new.slice_left == pytest.approx((24 / 60, 1.0))
    assert new.thickness_m == pytest.approx(0.036)
    made = projected(thick, "B2")
    moment = int(np.argmin(np.abs(made.profile_ms - (thick.now_ms - 7 * MS_PER_DAY))))
    profile = made.profiles.p50[moment]
    assert made.depth_fraction[0] == 0.0
    assert made.depth_fraction[-1] == 2.0
    # Its marked face was deep inside the thick board a day before: wetter than the old face at the other end.
    assert profile[len(profile) // 4] > profile[-len(profile) // 4] + 1.0
    assert made.oven_dry_mass_kg[1] == pytest.approx(projected(thick, "B1").oven_dry_mass_kg[1] * 36 / 20, rel=0.05)


def test_what_was_cut_within_the_hour_counts_at_once(thick):
    thick.act(entries.resaw_board, "B1", kerf_mm=4, piece="B2", depth_mm=20, days_ago=0.001)
    made = projected(thick, "B2")
    assert made.known_until_ms <= thick.now_ms
    last = made.profiles.p50[int(np.searchsorted(made.profile_ms, made.known_until_ms))]
    assert last[0] > last[-1] + 10.0  # a face out of the middle of the board, and one that has dried for weeks


def test_a_board_on_a_bench_and_one_in_plastic_dry_more_slowly_than_a_free_one(thick):
    for code, rest in (("C1", "free on all sides"), ("C2", "flat on a bench"), ("C3", "wrapped in plastic film")):
        thick.act(entries.add_board, code, days_ago=30, **(THICK | {"stack": "", "place": "room"}))
        thick.act(entries.say_rest, code, rest=rest, days_ago=30)
    free, bench, wrapped = (at(projected(thick, code), 0, thick.now_ms) for code in ("C1", "C2", "C3"))
    assert free + 3.0 < bench
    assert bench + 3.0 < wrapped


def test_sun_dries_a_board_only_where_the_yard_is_known_to_be_on_earth(yard):
    yard.act(entries.add_place, "terrace", kind="yard", in_sun=True, days_ago=60)
    yard.act(entries.add_probe, "out", topic="workshop/terrace/out", place="terrace", days_ago=60)
    yard.log("out", 60, t=12.0, rh=68.0)
    yard.act(entries.add_board, "D1", days_ago=30, **(THICK | {"stack": "", "place": "terrace"}))
    shade = projected(yard, "D1")
    sunny = projected(yard, "D1", Settings(latitude_deg=45.0, longitude_deg=5.0))
    assert at(sunny, 0, yard.now_ms) < at(shade, 0, yard.now_ms) - 0.5
    assert any("latitude_deg" in note for note in shade.notes)
    assert not any("latitude_deg" in note for note in sunny.notes)


def test_every_entry_of_lying_and_cutting_ends_the_cached_projection(thick):
    def key():
        with thick.store.reading() as connection:
            held = read_entries(connection, thick.now_ms)
            return projection.input_key(held, number(thick, "B1"), thick.now_ms)

    seen = {key()}
    for act, values in (
        (entries.say_rest, {"rest": "middle of its stack"}),
        (entries.say_coat, {"coat": "bare", "ends_sealed": True}),
        (entries.plane_board, {"off_marked_mm": 1, "off_other_mm": 1}),
        (entries.resaw_board, {"kerf_mm": 2, "piece": "B2"}),
    ):
        thick.act(act, "B1", days_ago=5 - len(seen), **values)
        assert key() not in seen
        seen.add(key())
