"""Dangers of a board: each with its standing, its way and its next step; nothing clears a board."""

import json
from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest

from dashboards.api import as_json
from kiln import air, dangers, drying, ensemble, estimation, lying, mould, rewetting, standing, surfaces
from kiln.collapse import Thickness
from kiln.dangers import CHECKING, MOULD, Standing
from kiln.diffusion import AirSteps, mean_of
from kiln.question import Leg, Question
from shared import tables
from shared.errors import BadInput
from shared.tables import harms
from shared.units import MS_PER_DAY, MS_PER_HOUR

NOW_MS = 1_795_600_800_000 // MS_PER_HOUR * MS_PER_HOUR
OAK, MAPLE, SYCAMORE, UNKNOWN = "Quercus rubra", "Acer saccharum", "Platanus occidentalis", "Celtis occidentalis"


def logged(days, rh_pct, temperature_c=18.0, hours=0):
    """Invented air with a day in it."""
    count = days * 24 + hours
    passed = np.arange(count)
    at_ms = NOW_MS - (count - passed) * MS_PER_HOUR
    swing = np.sin(2 * np.pi * passed / 24)
    zero, known = np.zeros(count), np.ones(count, dtype=bool)
    rh = np.clip(rh_pct - 8.0 * swing, 5.0, 100.0)
    return air.AirHours(at_ms.astype(np.int64), temperature_c + 4.0 * swing, rh, known, zero, zero)


def piece(wood, origin="fresh-sawn", thickness_m=0.028, spells=None):
    species = tables.species()[wood]
    spells = spells or drying.one_spell(thickness_m, "shed", in_stack=True)
    return drying.Piece(species, thickness_m, 0.2, 1.2, origin, spells, rh_error_pct=0.7)


def crowd_of(way, who, data=(), plan=(), days=60):
    question = Question(who, way, way, tuple(data), tables.uses()["machine"], 50.0, 20.0, plan=plan)
    return ensemble.ensemble(question, days=days)


@cache
def crowd(wood, days, rh_pct, origin="fresh-sawn", temperature_c=18.0, thickness_m=0.028):
    return crowd_of(logged(days, rh_pct, temperature_c), piece(wood, origin, thickness_m))


def told(found, name):
    return next(one for one in found.dangers if one.name == name)


# --- surfaces ----------------------------------------------------------------------------------------


def test_faces_followed_again_stand_where_the_ensemble_has_them():
    """In steps of three hours from the beginning, beside the ensemble's of one hour: a quarter of a percent apart."""
    one = crowd(OAK, 40, 70.0)
    faces = surfaces.surfaces(one)
    at = np.searchsorted(faces.at_ms, one.at_ms)
    inside = (at < len(faces.at_ms)) & (one.at_ms > one.at_ms[0])
    assert np.array_equal(faces.at_ms[at[inside]], one.at_ms[inside])
    again = mean_of(faces.profiles[:, at[inside]])
    before = mean_of(one.course.profiles[:16, inside])
    assert np.abs(again - before).max() < 0.004
    assert faces.at_ms[faces.now] == NOW_MS


def test_a_wet_board_in_a_dry_room_keeps_its_faces_damp_for_a_time_and_then_they_follow_the_air():
    one = crowd(MAPLE, 30, 60.0, "water-reclaimed")
    faces = surfaces.surfaces(one)
    first, last = faces.rh_pct[:, 0, :4].mean(), faces.rh_pct[:, 0, faces.now - 3 : faces.now + 1].mean()
    assert first > 95.0
    assert 60.0 < last < 85.0
    assert np.all(faces.rh_pct >= 0.0)
    assert np.all(faces.rh_pct <= 100.0)


def test_each_time_between_moments_is_counted_once():
    one = crowd_of(logged(3, 70.0, hours=5), piece(OAK), days=10)
    faces = surfaces.surfaces(one)
    assert faces.hours.sum() == 3 * 24 + 5 + 10 * 24
    assert np.array_equal(np.diff(faces.at_ms), faces.hours[1:] * MS_PER_HOUR)


