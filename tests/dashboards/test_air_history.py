"""A place's air over any span: no single reading is lost to a long one, and figures are the store's own.

The extremes are checked against SQL's own MIN and MAX over the raw readings. All readings are invented.
"""

import numpy as np
import pytest
from sqlalchemy import text

from dashboards import air_charts, air_history, air_spans, display, entries
from shared.errors import BadInput
from shared.store import facts, readings
from shared.store.records import NewReading, ProbeFact, Quality, Quantity, SubjectKind, TimeSource
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, ms_from_datetime

TEN_YEARS_DAYS = 3652
EVERY_MS = 6 * MS_PER_HOUR
SPIKE_C, DIP_C = 47.3, -19.7
SALT = {"temperature_c": 20, "low_salt": "", "low_read_rh_pct": "", "high_salt": "NaCl", "high_read_rh_pct": 78.5}


def store_rows(yard, probe, quantity, at_ms, values):
    with yard.store.writing() as connection:
        probe_id = next(f.subject_id for f in facts.standing(connection, ProbeFact) if f.name == probe)
        series = readings.series_of(connection, probe_id, quantity)
        rows = [
            NewReading(series, int(at), round(float(value), 2), Quality.GOOD, TimeSource.PAYLOAD)
            for at, value in zip(at_ms, values, strict=True)
        ]
        readings.append(connection, rows, yard.now_ms)


def place_id(yard, code):
    with yard.store.reading() as connection:
        return facts.subject(connection, SubjectKind.PLACE, code).id


def raw_ends(yard, quantity, start_ms, end_ms):
    """MIN and MAX of the good raw readings, by the database itself."""
    query = text(
        "SELECT min(value), max(value) FROM reading JOIN series ON series.id = reading.series_id "
        "WHERE quantity = :quantity AND at_ms >= :start AND at_ms < :end AND quality = 0"
    )
    with yard.store.reading() as connection:
        asked = {"quantity": str(quantity), "start": start_ms, "end": end_ms}
        return connection.execute(query, asked).one()


@pytest.fixture
def old(empty_yard):
    """A barn with ten years of air, every six hours, a spike at 14:07 eight years ago, and a month of silence."""
    made = empty_yard
    made.act(entries.add_place, "barn", kind="shed", days_ago=3700)
    made.act(entries.add_probe, "beam", topic="workshop/barn/beam", place="barn", days_ago=3700)
    begin = made.now_ms - TEN_YEARS_DAYS * MS_PER_DAY
    at = np.arange(begin - begin % EVERY_MS, made.now_ms, EVERY_MS)
    silent = (at > begin + 1000 * MS_PER_DAY) & (at < begin + 1030 * MS_PER_DAY)
    at = at[~silent]
    season = np.sin(2 * np.pi * at / (365.25 * MS_PER_DAY))
    store_rows(made, "beam", Quantity.TEMPERATURE_C, at, 10 + 9 * season)
    store_rows(made, "beam", Quantity.RH_PCT, at, 70 - 12 * season)
    made.begin = begin
    eight = display.local(made.now_ms).replace(hour=14, minute=7, second=0, microsecond=0)
    made.spike_ms = ms_from_datetime(eight.replace(year=eight.year - 8))
    store_rows(made, "beam", Quantity.TEMPERATURE_C, [made.spike_ms, made.spike_ms + MS_PER_MINUTE], [SPIKE_C, DIP_C])
    store_rows(made, "beam", Quantity.RH_PCT, [made.spike_ms], [99.1])
    return made


def whole(yard, days=TEN_YEARS_DAYS):
    span = air_spans.span_of(yard.store, place_id(yard, "barn"), yard.now_ms, str(days))
    return air_history.air_history(yard.store, place_id(yard, "barn"), span.start_ms, span.end_ms)


