"""A place's months on record: the mean of its EMC hour by hour, against the equation by hand. Figures are invented."""

import html
import re
from weakref import WeakKeyDictionary

import numpy as np
import pytest
from starlette.testclient import TestClient

from dashboards import display, entries, months
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.months_kept import Kept
from shared.store import facts
from shared.store.records import SubjectKind
from shared.units import MS_PER_DAY, MS_PER_HOUR

USUAL = {month: ("10", "60" if month in (4, 5) else "85") for month in range(1, 13)}


def place_id(yard, code="shed"):
    with yard.store.reading() as connection:
        return facts.subject(connection, SubjectKind.PLACE, code).id


def emc_pct(t_c, rh_pct):
    """Wood Handbook FPL-GTR-282, 2021, Equation 4-5, with its coefficients for °C."""
    h, t = rh_pct / 100.0, t_c
    w = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    return 1800 / w * (kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2))


def hours(yard, start_days, end_days, t_c, rh_pct):
    """What ``log`` stores for these days: the hours in UTC ms, temperature and humidity."""
    start = (yard.now_ms - int(start_days * MS_PER_DAY)) // MS_PER_HOUR * MS_PER_HOUR
    at = np.arange(start, yard.now_ms - int(end_days * MS_PER_DAY) + 1, MS_PER_HOUR)
    swing = 3 * np.sin(at / MS_PER_HOUR * 2 * np.pi / 24)
    return at, np.round(t_c + swing, 2), np.round(rh_pct - 2 * swing, 2)


@pytest.fixture
def loft(yard):
    """A loft with damp air long ago, and dry air later; nothing since."""
    yard.act(entries.add_place, "loft", kind="room", days_ago=500)
    yard.act(entries.add_probe, "high", topic="workshop/loft/high", place="loft", days_ago=500)
    yard.log("high", 200, 150.05, t=10.0, rh=92.0)
    yard.log("high", 149, 100, t=24.0, rh=45.0)
    return yard


def test_each_month_has_the_mean_emc_of_its_hours_and_their_days(loft):
    found = months.months(loft.store, place_id(loft, "loft"), loft.now_ms)
    parts = [hours(loft, 200, 150.05, 10.0, 92.0), hours(loft, 149, 100, 24.0, 45.0)]
    at, t, rh = (np.concatenate(both) for both in zip(*parts, strict=True))
    of = np.array([display.local(int(one)).year * 12 + display.local(int(one)).month for one in at])
    assert len(found) == len(set(of))
    for one in found:
        start = display.local(one.start_ms)
        mine = of == start.year * 12 + start.month
        assert (start.day, start.hour, start.minute) == (1, 0, 0)
        assert one.days == pytest.approx(mine.sum() / 24)
        assert one.emc_pct == pytest.approx(emc_pct(t[mine], rh[mine]).mean(), abs=0.005)
        assert one.usual_emc_pct is None
    assert months.rows(found)[0][3] == display.NOTHING


def month(year, number, emc_pct, days=28.0, rh_pct=70.0):
    """An invented month."""
    return months.Month(months.month_ms(year, number), emc_pct, days, None, (), 10.0, rh_pct)


def test_months_in_which_thin_wood_is_held_below_a_level_are_named_with_those_in_which_it_is_not():
    damp = {1, 3, 4}
    found = tuple(
        month(2025 if number == 12 else 2026, number, 21.0 if number in damp else 18.0)
        for number in (12, *range(1, 12))
    )
    below_20, below_12 = months.below(found)
    assert below_20 == (
        "This air would have held thin wood below 20 % in December, February and from May to November; "
        "in January, March and April not."
    )
    assert below_12 == "In none of these months would this air have held thin wood below 12 %."
    assert months.below(found[:1])[0] == "In each of these months this air would have held thin wood below 20 %."
    assert months.below(()) == ()
    gap = (month(2026, 1, 18.0), month(2026, 2, 18.0), month(2026, 6, 18.0), month(2026, 7, 21.0))
    assert "20 % in January, February and June; in July not." in months.below(gap)[0]
    dry_first = tuple(month(2026, number, 21.0 if number == 4 else 18.0) for number in (1, 2, 3, 4, 5))
    assert "20 % from January to March and in May; in April not." in months.below(dry_first)[0]


def test_summer_stands_beside_winter_only_where_both_are_on_record():
    found = [month(2026, number, 17.0 + number / 10, rh_pct=80.0) for number in (6, 7)]
    found += [month(2026, 8, 18.0, days=14.0, rh_pct=86.0)]
    assert months.seasons(tuple(found)) == ""
    found[2] = month(2026, 8, 19.0, days=56.0, rh_pct=86.0)
    winter = [month(2026, number, 20.0, rh_pct=88.0) for number in (12, 1, 2)]
    assert months.seasons(tuple(found)) == ""
    # By hand: (17.6 + 17.7 + 2·19.0) / 4 = 18.325 and (80 + 80 + 2·86) / 4 = 83.
    assert months.seasons(tuple(winter + found)) == "Jun–Aug: 83 % RH, EMC 18.3 %; Dec–Feb: 88 % RH, EMC 20.0 %."


