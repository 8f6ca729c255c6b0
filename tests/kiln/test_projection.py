"""A projection: its band narrows with measurements, widens over what is not known, and finds the truth."""

from dataclasses import replace

import numpy as np
import pytest

from kiln import air, bag, drying, estimation, forecast, forecast_limits, meters, observations, sorption
from kiln.diffusion import AirSteps
from shared import tables
from shared.units import MS_PER_DAY, MS_PER_HOUR

NOW_MS = 1_795_600_800_000 // MS_PER_HOUR * MS_PER_HOUR
DAYS = 120
MANY = 512  # members


def logged(days, unknown=slice(0, 0), rh_pct=70.0):
    """Invented air: a season and a day, with a stretch of it missing."""
    hours = np.arange(days * 24)
    at_ms = NOW_MS - (days * 24 - hours) * MS_PER_HOUR
    t = 14 + 5 * np.sin(2 * np.pi * hours / (365 * 24)) + 4 * np.sin(2 * np.pi * hours / 24)
    rh = rh_pct - 12 * np.sin(2 * np.pi * hours / 24)
    keep = np.ones(len(hours), bool)
    keep[unknown] = False
    probe = air.ProbeHours(at_ms[keep], t[keep], rh[keep], *[np.zeros(keep.sum(), bool)] * 2)
    return air.merge([probe], int(at_ms[0]), NOW_MS)


def piece(origin="fresh-sawn", thickness_m=0.028):
    ash = tables.find_species("Fraxinus americana")
    spells = drying.one_spell(thickness_m, "shed", in_stack=True)
    return drying.Piece(ash, thickness_m, 0.2, 1.2, origin, spells, rh_error_pct=0.7)  # a checked hygrometer


def question(data=(), way=None, record=None, who=None):
    way = way or logged(DAYS)
    return forecast.Question(who or piece(), way, record or way, tuple(data), tables.uses()["machine"], 50.0, 20.0)


def truth(unknowns, who, way, day):
    """Mass of a board with known unknowns after so many days in its air."""
    rows = unknowns[None]
    rh = drying.true_rh_pct(rows, way.rh_pct[None])
    steps = AirSteps(way.temperature_c[None], rh, np.full(len(way.at_ms), 3600.0))
    mean = drying.follow(who, rows, steps, np.array([day * 24])).means()[0, 0]
    return float(np.exp(unknowns[0]) * (1 + mean))


def weigh_ins(days, seed=3, spread=0.5, who=None):
    who, way = who or piece(), logged(DAYS)
    prior = drying.prior(who)
    unknowns = prior.centre + spread * prior.sd * np.random.default_rng(seed).standard_normal(len(drying.UNKNOWNS))
    start = int(way.at_ms[0])
    made = [estimation.Datum("weigh-in", start + d * MS_PER_DAY, truth(unknowns, who, way, d), 0.002) for d in days]
    return made, unknowns, way


def pin_reading(at_ms, reading_pct, depth_m=0.007, thickness_m=0.05):
    return observations.pin(at_ms, depth_m, meters.Pin(reading_pct, 21.1, thickness_m=thickness_m))


WAIT = bag.Wait(1.0, (40.0, 80.0, 160.0), "")


def width(projection, moment_ms=NOW_MS):
    i = int(np.searchsorted(projection.at_ms, moment_ms))
    return float(projection.mean.p90[i] - projection.mean.p10[i])


def until(way, day):
    """The same air, cut off after so many days."""
    return air.AirHours(*(getattr(way, name)[: day * 24] for name in air.AirHours.__dataclass_fields__))


def test_the_band_narrows_with_each_further_weigh_in():
    """Of a board as one expects it: one that turns out wetter has more water to be wrong about, so a wider band.

    The first weigh-in comes with a section, without which it tells but the sum of wood and water. With many members:
    which of few are drawn moves a band by a tenth.
    """
    data, unknowns, way = weigh_ins([1, 15, 30], spread=0.0)
    data = [data[0], observations.section(data[0].at_ms, data[0].value, np.exp(unknowns[0])), *data[1:]]
    made = [forecast.project(question(data[:n], until(way, 30), way), MANY, days=2) for n in (0, 2, 3, 4)]
    widths = [width(one, one.known_until_ms) for one in made]
    assert widths[0] > 1.05 * widths[1] > 1.1 * widths[2] > 1.15 * widths[3]