def test_one_reading_eight_years_ago_is_inside_the_band_drawn_over_ten(old):
    found = whole(old)
    step = int((old.spike_ms - found.at_ms[0]) // found.span_ms)
    assert found.temperature_high_c[step] == SPIKE_C and found.temperature_low_c[step] == DIP_C
    assert found.rh_high_pct[step] == 99.1
    figure = air_charts.air_figure(found)
    at = display.for_chart(old.spike_ms)
    for name, beyond in (("temperature", SPIKE_C), ("relative humidity", 99.1)):
        highest = [t for t in figure["data"] if t["name"].startswith(name) and t["name"].endswith("highest")]
        run = next(t for t in highest if t["x"][0] <= at <= t["x"][-1])
        drawn = run["y"][max(i for i, x in enumerate(run["x"]) if x <= at)]
        assert drawn == beyond, "each step holds its figure until the next begins"


def test_every_step_of_every_span_has_the_least_and_greatest_raw_reading(old):
    for days in (1, 7, 30, 365, TEN_YEARS_DAYS):
        found = whole(old, days)
        for index in np.flatnonzero(found.heard):
            start = int(found.at_ms[index])
            for quantity, low, high in (
                (Quantity.TEMPERATURE_C, found.temperature_low_c, found.temperature_high_c),
                (Quantity.RH_PCT, found.rh_low_pct, found.rh_high_pct),
            ):
                least, most = raw_ends(old, quantity, start, min(start + found.span_ms, found.end_ms))
                assert (low[index], high[index]) == (least, most), (days, index, quantity)


def test_ten_years_are_drawn_in_no_more_steps_than_a_screen_has_columns_from_days_alone(old, monkeypatch):
    read = []
    buckets = readings.buckets

    def counted(connection, series_id, span_ms, start_ms, end_ms):
        held = buckets(connection, series_id, span_ms, start_ms, end_ms)
        read.append((span_ms, len(held.n)))
        return held

    monkeypatch.setattr(readings, "buckets", counted)
    found = whole(old)
    assert len(found.at_ms) <= air_history.MOST_STEPS
    assert {span for span, _ in read} == {MS_PER_DAY}
    days_on_record = TEN_YEARS_DAYS - 29
    assert 2 * days_on_record <= sum(rows for _, rows in read) <= 2 * (TEN_YEARS_DAYS + 2)
    figure = air_charts.air_figure(found)
    assert max(len(trace["x"]) for trace in figure["data"]) <= air_history.MOST_STEPS + 10


def test_the_range_of_time_is_the_one_asked_for_whatever_was_heard_and_however_it_is_thinned(old):
    for days in (1, 30, TEN_YEARS_DAYS):
        found = whole(old, days)
        drawn = air_charts.air_figure(found)["layout"]["xaxis"]["range"]
        asked = [display.for_chart(old.now_ms - days * MS_PER_DAY), display.for_chart(old.now_ms)]
        assert drawn == asked


def test_silence_is_a_gap_in_the_line_and_in_the_list_and_a_slow_probe_is_none(old):
    gap = (old.begin + 1000 * MS_PER_DAY, old.begin + 1030 * MS_PER_DAY)
    found = air_history.air_history(
        old.store, place_id(old, "barn"), gap[0] - 20 * MS_PER_DAY, gap[1] + 20 * MS_PER_DAY
    )
    ((start, end),) = air_history.gaps(found)
    assert abs(start - gap[0]) <= 2 * MS_PER_DAY and abs(end - gap[1]) <= 2 * MS_PER_DAY
    mean = next(
        t
        for t in air_charts.air_figure(found)["data"]
        if t["name"].startswith("relative") and "highest" not in t["name"] and "lowest" not in t["name"]
    )
    assert mean["y"].count(None) == 1
    assert air_history.gaps(whole(old, 1)) == []  # a reading every six hours, in steps of ten minutes
    line = next(t for t in air_charts.air_figure(whole(old, 1))["data"] if t["name"].startswith("EMC"))
    assert None not in line["y"] and len(line["y"]) == 4


def test_a_check_at_noon_corrects_what_came_after_it_and_nothing_before_even_in_a_step_of_a_day(yard):
    yard.act(entries.check_hygrometer, "north", days_ago=15.5, waited_h="0.5", **SALT)
    with yard.store.reading() as connection:
        off = 78.5 - 75.47  # Greenspan, J. Res. NBS 81A, 89 (1977): NaCl holds 75.47 %RH at 20 °C
        series = next(one.id for one in readings.all_series(connection) if one.quantity is Quantity.RH_PCT)
        raw = [one for one in readings.raw(connection, series, 0, 2**62) if one.at_ms < yard.now_ms]
    check_ms = yard.now_ms - int(15.5 * MS_PER_DAY)
    found = air_history.air_history(yard.store, place_id(yard, "shed"), yard.now_ms - 30 * MS_PER_DAY, yard.now_ms)
    day = int(np.flatnonzero(found.at_ms <= check_ms)[-1])
    inside = [one for one in raw if found.at_ms[day] <= one.at_ms < found.at_ms[day] + found.span_ms]
    # Half an hour over the salt it was not in its place.
    held = [
        one.value - (off if one.at_ms >= check_ms else 0)
        for one in inside
        if not check_ms - 30 * MS_PER_MINUTE - 10 * MS_PER_MINUTE < one.at_ms < check_ms
    ]
    assert found.rh_high_pct[day] == pytest.approx(max(held), abs=0.02)
    assert found.rh_low_pct[day] == pytest.approx(min(held), abs=0.02)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"days": "8"}, "days"),
        ({"first": "2026-13-01"}, "from"),
        ({"first": "soon"}, "from"),
        ({"first": "2026-03-02", "last": "2026-03-01"}, "to"),
        ({"first": "2999-01-01"}, "from"),
        ({"first": "1066-10-14"}, "from"),
        ({"first": "2026-01-01", "last": "2999-01-01"}, "to"),
    ],
)
def test_a_span_that_cannot_be_is_refused_in_a_sentence_that_names_the_field(yard, typed, says):
    with pytest.raises(BadInput) as refused:
        air_spans.span_of(yard.store, place_id(yard, "shed"), yard.now_ms, **typed)
    assert says in str(refused.value) and str(refused.value).endswith(".")


def test_both_days_of_a_span_are_in_it_and_earlier_and_later_lie_beside_it(yard):
    span = air_spans.span_of(yard.store, place_id(yard, "shed"), yard.now_ms, first="2026-03-01", last="2026-03-07")
    assert display.for_chart(span.start_ms) == "2026-03-01 00:00"
    assert display.for_chart(span.end_ms - 1) == "2026-03-07 23:59"
    assert air_spans.earlier(span) == "from=2026-02-22&to=2026-02-28"
    assert air_spans.later(span, yard.now_ms) == "from=2026-03-08&to=2026-03-14"
    today = f"{display.local(yard.now_ms):%Y-%m-%d}"
    now = air_spans.span_of(yard.store, place_id(yard, "shed"), yard.now_ms, first=today, last=today)
    assert now.end_ms == yard.now_ms and air_spans.later(now, yard.now_ms) == ""
    assert (
        air_spans.span_of(yard.store, place_id(yard, "shed"), yard.now_ms, "all").start_ms
        <= yard.now_ms - 39 * MS_PER_DAY
    )
