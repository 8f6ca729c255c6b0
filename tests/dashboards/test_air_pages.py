"""The pages of air as a person without script gets them: ages, drawings with their words, months, checks."""

import html
import re
from dataclasses import fields
from itertools import combinations

import numpy as np
import pytest
from starlette.testclient import TestClient

from dashboards import air_calendar, air_drawings, air_history, air_wanted, display, entries, months
from dashboards.air_drawings import Course, Spot
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import air, air_checks, air_views
from kiln import sorption
from shared.units import MS_PER_DAY, MS_PER_HOUR

RECORDS = [
    air.AirPage,
    air.PlacePage,
    air.PlaceView,
    air.SpanLink,
    air_checks.ProbeLine,
    air_checks.ProbeChecks,
    air_checks.CheckLine,
    air_views.TradeView,
    air_views.SpotLine,
    air_views.YearView,
    air_views.MonthView,
    air_views.DayCell,
]
SALT = {"temperature_c": 20, "low_salt": "", "low_read_rh_pct": "", "high_salt": "NaCl"}


@pytest.fixture
def client(yard):
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


def words(text):
    """Return what a person reads of some HTML, spaces and joiners plain."""
    plain = html.unescape(re.sub(r"<[^>]+>", " ", text))
    return " ".join(plain.replace("\u00a0", " ").replace("\u2060", "").split())


def part(page, tag, named):
    """Return one part of a page, by its tag and id; nothing of its tag may lie within it."""
    (found,) = re.findall(rf'<{tag}[^>]* id="{named}".*?</{tag}>', page.text, re.S)
    return found


@pytest.mark.parametrize("record", RECORDS, ids=lambda one: one.__name__)
def test_every_field_that_the_pages_of_air_may_use_is_explained(record):
    assert record.__dataclass_params__.frozen
    assert all(len(one.metadata.get("help", "")) > 5 for one in fields(record))


# --- every place now ---


def test_each_probe_behind_the_air_has_its_own_age_and_one_that_is_left_out_says_so(yard, client):
    yard.act(entries.add_probe, "south", topic="workshop/shed/south", place="shed", days_ago=30)
    yard.log("south", 30, 9)
    yard.act(entries.add_probe, "spare", topic="workshop/shed/spare", place="shed", days_ago=3)
    shown = words(part(client.get("/air"), "article", "place-shed"))
    assert "north 10 min ago never checked" in shown
    assert "south silent for 9 days, left out" in shown
    assert "spare never heard" in shown


def test_a_hygrometer_is_said_to_be_checked_overdue_or_far_off(yard, client):
    card = lambda: words(part(client.get("/air"), "article", "place-shed"))  # noqa: E731
    assert "never checked" in card()
    made = yard.act(entries.check_hygrometer, "north", days_ago=35, high_read_rh_pct=76.0, **SALT)
    assert "checked 35 days ago" in card() and "far off" not in card()
    yard.act(entries.undo, made.kind, made.fact_id)
    yard.act(entries.check_hygrometer, "north", days_ago=35, high_read_rh_pct=83.0, **SALT)
    off = 83.0 - 75.47  # Greenspan, J. Res. NBS 81A, 89 (1977): NaCl holds 75.47 %RH at 20 °C
    assert f"far off, it reads {off:.1f} % too high, corrected here" in card()
    yard.now_ms += 340 * MS_PER_DAY
    assert "check overdue since" in card()


def test_air_so_damp_that_no_figure_is_told_is_said_to_be_at_least(yard, client):
    yard.act(entries.add_place, "cave", kind="shed", days_ago=40)
    yard.act(entries.add_probe, "deep", topic="workshop/cave/deep", place="cave", days_ago=40)
    yard.log("deep", 30, t=12.0, rh=99.0, still=True)
    air_now = client.get("/api/air/cave").json()["place"]["air"]
    shown = words(part(client.get("/air"), "article", "place-cave"))
    assert air_now["rh_pct"] >= 98.0
    assert f"at least {air_now['emc_pct']:.1f} %" in shown


# --- temperature against humidity ---


def trade(page, named="trade"):
    return part(page, "section", named)


