"""Log files: what a file is made of is told, doubts stay open, a bad row is listed and the rest is taken."""

from __future__ import annotations

import io
import json
import time
import zipfile
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sensors import log_files, log_guess, log_structure, log_times
from sensors.log_files import LogRow, Stored
from sensors.log_guess import Layout
from sensors.log_times import Clock, DateOrder, NoTime
from shared.errors import BadInput, BenchdryError, Refused
from shared.store import facts, readings, retention
from shared.store.records import Quality, Quantity, SubjectKind, TimeSource
from shared.units import ms_from_datetime

SAMPLES = Path(__file__).parent / "log_file_samples"
BERLIN, NEW_YORK = ZoneInfo("Europe/Berlin"), ZoneInfo("America/New_York")
NOW_MS = ms_from_datetime(datetime(2026, 11, 25, tzinfo=UTC))
T, RH, MASS = Quantity.TEMPERATURE_C, Quantity.RH_PCT, Quantity.MASS_KG


@dataclass
class Read:
    """A file read to its end."""

    layout: Layout
    rows: list[LogRow]

    @property
    def bad(self):
        return [one for row in self.rows for one in row.bad]

    @property
    def taken(self):
        return [row for row in self.rows if row.at_ms is not None and row.values]

    @property
    def times(self):
        return [utc(row.at_ms) for row in self.taken]

    def of(self, quantity):
        return [value for row in self.taken for name, value in row.values if name is quantity]


def utc(at_ms):
    return datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%Y-%m-%d %H:%M")


def local(text):
    """A time without a zone."""
    return datetime.fromisoformat(text)


def read(path, tz=BERLIN, day_first=None, decimal="", temperature_unit=""):
    """Read a file as the command does; a doubt that stays open is an error here."""
    heading = log_structure.find_heading(path, temperature_unit)
    seen = log_guess.gather(heading)
    order, sign = log_guess.order_of(heading, seen, day_first), log_guess.sign_of(seen, decimal)
    if order.value is None or sign.value is None:
        raise Refused(f"{order.why} / {sign.why}")
    layout = log_guess.layout(heading, seen, order.value, sign.value)
    return Read(layout, list(log_files.read(layout, heading.zone or tz)))