def test_the_band_widens_over_a_gap_in_the_air():
    """Of a thin board with a section cut: it has come to rest in its air, and what it weighs dry is known."""
    thin = piece(thickness_m=0.012)
    data, unknowns, _ = weigh_ins([1, 30, 60], spread=0.2, who=thin)
    data = [data[0], observations.section(data[0].at_ms, data[0].value, np.exp(unknowns[0])), *data[1:]]
    whole, gap = logged(DAYS), logged(DAYS, unknown=slice(70 * 24, 118 * 24))
    known, blind = (forecast.project(question(data, air_, who=thin), days=5) for air_ in (whole, gap))
    assert width(blind) > 1.15 * width(known)
    assert known.air_measured_share == 1.0
    assert blind.air_measured_share < 0.3
    assert any("no air was logged" in note for note in blind.notes)


def test_the_band_widens_over_a_gap_in_the_weigh_ins():
    """With its oven-dry mass known from a section, a board is known best when it has just been weighed."""
    thick = piece(thickness_m=0.07)
    data, unknowns, way = weigh_ins([1, 4, 8, 35, 60], spread=0.2, who=thick)
    section = observations.section(data[0].at_ms, data[0].value, np.exp(unknowns[0]))
    neglected, kept_up = (
        forecast.project(question([data[0], section, *later], until(way, 60), way, thick), days=5)
        for later in (data[1:3], data[1:])
    )
    assert width(neglected, data[4].at_ms) > 1.2 * width(neglected, data[2].at_ms)
    assert width(kept_up, data[4].at_ms) < 0.8 * width(neglected, data[4].at_ms)


def test_a_board_that_was_weighed_is_found_where_it_is():
    """Of twelve invented boards the 80 % band holds the true moisture of most, and its middle is near."""
    inside, errors = 0, []
    for seed in range(12):
        data, unknowns, way = weigh_ins([1, 8, 20, 45, 80], seed=seed, spread=0.8)
        made = forecast.project(question(data, way), days=5)
        dry = np.exp(unknowns[0])
        true_pct = 100 * (truth(unknowns, piece(), way, DAYS) / dry - 1)
        i = int(np.searchsorted(made.at_ms, made.known_until_ms))
        inside += made.mean.p10[i] <= true_pct <= made.mean.p90[i]
        errors.append(abs(made.mean.p50[i] - true_pct))
    assert inside >= 8
    assert np.median(errors) < 1.2


def test_the_same_question_gives_the_same_numbers():
    data, _, way = weigh_ins([1, 30])
    one, other = (forecast.project(question(data, way), days=10) for _ in range(2))
    assert np.array_equal(one.mean.p50, other.mean.p50)
    assert one.ready_ms == other.ready_ms


def test_a_weigh_in_of_another_board_is_noticed_and_hardly_bends_the_rest():
    data, _, way = weigh_ins([1, 15, 30, 45, 60, 75, 90])
    wrong = [*data[:4], replace(data[4], value=data[4].value * 1.9), *data[5:]]
    honest, mixed = (forecast.project(question(d, way), days=5) for d in (data, wrong))
    assert "does not fit" in mixed.measured[4].note
    assert all(not m.note for m in honest.measured)
    i = int(np.searchsorted(honest.at_ms, honest.known_until_ms))
    assert abs(mixed.mean.p50[i] - honest.mean.p50[i]) < 1.5


def test_a_pin_reading_above_fibre_saturation_only_says_at_least():
    start = NOW_MS - DAYS * MS_PER_DAY
    high, higher = (forecast.project(question([pin_reading(start + MS_PER_DAY, mc)]), days=5) for mc in (40.0, 95.0))
    assert high.mean.p50[1] == pytest.approx(higher.mean.p50[1], abs=1e-9)
    assert "at least" in high.measured[0].note


def test_an_oven_dried_section_pins_down_the_oven_dry_mass():
    data, unknowns, way = weigh_ins([1, 10], spread=1.0)
    dry = np.exp(unknowns[0])
    section = observations.section(data[0].at_ms, data[0].value, dry)
    without, with_ = (forecast.project(question(d, way), days=5) for d in (data, [data[0], section, data[1]]))
    spread = [p.oven_dry_mass_kg[2] - p.oven_dry_mass_kg[0] for p in (without, with_)]
    assert spread[1] < 0.7 * spread[0]


def test_damp_air_never_brings_it_to_room_dryness_and_dry_air_does():
    damp = forecast.project(question(way=logged(DAYS, rh_pct=85.0)), days=200)
    dry = forecast.project(question(way=logged(DAYS, rh_pct=50.0)), days=200)
    assert damp.ready_ms[1] is None
    assert damp.chance_ready < 0.1
    assert dry.chance_ready > 0.5
    assert dry.ready_ms[1] is not None


