"""Verdicts: each word for its own reason, and never READY on a model alone."""

from dataclasses import replace

import numpy as np
import pytest

from kiln import evidence, readiness, reclaimed, stress, together, water_clock
from kiln.records import Band, Measured, Option, Projection, Standing, Word
from shared import tables
from shared.units import MS_PER_DAY, MS_PER_HOUR

NOW = 1_795_000_000_000
MACHINE = tables.uses()["machine"]


def band(values, half=0.5):
    middle = np.asarray(values, float)
    return Band(*(middle + half * far for far in (-1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5)))


def weighed(days_ago, mc=9.5, misfit=0.1):
    note = "does not fit the rest" if misfit > 4 else ""
    return Measured(NOW - days_ago * MS_PER_DAY, "weigh-in", mc, 0.4, misfit, note)


def projection(mean=9.5, shell=9.3, core=9.7, loss=0.05, **changes):
    at_ms = NOW + np.arange(-2, 4) * 30 * MS_PER_DAY
    flat = np.full(len(at_ms), mean)
    made = Projection(
        at_ms=at_ms,
        known_until_ms=int(at_ms[2]),
        mean=band(flat),
        shell=band(np.full(6, shell)),
        core=band(np.full(6, core)),
        emc=band(np.full(6, 9.0)),
        depth_fraction=np.linspace(0, 1, 3),
        profile_ms=at_ms[2:3],
        profiles=band(np.full((1, 3), mean)),
        loss_pct_per_day=(loss * 0.8, loss, loss * 1.2),
        target_mc_pct=9.2,
        off_target_mc_pct=(mean - 9.3, mean - 9.2, mean - 9.1),
        off_target_together_mc_pct=(mean - 9.3, mean - 9.2, mean - 9.1),
        ready_ms=(NOW + MS_PER_DAY, NOW + 12 * MS_PER_DAY, NOW + 30 * MS_PER_DAY),
        ready_by_ms=(NOW + 12 * MS_PER_DAY, NOW + 22 * MS_PER_DAY, NOW + 40 * MS_PER_DAY),
        date_floor_days=2.0,
        holds_mc_pct=(8.6, 9.0, 9.4),
        floor_mc_pct=(8.1, 8.5, 8.9),
        floor_ms=NOW + 60 * MS_PER_DAY,
        chance_at_rest=0.1,
        move=None,
        refuge=None,
        history=(),
        boards_taught=0,
        legs=(),
        member_ms=at_ms[2:3],
        member_mc_pct=np.linspace(mean - 0.5, mean + 0.5, 8)[:, None],
        chance_fit=np.full(6, 0.97),
        chance_moisture=0.97,
        chance_steady=0.98,
        chance_room=None,
        fit_members=np.arange(64) < 62,
        rest_mc_pct=(8.5, 9.0, 9.5),
        room_mc_pct=None,
        plateau=None,
        tells=(),
        chance_ready=1.0,
        chance_fit_now=0.97,
        oven_dry_mass_kg=(1.9, 2.0, 2.1),
        measured=(
            Measured(NOW - 9 * MS_PER_DAY, "weigh-in", mean, 0.4, 0.1, ""),
            Measured(NOW - MS_PER_DAY, "weigh-in", mean, 0.4, 0.1, ""),
        ),
        memory_days=30.0,
        air_measured_share=1.0,
        chance_level=0.97,
        wanted_mc_pct=(5.8, 11.2),
        pin_gap_mc_pct=None,
        mass_strain_sd=0.5,
        frozen_hours=0,
        notes=(),
    )
    return replace(made, **{"chance_moisture": changes.get("chance_fit_now", 0.97)} | changes)


def case(made="usual", **changes):
    made = projection() if made == "usual" else made
    usual = readiness.Case(
        now_ms=NOW,
        botanical_name="Quercus alba",
        thickness_m=0.028,
        origin="fresh-sawn",
        use=MACHINE,
        use_chosen=True,
        booked_ms=None,
        projection=made,
        missing="",
        place="Loft",
        air_at_ms=NOW - 10 * 60_000,
        air_believed=True,
        air_limit_ms=3 * MS_PER_HOUR,
        air_temperature_c=18.0,
        air_checked_since_ms=0,
    )
    return replace(usual, **changes)