@pytest.fixture
def text(tmp_path):
    """Write a text as a file."""

    def write(content, encoding="utf-8", name="log.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return write


@pytest.fixture
def workbook(tmp_path):
    """Write rows as sheets of a workbook."""

    def write(*sheets):
        book = openpyxl.Workbook()
        book.remove(book.active)
        for number, rows in enumerate(sheets):
            sheet = book.create_sheet(f"Sheet {number}")
            for row in rows:
                sheet.append(row)
        book.save(tmp_path / "log.xlsx")
        return tmp_path / "log.xlsx"

    return write


@pytest.fixture
def probe(store):
    with store.writing() as connection:
        return facts.add_subject(connection, SubjectKind.PROBE, "north").id


# --- what a file is made of ----------------------------------------------------------------------------


def test_a_preamble_a_decimal_comma_and_two_columns_of_time_are_understood():
    found = read(SAMPLES / "preamble-semicolons.csv")
    heading = found.layout.heading
    assert heading.source.form == "text, Windows-1252, separated by semicolons"
    assert heading.row.number == 6
    assert (found.layout.decimal, found.layout.order) == (",", DateOrder.DAY_FIRST)
    assert [(one.quantity, one.unit.name, one.unit_said) for one in heading.columns] == [
        (T, "°C", True),
        (RH, "%", True),
    ]
    assert [name for name, _ in heading.not_taken] == ["Taupunkt [°C]"]
    assert found.of(T) == [11.5, 11.4, 11.1, 11.0, 10.9, 10.8, 10.7, 10.6]
    assert found.of(RH)[-1] == 86.0
    assert not found.bad


def test_fahrenheit_am_and_pm_and_month_first_are_understood():
    found = read(SAMPLES / "month-first-fahrenheit.csv")
    assert found.layout.order is DateOrder.MONTH_FIRST
    assert found.of(T)[:3] == pytest.approx([15.0, 14.5, 14.0])
    assert found.times[:4] == ["2026-04-12 21:30", "2026-04-12 22:00", "2026-04-12 22:30", "2026-04-13 10:00"]
    assert found.of(T)[-1] == pytest.approx((1068 - 32) * 5 / 9), "1,068.0 is grouped thousands"
    assert len(found.rows) == 5, "the heading that comes again is no row"


def test_units_below_the_heading_and_a_zone_above_it_are_understood():
    found = read(SAMPLES / "tabs-utf16.txt")
    assert found.layout.heading.source.form == "text, UTF-16, separated by tabs"
    assert found.times == ["2026-06-01 10:00", "2026-06-01 10:10"]
    assert found.of(T) == pytest.approx([25.0, 25.5])
    assert found.of(MASS) == pytest.approx([4.5125, 4.512])


def test_json_lines_are_understood_and_a_broken_line_is_listed():
    found = read(SAMPLES / "lines.jsonl")
    assert found.of(T) == [15.5, 15.75, 16.0]
    assert found.of(RH) == [66.0, 65.5]
    assert found.of(Quantity.BATTERY_V) == [2.95]
    assert found.times == ["2026-05-01 04:00", "2026-05-01 04:10", "2026-05-01 04:20"]
    assert [one.row for one in found.bad] == [1, 4]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1"])
@pytest.mark.parametrize("separator", [";", "\t", ",", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_encoding_separator_and_line_end_gives_the_same(text, encoding, separator, end):
    lines = [["Zeit", "Temperatur (°C)", "Feuchte (%)"]]
    lines += [[f"2026-05-{day:02} 06:00", f"{day}.5", "60.25"] for day in range(1, 21)]
    found = read(text(end.join(separator.join(cells) for cells in lines), encoding))
    assert found.of(T) == [day + 0.5 for day in range(1, 21)]
    assert found.times[0] == "2026-05-01 04:00"
    assert not found.bad


def test_a_workbook_with_dates_numbers_and_text_is_understood(workbook):
    notes = [["Invented", "notes"], ["nothing", "here"]]
    data = [
        ["INVENTED DATA", None, None],
        ["Date", "Time", "Temp (°F)", "Humidity"],
        [local("2026-06-01"), local("2026-01-01 12:10").time(), 77, 50.1],
        ["02.06.2026", "13:20", "78,8", None],
        [local("2026-06-03"), "14:30:30", "=C3+1", "49,5 %"],
    ]
    found = read(workbook(notes, data), day_first=True)
    assert found.layout.heading.source.form == "Excel, sheet 'Sheet 1'"
    assert found.times == ["2026-06-01 10:10", "2026-06-02 11:20", "2026-06-03 12:30"]
    assert found.of(T) == pytest.approx([25.0, 26.0])
    assert found.of(RH) == [50.1, 49.5]
    assert [(one.row, one.field, one.value) for one in found.bad] == [(5, "Temp (°F)", "=C3+1")]


def test_a_further_sheet_with_readings_is_told_of_and_can_be_chosen(workbook):
    months = [[["Time", "Temp (°C)"], [f"2026-0{month}-13 06:00", month + 0.5]] for month in (5, 6)]
    path = workbook(*months)
    first = log_structure.find_heading(path)
    assert first.source.sheet == "Sheet 0"
    assert first.not_taken == (("sheet Sheet 1", "it has readings too; --sheet imports it"),)
    assert log_structure.find_heading(path, sheet="Sheet 1").source.sheet == "Sheet 1"
    with pytest.raises(BadInput, match="sheet is June; accepted: Sheet 0, Sheet 1"):
        log_structure.find_heading(path, sheet="June")
    with pytest.raises(BadInput, match="the file is no workbook"):
        log_structure.find_heading(SAMPLES / "tabs-utf16.txt", sheet="June")


def test_a_spreadsheets_own_ten_minutes_come_out_on_the_minute(workbook):
    start = local("2026-06-01")
    rows = [["Timestamp", "Temperature (°C)"], *([start + timedelta(minutes=10 * i), 20.0] for i in range(1000))]
    found = read(workbook(rows), tz=UTC)
    first_ms = ms_from_datetime(start.replace(tzinfo=UTC))
    assert [row.at_ms for row in found.rows] == [first_ms + i * 600_000 for i in range(1000)]


def test_a_spreadsheets_bare_day_numbers_are_dates(text):
    # ECMA-376 Part 1, section 18.17.4.1: in the 1900 date system day 1 is 1 January 1900, and 60 is the
    # 29 February 1900 that never was; so 36526 is 1 January 2000 (from memory) and 46143 is 1 May 2026.
    assert local("2000-01-01") + timedelta(days=46143 - 36526) == local("2026-05-01")
    found = read(text("time;temperature (°C)\n46143.25;12.5\n46143.5;13.5\n"), tz=UTC)
    assert found.times == ["2026-05-01 06:00", "2026-05-01 12:00"]


@pytest.mark.parametrize(
    ("stamp", "wanted"),
    [
        ("2026-05-01T06:00:00Z", "2026-05-01 06:00"),
        ("2026-05-01T06:00:00.250+02:00", "2026-05-01 04:00"),
        ("2026/05/01 06:00", "2026-05-01 04:00"),
        ("2026.05.01 6:00", "2026-05-01 04:00"),
        ("20260501 060000", "2026-05-01 04:00"),
        ("202605010600", "2026-05-01 04:00"),
        ("1777608000", "2026-05-01 04:00"),
        ("1777608000000", "2026-05-01 04:00"),
        ("1 May 2026 06:00", "2026-05-01 04:00"),
        ("01-Mai-26 06:00", "2026-05-01 04:00"),
        ("May 1, 2026 6:00 a.m.", "2026-05-01 04:00"),
        ("2026-05-01 06:00 UTC+3", "2026-05-01 03:00"),
        ("2026-05-01 12:00 AM", "2026-04-30 22:00"),
        ("2026-05-01 12:00 PM", "2026-05-01 10:00"),
        ("2026-05-01", "2026-04-30 22:00"),
    ],
)
def test_a_time_is_read_in_the_forms_that_files_have(text, stamp, wanted):
    assert read(text(f'Timestamp;Temp °C\n"{stamp}";12.5\n')).times == [wanted]


def test_the_zone_in_a_heading_holds_for_the_column(text):
    found = read(text("Date Time, GMT+02:00;Temp °C\n2026-12-01 06:00;12.5\n"), tz=None)
    assert found.times == ["2026-12-01 04:00"]


@pytest.mark.parametrize(
    ("heading", "raw", "quantity", "value"),
    [
        ("Temp (K)", "300.15", T, 27.0),
        ("TempF", "50", T, 10.0),
        ("%RH", "55", RH, 55.0),
        ("Humidity (fraction)", "0.55", RH, 55.0),
        ("rel. Luftfeuchte [%]", "55", RH, 55.0),
        ("Weight (kg)", "4.5", MASS, 4.5),
        ("Weight (lb)", "10", MASS, 4.5359237),  # exact: NIST Special Publication 811 (2008), Appendix B.8
        ("Weight (oz)", "160", MASS, 4.5359237),
        ("Pin moisture (%)", "12.5", Quantity.PIN_MC_PCT, 12.5),
        ("Moisture, capacitance (%)", "12.5", Quantity.CAPACITANCE_MC_PCT, 12.5),
        ("PM2.5 (µg/m³)", "12", Quantity.PM2_5_UG_M3, 12.0),
        ("PM10", "12", Quantity.PM10_UG_M3, 12.0),
        ("Rain (in)", "1", Quantity.RAIN_MM, 25.4),  # exact: the same appendix
        ("Battery (%)", "80", Quantity.BATTERY_PCT, 80.0),
        ("Battery mV", "2950", Quantity.BATTERY_V, 2.95),
    ],
)
def test_every_quantity_is_converted_from_the_unit_in_its_heading(text, heading, raw, quantity, value):
    found = read(text(f"Time;{heading}\n2026-05-01 06:00;{raw}\n"))
    assert found.of(quantity) == pytest.approx([value])
    assert set(Quantity) >= {quantity}


@pytest.mark.parametrize(
    ("heading", "why"),
    [
        ("Weight", "names no unit"),
        ("Battery", "names no unit"),
        ("Moisture (%)", "by pins or by capacitance"),
        ("Dew point (°C)", "dew point"),
        ("Max temp (°C)", "an extreme"),
        ("CPU temp (°C)", "device"),
        ("RH 2 (%)", "a second column"),
        ("=HYPERLINK()", "nothing that is kept"),
    ],
)
def test_a_column_that_could_mean_two_things_is_not_taken_and_the_reason_told(text, heading, why):
    found = read(text(f"Time;RH (%);{heading}\n2026-05-01 06:00;60;50\n"))
    assert found.of(RH) == [60.0]
    [(name, reason)] = found.layout.heading.not_taken
    assert (name, why in reason) == (heading, True), reason


def test_a_unit_that_nobody_names_is_assumed_and_said_to_be_or_given(text):
    path = text("Time;Temperature\n2026-05-01 06:00;68\n")
    assert not read(path).layout.heading.columns[0].unit_said
    given_ = read(path, temperature_unit="F")
    assert given_.of(T) == pytest.approx([20.0])
    assert given_.layout.heading.columns[0].unit_said
    with pytest.raises(BadInput, match="temperature unit is R; accepted: C, F or K"):
        read(path, temperature_unit="R")


# --- order of day and month, decimal sign -------------------------------------------------------------


def test_an_order_that_nothing_tells_stays_open_until_it_is_chosen():
    with pytest.raises(Refused, match="no day after the 12th tells the order; row 2 can be read both ways"):
        read(SAMPLES / "undecided-dates.csv")
    assert read(SAMPLES / "undecided-dates.csv", day_first=True).times[0] == "2026-04-03 04:00"
    assert read(SAMPLES / "undecided-dates.csv", day_first=False).times[0] == "2026-03-04 05:00"


@given(
    days=st.lists(st.dates(date(2016, 1, 1), date(2026, 1, 1)), min_size=1, max_size=20),
    day_first=st.booleans(),
    mark=st.sampled_from("/.-"),
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_order_is_told_exactly_when_a_day_after_the_12th_is_there(tmp_path, days, day_first, mark):
    form = f"%d{mark}%m{mark}%Y" if day_first else f"%m{mark}%d{mark}%Y"
    path = tmp_path / "log.csv"
    path.write_text("Date;Temp (°C)\n" + "".join(f"{day.strftime(form)} 12:00;12.5\n" for day in days))
    doubtful = all(day.day <= 12 for day in days) and any(day.day != day.month for day in days)
    if doubtful:
        with pytest.raises(Refused, match="no day after the 12th"):
            read(path)
    else:
        assert [row.at_ms for row in read(path, tz=UTC).rows] == [
            ms_from_datetime(datetime(day.year, day.month, day.day, 12, tzinfo=UTC)) for day in days
        ]


def test_dates_that_speak_for_both_orders_leave_it_open(text):
    path = text("Date;Temp (°C)\n13/04/2026 06:00;1.5\n04/13/2026 07:00;1.5\n")
    with pytest.raises(Refused, match="row 2 can only be day first, row 3 only month first"):
        read(path)
    chosen = read(path, day_first=True)
    assert (chosen.times, [one.row for one in chosen.bad]) == (["2026-04-13 04:00"], [3])


def test_the_heading_can_say_the_order(text):
    path = text("Date (mm/dd/yyyy);Temp (°C)\n04/05/2026 06:00;1.5\n")
    assert read(path).times == ["2026-04-05 04:00"]


@pytest.mark.parametrize(
    ("rows", "decimal", "values"),
    [
        (["1,5", "2,25"], ",", [1.5, 2.25]),
        (["1.5", "2"], ".", [1.5, 2.0]),
        (["21,345", "21,346"], ",", [21.345, 21.346]),
        (["-1,5", "−2,5"], ",", [-1.5, -2.5]),
        (["3", "4"], ".", [3.0, 4.0]),
        (["1,5 °C", "34,7°F"], ",", [1.5, 1.5]),
    ],
)
def test_the_decimal_sign_is_told_from_the_numbers(text, rows, decimal, values):
    lines = "".join(f"2026-05-01 0{i}:00;{value}\n" for i, value in enumerate(rows))
    found = read(text("Time;Temp (°C)\n" + lines))
    assert found.layout.decimal == decimal
    assert found.of(T) == pytest.approx(values)


def test_a_decimal_sign_that_nothing_tells_stays_open_until_it_is_chosen(text):
    path = text("Time;Weight (g)\n2026-05-01 06:00;4,512\n")
    with pytest.raises(Refused, match="row 2 has a figure that can mean thousands or thousandths"):
        read(path)
    assert read(path, decimal=",").of(MASS) == pytest.approx([0.004512])
    both = text("Time;Temp (°C)\n2026-05-01 06:00;4,5\n2026-05-01 07:00;4.5\n")
    with pytest.raises(Refused, match="row 2 has a decimal comma, row 3 a decimal point"):
        read(both)
    assert [one.row for one in read(both, decimal=".").bad] == [2]
    with pytest.raises(BadInput, match="decimal sign is ;; accepted: a point or a comma"):
        read(both, decimal=";")


# --- clock changes ------------------------------------------------------------------------------------
# Europe: last Sundays of March and October at 01:00 UTC (Directive 2000/84/EC, Articles 2 and 3), so 29 March and
# 25 October 2026. USA: second Sunday of March, first of November, at 2 a.m. (Energy Policy Act of 2005, section 110).


def test_the_repeated_hour_is_told_apart_by_the_order_of_rows():
    times = read(SAMPLES / "preamble-semicolons.csv").times
    hours = ["23:30", "00:00", "00:30", "01:00", "01:30", "02:00", "02:30"]
    assert [one[-5:] for one in times[2:]] == hours
    assert times[3] == "2026-10-25 00:00"


def test_the_repeated_hour_is_told_apart_in_a_file_with_its_newest_row_first():
    found = read(SAMPLES / "newest-first.csv")
    assert found.layout.newest_first
    hours = ["02:30", "02:00", "01:30", "01:00", "00:30", "00:00", "23:30"]
    assert [one[-5:] for one in found.times] == hours


def test_the_hour_left_out_gives_bad_rows_and_the_rest_is_taken():
    found = read(SAMPLES / "spring-forward.csv")
    assert [one.row for one in found.bad] == [4, 5, 7, 8, 9, 10]
    assert all("clocks had been put forward" in one.accepted for one in found.bad[:2])
    assert "--zone" in found.bad[0].accepted
    assert found.times == ["2026-03-29 00:30", "2026-03-29 01:00", "2026-03-29 01:30", "2026-03-29 03:30"]
    assert read(SAMPLES / "spring-forward.csv", tz=log_times.offset("+01:00")).times[1] == "2026-03-29 01:00"


@given(
    step_min=st.sampled_from([1, 2, 5, 10, 15, 20, 30, 60, 120]),
    before_h=st.integers(4, 40),
    after_h=st.integers(4, 40),
    shift_min=st.integers(0, 119),
    newest_first=st.booleans(),
    switch=st.sampled_from(
        [
            (BERLIN, datetime(2026, 10, 25, 1, tzinfo=UTC)),
            (BERLIN, datetime(2026, 3, 29, 1, tzinfo=UTC)),
            (NEW_YORK, datetime(2026, 11, 1, 6, tzinfo=UTC)),
            (NEW_YORK, datetime(2026, 3, 8, 7, tzinfo=UTC)),
        ]
    ),
)
@settings(max_examples=150, deadline=None)
def test_a_regular_log_of_local_times_comes_back_to_the_very_moments(
    step_min, before_h, after_h, shift_min, newest_first, switch
):
    zone, moment = switch
    start = moment - timedelta(hours=before_h, minutes=shift_min)
    count = ((before_h + after_h) * 60 + shift_min) // step_min
    moments = [start + timedelta(minutes=step_min * i) for i in range(count)]
    if newest_first:
        moments.reverse()
    clock = Clock(zone, newest_first=newest_first, usual_step_ms=step_min * 60_000)
    times = [one.astimezone(zone).replace(tzinfo=None, fold=0) for one in moments]
    assert [clock.utc_ms(one) for one in times] == [ms_from_datetime(one) for one in moments]


def test_a_row_repeated_within_the_repeated_hour_is_a_repeat_and_not_an_hour_later():
    clock = Clock(BERLIN, usual_step_ms=600_000)
    times = [local("2026-10-25 01:50"), *[local("2026-10-25 02:00")] * 2, local("2026-10-25 02:10")]
    assert [utc(clock.utc_ms(one))[-5:] for one in times] == ["23:50", "00:00", "00:00", "00:10"]


def test_this_machines_zone_is_used_where_none_is_said(monkeypatch):
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    try:
        zone = log_times.zone("", None, "")
        assert zone.tz is None
        assert zone.said.startswith("Europe/Berlin (this machine's")
        clock = Clock(None, usual_step_ms=1_800_000)
        times = [local("2026-10-25 02:00"), local("2026-10-25 02:30"), local("2026-10-25 02:00")]
        assert [utc(clock.utc_ms(one))[-5:] for one in times] == ["00:00", "00:30", "01:00"]
        with pytest.raises(NoTime, match="clocks had been put forward"):
            clock.utc_ms(local("2026-03-29 02:30"))
    finally:
        monkeypatch.undo()
        time.tzset()


def test_the_option_goes_before_the_file_and_the_file_before_the_setting():
    in_file = log_times.offset("UTC+3")
    assert log_times.zone("Europe/Berlin", in_file, "America/New_York").tz == BERLIN
    assert log_times.zone("", in_file, "America/New_York").tz == in_file
    assert log_times.zone("", None, "America/New_York").tz == NEW_YORK
    assert log_times.zone("+01:00", None, "").tz == log_times.offset("UTC+1")
    for wrong in ("Europe/Nowhere", "../../etc/passwd", "\0", "Europe", "+15:00", "a" * 5000):
        with pytest.raises(BadInput, match="a time zone such as Europe/Berlin"):
            log_times.zone(wrong, None, "")


# --- bad rows -----------------------------------------------------------------------------------------


def test_a_bad_cell_is_listed_with_row_field_value_and_what_is_accepted_and_the_rest_taken():
    found = read(SAMPLES / "spring-forward.csv")
    assert str(found.bad[2]) == "row 7: Temperature (°C) is sensor?; accepted: a number with a comma, as in 21,5."
    assert 90.5 in found.of(RH), "the humidity of the row whose temperature is bad"
    assert "2 cells long" in str(found.bad[3])
    assert found.bad[5].value == "=NOW()", "a formula is text"


def test_a_stray_quote_costs_one_row(text):
    lines = ["Time,Note,Temp (°C)", '2026-05-01 06:00,5" sensor,1.5', '2026-05-01 07:00,"open,2.5']
    lines += [f'2026-05-01 {hour:02}:00,"fine, really",{hour}.5' for hour in range(8, 20)]
    found = read(text("\n".join(lines)))
    assert found.of(T) == [1.5, 2.5, *(hour + 0.5 for hour in range(8, 20))]


def test_a_quoted_cell_may_hold_separators_quotes_and_line_breaks(text):
    # RFC 4180, section 2, rules 6 and 7.
    path = text(
        'Time,"Note\n(free ""text"")",Temp (°C)\r\n2026-05-01 06:00,"a,\r\nb",1.5\r\n2026-05-01 07:00,c,2.5\r\n'
    )
    found = read(path)
    assert found.of(T) == [1.5, 2.5]
    assert [row.number for row in found.rows] == [3, 5]


def test_a_block_of_noughts_from_a_failing_card_is_one_bad_row(text):
    rows = b"".join(b"2026-05-01 %02d:00;%d.5\n" % (hour, hour) for hour in range(24))
    found = read(text(b"Time;Temp (C)\n" + rows + b"\0" * 3000 + b"\n" + rows.replace(b"-01 ", b"-02 ")))
    assert len(found.taken) == 48
    assert [one.row for one in found.bad] == [26]


def test_a_line_without_end_is_one_bad_row(text):
    found = read(text("Time;Temp (C)\n" + "x;" * 500_000 + "\n2026-05-01 06:00;1.5\n"))
    assert (found.of(T), len(found.bad)) == ([1.5], 1)
    assert len(str(found.bad[0])) < 300


def test_values_that_say_there_is_none_are_not_bad(text):
    cells = ["", "-", "--", "---", "n/a", "NaN", "null"]
    lines = [f"2026-05-01 {i:02}:00;{cell};60" for i, cell in enumerate(cells)]
    found = read(text("\n".join(["Time;Temp (C);RH (%)", *lines])))
    assert (found.of(T), len(found.of(RH)), found.bad) == ([], len(cells), [])


def test_a_number_beyond_all_measure_is_a_bad_cell(text):
    many = "9" * 400
    found = read(text(f'{{"time": 1777608000, "temp": {many}}}\n{{"time": {many}, "temp": 1}}\n', name="log.jsonl"))
    assert [(one.row, one.field) for one in found.bad] == [(1, "temp"), (2, "time")]


def test_what_a_cell_holds_cannot_steer_a_terminal(text):
    found = read(text("Time;Temp (C)\n2026-05-01 06:00;\x1b[31mred\x07\n2026-05-01 07:00;1.5\n"))
    assert found.bad[0].value.isprintable()


# --- what is no log file ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "size of log.csv is 0 bytes"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "save it as .xlsx or CSV first"),
        (b"%PDF-1.7 ...", "a PDF"),
        (b"PK\x03\x04 broken", "a broken archive"),
        (b"[1, 2, 3]", "JSON lines: one object a line"),
        (b"\xff\xfeT\x00\x00\xd8", "broken text; accepted: text that is UTF-16 throughout"),
        (b"just some words\nand more\n", "a heading that names the time"),
        (b"Time;Colour\n2026-05-01 06:00;red\n", "a heading that names the time"),
    ],
)
def test_what_is_no_log_file_is_refused_in_one_sentence(text, content, said):
    with pytest.raises(BadInput) as caught:
        read(text(content))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there_or_a_folder_is_refused(tmp_path):
    for path in (tmp_path / "none.csv", tmp_path, Path("/dev/null"), Path("a\0b")):
        with pytest.raises(BadInput, match="a file that is there"):
            read(path)


def test_an_archive_that_is_no_workbook_or_unpacks_without_end_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "log.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("content.xml", "x")
    with pytest.raises(BadInput, match="an archive that is no Excel workbook"):
        read(path)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "x" * 5000)
    with pytest.raises(BadInput, match="a workbook that cannot be read"):
        read(path)
    monkeypatch.setattr("sensors.log_cells.MAX_UNPACKED_BYTES", 4000)
    with pytest.raises(BadInput, match="5000 bytes unpacked"):
        read(path)


# --- any bytes ----------------------------------------------------------------------------------------

CELLS = st.sampled_from(
    [
        *("Time", "Date", "Temp (°C)", "RH %", "Weight", "°F", "%", "sep=;", "", '"', '""', "=1+1", "\0", "\x1b[0m"),
        *("2026-05-01 06:00", "13/04/2026", "04/13/26 1:00 PM", "02:30", "2026-10-25 02:30", "2026-03-29 02:30"),
        *("1777608000", "1e400", "46143.25", "1,234", "1.234,5", "12,5", "-999", "nan", "٣", "9" * 400, "\ufeff"),
        *("{", '{"time": 1, "temp": 2}', '{"a": ' * 50),
    ]
)


def texts():
    """Text that is anything, and text that is nearly a log."""
    rows = st.lists(st.lists(CELLS, max_size=5), max_size=12)
    nearly = st.builds(
        lambda rows, mark, end: "Time;Temp (°C)".replace(";", mark) + end + end.join(mark.join(row) for row in rows),
        rows,
        st.sampled_from(";,\t|"),
        st.sampled_from(["\n", "\r\n"]),
    )
    figures = st.integers() | st.floats() | CELLS
    objects = st.dictionaries(st.sampled_from(["time", "temp"]), figures).map(json.dumps)
    near = st.builds(lambda at, value: f'{{"time": {at}, "temp": {value}}}', figures, figures)
    lines = st.lists(objects | near, max_size=6).map("\n".join)
    return st.one_of(st.text(max_size=300), nearly, lines)


def gives_rows_or_one_sentence(path, day_first, decimal, tz):
    try:
        found = read(path, tz, day_first, decimal)
        log_files.survey(found.rows, NOW_MS)
    except BenchdryError as error:
        assert "\n" not in str(error)
        return
    for row in found.rows:
        assert row.at_ms is not None or row.bad
        assert all(abs(value) <= 1e12 for _, value in row.values)
        assert all("\n" not in str(bad) and len(str(bad)) < 400 for bad in row.bad)


@given(
    content=texts(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "latin-1"]),
    day_first=st.booleans(),
    decimal=st.sampled_from(".,"),
    tz=st.sampled_from([BERLIN, None, UTC]),
)
@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_text_gives_rows_and_bad_rows_or_one_refusal(tmp_path, content, encoding, day_first, decimal, tz):
    path = tmp_path / "log"
    path.write_bytes(content.encode(encoding, "replace"))
    gives_rows_or_one_sentence(path, day_first, decimal, tz)