def test_the_drawing_has_every_curve_every_other_place_by_shape_and_name_and_the_last_day(yard, client):
    shown = trade(client.get("/place/shed"))
    (drawn,) = re.findall(r"<svg class=\"trade\".*?</svg>", shown, re.S)
    levels = re.findall(r'class="on-line"[^>]*>(\d+) %<', drawn)
    assert [int(one) for one in levels] == [int(one) for one in air_drawings.EMC_LEVELS_PCT]
    assert drawn.count('class="contour"') == len(levels)
    assert ">shed<" in drawn and ">room<" in drawn and air_drawings.shape_of(0) in drawn
    assert drawn.count('class="worm"') == 23 and re.search(r">06 h<", drawn)
    assert drawn.count('class="wanted"') == 1 and 'class="asked"' in drawn
    label = html.unescape(re.search(r'aria-label="([^"]+)"', drawn).group(1))
    assert "shed now: " in label and "In the last 24 hours it went from 9.0 °C to 15.0 °C" in label
    assert "Machine to thickness wants 50 % RH at 20 °C" in label
    assert len(re.findall(r"<tr>", shown)) == 2 + 1 + 24  # a head each, the other place, the hours


def test_a_span_of_the_past_has_no_air_of_now_on_its_drawing(yard, client):
    day = display.local(yard.now_ms - 5 * MS_PER_DAY)
    page = client.get(f"/place/shed?from={day:%Y-%m-%d}&to={day:%Y-%m-%d}")
    shown = trade(page)
    assert 'class="now"' not in shown and 'class="worm"' in shown and ">room<" not in shown
    assert f"until {day.day} {day:%b %Y}, 23:00" in words(shown)


def test_names_do_not_lie_on_each_other_however_near_the_places_are():
    spots = [Spot(f"place {one}", "/place/x", 12.0 + 0.1 * one, 60.0) for one in range(5)]
    drawn = air_drawings.trade_view(None, Course((), (), ()), spots, (), "")
    found = re.findall(r'<text x="([\d.]+)" y="([\d.]+)" text-anchor="(\w+)"[^>]*>(place \d)', drawn)
    assert len(found) == 5
    boxes = []
    for x, y, anchor, name in found:
        width = len(name) * air_drawings.LETTER_WIDTH
        left = float(x) if anchor == "start" else float(x) - width
        assert left >= air_drawings.LEFT and left + width <= air_drawings.RIGHT
        boxes.append((left, left + width, float(y)))
    for one, other in combinations(boxes, 2):
        beside = one[1] <= other[0] + 0.1 or other[1] <= one[0] + 0.1
        assert beside or abs(one[2] - other[2]) >= air_drawings.LINE_HEIGHT - 0.11


def test_every_place_is_set_side_by_side(yard, client):
    shown = trade(client.get("/air"), "side-by-side")
    assert ">shed<" in shown and ">room<" in shown and 'class="worm"' not in shown
    assert air_drawings.shape_name(1) in words(shown)


# --- what the uses here want ---


def history(emc_pct, span_ms=MS_PER_HOUR):
    """An invented history of EMC alone."""
    emc = np.array(emc_pct, dtype=float)
    at = np.arange(len(emc)) * span_ms + 1_700_000_000_000 // span_ms * span_ms
    end = int(at[-1]) + span_ms
    return air_history.AirHistory(at, span_ms, *[emc] * 7, [], *[emc] * 5, span_ms, int(at[0]), end)


def test_the_longest_spells_above_and_below_are_told_and_a_gap_ends_one():
    nan = float("nan")
    wanted = air_wanted.Wanted("Glue up", 45.0, 20.0, 8.0, 10.0, ())
    found = history([9, 9, 11, 11, 11, 9, 7, 9, 11, 11, nan, nan, nan, nan, nan, 11, 11, 9, 9, 9])
    high = air_wanted.longest(found, found.emc_pct > 10.0)
    assert high.length_ms == 3 * MS_PER_HOUR and high.start_ms == found.at_ms[2]
    low = air_wanted.longest(found, found.emc_pct < 8.0)
    assert low.length_ms == MS_PER_HOUR
    told = air_wanted.told(found, wanted)
    assert "So it was 47 % of the time; above for up to 3 h, below for up to 60 min." in told  # 7 of 15
    assert "never below" in air_wanted.told(history([9, 9]), wanted)
    assert "So it was all of the time; never above, never below" in air_wanted.told(history([9, 9]), wanted)
    assert air_wanted.told(history([11, nan, 12]), wanted).endswith("It was above all the time.")
    assert air_wanted.told(history([7, 6]), wanted).endswith("It was below all the time.")
    assert "No air is on record" in air_wanted.told(history([nan, nan]), wanted)