def test_of_a_long_life_the_last_year_is_followed():
    one = crowd_of(logged(500, 75.0), piece(OAK, thickness_m=0.05), days=20)
    faces = surfaces.surfaces(one)
    assert faces.hours[: faces.now + 1].sum() == 365 * 24
    now = mean_of(faces.profiles[:, faces.now])
    assert np.abs(now - mean_of(one.course.profiles[:16, one.now])).max() < 0.002


def test_a_board_that_was_moved_and_lies_with_one_face_up_is_followed_on_both():
    bench = lying.Spell(10 * 24, 0.028, lying.Lying("room", lying.BENCH))
    spells = (*drying.one_spell(0.028, "shed", in_stack=True), bench)
    one = crowd_of(logged(30, 60.0), piece(MAPLE, spells=spells), days=20)
    faces = surfaces.surfaces(one)
    assert faces.rh_pct.shape[1] == 2
    later = faces.rh_pct[:, :, faces.now - 20 : faces.now].mean(axis=(0, 2))
    assert later.max() - later.min() > 3.0  # the face below gives nothing off
    found = dangers.of(one)
    worse = mould.course(faces.temperature_c, faces.rh_pct[:, int(later.argmax())], faces.hours, mould.class_of())
    assert found.mould.p50[-1] == pytest.approx(np.median(worse[:, -1]), abs=0.3)


def test_water_that_a_board_was_given_is_followed():
    given = lying.Spell(20 * 24, 0.028, lying.Lying("shed", lying.STACK), wetted_kg_m2=(0.6, 0.6))
    spells = (*drying.one_spell(0.028, "shed", in_stack=True), given)
    one = crowd_of(logged(21, 60.0), piece(MAPLE, spells=spells), days=5)
    faces = surfaces.surfaces(one)
    now = mean_of(faces.profiles[:, faces.now])
    assert np.abs(now - mean_of(one.course.profiles[:16, one.now])).max() < 0.004


def test_what_is_planned_is_followed_ahead():
    dry = logged(40, 35.0, 21.0)
    spell = lying.Spell(0, 0.028, lying.Lying("room", lying.FREE))
    moved = crowd_of(logged(10, 85.0), piece(OAK), plan=(Leg(5, dry, spell, "room"),), days=40)
    found = dangers.of(moved)
    day = found.checking.index_at(NOW_MS + 12 * MS_PER_DAY)
    assert found.checking.p50[day] > found.checking.p50[found.checking.index_at(NOW_MS)] + 0.5
    assert "moved as planned" in told(found, CHECKING).trend


# --- checks, and the woods that differ ---------------------------------------------------------------


def test_refractory_wood_in_harsh_air_is_being_harmed_and_another_wood_is_watched():
    for wood, expected in ((OAK, Standing.OVER), (MAPLE, Standing.NEAR), (SYCAMORE, Standing.NEAR)):
        found = dangers.of(crowd(wood, 10, 40.0))
        assert told(found, CHECKING).standing is expected
        assert (CHECKING in found.stops) == (expected is Standing.OVER)
    assert dangers.of(crowd(OAK, 10, 40.0)).dangers[0].probability >= 0.5


def test_a_board_below_a_quarter_of_water_starts_no_new_checks():
    found = dangers.of(crowd(OAK, 200, 45.0))
    assert told(found, CHECKING).standing is Standing.UNDER
    assert "below 25 %MC" in told(found, CHECKING).reason
    assert "honeycomb" in found.dangers[1].name
    assert found.dangers[1].standing is Standing.NEAR  # its surface was set when it began


def test_a_stretch_below_a_quarter_of_water_is_no_harm_now():
    """Brought from a damp shed into a heated room: stretched again, where nearly no new check begins."""
    way, dry = logged(250, 84.0), np.arange(250 * 24) >= 248 * 24
    way = replace(way, rh_pct=np.where(dry, 15.0, way.rh_pct))
    found = dangers.of(crowd_of(way, piece(OAK), days=20))
    assert found.checking.p50[found.checking.index_at(NOW_MS)] > 1.0
    assert told(found, CHECKING).standing is Standing.UNDER
    assert found.stops == ()