@given(content=st.binary(max_size=400))
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_give_rows_and_bad_rows_or_one_refusal(tmp_path, content):
    path = tmp_path / "log"
    path.write_bytes(content)
    gives_rows_or_one_sentence(path, True, ".", BERLIN)


def good_workbook():
    book = openpyxl.Workbook()
    for row in [["Time", "Temp (°C)"], [local("2026-05-01 06:00"), 1.5], ["13.05.2026 07:00", "=A1"]]:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    with zipfile.ZipFile(out) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


PARTS = good_workbook()


@given(
    name=st.sampled_from(sorted(PARTS)),
    start=st.floats(0, 1),
    cut=st.integers(0, 60),
    put=st.sampled_from([b"", b"<", b'"', b"-1", b"99999999999", b"#N/A", b"&x;", b"\xff", b"<c/>", b"1e999"]),
)
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_damage_to_a_workbook_gives_rows_and_bad_rows_or_one_refusal(tmp_path, name, start, cut, put):
    place = int(start * len(PARTS[name]))
    path = tmp_path / "log.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        for one, body in PARTS.items():
            archive.writestr(one, body if one != name else body[:place] + put + body[place + cut :])
    gives_rows_or_one_sentence(path, True, ".", BERLIN)


# --- into the store -----------------------------------------------------------------------------------


