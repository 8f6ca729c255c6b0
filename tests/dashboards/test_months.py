"""A place's months on record: the mean of its EMC hour by hour, against the equation by hand. Figures are invented."""

import html
import re

import numpy as np
import pytest
from starlette.testclient import TestClient

from dashboards import display, entries, months
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
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


def test_months_in_which_wood_is_held_below_a_level_are_named_as_one_span(loft):
    found = months.months(loft.store, place_id(loft, "loft"), loft.now_ms)
    damp = [one.emc_pct >= 20 for one in found]
    assert damp[0] and not damp[-1], "the case needs both"
    below_20, below_12 = months.below(found)
    first = next(one for one in found if one.emc_pct < 20)
    assert below_20 == f"Below 20 %: {months.name_of(first)} to {months.name_of(found[-1])}; not in the others."
    assert below_12.startswith("Below 12 %: ") and below_12.endswith("; not in the others.")
    assert months.below(found[:1])[0].startswith("In none of these months")
    assert months.below(found[-1:])[1].startswith("In each of these months")
    assert months.below(()) == ()


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
    assert "Below 20 %" in part or "below 20 %" in part
    assert "by-month" not in client.get("/place/empty").text
