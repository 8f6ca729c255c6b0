"""What was seen of wood out of the water, what it changes, and the milder limit to its drying."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import reclaimed, wood
from kiln.errors import OutOfRange
from kiln.reclaimed import RECLAIMED, Grade, Signs, lighter_than_sound, milder_loss, triage
from kiln.stress import LossLimit, safe_loss
from shared.errors import BadInput
from shared.tables import constants, rows, species
from shared.tables.loading import PLAUSIBLE_CONSTANTS, check_constant

LOOKED = Signs("fresh", "none on it", shake=False, smell="none", washed=True, metal_searched=True)
OAK = LossLimit(3.8, "a table", "from memory")
SYCAMORE = species()["Platanus occidentalis"]


# E. M. Wengert, Drying oak lumber, step 1, 2012: shake, potentially with a foul odour, indicates bacteria, and such
# wood is difficult or impossible to dry without checks and honeycomb.
def test_foul_smell_and_shake_together_are_the_marks_of_bacterial_wood():
    found = triage(replace(LOOKED, smell="sour or sulphurous", shake=True))
    assert found.grade is Grade.BACTERIAL
    assert found.weak
    assert "honeycomb" in found.reason


@pytest.mark.parametrize(
    ("seen", "weak"),
    [({"shake": True}, True), ({"smell": "sour or sulphurous"}, False), ({"light": True}, True)],
)
def test_one_mark_alone_is_doubtful(seen, weak):
    found = triage(replace(LOOKED, **seen))
    assert found.grade is Grade.DOUBTFUL
    assert found.weak is weak


def test_no_mark_seen_is_not_called_sound():
    found = triage(LOOKED)
    assert found.grade is Grade.CLEAR
    assert "does not show that the wood within is sound" in found.reason
    assert found.before_sawing == ()


@pytest.mark.parametrize("seen", [{"shake": None}, {"smell": "unknown"}])
def test_where_nobody_looked_nothing_is_concluded(seen):
    found = triage(replace(LOOKED, **seen))
    assert found.grade is Grade.UNSEEN
    assert "nobody" in found.reason.lower()


def test_an_empty_entry_asks_for_everything():
    found = triage(Signs())
    assert found.grade is Grade.UNSEEN
    assert len(found.before_sawing) == 2


def test_washing_comes_before_the_detector_and_both_before_the_saw():
    assert [step.split()[0] for step in triage(replace(LOOKED, washed=False, metal_searched=False)).before_sawing] == [
        "Wash",
        "Search",
    ]


@pytest.mark.parametrize("water", ["salt", "brackish"])
def test_salt_in_the_water_sends_to_the_scale(water):
    said = " ".join(triage(replace(LOOKED, water=water)).changes)
    assert "weigh it instead" in said
    assert "oven-dry mass" in said
    assert "weigh it instead" not in " ".join(triage(LOOKED).changes)


def test_a_sulphurous_smell_goes_into_the_open_air_and_tar_is_not_sawn():
    foul = triage(replace(LOOKED, smell="sour or sulphurous"))
    assert "open air" in foul.next_step
    assert reclaimed.FOUL_TOPIC in foul.topics
    tarred = triage(replace(LOOKED, smell="tar or creosote"))
    assert "Do not saw it yet" in tarred.next_step
    assert reclaimed.TAR_TOPIC in tarred.topics


def test_every_topic_has_its_cautions():
    known = {row["topic"] for row in rows("cautions")}
    for smell in ("none", "sour or sulphurous", "tar or creosote", "unknown"):
        assert set(triage(replace(LOOKED, smell=smell)).topics) <= known


@given(
    st.sampled_from(["fresh", "brackish", "salt", "unknown"]),
    st.sampled_from(["sound", "lost", "none on it", "unknown"]),
    st.sampled_from([True, False, None]),
    st.sampled_from(["none", "sour or sulphurous", "tar or creosote", "unknown"]),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
def test_whatever_was_seen_has_a_class_a_reason_and_a_next_step_and_is_never_called_safe(
    water, sapwood, shake, smell, washed, searched, light
):
    found = triage(Signs(water, sapwood, shake, smell, washed, searched, light))
    words = " ".join((found.reason, *found.changes, *found.before_sawing, found.next_step))
    assert found.reason.endswith(".")
    assert found.next_step
    assert "safe" not in words.lower()


def test_lighter_than_any_sound_piece_is_told_by_density_alone_only_where_it_is_sure():
    usual = float(wood.density_at_mc_kg_m3(SYCAMORE.basic_specific_gravity, 12.0, SYCAMORE.shrinkage_volumetric_pct))
    assert not lighter_than_sound(usual, SYCAMORE)
    assert lighter_than_sound(0.6 * usual, SYCAMORE)
    soaked = SYCAMORE.basic_specific_gravity * 0.6 * 1000 * 2.6  # rotten, at 160 %MC: no lighter than sound wood, dry
    assert not lighter_than_sound(soaked, SYCAMORE)
    assert lighter_than_sound(soaked, SYCAMORE, mc_pct=160.0)
    with pytest.raises(OutOfRange, match="density"):
        lighter_than_sound(0.0, SYCAMORE)


def test_refractory_heartwood_out_of_the_water_gets_a_milder_limit_and_nothing_else_does():
    milder = milder_loss(OAK, "Quercus rubra", RECLAIMED, None, refractory=True)
    assert milder.pct_per_day == pytest.approx(0.6 * 3.8)
    assert "Drying sinker wood" in milder.source
    assert milder_loss(OAK, "Quercus rubra", "fresh-sawn", None, refractory=True) is OAK
    assert milder_loss(OAK, "Acer rubrum", RECLAIMED, None, refractory=False) is OAK
    assert milder_loss(OAK, "Acacia koa", RECLAIMED, None, refractory=None) is OAK


def test_no_figure_is_invented_where_none_is_published():
    assert milder_loss(None, "Tectona grandis", RECLAIMED, None, refractory=True) is None
    assert milder_loss(None, "Tectona grandis", RECLAIMED, triage(LOOKED), refractory=True) is None


def test_weak_wood_loses_no_more_than_one_percent_a_day_and_thick_wood_less():
    weak = triage(replace(LOOKED, shake=True, smell="sour or sulphurous"))
    assert milder_loss(OAK, "Quercus rubra", RECLAIMED, weak, refractory=True).pct_per_day == 1.0
    assert milder_loss(None, "Tectona grandis", RECLAIMED, weak, refractory=True).pct_per_day == 1.0
    thick = safe_loss("Quercus alba", 0.0508)
    assert milder_loss(thick, "Quercus alba", RECLAIMED, weak, refractory=True).pct_per_day == pytest.approx(0.6)


def test_a_limit_that_is_none_of_a_drying_board_is_refused():
    with pytest.raises(OutOfRange, match="safe daily loss of Quercus rubra"):
        milder_loss(replace(OAK, pct_per_day=0.0), "Quercus rubra", RECLAIMED, None, refractory=True)


def test_the_figure_from_memory_says_so():
    assert constants("reclaimed")["weak_loss"].status == "from memory"


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ({"name": "warm_days", "value": "70"}, "reclaimed.csv row 2 value is 70; accepted: 1 to 14"),
        ({"name": "weak_loss", "value": "ten"}, "reclaimed.csv row 2 value is ten; accepted: 0.2 to 3"),
        ({"name": "warm_dayz", "value": "7"}, "reclaimed.csv row 2 name is warm_dayz; accepted: one of warm_days"),
    ],
)
def test_a_slip_of_the_pen_in_the_table_is_refused(row, told):
    with pytest.raises(BadInput, match=told):
        check_constant("reclaimed", "reclaimed.csv row 2", row)


def test_every_constant_has_its_range():
    assert set(PLAUSIBLE_CONSTANTS["reclaimed"]) == set(constants("reclaimed"))