def test_rows_are_judged_and_stored_as_live_readings_are_and_a_second_import_adds_nothing(store, probe, stored):
    found = read(SAMPLES / "spring-forward.csv")
    assert log_files.store_rows(store, probe, found.rows, NOW_MS) == Stored(7, 0, 0)
    kept = stored(store)
    assert len(kept) == 7
    assert {one.time_source for one in kept} == {TimeSource.PAYLOAD}
    assert [one.quality for one in kept if one.value == -999.0] == [Quality.OUT_OF_RANGE]
    assert log_files.store_rows(store, probe, found.rows, NOW_MS + 1) == Stored(0, 7, 0)
    assert stored(store) == kept
    with store.reading() as connection:
        assert readings.count(connection) == 7
        assert readings.count_conflicts(connection) == 0


def test_a_reading_from_the_future_is_flagged(store, probe, stored, text):
    found = read(text("Time;Temp (C)\n2026-05-01 06:00;1.5\n"))
    log_files.store_rows(store, probe, found.rows, found.rows[0].at_ms - 3_600_000)
    assert [one.quality for one in stored(store)] == [Quality.CLOCK_AHEAD]


def test_another_value_for_a_stored_time_is_kept_as_a_conflict(store, probe, text):
    log_files.store_rows(store, probe, read(text("Time;Temp (C)\n2026-05-01 06:00;1.5\n")).rows, NOW_MS)
    again = read(text("Time;Temp (C)\n2026-05-01 06:00;1.6\n2026-05-01 07:00;1.7\n"))
    assert log_files.store_rows(store, probe, again.rows, NOW_MS) == Stored(1, 0, 1)