def test_a_wood_whose_shrinkage_is_not_known_has_no_index():
    koa = next(one for one in tables.species().values() if one.shrinkage_tangential_pct is None)
    found = dangers.of(crowd(koa.botanical_name, 10, 60.0))
    assert told(found, CHECKING).standing is Standing.NOT_KNOWN
    assert len(found.checking.at_ms) == 0


def test_what_is_not_known_of_a_wood_is_never_taken_as_no():
    assert harms.degrade("Lignum ignotum") == harms.Degrade()
    assert harms.degrade("Quercus rubra, mill-pond lot").refractory_heartwood is True
    stained = dangers.of(crowd(OAK, 10, 40.0), prone=harms.Degrade())
    assert told(stained, "blue stain").standing is Standing.NOT_KNOWN
    assert told(stained, "honeycomb and case-hardening").standing is Standing.NOT_KNOWN
    assert "No limits for the air of this wood were found" in stained.balance


def test_every_wood_that_is_told_of_is_in_the_table_of_woods():
    assert {row["botanical_name"] for row in tables.rows("degrade")} <= set(tables.species())


# --- mould, stain ------------------------------------------------------------------------------------


def test_damp_air_that_keeps_faces_whole_lets_mould_grow():
    found = dangers.of(crowd(SYCAMORE, 40, 88.0))
    assert told(found, CHECKING).standing is Standing.UNDER
    grown = told(found, MOULD)
    assert grown.standing in (Standing.NEAR, Standing.OVER)
    for must in ("respirator", "damp", "never dry-brush", "blow", "correct the air"):
        assert must in grown.next_step
    assert MOULD not in found.stops
    assert "very sensitive" in grown.reason


def test_mould_is_driven_by_the_faces_and_not_by_the_room():
    """The room alone, at 74 %RH, is below what mould needs; a waterlogged board in it is not."""
    wet = dangers.of(crowd(SYCAMORE, 12, 66.0, "water-reclaimed", thickness_m=0.06))
    room = mould.course(np.full(48, 18.0), np.full(48, 74.0), np.full(48, 6.0), mould.class_of())
    assert room.max() == 0.0
    assert wet.mould.p50[: wet.mould.index_at(NOW_MS) + 1].max() > 0.2


def test_mould_begins_anew_where_it_was_cleaned_off():
    one = crowd(SYCAMORE, 40, 88.0)
    before, after = (dangers.of(one, clean_since_ms=since) for since in (None, NOW_MS - 3 * MS_PER_DAY))
    at = before.mould.index_at(NOW_MS)
    assert after.mould.p50[at] < 0.4 < before.mould.p50[at]
    assert after.mould.p50[at - 4] == 0.0


def test_sapwood_that_stains_is_told_while_its_shell_is_wet():
    wet, dry = dangers.of(crowd(SYCAMORE, 40, 88.0)), dangers.of(crowd(SYCAMORE, 120, 50.0))
    assert told(wet, "blue stain").standing in (Standing.NEAR, Standing.OVER)
    assert told(dry, "blue stain").standing is Standing.NOT_KNOWN  # what grew in its first days only looking tells
    assert told(dry, "blue stain").probability is None
    assert "too dry for it already" in told(dry, "blue stain").trend
    none = dangers.of(crowd(SYCAMORE, 40, 88.0), sapwood=False)
    assert told(none, "blue stain").standing is Standing.UNDER
    assert told(wet, "sticker stain").standing is Standing.NOT_KNOWN
    assert not any(one.name == "sticker stain" for one in dry.dangers)


# --- collapse ----------------------------------------------------------------------------------------


def test_heat_on_a_full_core_is_harm_now_in_wood_prone_to_it():
    prone = harms.Degrade(collapse_prone=True, source="invented", status="from memory")
    found = {
        t: told(dangers.of(crowd(OAK, 3, 90.0, "water-reclaimed", t - 4.0, 0.06), prone=prone), "collapse")
        for t in (25.0, 34.0, 42.0)
    }
    assert [found[t].standing for t in sorted(found)] == [Standing.UNDER, Standing.NEAR, Standing.OVER]
    hot = dangers.of(crowd(OAK, 3, 90.0, "water-reclaimed", 38.0, 0.06), prone=prone)
    assert "collapse" in hot.stops