def test_the_use_of_a_set_and_a_limit_of_this_yards_own_are_what_is_wanted(yard, client):
    yard.act(entries.add_set, "T1")
    yard.act(entries.put_in_set, "A1", set_code="T1", role="left half")
    yard.act(entries.plan_use, "T1", use="brace", kind="set")
    shown = words(trade(client.get("/place/shed")))
    middle = float(sorption.emc_pct(20.0, 42.0))
    assert f"Brace wants air that holds wood at {middle - 1:.1f} to {middle + 1:.1f} %" in shown
    assert "Pieces for it that lie here: A1." in shown and "Pieces for it that lie here: A2." in shown
    assert "No piece for it lies here" in words(trade(client.get("/place/room")))


# --- a year of days ---


def test_a_month_is_a_row_of_days_and_each_day_leads_to_its_chart(yard, client):
    page = client.get("/place/shed")
    now = display.local(yard.now_ms)
    month = part(page, "details", f"month-{now:%Y-%m}")
    days = re.findall(r'href="\?from=([\d-]+)&amp;to=([\d-]+)#chart"><span>(\d+)</span>', month)
    assert [int(number) for *_, number in days] == list(range(1, now.day + 1))
    assert all(first == last for first, last, _ in days)
    day = client.get(f"/place/shed?from={days[3][0]}&to={days[3][1]}")
    assert day.status_code == 200 and f"<h2>{now.replace(day=4):%-d %b %Y}</h2>" in day.text
    label = re.search(r'class="month-row"[^>]*aria-label="([^"]+)"', month).group(1)
    assert f"{now:%B %Y}: mean EMC" in label and f"{now.day} of {now.day} days on record" in label


def test_a_year_is_shown_by_its_number_and_one_without_readings_says_so(yard, client):
    year = display.local(yard.now_ms).year
    page = client.get(f"/place/shed?year={year}")
    assert re.search(rf'<a href="\?year={year}#by-month" aria-current="true">', page.text)
    assert "Nothing is on record in this year" in words(client.get("/place/shed?year=1999").text)
    for wrong in ("soon", "12", "99999", "-2026"):
        assert client.get(f"/place/shed?year={wrong}").status_code == 404


def test_a_damper_day_has_more_ink(yard):
    def ink(emc_pct):
        """Share of a plank that is covered by lines, by the pitch and width of its grain."""
        name = air_calendar.grain(emc_pct)
        return {"0": 0.0, "4": 1.0}.get(name, 1.3 / air_calendar.PITCH.get(name, 1.0))

    inks = [ink(one) for one in (6.0, 9.0, 13.0, 17.0, 22.0)]
    assert inks == sorted(inks) and len(set(inks)) == len(inks)
    assert [name for name, _ in air_calendar.classes()] == ["0", "1", "2", "3", "4"]


def test_days_without_readings_are_outlines_and_days_with_few_are_not_filled():
    start = 1_700_000_000_000
    nan = float("nan")
    full, few, none = (
        months.Day(start, 12.5, 11.0, 14.0, 24),
        months.Day(start, 12.5, 12.0, 13.0, 3),
        months.Day(start, nan, nan, nan, 0),
    )
    on = air_calendar.scale([full, few, none])
    drawn = [air_calendar.month_row([one], "", on) for one in (full, few, none)]
    assert ['class="plank"' in one for one in drawn] == [True, False, False]
    assert ['class="outline"' in one for one in drawn] == [False, True, True]
    assert ['class="reach"' in one for one in drawn] == [True, True, False]


def test_the_heights_run_over_the_year_on_record_and_a_torn_foot_says_that_they_do_not_begin_at_0():
    def days(*means):
        return [months.Day(1_700_000_000_000, mean, mean - 1, mean + 1, 24) for mean in means]

    damp = air_calendar.scale(days(16.8, 20.0, 22.4))
    assert (damp.foot_pct, damp.head_pct, damp.torn) == (16.0, 23.0, True)
    assert damp.words == "from 16 % at the torn foot of a row to 23 % at its head"
    heights = [
        float(re.search(r'class="plank[^"]*"[^>]*v([\d.]+)h', air_calendar.month_row([day], "", damp)).group(1))
        for day in days(17.0, 20.0, 23.0)
    ]
    whole = air_calendar.FOOT - air_calendar.HEAD
    assert heights == pytest.approx([whole / 7, whole * 4 / 7, whole], abs=0.1)
    torn, plain = (air_calendar.month_row(days(17.0), "", one) for one in (damp, air_calendar.Scale(0.0, 20.0)))
    assert f'class="ground" d="M0 {air_calendar.FOOT:g}l' in torn
    assert f'class="ground" d="M0 {air_calendar.FOOT:g}H' in plain
    assert air_calendar.scale(days(2.0)).foot_pct == 0.0
    steady = air_calendar.scale(days(9.0, 9.1))
    assert steady.head_pct - steady.foot_pct >= air_calendar.LEAST_REACH_PCT