def test_many_rows_go_in_by_batches_and_each_gets_its_second_look(store, probe, stored, monkeypatch):
    monkeypatch.setattr(log_files, "BATCH_ROWS", 10)
    looked = []
    rows = [LogRow(i, NOW_MS - 600_000 * i, ((T, 10.0 + i % 7), (RH, 60.0)), ()) for i in range(1, 36)]
    made = log_files.store_rows(store, probe, rows, NOW_MS, after=lambda _, batch: looked.append(len(batch)))
    assert made.new == len(stored(store)) == 70
    assert looked == [20, 20, 20, 10]


def test_a_spike_in_a_file_is_found_as_in_live_readings(store, probe, stored):
    values = [10.0, 10.1, 10.2, 10.1, 60.0, 10.2, 10.1, 10.0, 10.1]
    rows = [LogRow(i, NOW_MS - 600_000 * (20 - i), ((T, value),), ()) for i, value in enumerate(values)]
    log_files.store_rows(store, probe, rows, NOW_MS)
    assert [one.quality for one in stored(store) if one.value == 60.0] == [Quality.SPIKE]


def test_a_store_that_cannot_be_written_is_told_and_importing_again_adds_the_rest(store, probe, stored, monkeypatch):
    monkeypatch.setattr(log_files, "BATCH_ROWS", 2)
    rows = [LogRow(i, NOW_MS - 600_000 * i, ((T, 10.0 + i),), ()) for i in range(1, 6)]

    def full(connection, batch):
        if batch[0].value > 12:
            connection.exec_driver_sql("INSERT INTO no_such_table VALUES (1)")

    with pytest.raises(Refused, match="2 readings of the file are in it, and importing it again adds the rest"):
        log_files.store_rows(store, probe, rows, NOW_MS, after=full)
    assert len(stored(store)) == 2
    assert log_files.store_rows(store, probe, rows, NOW_MS) == Stored(3, 2, 0)