def test_more_shrinkage_than_the_water_accounts_for_is_collapse_and_as_much_is_not():
    one = crowd(OAK, 60, 70.0)
    two = [0.028 - 0.0008, 0.028 - 0.004]
    as_told, collapsed = (told(dangers.of(one, (Thickness(NOW_MS, mm),)), "collapse") for mm in two)
    assert collapsed.standing is Standing.OVER
    assert "24.0 mm" in collapsed.figure
    assert as_told.standing is not Standing.OVER
    dry = crowd(OAK, 200, 45.0)  # a millimetre and more that its water does account for
    assert told(dangers.of(dry, (Thickness(NOW_MS, 0.028 - 0.0012),)), "collapse").standing is Standing.UNDER


def test_a_board_far_lighter_than_its_kind_is_told_at_any_temperature():
    who = piece(SYCAMORE, "water-reclaimed")
    dry_kg = 0.62 * 460.0 * who.volume_m3
    start = NOW_MS - 5 * MS_PER_DAY
    section = estimation.Datum("oven-dry", start + MS_PER_HOUR, 200.0, 1.0)
    weighed = estimation.Datum("weigh-in", start + MS_PER_HOUR, 3.0 * dry_kg, 0.005)
    found = told(dangers.of(crowd_of(logged(5, 80.0, 12.0), who, (section, weighed), days=20)), "collapse")
    assert found.standing is Standing.NEAR
    assert "lost cell wall" in " ".join(found.reason.split())


# --- water gained ------------------------------------------------------------------------------------


def test_a_heavier_weigh_in_counts_only_beyond_both_errors_and_the_air():
    at_ms = np.arange(4, dtype=np.int64) * MS_PER_DAY
    mass, error = np.array([5.0, 4.9, 4.925, 5.2]), np.full(4, 0.01)
    assert [one.at_ms for one in rewetting.heavier(at_ms, mass, error, np.zeros(3))] == [3 * MS_PER_DAY]
    assert rewetting.heavier(at_ms, mass, error, np.array([0.0, 0.0, 0.26])) == ()
    assert rewetting.heavier(at_ms, mass, 10.0 * error, np.zeros(3)) == ()
    assert len(rewetting.heavier(at_ms, mass, 0.1 * error, np.full(3, -0.1))) == 2
    assert rewetting.heavier(at_ms[:0], mass[:0], error[:0], np.zeros(0)) == ()
    with pytest.raises(BadInput, match="one change fewer"):
        rewetting.heavier(at_ms, mass, error, np.zeros(4))


def test_runs_of_damp_hours():
    rh = np.array([99.0, 100.0, 99.5, 98.0, 99.0, 99.0, 100.0, 100.0, 99.0])
    known = np.array([True] * 7 + [False, True])
    hours = np.arange(len(rh), dtype=np.int64) * MS_PER_HOUR
    assert rewetting.damp_runs(hours, rh, known) == ((0, 3), (4 * MS_PER_HOUR, 3))
    assert rewetting.damp_runs(hours, rh - 5.0, known) == ()


def test_a_board_that_was_rained_on_is_told():
    who, start = piece(OAK), NOW_MS - 30 * MS_PER_DAY
    unknowns = drying.prior(who).centre
    way = logged(30, 65.0)
    steps = AirSteps(way.temperature_c[None], way.rh_pct[None], np.full(len(way.at_ms), 3600.0))
    days = np.array([1, 10, 20, 28])
    means = drying.follow(who, unknowns[None], steps, days * 24).means()[0]
    mass = np.exp(unknowns[0]) * (1.0 + means)
    for extra_kg, expected in ((0.0, Standing.UNDER), (0.5, Standing.OVER)):
        weighed = [
            estimation.Datum("weigh-in", int(start + day * MS_PER_DAY), float(kg + extra_kg * (day == 28)), 0.005)
            for day, kg in zip(days, mass, strict=True)
        ]
        found = told(dangers.of(crowd_of(way, who, weighed, days=20)), "water gained")
        assert found.standing is expected