def test_months_left_out_between_two_stand_as_empty_rows(yard, client):
    yard.act(entries.add_place, "loft", kind="room", days_ago=300)
    yard.act(entries.add_probe, "high", topic="workshop/loft/high", place="loft", days_ago=300)
    yard.log("high", 200, 190)
    yard.log("high", 20, 5)
    shown = words(part(client.get("/place/loft"), "section", "by-month"))
    between = display.local(yard.now_ms - 100 * MS_PER_DAY)
    assert f"{between:%B %Y} nothing on record" in shown


def test_each_days_figures_are_those_of_its_hours_by_the_clock_of_this_machine(yard):
    with yard.store.reading() as connection:
        shed = next(one.id for one in air_checks.facts.subjects(connection, "place") if one.code == "shed")
    found = months.months(yard.store, shed, yard.now_ms)
    days = [day for one in found for day in one.each if day.hours == 24]
    assert len(days) >= 38
    for day in days[:5]:
        at = np.arange(day.start_ms, day.start_ms + MS_PER_DAY, MS_PER_HOUR)
        swing = 3 * np.sin(at / MS_PER_HOUR * 2 * np.pi / 24)
        emc = sorption.emc_pct(np.round(12.0 + swing, 2), np.round(68.0 - 2 * swing, 2))
        assert (day.emc_pct, day.low_pct, day.high_pct) == pytest.approx((emc.mean(), emc.min(), emc.max()))


# --- checks, marks, spans ---


def test_every_check_of_a_probe_is_told_with_what_it_read_and_days_until_the_next(yard, client):
    yard.act(entries.check_hygrometer, "north", days_ago=35, high_read_rh_pct=76.0, **SALT)
    yard.act(entries.check_hygrometer, "north", days_ago=10, high_read_rh_pct=77.5, **SALT)
    shown = words(part(client.get("/place/shed"), "section", "checks"))
    assert "Due in 355 days" in shown  # a check once a year: hygrometers.csv, common practice, no source
    first, second = shown.index("77.5 % over NaCl"), shown.index("76.0 % over NaCl")
    assert first < second
    assert "which holds 75.5 %: 2.0 % too high" in shown
    page = client.get("/place/shed").text
    assert 'href="/probes#check-north"' in page and 'id="check-north"' in client.get("/probes").text


def test_what_changed_behind_the_air_has_a_letter_on_the_chart_and_a_sentence_below(yard, client):
    yard.act(entries.check_hygrometer, "north", days_ago=10, high_read_rh_pct=76.0, **SALT)
    yard.act(entries.add_probe, "south", topic="workshop/shed/south", place="shed", days_ago=5)
    shown = words(re.search(r'<ol class="marks">.*?</ol>', client.get("/place/shed?days=30").text, re.S).group(0))
    assert re.search(r"a \d+ \w+: north was checked: 76.0 % over NaCl", shown)
    assert re.search(r"b \d+ \w+: south was hung here", shown)
    layout = client.get("/api/figure/air/shed.json?days=30").json()["layout"]
    assert [one["text"] for one in layout["annotations"][-2:]] == ["a", "b"]
    assert len(layout["shapes"]) == 2
    long = client.get("/api/figure/air/shed.json?days=3652").json()["layout"]
    assert [one["text"] for one in long["annotations"]][-1:] == ["a–c"] and len(long["shapes"]) == 3


def test_page_chart_and_json_take_the_same_spans(yard, client):
    first, last = (display.local(yard.now_ms - days * MS_PER_DAY) for days in (6, 4))
    query = f"from={first:%Y-%m-%d}&to={last:%Y-%m-%d}"
    page = client.get(f"/place/shed?{query}")
    assert f'data-src="/api/figure/air/shed.json?{html.escape(query)}"' in page.text
    held = client.get(f"/api/air/shed?{query}").json()["history"]
    drawn = client.get(f"/api/figure/air/shed.json?{query}").json()["layout"]["xaxis"]["range"]
    assert [display.for_chart(held[one]) for one in ("start_ms", "end_ms")] == drawn
    assert drawn[0] == f"{first:%Y-%m-%d} 00:00"
    for asked in ("days=all", "days=3652", "days=1"):
        assert client.get(f"/place/shed?{asked}").status_code == 200
        assert client.get(f"/api/air/shed?{asked}").status_code == 200
    for path in ("/place/shed", "/api/air/shed", "/api/figure/air/shed.json"):
        assert client.get(f"{path}?from=2026-02-02&to=2026-02-01").status_code == 404


