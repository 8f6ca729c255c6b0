"""What to measure next: by how much each measurement would narrow what is not known, and that the answer flips."""

from dataclasses import replace

import numpy as np
import pytest

from kiln import drying, ensemble, estimation, forecast, gates, observations, telling
from kiln.air import ProbeHours, merge
from kiln.meters import Pin
from kiln.records import Tells
from kiln.telling import Measurement
from shared import tables
from shared.units import MS_PER_DAY, MS_PER_HOUR

NOW_MS = 1_795_600_800_000 // MS_PER_HOUR * MS_PER_HOUR


def crowd_of(thickness_m, origin, days=40, data=(), scale_kg=0.001, rh_error_pct=1.0):
    """A board in invented air of 50 %RH; ``data`` days before now on which it was weighed."""
    hours = days * 24
    at_ms = NOW_MS - (hours - np.arange(hours)) * MS_PER_HOUR
    still = np.zeros(hours, bool)
    swing = 2.0 * np.sin(np.arange(hours) / 3.8)
    air = merge([ProbeHours(at_ms, 20.0 + 0.2 * swing, 50.0 + swing, still, still)], int(at_ms[0]), NOW_MS)
    ash = tables.find_species("Fraxinus americana")
    spells = drying.one_spell(thickness_m, "room", in_stack=False)
    piece = drying.Piece(ash, thickness_m, 0.2, 0.8, origin, spells, rh_error_pct=rh_error_pct)
    mass = float(np.exp(drying.prior(piece).centre[0])) * 1.15
    weighed = [observations.weigh_in(NOW_MS - d * MS_PER_DAY, mass * (1 + 0.001 * d), scale_kg) for d in data]
    asked = forecast.Question(piece, air, air, tuple(weighed), tables.uses()["machine"], 50.0, 20.0)
    return ensemble.ensemble(asked, days=60)


def told(crowd):
    return forecast.told(crowd).tells


def best(crowd, condition):
    found = telling.best(told(crowd), condition)
    return None if found is None else found.measurement


def test_of_a_thick_part_seasoned_board_weighing_tells_nothing_of_the_core_and_pins_do():
    crowd = crowd_of(0.05, "part-seasoned", days=10, data=(9, 5, 1))
    assert best(crowd, "through the thickness") == Measurement.TWO_PINS
    by = {one.measurement: one for one in told(crowd) if one.condition == "through the thickness"}
    assert by[Measurement.WEIGH].after > 0.95 * by[Measurement.WEIGH].before


def test_of_a_thin_plate_a_bag_tells_what_an_oven_would_have_to_cut_for():
    crowd = crowd_of(0.004, "part-seasoned", data=(20, 10, 1), rh_error_pct=0.7)
    assert best(crowd, "moisture") == Measurement.BAG


def test_the_answer_flips_with_what_is_known_already():
    """A board of unknown mass is weighed first; once it was, something else is asked."""
    fresh = crowd_of(0.028, "fresh-sawn", days=3)
    weighed = crowd_of(0.028, "fresh-sawn", days=30, data=(29, 20, 10, 0))
    first = {one.measurement: one.after / one.before for one in told(fresh) if one.condition == "moisture"}
    later = {one.measurement: one.after / one.before for one in told(weighed) if one.condition == "moisture"}
    assert first[Measurement.SECTION] < first[Measurement.WEIGH]
    assert later[Measurement.WEIGH] > 0.97
    assert best(weighed, "moisture") not in (None, Measurement.WEIGH)


def test_a_coarse_scale_makes_weighing_tell_less():
    fine, coarse = (crowd_of(0.028, "fresh-sawn", days=20, data=(19,), scale_kg=error) for error in (0.001, 0.2))
    left = [
        next(one.after / one.before for one in told(one_crowd) if (one.condition, one.measurement) == ("steady", name))
        for one_crowd, name in ((fine, Measurement.WEIGH), (coarse, Measurement.WEIGH))
    ]
    assert left[0] < left[1]


def test_an_unchecked_hygrometer_is_asked_for_and_a_checked_one_is_not():
    unchecked, checked = (crowd_of(0.004, "part-seasoned", data=(20, 10, 1), rh_error_pct=rh) for rh in (3.0, 0.7))
    assert any(one.measurement == Measurement.CHECK for one in told(unchecked))
    assert not any(one.measurement == Measurement.CHECK for one in told(checked))