def test_a_fit_board_measured_lately_in_heard_air_is_ready():
    verdict = readiness.judge(case())
    assert verdict.word is Word.READY
    assert verdict.number == "9.5 %"
    assert verdict.evidence and all(gate.standing is Standing.MET for gate in verdict.gates)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"place": ""}, "nobody has said where it is"),
        ({"air_at_ms": None, "air_believed": False}, "no probe is heard"),
        ({"air_at_ms": NOW - 9 * MS_PER_HOUR}, "has not been heard for 9 h"),
        ({"air_believed": False}, "no probe in Loft is believed"),
        ({"pending": True}, "is being worked in"),
    ],
)
def test_thin_evidence_can_not_say_whatever_the_model_believes(changes, says):
    verdict = readiness.judge(case(**changes))
    assert verdict.word is Word.CANT_SAY
    assert says.lower() in verdict.reason.lower()
    assert verdict.next_step


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"measured": ()}, "has never been measured"),
        ({"measured": (weighed(60),)}, "Last measured 60 days ago"),
        ({"measured": (weighed(20, misfit=9.4), weighed(1))}, "does not fit"),
        ({"mass_strain_sd": 6.0}, "do not fit a board of this wood"),
        ({"chance_steady": None}, "has not been followed for the 7 days yet"),
        ({"chance_level": None}, "Nobody knows its core yet"),
        ({"air_measured_share": 0.3}, "30% of the air"),
        ({"frozen_hours": 200}, "frost or heat"),
    ],
)
def test_a_projection_with_holes_can_not_say(changes, says):
    made = projection(**changes)
    verdict = readiness.judge(case(made))
    assert verdict.word is Word.CANT_SAY
    assert says in verdict.reason


def test_an_old_projection_is_not_passed_off_as_of_now():
    made = projection()
    old = case(made, now_ms=made.known_until_ms + 8 * MS_PER_HOUR, air_at_ms=made.known_until_ms + 8 * MS_PER_HOUR)
    verdict = readiness.judge(old)
    assert verdict.word is Word.CANT_SAY
    assert "8 h ago" in verdict.reason


def test_losing_water_faster_than_the_wood_survives_is_stop_and_says_the_limit_is_from_memory():
    limit = stress.safe_loss("Quercus alba", 0.028)
    wet = projection(mean=55.0, core=60.0, shell=35.0, loss=limit.pct_per_day * 1.2, chance_fit_now=0.0)
    wet = replace(wet, measured=(weighed(3), weighed(1)))
    verdict = readiness.judge(case(wet))
    assert verdict.word is Word.STOP
    assert "from memory" in verdict.reason
    assert any(gate.name == "loss a day" and gate.standing is Standing.OVER for gate in verdict.gates)
    just_under = replace(wet, loss_pct_per_day=(0.5, limit.pct_per_day * 0.98, 3.0))
    assert readiness.judge(case(just_under)).word is Word.WAIT


def test_before_two_weigh_ins_only_a_loss_surely_over_the_limit_is_stop():
    limit = stress.safe_loss("Quercus alba", 0.028).pct_per_day
    perhaps = projection(mean=55.0, core=60.0, loss=limit * 1.1, chance_fit_now=0.0, measured=(weighed(1, 55.0),))
    verdict = readiness.judge(case(perhaps))
    assert verdict.word is Word.WAIT
    assert "perhaps more than the" in verdict.next_step
    surely = projection(mean=55.0, core=60.0, loss=limit * 1.5, chance_fit_now=0.0)
    assert readiness.judge(case(surely)).word is Word.STOP


