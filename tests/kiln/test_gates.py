"""The conditions of a use beyond moisture: the room, water of gluing, the hygrometer, the scale; and sets."""

from dataclasses import replace

import numpy as np
import pytest

from kiln import gates, readiness, together, twins
from kiln.calibrated import as_held
from kiln.limits import USUAL
from kiln.plateau import Plateau
from kiln.records import Measured, Standing, Word
from shared import tables
from shared.units import MS_PER_DAY
from tests.kiln.test_readiness import NOW, case, projection, weighed

GLUE, FINISH = tables.uses()["glue"], tables.uses()["finish"]
ROOM = {"chance_room": 0.99, "room_mc_pct": (8.6, 9.1)}


def gate(verdict, name):
    return gates.named(verdict.gates, name)


def glue(**changes):
    room = {**ROOM, **changes.pop("room", {})}
    return case(projection(**room, **changes.pop("made", {})), use=GLUE, **changes)


def test_a_plate_in_the_right_room_with_a_checked_hygrometer_may_be_glued():
    verdict = readiness.judge(glue())
    assert verdict.word is Word.READY
    assert gate(verdict, gates.ROOM).standing is Standing.MET
    assert "8.6–9.1 %" in gate(verdict, gates.ROOM).sentence


def test_wood_that_is_fit_waits_for_its_room():
    verdict = readiness.judge(
        glue(room={"chance_room": 0.2, "room_mc_pct": (10.0, 12.4)}, made={"fit_members": np.zeros(64, bool)})
    )
    assert (verdict.word, verdict.number) == (Word.WAIT, "room")
    assert "45 %RH" in verdict.next_step and "The wood itself is fit" in verdict.reason


@pytest.mark.parametrize(
    ("changes", "number", "says"),
    [
        ({"air_checked_since_ms": None}, "hygrometer?", "Never checked"),
        ({"room": {"chance_room": None, "room_mc_pct": None}}, "no air", "not on record"),
    ],
)
def test_a_room_that_nobody_can_vouch_for_is_not_ready(changes, number, says):
    bag = (Measured(NOW - MS_PER_DAY, "bag test", 9.0, 0.4, 0.1, ""),)
    verdict = readiness.judge(glue(**{"made": {"measured": bag}, **changes}))
    assert (verdict.word, verdict.number) == (Word.CANT_SAY, number)
    assert says in verdict.reason


def test_a_use_without_a_room_does_not_ask_for_one():
    verdict = readiness.judge(case())
    assert gate(verdict, gates.ROOM) is None and gate(verdict, gates.HYGROMETER) is None


def test_water_of_gluing_is_given_its_days_to_leave():
    wet = readiness.judge(glue(watered_ms=NOW - 2 * MS_PER_DAY))
    assert (wet.word, wet.number) == (Word.WAIT, "5 days")
    dry = readiness.judge(glue(watered_ms=NOW - 8 * MS_PER_DAY))
    assert dry.word is Word.READY
    assert gate(dry, gates.WATER).standing is Standing.MET


def test_of_a_finish_it_is_only_said_that_the_wood_is_dry_enough():
    verdict = readiness.judge(replace(glue(), use=FINISH))
    assert verdict.word is Word.DRY_ENOUGH
    told = f"{verdict.word} {verdict.reason} {verdict.next_step} {' '.join(g.sentence for g in verdict.gates)}"
    assert "READY" not in told and "not judged here" in verdict.next_step
    assert all(g.standing in Standing for g in verdict.gates)


def test_one_percent_of_a_60_g_piece_is_too_little_for_a_kitchen_scale():
    """0.56 g: 1 % of the 55.6 g of oven-dry wood in a 60 g piece at 8 %MC; arithmetic of the definition."""
    light = {"oven_dry_mass_kg": (0.054, 0.0556, 0.057)}
    told = projection(**light, measured=tuple(replace(weighed(d), scale_error_mc_pct=1.8) for d in (9, 1)))
    verdict = readiness.judge(case(told))
    assert verdict.word is Word.CANT_SAY and verdict.number == "scale?"
    assert "0.56 g" in verdict.reason
    fine = projection(**light, measured=tuple(replace(weighed(d), scale_error_mc_pct=0.1) for d in (9, 1)))
    assert readiness.judge(case(fine)).word is Word.READY


def test_work_that_has_begun_on_wet_wood_stops():
    wet = projection(mean=14.0, chance_fit=np.zeros(6), chance_fit_now=0.0)
    verdict = readiness.judge(case(wet, begun=True))
    assert verdict.word is Word.STOP and "work has begun" in verdict.reason
    assert readiness.judge(case(wet)).word is Word.WAIT
    assert readiness.judge(case(begun=True)).word is Word.READY


def test_two_targets_that_contradict_each_other_can_not_say():
    said = "45 %RH at 20 °C is 8.5 %MC; 6–8 %MC would need 29–42 %RH. Both cannot hold: choose one."
    verdict = readiness.judge(case(contradiction=said))
    assert (verdict.word, verdict.number) == (Word.CANT_SAY, "two targets")
    assert said in verdict.reason