def test_what_only_summaries_are_kept_of_is_not_counted_twice(store, probe, stored):
    day_ms = 86_400_000
    rows = [LogRow(i, NOW_MS - 40 * day_ms + i * 3_600_000, ((T, 10.0 + i % 7),), ()) for i in range(960)]
    kept_from_ms = NOW_MS - 30 * day_ms
    log_files.store_rows(store, probe, rows, NOW_MS)
    retention.trim(store, NOW_MS, 30)
    left = len(stored(store))
    assert 0 < left < 960, "the older readings are gone, their summaries stay"
    again = log_files.store_rows(store, probe, rows, NOW_MS, kept_from_ms=kept_from_ms)
    assert again == Stored(0, left, 0, 960 - left)
    with store.reading() as connection:
        assert readings.count(connection) == 960
    older = [LogRow(1, NOW_MS - 50 * day_ms, ((T, 9.0),), ())]
    assert log_files.store_rows(store, probe, older, NOW_MS, kept_from_ms=kept_from_ms).new == 1


def test_the_survey_says_what_is_in_a_file_before_anything_is_stored():
    seen = log_files.survey(read(SAMPLES / "spring-forward.csv").rows, NOW_MS)
    assert (seen.rows, seen.readings, seen.bad_count) == (9, 7, 6)
    assert (utc(seen.first_ms), utc(seen.last_ms)) == ("2026-03-29 00:30", "2026-03-29 03:30")
    assert (seen.spans[T].count, seen.spans[T].flagged, seen.spans[T].low, seen.spans[T].high) == (3, 1, -999.0, 4.5)


def test_progress_is_told_as_rows_go_by(text):
    rows = "".join(f"2026-05-{1 + i // 1440:02} {i // 60 % 24:02}:{i % 60:02};{i % 50}.5\n" for i in range(3500))
    found = read(text("Time;Temp (C)\n" + rows))
    told = []
    assert len(list(log_files.read(found.layout, UTC, told.append))) == 3500
    assert told == [1000, 2000, 3000]