def test_the_same_loss_in_dry_wood_or_in_a_wood_without_a_limit_is_not_stop():
    dry = projection(mean=18.0, loss=5.0, chance_fit_now=0.0)
    assert readiness.judge(case(dry)).word is Word.WAIT
    unknown = projection(mean=55.0, loss=5.0, chance_fit_now=0.0)
    assert readiness.judge(case(unknown, botanical_name="Platanus occidentalis")).word is Word.WAIT


def test_harm_is_said_even_when_the_wood_was_not_weighed_for_long_but_not_without_air():
    wet = projection(mean=55.0, core=60.0, loss=9.0, chance_fit_now=0.0)
    assert readiness.judge(case(replace(wet, measured=(weighed(50),)))).word is Word.STOP
    silent = readiness.judge(case(wet, air_at_ms=NOW - 4 * MS_PER_HOUR))
    assert silent.word is Word.CANT_SAY
    assert "not been heard for 4 h" in silent.reason and "it is losing 9.0 % a day" in silent.reason
    assert "cover it" in silent.next_step


def test_old_harm_is_not_told_in_the_present():
    wet = projection(mean=55.0, core=60.0, loss=9.0, chance_fit_now=0.0)
    later = wet.known_until_ms + 21 * MS_PER_DAY
    verdict = readiness.judge(case(wet, now_ms=later, air_at_ms=later))
    assert verdict.word is Word.CANT_SAY
    assert "losing" not in verdict.reason


def test_a_wood_without_a_limit_is_never_told_to_be_left_alone_while_it_is_wet():
    wet = projection(mean=55.0, core=60.0, loss=12.8, chance_fit_now=0.0)
    verdict = readiness.judge(case(wet, botanical_name="Platanus occidentalis"))
    assert verdict.word is Word.WAIT
    assert "no limit for this wood was found" in verdict.next_step


def test_wood_drier_than_the_use_takes_is_told_to_take_up_water():
    verdict = readiness.judge(case(projection(mean=5.0, chance_fit_now=0.0, ready_ms=(None, None, None))))
    assert (verdict.word, verdict.number) == (Word.WAIT, "too dry")
    assert "take up water" in verdict.next_step


def test_a_booking_beyond_the_look_ahead_is_not_judged_by_its_last_day():
    wet = projection(mean=16.0, chance_fit=np.zeros(6), chance_fit_now=0.0)
    assert readiness.judge(case(wet, booked_ms=NOW + 730 * MS_PER_DAY)).word is Word.WAIT


def test_a_booking_that_would_take_it_too_wet_is_stop():
    wet = projection(mean=16.0, chance_fit=np.zeros(6), chance_fit_now=0.0)
    verdict = readiness.judge(case(wet, booked_ms=NOW + 3 * MS_PER_DAY))
    assert verdict.word is Word.STOP
    assert "3 days" in verdict.reason and "16.0 %" in verdict.reason
    assert readiness.judge(case(wet, booked_ms=NOW - 5 * MS_PER_DAY)).word is Word.WAIT


def test_heat_on_wet_water_reclaimed_wood_is_stop():
    wet = projection(mean=80.0, core=90.0, chance_fit_now=0.0)
    hot = {"air_temperature_c": 41.0, "botanical_name": "Platanus occidentalis"}
    assert readiness.judge(case(wet, origin="water-reclaimed", **hot)).word is Word.STOP
    assert readiness.judge(case(wet, origin="fresh-sawn", **hot)).word is Word.WAIT


def test_wait_gives_days_with_their_band_or_says_not_here_and_what_to_do():
    drying = projection(mean=14.0, chance_fit_now=0.1)
    verdict = readiness.judge(case(drying))
    assert (verdict.word, verdict.number) == (Word.WAIT, "12 days")
    assert "12 days (1–30); 8 in 10 by 22 days, 95 in 100 by 40." in verdict.reason
    never = projection(mean=14.0, chance_fit_now=0.0, chance_ready=0.1, ready_ms=(None, None, None))
    verdict = readiness.judge(case(never))
    assert (verdict.word, verdict.number) == (Word.WAIT, "not here")
    assert "bring" in verdict.next_step.lower()