def test_conditions_that_are_each_likely_may_not_be_so_together():
    each = {"chance_moisture": 0.92, "chance_level": 0.92, "chance_steady": 0.92}
    verdict = readiness.judge(case(projection(**each, chance_fit_now=0.8, ready_ms=(NOW, NOW, NOW))))
    assert verdict.word is Word.WAIT
    assert "all of them together with 80 in 100" in verdict.reason


def test_limits_of_the_yards_own_are_those_that_count():
    made = projection(chance_fit_now=0.85, chance_moisture=0.95, ready_ms=(NOW, NOW, NOW))
    assert readiness.judge(case(made)).word is Word.WAIT
    assert readiness.judge(case(made, limits=replace(USUAL, sure=0.8))).word is Word.READY
    old = projection(measured=(weighed(60),))
    assert readiness.judge(case(old)).word is Word.CANT_SAY
    verdict = readiness.judge(case(old, limits=replace(USUAL, measured_within=90.0)))
    assert gate(verdict, gates.MEASURED).standing is Standing.MET


# --- sets ------------------------------------------------------------------------------------------


def piece(name, lot=None, **changes):
    made = projection(**changes)
    return together.Judged(name, made, readiness.judge(case(made)), lot, twin=True)


def plateau(distance, error, chance):
    return Plateau(distance, error, chance, 0.15, 0.002, 4, 21.0, None, "", "")


def test_the_chance_of_a_set_is_that_of_all_its_pieces_in_one_member_after_another():
    first, second = np.arange(64) < 60, np.arange(64) >= 4
    alike = [piece("left", "lot", fit_members=first), piece("right", "lot", fit_members=first)]
    crossed = [piece("left", "lot", fit_members=first), piece("right", "lot", fit_members=second)]
    apart = [piece("left", "a", fit_members=first), piece("right", "b", fit_members=second)]
    assert together.chance_of_all(alike) == pytest.approx(as_held(60 / 64))
    assert together.chance_of_all(crossed) == pytest.approx(as_held(56 / 64))
    assert together.chance_of_all(apart) == pytest.approx(as_held(60 / 64) ** 2)


def test_a_set_is_never_surer_than_the_least_sure_of_its_pieces():
    some = np.arange(64) < 60
    pieces = [piece("left", "lot", fit_members=some), piece("right", "lot", fit_members=some, chance_fit_now=0.6)]
    assert together.chance_of_all(pieces) == 0.6


def test_five_pieces_of_which_each_is_likely_wait_when_all_together_are_not():
    chance = np.random.default_rng(3)
    five = [piece(f"P{k}", k, fit_members=chance.random(64) < 0.95, chance_fit_now=0.95) for k in range(5)]
    verdict = together.judge_set(five, in_one_air=True)
    assert verdict.word is Word.WAIT and "all together" in verdict.reason
    assert verdict.probability < 0.9


def test_twins_agree_by_their_own_plateaus_whatever_the_model_is_unsure_of():
    blurred = {"off_target_together_mc_pct": (-2.0, 0.4, 3.0), "off_target_mc_pct": (-2.0, 0.4, 3.0)}
    pair = [piece(name, "lot", **blurred, plateau=plateau(0.0002, 0.0004, 0.999)) for name in ("left", "right")]
    assert together.judge_set(pair, in_one_air=True).word is Word.READY
    assert together.judge_set(pair).word is Word.CANT_SAY  # in two rooms no plateau compares them
    drying = [pair[0], piece("right", "lot", **blurred, plateau=plateau(0.006, 0.0004, 0.0001))]
    verdict = together.judge_set(drying, in_one_air=True)
    assert verdict.word is Word.WAIT and "+0.60 %" in verdict.reason


def test_twins_agree_by_their_bags():
    blurred = {"off_target_mc_pct": (-2.0, 0.4, 3.0)}

    def bagged(name, mc):
        test = Measured(NOW - MS_PER_DAY, "bag test", mc, 0.15, 0.1, "")
        return piece(name, "lot", **blurred, measured=(test,))

    assert together.judge_set([bagged("left", 9.0), bagged("right", 9.1)]).word is Word.READY
    far = together.judge_set([bagged("left", 9.0), bagged("right", 10.4)])
    assert far.number == "1.4 % apart"
    # By hand: 1.28 standard errors hold eight in ten of a normal distribution; 0.15 √2 = 0.21
    apart = gate(far, twins.NAME).apart
    assert (apart.by, apart.standing, apart.allowed_pct) == ("bag tests", Standing.NOT_YET, USUAL.twins_apart)
    assert apart.pct == pytest.approx((1.4 - 1.28 * 0.2121, 1.4, 1.4 + 1.28 * 0.2121), abs=0.001)


def test_how_far_twins_lie_apart_is_told_by_the_best_that_is_known():
    settled = [piece(name, "lot", plateau=plateau(off, 0.0004, 0.999)) for name, off in (("l", 0.0002), ("r", -0.0006))]
    apart = gate(together.judge_set(settled, in_one_air=True), twins.NAME).apart
    assert (apart.by, apart.allowed_pct) == ("weights", USUAL.plateau)
    assert apart.pct == pytest.approx((0.06 - 1.28 * 0.04, 0.06, 0.06 + 1.28 * 0.04), abs=0.001)
    by_model = gate(together.judge_set(settled), twins.NAME).apart  # in two rooms no plateau compares them
    assert (by_model.by, by_model.allowed_pct) == ("model", USUAL.twins_apart)
    assert by_model.pct[0] == 0.0 and by_model.pct[2] > 0.0


