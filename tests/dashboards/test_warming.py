"""A piece that warms, asked on the page: how long, what the dew point of the room does to it, and its drawing."""

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboards import dew_words, entries, situation
from dashboards.answers import QUESTIONS, warming
from dashboards.answers.records import Asked
from dashboards.warming_drawings import Warming, drawing
from kiln.warming import slabs_of
from shared.errors import BadInput

PIECE = {"species": "Fraxinus americana", "thickness_mm": "27", "piece_c": "4", "room_c": "20"}
SLABS = slabs_of(0.55, 10.0, 0.027, 12.0)


def asked(**words):
    return QUESTIONS["warming"].answer(Asked(PIECE | words, None))


def minutes(text):
    figure, unit = re.search(r"([\d.]+) (min|h)", text).groups()
    return float(figure) * (60.0 if unit == "h" else 1.0)


def test_a_thicker_piece_takes_longer_and_the_band_holds_the_middle():
    thin, thick = (asked(thickness_mm=one, faces="both faces free") for one in ("10", "60"))
    assert minutes(thin.headline) < minutes(thick.headline)
    quick, slow = thick.band.split(" to ")
    assert minutes(quick) < minutes(thick.headline) < minutes(slow)


def test_without_a_humidity_no_dew_point_is_told():
    found = asked()
    assert "dew point" not in " ".join((found.sentence, *(line.name for line in found.lines), str(found.drawing)))


def test_a_piece_below_the_dew_point_takes_up_water_for_a_while():
    """PsychroLib: air of 20 °C and 50 %RH has its dew point at 9.27 °C; the piece comes in at 4 °C."""
    assert "below the dew point of 9.3 °C: water condenses on it" in asked(rh_pct="50").sentence
    assert "condenses" not in asked(rh_pct="50", piece_c="12").sentence


def test_a_room_nearer_to_its_dew_point_than_a_rule_asks_never_brings_it_there():
    by_name = {line.name: line for line in asked(rh_pct="50").lines}  # the room itself stands 10.7 K above
    assert by_name["Its face is 11.1 C° above the dew point after"].value == warming.NEVER
    assert "min" in by_name["Its face is 3.0 C° above the dew point after"].value


@pytest.mark.parametrize("piece_c", ["20", "19.5", "20.8"])
def test_a_piece_as_warm_as_the_room_is_there_at_once(piece_c):
    assert asked(piece_c=piece_c).headline == "at once"


def test_a_hot_piece_cools_to_the_room():
    assert minutes(asked(piece_c="35").headline) > 10.0


def test_where_nobody_said_how_it_lies_the_slowest_lies_on_one_face():
    unsaid, free, lying = (
        asked(**words) for words in ({}, {"faces": "both faces free"}, {"faces": "lying on one face"})
    )
    assert minutes(unsaid.band.split(" to ")[1]) > minutes(free.band.split(" to ")[1])
    assert minutes(lying.headline) > minutes(free.headline)
    assert "lying on one face" in unsaid.band and "lying on one face" not in free.band


def test_the_headline_is_the_whole_span_where_nobody_said_how_it_lies():
    unsaid, lying = asked(), asked(faces="lying on one face")
    quick, slow = unsaid.headline.removesuffix(" or more").split(" to ")
    assert minutes(quick) < minutes(lying.headline) < minutes(slow)
    assert lying.headline.startswith("about ")
    assert unsaid.headline.endswith(" or more")


def test_a_surface_far_warmer_than_its_air_is_asked_back():
    """A slip, or a piece so hot that thinner boils off it: either way no word is given."""
    typed = {"temperature_c": "20", "rh_pct": "50"}
    with pytest.raises(BadInput, match=r"surface temperature is 45\.0 °C; accepted: at most 15 C° warmer than the air"):
        QUESTIONS["dew-gap"].answer(Asked(typed | {"surface_c": "45"}, None))
    warm = QUESTIONS["dew-gap"].answer(Asked(typed | {"surface_c": "30"}, None))
    assert any("from its flash point on it lights there" in one for one in warm.flags)
    assert not any("flash point" in one for one in QUESTIONS["dew-gap"].answer(Asked(typed, None)).flags)


def test_a_rule_that_is_kept_tells_its_distance_and_no_more():
    found = QUESTIONS["dew-gap"].answer(Asked({"temperature_c": "20", "rh_pct": "30", "surface_c": "20"}, None))
    told = " ".join(line.note for line in found.lines)
    assert "C° more than it asks" in told and "35 %RH drier than it asks" in told
    assert "speak against" not in f"{found.sentence} {told}"
    assert found.flags.count(dew_words.LEAD) == 1
    assert found.sentence.startswith("Says nothing of vapour, mist or fire.")