def days(count):
    return NOW + count * MS_PER_DAY


def not_here(**changes):
    usual = {"chance_fit_now": 0.0, "chance_ready": 0.0, "ready_ms": (None,) * 3, "ready_by_ms": (None,) * 3}
    return projection(**{"mean": 15.3, "holds_mc_pct": (14.1, 15.2, 16.4), **usual, **changes})


APRIL = 1_807_833_600_000  # 16 April 2027
BENCH = Option(
    name="to Bench room",
    from_ms=days(14),
    ready_ms=(days(40), days(60), days(95)),
    chance_ready=0.97,
    mc_pct=(20.1, 21.0, 22.3),
    loss_pct_per_day=(0.5, 0.7, 0.9),
    gradient_mc_pct=(4.9, 6.1, 7.4),
    end_mc_pct=(8.0, 9.0, 10.0),
)


def test_a_board_that_rests_where_its_air_holds_it_is_stalled_and_the_driest_month_is_named():
    resting = not_here(chance_at_rest=0.8, floor_mc_pct=(12.1, 13.0, 13.9), floor_ms=APRIL)
    verdict = readiness.judge(case(resting))
    assert (verdict.word, verdict.number) == (Word.WAIT, "no drier here")
    assert verdict.reason == (
        "It dries no further here: it stands at 15.3 % (14.8–15.8), and over the month to come this air holds it at "
        "15.2 % (14.1–16.4); the floor here, in April as expected, is 13.0 % (12.1–13.9): if it "
        "stays, no chance within a year. Wanted 5.8–11.2 %."
    )
    winter = readiness.judge(case(replace(resting, chance_at_rest=0.1, holds_mc_pct=(16.2, 18.5, 21.2))))
    assert winter.number == "no drier here"  # it will gain
    assert "this air holds it at 18.5 % (16.2–21.2)" in winter.reason
    planned = readiness.judge(case(replace(resting, legs=((days(30), "Bench room"),))))
    assert "the floor here, in April as expected, is 13.0 % (12.1–13.9): as planned, no chance" in planned.reason
    drying = readiness.judge(case(replace(resting, chance_at_rest=0.2)))
    assert drying.number == "not here"
    assert (
        "The floor here, in April as expected, is 13.0 % (12.1–13.9): if it stays, no chance within a year"
        in drying.reason
    )
    for gate in (gate for verdict in (verdict, drying) for gate in verdict.gates if gate.name == "moisture"):
        assert "This air holds it at 15.2 % (14.1–16.4) over the next month." in gate.sentence


def test_the_best_move_is_the_next_step_with_its_date_its_shock_and_what_the_wood_survives():
    verdict = readiness.judge(case(not_here(move=BENCH)))
    assert verdict.number == "move in 14 days"
    limit = stress.safe_loss("Quercus alba", 0.028).pct_per_day
    assert verdict.next_step == (
        "In 14 days bring it to Bench room, then at about 21.0 % (20.1–22.3): if moved then, fit there in about 60 "
        "days (40–95) from today. Expect 0.7 % a day at first (0.5–0.9) and a core 6.1 % "
        "(4.9–7.4) wetter than its shell."
    )
    harsh = replace(BENCH, loss_pct_per_day=(1.8, 2.4, limit + 1.0))
    assert "; no limit counts below 25 %)" in readiness.judge(case(not_here(move=harsh))).next_step
    wet = replace(harsh, mc_pct=(24.0, 26.0, 28.0))
    assert f"{limit:.1f} is survived, from memory)" in readiness.judge(case(not_here(move=wet))).next_step
    unknown = readiness.judge(case(not_here(move=BENCH), botanical_name="Platanus occidentalis"))
    assert "survived" not in unknown.next_step
    now = replace(BENCH, name="to Bench room", from_ms=NOW, ready_ms=(days(40), days(60), None))
    verdict = readiness.judge(case(not_here(move=now)))
    assert verdict.number == "not here"
    assert verdict.next_step.startswith(
        "Bring it to Bench room now, at 21.0 % (20.1–22.3): if moved now, fit there in about"
    )
    assert "(40–over 365)" in verdict.next_step
    damp = replace(BENCH, loss_pct_per_day=(-0.4, -0.2, -0.1))
    assert "Expect" not in readiness.judge(case(not_here(move=damp))).next_step