def test_a_mass_before_a_cut_is_taken_to_what_was_left():
    """Planed by a sixth between two weigh-ins: less on the scale, and heavier for what it is."""
    who, start = piece(OAK), NOW_MS - 10 * MS_PER_DAY
    dry_kg = float(np.exp(drying.prior(who).centre[0]))
    for mass_kg, expected in ((1.55, Standing.UNDER), (1.75, Standing.OVER)):
        before = estimation.Datum("weigh-in", start + MS_PER_DAY, 1.2 * 1.6 * dry_kg, 0.005, mass_share=1.2)
        after = estimation.Datum("weigh-in", start + 8 * MS_PER_DAY, mass_kg * dry_kg, 0.005)
        found = told(dangers.of(crowd_of(logged(10, 70.0), who, (before, after), days=20)), "water gained")
        assert found.standing is expected


# --- how they are told -------------------------------------------------------------------------------


def test_the_same_board_is_told_the_same_and_all_of_it_is_plain():
    one = crowd(SYCAMORE, 40, 88.0)
    first, again = (json.dumps(as_json(dangers.of(one))) for _ in range(2))
    assert first == again
    found = dangers.of(one)
    for danger in found.dangers:
        assert danger.name and danger.figure and danger.reason and danger.next_step and danger.status
        assert all(
            isinstance(getattr(danger, field.name), str) for field in fields(danger) if field.name != "probability"
        )
        assert danger.probability is None or 0.0 <= danger.probability <= 1.0
    for curve in (found.checking, found.mould):
        assert np.all(np.diff(curve.at_ms) > 0)
        assert np.all((curve.p10 <= curve.p50) & (curve.p50 <= curve.p90))
        assert curve.at_ms[curve.index_at(NOW_MS)] == NOW_MS


def test_nothing_is_called_safe():
    for rh_pct in (40.0, 88.0):
        for wood in (OAK, SYCAMORE, MAPLE):
            said = json.dumps(as_json(dangers.of(crowd(wood, 40 if rh_pct > 80 else 10, rh_pct)))).lower()
            assert "safe" not in said
            assert "nan" not in said


def test_a_trend_says_when_a_limit_is_passed_and_when_it_is_over():
    at_ms = NOW_MS + np.arange(-5, 60, dtype=np.int64) * MS_PER_DAY
    days = np.arange(-5, 60) + 0.0
    rising = standing.Curve(at_ms, days / 30.0, 0.5 + days / 20.0, 0.6 + days / 10.0)
    said = standing.trend(rising, NOW_MS, (1.0, 3.0), planned=False)
    assert said == "Rising: 1.2 in 14 days if it stays here. It passes 1 in about 10 days (4–30)."
    falling = replace(rising, p10=rising.p10[::-1], p50=rising.p50[::-1], p90=rising.p90[::-1])
    assert "Falling: 2.5 in 14 days" in standing.trend(falling, NOW_MS, (1.0,), planned=False)
    assert "It is under 1 again in about 45 days." in standing.trend(falling, NOW_MS, (1.0,), planned=False)


# --- what somebody saw goes before what the model believes -------------------------------------------


def test_mould_that_somebody_saw_and_that_grows_is_harm_now_and_an_index_alone_is_not():
    damp = crowd(SYCAMORE, 60, 96.0)
    believed, seen = dangers.of(damp), dangers.of(damp, mould_found_ms=damp.question.way.end_ms - 3 * 86_400_000)
    assert MOULD not in believed.stops
    assert MOULD in seen.stops
    assert "Look at its faces" in told(believed, MOULD).next_step
    assert told(seen, MOULD).next_step.startswith("Wear a respirator")


def test_prongs_that_turned_in_say_case_hardened_whatever_the_model_believes():
    dry = crowd(SYCAMORE, 120, 50.0)
    name = "honeycomb and case-hardening"
    turned = told(dangers.of(dry, prongs="turned in"), name)
    assert turned.standing is Standing.OVER and "case-hardened" in turned.reason
    assert told(dangers.of(dry, prongs="straight"), name).standing is Standing.UNDER


def test_a_chance_is_told_only_beside_a_limit_that_is_near_or_passed():
    for humidity in (50.0, 96.0):
        for one in dangers.of(crowd(SYCAMORE, 60, humidity)).dangers:
            assert one.probability is None or one.standing in (Standing.NEAR, Standing.OVER)