def test_a_month_that_is_over_is_kept_until_what_it_rests_on_changes(loft, monkeypatch):
    place, now_ms = place_id(loft, "loft"), loft.now_ms
    first = months.months(loft.store, place, now_ms)
    worked_out = []
    plain = months.airs.place_air
    monkeypatch.setattr(months.airs, "place_air", lambda *asked: worked_out.append(asked) or plain(*asked))
    assert repr(months.months(loft.store, place, now_ms)) == repr(first)  # to the last digit
    assert len(worked_out) <= 1, "only the month that may still change"
    changes = (
        lambda: loft.act(
            entries.check_hygrometer,
            "high",
            days_ago=180,
            temperature_c=20,
            low_salt="",
            low_read_rh_pct="",
            high_salt="NaCl",
            high_read_rh_pct=78.0,
        ),
        lambda: loft.log("high", 150.0, 149.5, t=30.0, rh=30.0),
        lambda: loft.act(entries.move_probe, "high", place="shed", days_ago=120),
    )
    for change in changes:
        change()
        seen = months.months(loft.store, place, now_ms)
        monkeypatch.setattr(months, "_kept", WeakKeyDictionary())
        assert repr(seen) == repr(months.months(loft.store, place, now_ms)) != repr(first)
        first = seen


def test_no_more_is_kept_than_was_said_and_what_was_asked_for_last():
    kept = Kept(2)
    for key in "abac":
        assert kept.of(key, lambda key=key: key.upper()) == key.upper()
    assert len(kept) == 2
    assert kept.of("a", lambda: "anew") == "A" and kept.of("b", lambda: "anew") == "anew"


def test_no_more_than_twelve_months_are_told_and_none_of_a_place_that_was_never_heard(loft):
    loft.log("high", 490, 470, t=5.0, rh=60.0)
    found = months.months(loft.store, place_id(loft, "loft"), loft.now_ms)
    assert found[0].start_ms > loft.now_ms - 210 * MS_PER_DAY - 31 * MS_PER_DAY
    assert sum(one.days for one in found) < 101
    loft.act(entries.add_place, "yard", kind="yard")
    assert months.months(loft.store, place_id(loft, "yard"), loft.now_ms) == ()


def test_the_page_of_a_place_has_the_months_with_the_usual_ones_beside_them(yard):
    yard.act(entries.say_climate, "shed", months=USUAL, source="invented")
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    client = TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost")
    shown = html.unescape(re.sub("\u2060", "", client.get("/place/shed").text)).replace("\u00a0", " ")
    (part,) = re.findall(r'<section id="by-month">.*?</section>', shown, re.S)
    now = display.local(yard.now_ms)
    usual = emc_pct(10.0, 60.0 if now.month in (4, 5) else 85.0)
    assert f"{now:%B %Y}</th>" in part and f"<td>{usual:.1f} %</td>" in part
    assert "below 20 %" in part
    assert "by-month" not in client.get("/place/empty").text


def test_a_probe_that_sits_stuck_over_the_end_of_a_month_counts_in_neither(loft):
    at = display.local(loft.now_ms - 45 * MS_PER_DAY)
    edge_days = (loft.now_ms - months.month_ms(at.year, at.month)) / MS_PER_DAY
    loft.log("high", edge_days + 5, edge_days + 11 / 24, t=15.0, rh=60.0)
    loft.log("high", edge_days + 10 / 24, edge_days - 20 / 24, t=15.0, rh=60.0, still=True)
    loft.log("high", edge_days - 21 / 24, edge_days - 5, t=15.0, rh=60.0)
    found = months.months(loft.store, place_id(loft, "loft"), loft.now_ms)
    with loft.store.reading() as connection:
        where = months.airs.positions(connection)
        span = (found[0].start_ms, loft.now_ms)
        whole = months.airs.place_air(connection, where, place_id(loft, "loft"), *span)
    told = {day.start_ms: day.hours for one in found for day in one.each}
    edge_ms = months.month_ms(at.year, at.month)
    before_ms = edge_ms - MS_PER_DAY
    for start_ms in (before_ms, edge_ms):
        known = whole.known & (whole.at_ms >= start_ms) & (whole.at_ms < start_ms + MS_PER_DAY)
        assert told[start_ms] == known.sum() < 20, "ten hours before the month's end, twenty after it"