def test_until_a_move_the_board_is_tended_as_without_one():
    wet = not_here(mean=55.0, core=60.0, loss=2.0, move=BENCH, measured=(weighed(30, 60.0), weighed(20, 55.0)))
    verdict = readiness.judge(case(wet))
    assert verdict.next_step.startswith("It loses 2.0 % a day (1.6–2.4), perhaps more than")
    assert "In 14 days bring it to Bench room" in verdict.next_step


def test_a_long_wait_is_shortened_by_a_move_where_there_is_one():
    slow = {"ready_ms": (days(90), days(120), days(200)), "ready_by_ms": (days(120), days(160), None)}
    verdict = readiness.judge(case(projection(mean=14.0, chance_fit_now=0.1, move=BENCH, **slow)))
    assert verdict.number == "120 days"
    assert "bring it to Bench room" in verdict.next_step
    assert "8 in 10 by 160 days, 95 in 100 not within a year" in verdict.reason


def test_a_month_that_would_do_is_waited_for_where_no_place_is_better():
    verdict = readiness.judge(case(not_here(floor_mc_pct=(9.8, 10.6, 11.4), floor_ms=APRIL, chance_ready=0.3)))
    assert verdict.number == "until April"
    assert verdict.next_step.startswith("Wait until April, the driest month to come here.")
    assert "a chance of 30 in 100" in verdict.reason


@pytest.mark.parametrize(
    ("own_days", "kinds", "says"),
    [
        (9.0, ("weigh-in",), "leave ± 9 days."),
        (9.0, ("weigh-in", "oven-dry"), "leave ± 9 days."),
        (
            15.0,
            ("weigh-in",),
            "Nearly all of that is what its own measurements leave open.",
        ),
        (7.0, ("weigh-in",), ""),  # less than half of 29 days
        (None, ("weigh-in",), ""),
    ],
)
def test_a_date_says_what_its_own_measurements_leave_open_where_that_is_much_of_its_band(own_days, kinds, says):
    told = tuple(replace(weighed(2), kind=kind) for kind in kinds)
    drying = projection(mean=14.0, chance_fit_now=0.1, date_floor_days=own_days, measured=told)
    reason = readiness.judge(case(drying)).reason
    assert reason.endswith(says) if says else "measurements leave" not in reason


def test_the_yards_own_limit_stops_a_board_that_the_published_one_would_let_go_on_and_says_whose_it_is():
    limit = stress.safe_loss("Quercus alba", 0.028).pct_per_day
    wet = projection(mean=55.0, core=60.0, loss=limit * 0.8, chance_fit_now=0.0)
    wet = replace(wet, measured=(weighed(3), weighed(1)))
    assert readiness.judge(case(wet)).word is Word.WAIT
    told = "this yard's own: B12 checked at 1.6 % a day"
    verdict = readiness.judge(case(wet, own_loss=stress.LossLimit(limit * 0.7, told, told)))
    assert verdict.word is Word.STOP
    assert told in verdict.reason
    higher = stress.LossLimit(limit * 3.0, told, told)
    fast = replace(wet, loss_pct_per_day=(limit, limit * 1.2, limit * 1.5))
    verdict = readiness.judge(case(fast, own_loss=higher))
    assert verdict.word is Word.STOP
    assert "from memory" in verdict.reason


def test_a_wet_core_under_a_dry_shell_is_not_ready():
    verdict = readiness.judge(case(projection(shell=7.5, core=12.0, chance_level=0.1, ready_ms=(NOW, NOW, NOW))))
    assert verdict.word is Word.WAIT
    assert any(gate.name == "through the thickness" and gate.standing is Standing.NOT_YET for gate in verdict.gates)