def test_seasons_not_seen_yet_are_said_to_be_guessed():
    short, long = logged(40), logged(420)
    last = long.at_ms >= short.at_ms[0]
    recent = air.AirHours(*(getattr(long, name)[last] for name in air.AirHours.__dataclass_fields__))
    assert any("guessed" in n for n in forecast.project(question(way=short, record=short), days=200).notes)
    assert not any("guessed" in n for n in forecast.project(question(way=recent, record=long), days=200).notes)


def test_two_days_of_air_are_enough_to_begin_with_and_said_to_be_little():
    first, later = (forecast.project(question(way=logged(days)), days=100) for days in (2, 60))
    assert any("48 hours of this place's air" in note for note in first.notes)
    assert width(first, first.known_until_ms + 60 * MS_PER_DAY) > 1.3 * width(
        later, later.known_until_ms + 60 * MS_PER_DAY
    )


def test_more_water_than_sound_wood_can_hold_is_noticed():
    log = piece(origin="water-reclaimed")
    dry = 0.55 * 1000 * log.volume_m3
    section = observations.section(NOW_MS - DAYS * MS_PER_DAY, 2.9, 1.0)
    heavy = estimation.Datum("weigh-in", NOW_MS - DAYS * MS_PER_DAY, dry * 2.9, 0.01)
    made = forecast.project(question([heavy, section], who=log), days=5)
    assert any("more water than sound wood" in note for note in made.notes)
    usual = estimation.Datum("weigh-in", NOW_MS - DAYS * MS_PER_DAY, dry * 2.0, 0.01)
    assert not any("more water" in n for n in forecast.project(question([usual], who=log), days=5).notes)


def test_members_without_an_answer_are_left_out_and_too_many_of_them_refused(monkeypatch):
    data, _, way = weigh_ins([1, 30])
    honest = forecast.diffusion.march_whole

    def lamed(share):
        def march_(start, *rest, **how):
            out = honest(start, *rest, **how)
            if len(out.profiles) == forecast.MEMBERS:
                out.profiles[: int(share * len(out.profiles))] = np.nan
            return out

        return march_

    monkeypatch.setattr(forecast.diffusion, "march_whole", lamed(0.05))
    assert np.isfinite(forecast.project(question(data, way), days=5).mean.p90).all()
    monkeypatch.setattr(forecast.diffusion, "march_whole", lamed(0.5))
    with pytest.raises(ValueError, match="no answer"):
        forecast.project(question(data, way), days=5)


def test_wood_that_was_followed_for_less_than_its_steady_days_is_not_steady_by_default():
    short, long = (forecast.project(question(way=until(logged(DAYS), d), record=logged(DAYS)), days=5) for d in (3, 40))
    assert short.chance_steady is None
    assert long.chance_steady is not None


def test_the_core_of_resawn_wood_is_unknown_until_its_gradient_has_faded_or_two_depths_were_read():
    def level(who, days, data=()):
        way = until(logged(DAYS), days)
        return forecast.project(question(data, way, logged(DAYS), who), days=5).chance_level

    start = NOW_MS - DAYS * MS_PER_DAY
    two = [pin_reading(start + MS_PER_DAY, 14.0, depth_m) for depth_m in (0.005, 0.025)]
    assert level(piece("re-sawn", 0.05), 5) is None
    assert level(piece("re-sawn", 0.05), 5, two) is not None
    assert level(piece("re-sawn", 0.004), 5) is not None
    assert level(piece("fresh-sawn", 0.05), 5) is not None


def test_months_without_air_count_although_the_wood_was_weighed_after_them():
    data, _, _ = weigh_ins([1, 118])
    blind = forecast.project(question(data, logged(DAYS, unknown=slice(5 * 24, 105 * 24))), days=5)
    assert blind.air_measured_share < 0.5


def test_a_season_never_recorded_keeps_its_band_wide_although_wood_averages():
    summer = logged(60)
    sure = replace(piece(), rh_error_pct=0.05)  # the season alone is asked about here
    seen = forecast.project(question(way=until(logged(400), 60), record=logged(400), who=sure), days=180)
    unseen = forecast.project(question(way=summer, record=summer, who=sure), days=180)
    half_a_year = [width(one, one.known_until_ms + 170 * MS_PER_DAY) for one in (seen, unseen)]
    assert half_a_year[1] > 1.4 * half_a_year[0]
    assert half_a_year[1] > 4