def test_a_day_that_is_shown_has_its_means_in_words_and_leads_to_the_day_before_and_after(yard, client):
    day = display.local(yard.now_ms - 5 * MS_PER_DAY)
    page = client.get(f"/place/shed?from={day:%Y-%m-%d}&to={day:%Y-%m-%d}")
    shown = words(part(page, "section", "chart"))
    # What ``yard.log`` writes each hour: 12 °C and 68 % RH, by turns warmer and drier, cooler and damper.
    swing = 3 * np.sin(np.arange(24) * 2 * np.pi / 24)
    emc = sorption.emc_pct(np.round(12 + swing, 2), np.round(68 - 2 * swing, 2))
    told = f"12.0 °C (9.0–15.0), 68 % RH (62–74), EMC {emc.mean():.1f} % ({emc.min():.1f}–{emc.max():.1f})"
    assert f"{day.day} {day:%b %Y} {told}" in shown
    assert "Earlier day" in shown and "Later day" in shown
    assert 'aria-current="true"' not in part(page, "section", "chart")
    assert "Earlier day" not in words(part(client.get("/place/shed?days=30"), "section", "chart"))
    nothing = client.get("/place/shed?from=2020-01-01&to=2020-01-01")
    assert nothing.status_code == 200 and 'class="means"' not in nothing.text


def test_a_place_without_air_says_what_to_do_and_has_no_empty_chart(yard, client):
    yard.act(entries.add_place, "barn", kind="shed", days_ago=3)
    page = client.get("/place/barn")
    assert "No probe hangs here." in words(page.text) and "shows up by itself" in words(page.text)
    assert re.search(r'<a class="go[^"]*" href="/probes">Say which probe hangs here</a>', page.text)
    card = part(client.get("/air"), "article", "place-barn")
    assert "Say which probe hangs here" in words(card)
    for text in (card, page.text):
        assert "<dl" not in text and "data-src" not in text and 'id="by-month"' not in text
    yard.act(entries.add_probe, "door", topic="workshop/barn/door", place="barn", days_ago=2)
    waiting = words(client.get("/place/barn").text)
    assert "door hangs here and has not been heard yet." in waiting and "Say which probe" not in waiting


def test_emc_is_explained_where_it_is_first_named(client):
    for path in ("/air", "/place/shed"):
        shown = words(client.get(path).text)
        told = shown.index("EMC: the moisture wood comes to in this air.")
        assert told < shown.index(" EMC ", told + 5)
        assert shown.index("How EMC comes about") > shown.index("Dew point")


def test_each_month_tells_its_temperature_and_humidity_too(yard, client):
    page = client.get("/place/shed")
    month = display.local(yard.now_ms - 20 * MS_PER_DAY)
    row = words(part(page, "details", f"month-{month:%Y-%m}"))
    assert re.match(rf"{month:%B %Y} [\d.]+ % 12\.0 °C · 68 % RH", row)
    assert "12.0 °C 68 % RH" in words(part(page, "details", "months-as-table"))


def test_the_two_dates_stand_in_a_plain_form_and_gaps_in_the_table(yard, client):
    page = client.get("/place/shed?days=365")
    assert re.search(r'<form class="from-to" method="get" action="/place/shed#chart"', page.text)
    assert re.search(r'name="from" value="\d{4}-\d\d-\d\d"', page.text)
    assert "no readings for 325 days" in words(page.text)
    empty = client.get("/place/shed?from=2020-01-01&to=2020-01-31")
    assert "no readings for 31 days" in words(empty.text) and empty.status_code == 200


def test_where_the_equation_does_not_reach_no_figure_of_its_own_is_claimed(yard, client):
    yard.act(entries.add_place, "ice", kind="yard", days_ago=40)
    yard.act(entries.add_probe, "cold", topic="workshop/ice/cold", place="ice", days_ago=40)
    yard.log("cold", 30, t=-12.0, rh=80.0)
    shown = words(client.get("/place/ice").text)
    assert "Where it was colder than \u22122 °C, EMC is that of \u22122 °C." in shown
    assert f"RH, EMC {display.NOTHING}." in shown
    assert "Where it was colder" not in words(client.get("/place/shed").text)