def test_below_zero_it_is_the_frost_point_that_is_told_and_it_is_the_higher_one():
    """Air of 5 °C and 40 %RH: over water its dew point is −7.5 °C (Magnus formula, WMO No. 8, 2018, annex 4.B); the
    frost point lies some 0.8 C° higher."""
    found = QUESTIONS["dew-gap"].answer(Asked({"temperature_c": "5", "rh_pct": "40", "surface_c": "5"}, None))
    (line,) = [line for line in found.lines if line.name == "Frost point of the air"]
    over_water_c = 243.12 * (gamma := math.log(0.4) + 17.62 * 5 / (243.12 + 5)) / (17.62 - gamma)
    frost_c = float(line.value.split(" °C")[0].replace("−", "-"))
    assert over_water_c + 0.5 < frost_c < over_water_c + 1.5
    assert "above its frost point" in found.headline
    assert any("the higher of the two" in one for one in found.flags)
    frosty = QUESTIONS["dew-gap"].answer(Asked({"temperature_c": "-5", "rh_pct": "30", "surface_c": "5"}, None))
    assert frosty.key in ("cant-say", "over")


def test_the_drawing_has_face_middle_room_and_dew_point_and_text_as_text():
    shown = str(drawing(Warming(SLABS, 4.0, 20.0, 9.3, 7200.0)))
    assert ">room 20.0 °C</text>" in shown and ">dew point 9.3 °C</text>" in shown
    assert all(one in shown for one in ("warm-face", "warm-middle", "warm-band"))
    assert "style=" not in shown and "nan" not in shown
    assert "warm-dew" not in str(drawing(Warming(SLABS, 4.0, 20.0, None, 7200.0)))


@pytest.mark.parametrize("dew_c", [-15.0, 4.0, 19.9, 20.0])
@pytest.mark.parametrize("span_s", [3600.0, 20_000.0, 172_800.0])
def test_everything_stays_on_the_drawing(dew_c, span_s):
    shown = str(drawing(Warming(SLABS, 4.0, 20.0, dew_c, span_s)))
    for x, y in re.findall(
        r"([\d.-]+) ([\d.-]+)(?=[LZ\"])", " ".join(re.findall(r'class="warm-\w+" d="M([^"]*)"', shown))
    ):
        assert -1.0 <= float(x) <= 361.0 and -1.0 <= float(y) <= 233.0
    for y in re.findall(r'<text [^>]*y="([\d.-]+)"', shown):
        assert 0.0 < float(y) <= 232.0


LEAVE = re.compile(r"\b(safe|safely|ok|okay|fine|clear to|pass|passes|passed|go ahead)\b", re.IGNORECASE)
TYPED = st.floats(-25.0, 45.0).map(lambda one: f"{one:.1f}")


@given(TYPED, st.floats(5.0, 100.0), st.none() | TYPED, st.none() | st.floats(0.0, 30.0))
@settings(max_examples=60, deadline=None)
def test_nothing_that_is_asked_is_answered_by_a_word_that_gives_leave(t, rh, surface, asked_gap):
    typed = {"temperature_c": max(t, "-20.0", key=float), "rh_pct": f"{rh:.1f}"}
    if surface is not None:  # one that is warmer still is refused, see below
        typed["surface_c"] = str(min(float(surface), float(typed["temperature_c"]) + 14.9))
    typed |= {} if asked_gap is None else {"sheet_gap_c": f"{asked_gap:.1f}"}
    found = QUESTIONS["dew-gap"].answer(Asked(typed, None))
    lines = tuple(f"{one.name} {one.value} {one.note}" for one in found.lines)
    told = " ".join(
        (found.headline, found.band, found.sentence, found.next_step, *found.flags, str(found.drawing), *lines)
    )
    assert not LEAVE.search(told), LEAVE.search(told)
    assert found.key in ("over", "cant-say", "not-shown")
    assert "nan" not in told
    piece = QUESTIONS["warming"].answer(Asked(PIECE | {"piece_c": t, "rh_pct": f"{rh:.1f}"}, None))
    assert not LEAVE.search(" ".join((piece.headline, piece.sentence, piece.next_step, *piece.flags)))


def test_a_thin_piece_takes_less_than_the_step_of_the_reckoning_and_no_span_of_equal_figures_is_told():
    thin = asked(thickness_mm="1", faces="both faces free", rh_pct="55", room_c="20", piece_c="8")
    assert not re.search(r"(\S+ min) \(\1 to \1\)", " ".join((thin.sentence, *(line.value for line in thin.lines))))
    assert "under 5 min" in thin.sentence and "about under" not in thin.headline
    assert warming.duration(1.0) == "under 5 min" and warming.duration(300.0) == "5 min"
    assert warming.duration(0.0) == "at once"


def test_a_wrapped_piece_is_said_to_take_longer():
    assert any(one.startswith("A wrapped piece takes longer than this") for one in asked().flags)


def test_where_it_comes_from_and_where_it_goes_are_two_places(empty_yard):
    yard = empty_yard
    for code, t in (("loft", 4.0), ("bench", 20.0)):
        yard.act(entries.add_place, code, kind="room", days_ago=100)
        yard.act(entries.add_probe, f"p-{code}", topic=f"w/{code}", place=code, days_ago=100)
        yard.log(f"p-{code}", 2, t=t, rh=50.0)
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    known = warming.fill(now, {"from_place": "loft", "place": "bench"})
    assert float(known["piece_c"]) < 10.0 < float(known["room_c"])
    assert "piece_c" not in warming.fill(now, {"place": "bench"})
    assert "room_c" not in warming.fill(now, {"from_place": "loft"})