def test_without_a_chosen_use_the_verdict_says_which_was_taken():
    assert "no use was chosen" in readiness.judge(case(use_chosen=False)).reason


def test_the_gravest_piece_decides_a_set_and_twins_must_agree():
    fit = readiness.judge(case())
    pieces = [together.Judged("left", projection(mean=9.5), fit), together.Judged("right", projection(mean=9.6), fit)]
    assert together.judge_set(pieces).word is Word.READY
    apart = [pieces[0], together.Judged("right", projection(mean=10.4), fit)]
    verdict = together.judge_set(apart)
    assert (verdict.word, verdict.number) == (Word.WAIT, "0.9 % apart")
    blurred = projection(mean=9.6, off_target_mc_pct=(-2.0, 0.4, 3.0))
    verdict = together.judge_set([pieces[0], together.Judged("right", blurred, fit)])
    assert verdict.word is Word.CANT_SAY
    assert "cannot be told" in verdict.reason
    unsure = readiness.judge(case(projection(measured=())))
    assert together.judge_set([*pieces, together.Judged("brace", projection(), unsure)]).word is Word.CANT_SAY
    assert together.judge_set([]).word is Word.CANT_SAY


def test_a_stack_says_how_many_of_its_boards_were_measured():
    waiting = readiness.judge(case(projection(mean=14.0, chance_fit_now=0.0)))
    verdict = together.judge_stack(
        [
            together.Judged("a", projection(mean=14.0), waiting),
            together.Judged("b", projection(mean=15.0, measured=()), waiting),
        ],
        1,
    )
    assert verdict.word is Word.WAIT
    assert verdict.reason.startswith("b decides")
    assert "1 of 2 boards" in verdict.evidence[0]


# Safe daily loss: 8/4 stock must lose 2.5 times more slowly than 4/4 (E. M. Wengert, 2000). The rates are from memory.
def test_safe_loss_follows_the_published_thickness_rule():
    thin, thick = (stress.safe_loss("Quercus alba", t).pct_per_day for t in (0.0254, 0.0508))
    assert thin / thick == pytest.approx(2.5, rel=0.03)
    assert stress.safe_loss("Quercus alba", 0.012).pct_per_day == thin
    assert stress.safe_loss("Platanus occidentalis", 0.0254) is None


def known_by(verdict):
    return next(gate for gate in verdict.gates if gate.name == "known by")


def measured_by(kind, mc=9.5, ground=True):
    return (Measured(NOW - 2 * MS_PER_DAY, kind, mc, 0.6, 0.1, "", ground),)


def test_what_is_only_remembered_of_a_wood_makes_nothing_ready():
    # Weighed once, the moisture hangs on remembered density and rates, however sure the model is.
    once = readiness.judge(case(projection(measured=(weighed(1),))))
    assert once.word is Word.CANT_SAY
    assert known_by(once).standing is Standing.NOT_KNOWN
    assert "remembered" in known_by(once).sentence
    assert "bag test" in once.next_step


@pytest.mark.parametrize("kind", ["pin", "oven-dry", "bag test"])
def test_wood_that_was_itself_measured_needs_no_checked_hygrometer(kind):
    assert readiness.judge(case(projection(measured=measured_by(kind)), air_checked_since_ms=None)).word is Word.READY


def test_wood_at_rest_is_known_by_its_air_only_when_that_hygrometer_was_checked():
    assert readiness.judge(case(air_checked_since_ms=0)).word is Word.READY
    unchecked = readiness.judge(case(air_checked_since_ms=None))
    assert unchecked.word is Word.CANT_SAY
    assert "checked hygrometer" in " ".join(known_by(unchecked).sentence.split())


def test_wood_that_still_loses_weight_is_not_known_by_its_air():
    moving = projection(measured=(weighed(9, 11.0), weighed(1, 9.5)))
    assert known_by(readiness.judge(case(moving))).standing is Standing.NOT_KNOWN