def test_a_section_cut_later_lightens_the_board_by_its_wood():
    data, unknowns, way = weigh_ins([1, 20, 40, 60])
    cut = 0.08 * float(np.exp(unknowns[0]))
    wet = [d.value / np.exp(unknowns[0]) for d in data]
    lighter = [data[0], *(replace(d, value=d.value - cut * w) for d, w in zip(data[1:], wet[1:], strict=True))]
    known = [lighter[0], *(replace(d, cut_dry_kg=cut) for d in lighter[1:])]
    honest, told = (forecast.project(question(d, way), days=5) for d in (data, known))
    assert told.mean.p50[-6] == pytest.approx(honest.mean.p50[-6], abs=0.3)


def test_no_believable_board_begins_with_more_water_than_it_can_hold():
    boards = drying.prior(piece("water-reclaimed"))
    rng = np.random.default_rng(1)
    drawn = boards.centre + boards.sd * rng.standard_normal((500, len(boards.centre)))
    held = forecast_limits.soaked_at_most(piece("water-reclaimed"), drawn)
    assert forecast_limits._most_share(piece("water-reclaimed"), drawn).max() > 1.2
    assert forecast_limits._most_share(piece("water-reclaimed"), held).max() <= 1.0 + 1e-9


def test_sizes_taken_dry_mean_more_wood_than_the_same_sizes_taken_green():
    green, dry = (np.exp(drying.prior(piece(origin)).centre[0]) for origin in ("fresh-sawn", "re-sawn"))
    assert 1.05 < dry / green < 1.10  # ash, 13.3 % from green to oven-dry, at about 14 %MC of 30


def test_a_place_never_heard_is_refused_in_words():
    nothing = air.merge([], NOW_MS - 200 * MS_PER_HOUR, NOW_MS)
    with pytest.raises(ValueError, match="no air was ever logged"):
        forecast.project(question(way=logged(30), record=nothing), days=5)


def test_a_hygrometer_that_nobody_checked_widens_the_band_of_a_board_known_by_its_air_alone():
    # A thin plate, 120 days in still air: it rests where its air holds it, and nothing else tells its moisture.
    def band(rh_error_pct):
        plate = replace(piece("re-sawn", 0.004), rh_error_pct=rh_error_pct)
        return width(forecast.project(question(who=plate), days=5))

    assert band(6.0) > band(3.0) > band(0.3)


def test_a_bag_test_tells_the_moisture_of_an_uncalibrated_piece():
    # The plate's own humidity, read in a bag by a checked hygrometer; the truth is what its isotherm makes of it.
    data, unknowns, way = weigh_ins([1], spread=1.0)
    day = 110
    mean = truth(unknowns, piece(), way, day) / np.exp(unknowns[0]) - 1.0
    scale = np.exp(unknowns[5])
    rh = float(sorption.rh_pct_from_emc(18.0, 100.0 * mean / scale))
    at_ms = int(way.at_ms[0]) + day * MS_PER_DAY
    test = observations.bag_test(at_ms, rh, 18.0, 1.0, "dried", 400 * 3600, WAIT)
    unchecked = replace(piece(), rh_error_pct=4.0)
    plain, tested = (forecast.project(question(d, way, who=unchecked), days=5) for d in (data, [*data, test]))
    assert tested.measured[-1].kind == "bag test"
    # Its moisture in % hangs on its isotherm, which no bag tells; how far it is from rest in other air does not.
    assert width(tested) < width(plain)
    off = [one.off_target_mc_pct[2] - one.off_target_mc_pct[0] for one in (tested, plain)]
    assert off[0] < 0.7 * off[1]
    i = int(np.searchsorted(tested.at_ms, at_ms))
    assert tested.mean.p10[i] - 0.3 <= 100.0 * mean <= tested.mean.p90[i] + 0.3


def test_a_bag_tells_nothing_then_of_the_faces_then_of_the_mean():
    def after(hours, error=1.0):
        return observations.bag_test(0, 60.0, 20.0, error, "dried", hours * 3600, WAIT)

    assert after(0.1).bound == estimation.NOTHING
    assert (after(2).depth_share, after(80).depth_share) == (0.0, 0.0)
    assert after(161).depth_share is None
    assert [after(hours).ground for hours in (2, 80, 161)] == [False, False, True]
    assert not after(161, error=3.0).ground, "a hygrometer that nobody checked is no ground, in a bag either"


def test_a_meter_calibrated_on_the_lot_counts_for_more_than_one_that_is_not():
    lot = meters.fit_pairs([meters.Pair(r, r + 2.0, 0.3) for r in (9.0, 12.0, 15.0, 18.0)])
    bare = observations.pin(0, 0.007, meters.Pin(14.0, 21.1, thickness_m=0.028))
    read = observations.pin(0, 0.007, meters.Pin(14.0, 21.1, thickness_m=0.028), lot)
    assert read.value == pytest.approx(16.0, abs=0.3)
    assert read.bias_share < 0.6 < bare.bias_share == pytest.approx(1.0)