def test_a_brace_says_how_far_it_lies_from_the_halves_and_on_which_side():
    halves = [piece("left", "lot"), piece("right", "lot")]
    damp = together.Judged("neck", projection(mean=12.6), readiness.judge(case()), None, twin=False)
    said = together.judge_set([*halves, damp])
    left, _right, neck = said.pieces
    assert left.apart is None
    assert neck.apart.pct[1] == pytest.approx(3.1, abs=0.05)  # as the condition of all pieces has it
    assert neck.apart.standing is Standing.NOT_YET and neck.apart.allowed_pct == USUAL.pieces_apart
    assert all(one.apart is None for one in together.judge_stack([*halves, damp], 3).pieces)


def test_only_the_halves_are_compared_where_somebody_said_which_they_are():
    halves = [piece("left", "lot"), piece("right", "lot")]
    brace = together.Judged("brace", projection(mean=10.4), readiness.judge(case()), None, twin=False)
    verdict = together.judge_set([*halves, brace])
    assert verdict.word is Word.READY
    assert [gate.name for gate in verdict.gates][:2] == [twins.NAME, twins.TOGETHER]
    far = together.Judged("neck", projection(mean=12.6), readiness.judge(case()), None, twin=False)
    verdict = together.judge_set([*halves, far])
    assert (verdict.word, verdict.number) == (Word.WAIT, "pieces apart")
    assert "3.1 % apart" in verdict.reason and "2 is allowed" in verdict.reason
    assert twins.agreement([], in_one_air=True, limits=USUAL) is None


def test_a_finished_and_a_ready_piece_make_a_set_of_which_only_dryness_is_said():
    wood = readiness.judge(replace(glue(), use=FINISH))
    mixed = [piece("left", "lot"), together.Judged("right", projection(), wood, "lot", twin=True)]
    assert together.judge_set(mixed).word is Word.DRY_ENOUGH


def test_the_sentence_of_the_room_names_the_air_of_the_target_it_tells():
    """8.5 %MC belongs to 45 %RH at 20 °C: Wood Handbook FPL-GTR-282, 2021, Equation 4-5."""
    plate = glue(made={"target_mc_pct": 8.5, "wanted_mc_pct": (6.2, 9.5)})
    told = gate(readiness.judge(plate), gates.ROOM).sentence
    assert "air of 45 %RH holds it at 8.5 %" in told
    assert (
        "wanted 6.2–9.5 %: 8.5 % ± 1, and lower for wood that gained"
        in gate(readiness.judge(plate), gates.MOISTURE).sentence
    )


def test_what_is_fit_and_booked_says_whether_it_will_be_on_that_day():
    chances = np.array([0.0, 0.0, 0.99, 0.4, 0.4, 0.4])
    booked = readiness.judge(glue(booked_ms=NOW + 10 * MS_PER_DAY, made={"chance_fit": chances}))
    assert booked.word is Word.READY
    assert "in 10 days: if it stays here, its wood is fit that day with 40 in 100" in booked.on_the_day.sentence
    far = readiness.judge(glue(booked_ms=NOW + 900 * MS_PER_DAY)).on_the_day
    assert "too far ahead to tell" in far.sentence and far.probability is None
    assert readiness.judge(glue()).on_the_day is None and readiness.judge(glue(booked_ms=NOW)).on_the_day is None
    alone = together.judge_set([together.Judged("left", projection(), booked)])
    assert alone.on_the_day == booked.on_the_day


def test_a_set_tells_the_figures_of_both_pieces():
    sure = {"chance_fit_now": 1.0, "fit_members": np.ones(64, bool)}
    dry, damp = (readiness.judge(case(projection(mean=mean, **sure))) for mean in (9.0, 9.3))
    pair = [together.Judged("left", projection(mean=9.0, **sure), dry)]
    pair.append(together.Judged("right", projection(mean=9.3, **sure), damp))
    assert together.judge_set(pair).number == "9.0 and 9.3 %"
    assert together.judge_set([*pair, pair[0]]).number == "9.0–9.3 %"
    assert together.judge_set([pair[0]]).number == "9.0 %"


def test_of_two_of_one_word_the_one_less_likely_to_be_fit_decides():
    near, far = (
        projection(mean=mean, chance_moisture=chance, chance_fit_now=chance, chance_fit=np.full(6, chance))
        for mean, chance in ((11.0, 0.3), (15.0, 0.01))
    )
    pair = [together.Judged(name, made, readiness.judge(case(made))) for name, made in (("left", near), ("right", far))]
    said = together.judge_set(pair)
    assert said.word is Word.WAIT and said.reason.startswith("right decides, the less likely to be fit. ")
    assert gate(said, gates.MOISTURE).sentence.startswith("right: ")