def test_a_saturation_point_that_is_only_remembered_is_not_enough_with_pins_but_is_with_a_bag():
    pins, bag = (
        readiness.judge(case(projection(measured=measured_by(k)), fsp_remembered=True)) for k in ("pin", "bag test")
    )
    assert pins.word is Word.CANT_SAY
    assert bag.word is Word.READY


def test_a_reading_beyond_what_its_instrument_can_tell_is_no_ground():
    beyond = projection(measured=measured_by("pin", 27.0, ground=False))
    assert known_by(readiness.judge(case(beyond))).standing is Standing.NOT_KNOWN


def test_a_misread_hygrometer_blurs_twins_that_lie_apart_but_not_those_in_one_air():
    fit = readiness.judge(case())
    blurred = projection(off_target_mc_pct=(-0.6, 0.3, 1.2))
    pair = [together.Judged("left", blurred, fit), together.Judged("right", blurred, fit)]
    assert together.judge_set(pair, in_one_air=True).word is Word.READY
    assert together.judge_set(pair).word is Word.CANT_SAY


def test_a_check_of_today_does_not_vouch_for_the_air_in_which_the_wood_came_to_rest():
    today = readiness.judge(case(air_checked_since_ms=NOW - MS_PER_DAY // 2))
    assert today.word is Word.CANT_SAY
    assert "not all of that was" in known_by(today).sentence
    assert readiness.judge(case(air_checked_since_ms=NOW - 20 * MS_PER_DAY)).word is Word.READY


def test_a_scale_too_coarse_for_the_piece_cannot_show_that_it_rests():
    coarse = tuple(replace(weighed(days), scale_error_mc_pct=7.0) for days in (9, 1))
    fine = tuple(replace(weighed(days), scale_error_mc_pct=0.1) for days in (9, 1))
    assert readiness.judge(case(projection(measured=fine))).word is Word.READY
    verdict = readiness.judge(case(projection(measured=coarse)))
    assert verdict.word is Word.CANT_SAY
    assert "too coarse" in known_by(verdict).sentence


def test_pins_at_two_depths_decide_whether_the_core_is_level():
    apart = readiness.judge(case(projection(pin_gap_mc_pct=(5.0, 1.5), chance_level=0.05)))
    assert apart.word is not Word.READY
    assert any("By its pins" in gate.sentence for gate in apart.gates)


def test_wood_out_of_the_water_that_was_not_stacked_is_stop_with_its_clock_its_smell_and_its_weight():
    clock = water_clock.clock(np.full(24, 12.0), 24.0, 12.0, stopped=False)
    foul = reclaimed.triage(reclaimed.Signs(smell=reclaimed.SOUR, shake=True))
    log = case(waiting=evidence.Waiting(clock, (205.0, 230.0, 246.0)), out_of_water=foul, air_at_ms=None)
    verdict = readiness.judge(log)
    assert verdict.word is Word.STOP and verdict.number == "foul smell"
    assert verdict.reason.startswith("Foul smell: it may be a gas that poisons, and no smell left does not mean no gas")
    assert verdict.next_step.startswith("Out first: open the doors from outside, let it air; nobody goes in alone;")
    assert "Saw it within" in verdict.next_step and "246 kg: use gear" in verdict.next_step
    light = replace(log, waiting=evidence.Waiting(clock, (4.0, 5.0, 6.0)), out_of_water=None)
    assert "gear" not in readiness.judge(light).next_step
    assert "left" in readiness.judge(light).number


def test_wood_that_is_fit_in_air_that_makes_it_damper_is_to_be_used_now():
    verdict = readiness.judge(case(projection(holds_mc_pct=(11.0, 12.4, 13.8))))
    assert verdict.word is Word.READY
    assert verdict.next_step == "Use it now, or move it: this air makes it damper, and holds it at 12.4 % (11.0–13.8)."