def test_pins_in_reclaimed_wood_are_the_most_it_can_be_until_the_meter_is_calibrated_on_its_lot():
    def datum(reading, lot=None, origin="water-reclaimed", **known):
        return observations.pin(0, 0.007, meters.Pin(reading, 21.1, thickness_m=0.028, origin=origin), lot, **known)

    lot = meters.fit_pairs([meters.Pair(r, r - 3.0, 0.3) for r in (12.0, 15.0, 18.0)])
    assert datum(14.0).bound == "at most"
    assert datum(40.0).bound == estimation.NOTHING
    assert datum(14.0, lot).bound == "at most", "a lot that never lay in that water says nothing of its minerals"
    assert datum(14.0, lot, minerals_known=True).bound == ""
    assert datum(14.0, origin="fresh-sawn").bound == ""


def test_a_reading_that_tells_nothing_changes_nothing():
    wet = meters.Pin(60.0, 21.1, thickness_m=0.028, origin="water-reclaimed")
    told = observations.pin(NOW_MS - 50 * MS_PER_DAY, 0.007, wet)
    plain, read = (forecast.project(question(d, who=piece("water-reclaimed")), days=5) for d in ((), (told,)))
    assert read.mean.p50 == pytest.approx(plain.mean.p50, abs=1e-9)
    assert "nothing" in read.measured[0].note


def test_a_gradient_read_with_pins_is_judged_by_the_pins():
    # Walnut, say: 9 % near the face and 14 % at mid-thickness, where 2 are allowed; the model alone began flat.
    start = NOW_MS - 4 * MS_PER_DAY
    deep = [pin_reading(start, mc, depth_m) for mc, depth_m in ((9.0, 0.002), (14.0, 0.025))]
    level = [pin_reading(start, mc, depth_m) for mc, depth_m in ((9.8, 0.002), (10.0, 0.025))]
    who = piece("re-sawn", 0.05)
    apart, even = (forecast.project(question(d, who=who), days=5) for d in (deep, level))
    assert apart.pin_gap_mc_pct[0] == pytest.approx(4.5, abs=0.8)
    assert apart.chance_level < 0.2 < even.chance_level


def test_wood_whose_saturation_was_never_read_is_believed_less():
    ebony, maple = (tables.find_species(name) for name in ("Diospyros crassiflora", "Acer saccharum"))
    assert drying.fsp_remembered(ebony)
    assert not drying.fsp_remembered(maple)
    sd = [drying.prior(replace(piece(), species=one)).sd[5] for one in (ebony, maple)]
    assert sd[0] > 1.5 * sd[1]


def test_one_pin_at_odds_with_the_weigh_ins_is_said_and_bends_nothing():
    # Without the section the weigh-ins alone would leave so much open that a pin may move them.
    data, unknowns, way = weigh_ins([1, 5, 10, 15], spread=0.2)
    data = [data[0], observations.section(data[0].at_ms, data[0].value, np.exp(unknowns[0])), *data[1:]]
    who = piece()
    soon = until(way, 16)
    odd = observations.pin(data[-1].at_ms, 0.007, meters.Pin(9.0, 21.1, thickness_m=0.028))
    plain, read = (forecast.project(question(d, soon, way, who), days=5) for d in (data, [*data, odd]))
    i = int(np.searchsorted(plain.at_ms, plain.known_until_ms))
    assert plain.mean.p50[i] > 25.0
    assert read.mean.p50[i] == pytest.approx(plain.mean.p50[i], abs=0.5)
    assert abs(read.measured[-1].misfit) > 4.0
    assert "left out" in read.measured[-1].note


def test_a_pin_that_agrees_is_taken():
    data, unknowns, way = weigh_ins([1, 60, 100])
    soon = until(way, 110)
    mean = 100.0 * (truth(unknowns, piece(), way, 105) / np.exp(unknowns[0]) - 1.0)
    agreeing = observations.pin(data[0].at_ms + 104 * MS_PER_DAY, 0.007, meters.Pin(mean, 21.1, thickness_m=0.028))
    plain, read = (forecast.project(question(d, soon, way), days=5) for d in (data, [*data, agreeing]))
    assert width(read, read.known_until_ms) < width(plain, plain.known_until_ms)
    assert read.measured[-1].note == ""