def test_without_errors_what_is_left_is_what_a_straight_line_leaves():
    """Conditional variance of a normal vector is the residual variance of least squares: numpy's own, as reference."""
    chance = np.random.default_rng(5)
    y = chance.standard_normal((400, 2))
    q = y @ [0.8, -0.3] + 0.5 * chance.standard_normal(400)
    reading = telling._Reading(Measurement.TWO_PINS, y, np.zeros((2, 2)))
    design = np.column_stack([np.ones(400), y])
    _, residual, *_ = np.linalg.lstsq(design, q, rcond=None)
    assert telling._left(q, reading) == pytest.approx(float(residual[0]) / (400 * np.var(q)), rel=1e-9)


def test_a_normal_quantity_read_with_an_error_is_left_with_its_textbook_variance():
    """Prior variance V, reading error R: V R / (V + R) is left (conjugate normal; Gelman and others, 2013, 2.5)."""
    q = np.random.default_rng(6).standard_normal(200_000) * 2.0
    reading = telling._Reading(Measurement.SECTION, q[:, None], np.array([[1.0]]))
    assert telling._left(q, reading) == pytest.approx(1.0 / (4.0 + 1.0), rel=0.02)


def test_what_is_foretold_of_a_section_comes_true_in_the_refit():
    """The band of the mean after an oven-dried section is about as foretold before it."""
    crowd = crowd_of(0.028, "fresh-sawn", days=20, data=(19, 10, 1))
    before = next(o for o in told(crowd) if (o.condition, o.measurement) == ("moisture", Measurement.SECTION))
    mean = float(np.median(crowd.mean_mc_pct[:, crowd.now]))
    section = estimation.Datum("oven-dry", NOW_MS, mean, telling.SECTION_SCATTER_MC_PCT)
    asked = replace(crowd.question, data=(*crowd.question.data, section))
    off = forecast.told(ensemble.ensemble(asked, days=60)).off_target_mc_pct
    assert before.after < 0.9 * before.before
    assert (off[2] - off[0]) / 2.0 == pytest.approx(before.after, rel=0.35)


def test_pins_that_only_say_that_it_is_wet_are_not_asked_for():
    wet = crowd_of(0.05, "water-reclaimed", days=5)
    assert not any(one.measurement in (Measurement.PIN, Measurement.TWO_PINS) for one in told(wet))


def test_the_easier_of_two_that_are_nearly_as_good_is_asked_for_and_nothing_where_nothing_tells():
    near = (Tells(Measurement.SECTION, "moisture", 2.0, 1.0), Tells(Measurement.WEIGH, "moisture", 2.0, 1.1))
    far = (Tells(Measurement.SECTION, "moisture", 2.0, 1.0), Tells(Measurement.WEIGH, "moisture", 2.0, 1.7))
    none = (Tells(Measurement.SECTION, "moisture", 2.0, 1.9),)
    assert telling.best(near, "moisture").measurement == Measurement.WEIGH
    assert telling.best(far, "moisture").measurement == Measurement.SECTION
    assert telling.best(none, "moisture") is None
    assert telling.sentence(near[1]) == "Weigh it now: that would tell its moisture to ± 1.1 % instead of ± 2.0 %."


def test_a_pin_reading_of_the_meter_is_what_the_physics_takes_it_for():
    assert observations.pin(NOW_MS, 0.0125, Pin(12.0, 21.1, thickness_m=0.05)).depth_share == pytest.approx(0.5)


def test_what_is_told_of_goes_by_the_names_of_the_conditions():
    """So that a condition that is not sure finds its measurement."""
    names = {one.condition for one in told(crowd_of(0.004, "part-seasoned", data=(20, 10, 1), rh_error_pct=3.0))}
    assert {gates.MOISTURE, gates.LEVEL, gates.STEADY, gates.ROOM} <= names
    room = telling.best((Tells(Measurement.CHECK, gates.ROOM, 2.0, 0.8),), gates.ROOM)
    assert room is not None and room.measurement == Measurement.CHECK


def test_before_a_section_is_dried_it_is_said_what_the_oven_asks_for():
    told = telling.sentence(Tells(Measurement.SECTION.value, telling.LEVEL, 2.0, 1.0))
    assert told.endswith("Not in an oven that food goes into; ventilate; never leave it unattended.")
