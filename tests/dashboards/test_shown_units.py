"""Figures in the units that somebody has chosen: in sentences, drawings and charts; and what is typed in them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup

from dashboards import fields, shown_units, typed_units
from dashboards.pages.forms import Field
from dashboards.shown_units import METRIC, Units
from shared.errors import BadInput
from shared.settings import Settings
from shared.units import c_from_f, mm_from_inches

US = Units("F", "in")

# Each figure by hand from the exact factors of NIST Special Publication 811 (2008), Appendix B: 1 in = 25.4 mm,
# t/°F = 1.8 t/°C + 32; to as many decimals in °F, two more in inches, three at the most.
GOLDEN = [
    ("12.3 °C", "54.1 °F"),
    ("−4 °C", "25 °F"),
    ("-20.0 °C", "-4.0 °F"),
    ("5 to 35 °C", "41 to 95 °F"),
    ("between SA-1 and SA-2 3 mm, of SA-1 to 7 mm", "between SA-1 and SA-2 0.12 in, of SA-1 to 0.28 in"),
    ("boards 1 and 2 mm apart", "boards 1 and 0.08 in apart"),  # a code is no length
    ("5–35 °C", "41–95 °F"),
    ("5\u2060–\u206035\u00a0°C", "41\u2060–\u206095\u00a0°F"),  # as display.tight joins it
    ("20 °C (18–22)", "68 °F (64–72)"),
    ("45 %RH at 20 °C, 5 to 40 °C", "45 %RH at 68 °F, 41 to 104 °F"),
    ("103 ± 2 °C", "217 ± 4 °F"),
    ("± 0.3 °C", "± 0.5 °F"),
    ("swung by 3.2 C°", "swung by 5.8 °F"),
    ("34 × 230 × 1600 mm", "1.34 × 9.06 × 62.99 in"),
    ("25.4 × 203.2 × 914.4 mm", "1 × 8 × 36 in"),
    ("1.5875 mm", "0.0625 in"),
    ("1622.42 mm", "63.875 in"),  # 63 7/8 inches as a field of six figures holds them
    ("−7.94 mm (−9.69 to −6.49)", "−0.313 in (−0.381 to −0.256)"),
    ("24.1 mm (23.0–25.2), 0.3 mm apart", "0.949 in (0.906–0.992), 0.012 in apart"),
    ("0.5 mm", "0.020 in"),
    ("0.003 mm", "0.0001 in"),
    ("0.00 mm", "0.000 in"),
    ("+1.5 mm", "+0.059 in"),
    ("1,600 mm", "62.99 in"),
    ("27 → 25 mm thick, 1 mm off", "1.06 → 0.98 in thick, 0.04 in off"),
    ("comes out 0.92 ± 0.30 mm wider", "comes out 0.036 ± 0.012 in wider"),
]
LEFT = [
    "0.0432 m³ (18.3 board feet)",
    "0.5 m/s at 300 K",
    "11.4 % (10.6–12.3), 450 g",
    "2 cm³, 25 mm², 0.01 °C²",
    "27mm-ash",
    "5 mm/day",
    "8 in 10",
    "mm",  # a setting's value, not a figure
]


@pytest.mark.parametrize(("metric", "shown"), GOLDEN)
def test_a_figure_is_told_in_the_chosen_units(metric: str, shown: str) -> None:
    assert shown_units.text(metric, US) == shown
    assert shown_units.text(f"It is {metric}, as read.", US) in (
        f"It is {shown}, as read.",
        f"It is {metric}, as read.",
    )
    assert shown_units.text(metric, METRIC) == metric.replace("C°", "°C")


@pytest.mark.parametrize("plain", LEFT)
def test_what_is_no_length_or_temperature_is_left(plain: str) -> None:
    assert shown_units.text(plain, US) == plain


def test_each_unit_is_chosen_by_itself() -> None:
    assert [shown_units.unit(one, US) for one in ("°C", "C°", "mm", "kg")] == ["°F", "°F", "in", "kg"]
    assert shown_units.text("25 mm at 20 °C", Units("C", "in")) == "0.98 in at 20 °C"
    assert shown_units.text("25 mm at 20 °C", Units("F", "mm")) == "25 mm at 68 °F"


@given(st.decimals(-60, 300, places=1))
def test_a_temperature_told_in_fahrenheit_says_no_less(celsius) -> None:
    shown = shown_units.text(f"{celsius:.1f} °C", US).removesuffix(" °F").replace("−", "-")
    assert round(c_from_f(float(shown)), 1) == pytest.approx(float(celsius), abs=1e-9)


@given(st.integers(0, 1), st.integers(1, 50_000))
def test_a_length_told_in_inches_says_no_less(decimals: int, tenths: int) -> None:
    mm = tenths / 10**decimals
    shown = shown_units.text(f"{mm:.{decimals}f} mm", US).removesuffix(" in")
    assert round(mm_from_inches(float(shown)), decimals) == pytest.approx(mm, abs=1e-9)


def test_a_drawing_is_turned_where_it_is_read_and_left_where_it_is_drawn() -> None:
    drawn = Markup('<svg aria-label="It is 27 mm thick" data-as="27 mm"><text x="27">27 mm through</text></svg>')
    shown = str(shown_units.finalizer(US)(drawn))
    assert shown == '<svg aria-label="It is 1.06 in thick" data-as="27 mm"><text x="27">1.06 in through</text></svg>'
    assert shown_units.finalizer(METRIC)(drawn) == drawn
    assert shown_units.finalizer(US)(Markup("<code>{t: 20 °C}</code> 20 °C")) == "<code>{t: 20 °C}</code> 68 °F"


def test_what_somebody_wrote_keeps_its_figures() -> None:
    kept = shown_units.as_written(US)("EN 13183-1: 103 °C, 25 mm")
    assert shown_units.finalizer(US)(kept).replace("\u2060", "") == "EN 13183-1: 103 °C, 25 mm"
    inside = Markup("<p>{}</p>").format(kept)
    assert str(shown_units.finalizer(US)(inside)).replace("\u2060", "") == "<p>EN 13183-1: 103 °C, 25 mm</p>"


def test_a_chart_is_turned_by_what_its_traces_bear() -> None:
    drawn = {
        "data": [
            {"name": "temperature, °C", "y": [0.0, None, 20.0], "hovertemplate": "%{y:.1f} °C<extra></extra>"},
            {"name": "relative humidity, %", "y": [50.0], "hovertemplate": "%{y:.1f} %"},
        ],
        "layout": {"annotations": [{"text": "<b>temperature, °C</b>"}], "xaxis": {"range": ["2026-11-01", "20"]}},
        "config": {},
    }
    shown = shown_units.figure(drawn, US)
    assert [one["y"] for one in shown["data"]] == [[32.0, None, 68.0], [50.0]]
    assert shown["data"][0]["hovertemplate"] == "%{y:.1f} °F<extra></extra>"
    assert "°C" not in str(shown) and "temperature, °F" in str(shown["layout"])
    assert shown_units.figure(drawn, METRIC) is drawn


def test_the_yard_s_choice_holds_where_a_browser_has_made_none() -> None:
    settings = Settings(temperature_unit="F", length_unit="mm")
    assert shown_units.chosen(None, settings) == Units("F", "mm")
    assert shown_units.chosen(shown_units.cookie_of(Units("C", "in")), settings) == Units("C", "in")
    assert shown_units.chosen("K.ell", settings) == Units("F", "mm")
    with pytest.raises(BadInput, match="temperature unit is K; accepted: C or F"):
        shown_units.checked("K", "mm")


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("1 3/4", 44.45),
        ("1-3/4", 44.45),
        ("1¾", 44.45),
        ('1 3/4"', 44.45),
        ("¾ in", 19.05),
        ("5/4", 31.75),
        ("8/4", 50.8),
        ("1.75", 44.45),
        ("1,75", 44.45),
        (" .5 ", 12.7),
        ("27 mm", 27.0),
    ],
)
def test_inches_are_typed_as_decimals_or_fractions(typed: str, mm: float) -> None:
    held = typed_units.kept({"thickness_mm": typed, "unit-thickness_mm": "in", "by": "Ida"})
    assert set(held) == {"thickness_mm", "by"}
    assert fields.number("thickness", held["thickness_mm"], 1, 300, "mm") == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("8 ft", 2438.4),
        ("8' 6\"", 2590.8),
        ("8′6″", 2590.8),
        ("8 ft 6 1/2 in", 2603.5),
        ("6'", 1828.8),
        ("27 mm", 27.0),
    ],
)
def test_feet_and_millimetres_are_understood_in_a_field_of_inches(typed: str, mm: float) -> None:
    held = typed_units.kept({"length_mm": typed, "unit-length_mm": "in"})
    # NIST SP 811 (2008), Appendix B.8: a foot is 304.8 mm, an inch 25.4 mm, exactly
    assert fields.number("length", held["length_mm"], 20, 10_000, "mm") == pytest.approx(mm, rel=1e-9)


def test_millimetres_may_be_written_out_in_a_field_of_millimetres() -> None:
    assert fields.number("thickness", "27 mm", 1, 300, "mm") == fields.number("thickness", "27", 1, 300, "mm") == 27


@pytest.mark.parametrize("typed", ["1 3", "1 5/4", "3/0", "12/25", "1,234", "a", "1 3/4 5/8", "6' 12", "6' x"])
def test_inches_that_could_be_meant_otherwise_are_refused_at_their_field(typed: str) -> None:
    held = typed_units.kept({"thickness_mm": typed, "unit-thickness_mm": "in"})
    with pytest.raises(BadInput) as refused:
        fields.number("thickness", held["thickness_mm"], 0.5, 300, "mm")
    wanted = f"thickness is {typed}; accepted: a number, 0.02 to 11.81 in, as 1.75, 1 3/4, 8' 6\" or 27 mm."
    assert str(refused.value) == wanted


@pytest.mark.parametrize(("typed", "celsius"), [("68", 20.0), ("68 °F", 20.0), ("−4", -20.0), ("20 °C", 20.0)])
def test_fahrenheit_typed_is_kept_in_celsius(typed: str, celsius: float) -> None:
    held = typed_units.kept({"t": typed, "unit-t": "F"})
    assert fields.number("temperature", held["t"], -40, 100, "°C") == pytest.approx(celsius, abs=1e-6)


# NIST SP 811 (2008), Appendix B.8: a difference of 1 °F is 5/9 of a degree Celsius, without the 32.
@pytest.mark.parametrize(("typed", "celsius"), [("20", 100 / 9), ("5 °F", 25 / 9), ("3 °C", 3.0), ("0", 0.0)])
def test_a_difference_typed_in_fahrenheit_is_kept_without_the_ice_point(typed: str, celsius: float) -> None:
    field = typed_units.in_units(US)(Field("gap", "Gap", "number", unit="C°"))
    assert (field.unit, field.value) == ("°F", "")
    held = typed_units.kept({"gap": typed, "unit-gap": field.sent_in})
    assert fields.number("gap", held["gap"], 0, 30, "C°") == pytest.approx(celsius, abs=1e-6)
    with pytest.raises(BadInput, match=r"gap is 90; accepted: a number, 0 to 54 °F|gap is 90; accepted: 0 to 54 °F"):
        fields.number("gap", typed_units.kept({"gap": "90", "unit-gap": field.sent_in})["gap"], 0, 30, "C°")


def test_a_difference_that_was_not_touched_keeps_its_figure() -> None:
    shown = typed_units.in_units(US)(Field("gap", "Gap", "number", value="3", unit="C°"))
    assert (shown.value, shown.unit) == ("5.4", "°F")
    assert typed_units.kept({"gap": shown.value, "unit-gap": shown.sent_in})["gap"] == "3"


def test_a_refusal_names_what_was_typed_and_the_range_in_its_unit() -> None:
    held = typed_units.kept({"t": "300", "unit-t": "F"})
    with pytest.raises(BadInput, match=r"temperature is 300; accepted: -76 to 266 °F\."):
        fields.number("temperature", held["t"], -60, 130, "°C")


def test_a_field_shows_and_sends_the_chosen_unit_and_keeps_a_figure_that_was_not_touched() -> None:
    shown = typed_units.in_units(US)(Field("thickness_mm", "Thickness", "number", value="27", unit="mm"))
    assert (shown.value, shown.unit, shown.sent_in) == ("1.063", "in", "in 27")
    sent = {"thickness_mm": shown.value, "unit-thickness_mm": shown.sent_in}
    assert typed_units.kept(sent)["thickness_mm"] == "27"
    assert float(typed_units.kept({**sent, "thickness_mm": "1"})["thickness_mm"]) == 25.4
    same = Field("thickness_mm", "Thickness", "number", value="27", unit="mm")
    assert typed_units.in_units(METRIC)(same) is same


@given(st.decimals(1, 10_000, places=3))
def test_any_size_survives_a_form_that_is_sent_as_it_was_shown(size) -> None:
    held = f"{float(size):.6g}"
    shown = typed_units.in_units(US)(Field("a", "A", "number", value=held, unit="mm"))
    assert typed_units.kept({"a": shown.value, "unit-a": shown.sent_in})["a"] == held


def test_a_form_shown_again_holds_what_was_typed() -> None:
    typed = typed_units.kept({"a": "1 5/4", "unit-a": "in"})
    shown = typed_units.in_units(METRIC)(Field("a", "A", "number", value=typed["a"], unit="mm"))
    assert (shown.value, shown.unit, shown.sent_in) == ("1 5/4", "in", "in")
    good = typed_units.kept({"a": "1 3/4", "unit-a": "in"})
    assert typed_units.in_units(US)(Field("a", "A", value=good["a"], unit="mm")).value == "1 3/4"
    assert re.fullmatch(r"44\.45", typed_units.in_units(METRIC)(Field("a", "A", value=good["a"], unit="mm")).value)
