"""The page of probes: those that need a person first, how each stands in a word, and what is wrong with its figures."""

import html
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from starlette.testclient import TestClient

from dashboards import entries, situation, small_marks
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import probe_steps, probes
from shared.store import readings
from shared.store.records import NewReading, Quality, Quantity, TimeSource
from shared.units import MS_PER_DAY

# Over MgCl2 33.1 %RH and over NaCl 75.5 %RH at 20 °C: L. Greenspan, J. Res. NBS 81A, 89 (1977), table 2.
TRUE_LOW_RH_PCT, TRUE_HIGH_RH_PCT = 33.1, 75.5


def now(yard):
    return situation.read(yard.store, yard.now_ms, yard.settings)


def page(yard, attempt=None):
    return probes.probes_page(now(yard), [], "Ida", attempt)


def view(yard, code="north"):
    return next(one for one in page(yard).probes if one.code == code)


def check(yard, high_by, days_ago, probe="north"):
    salts = {"temperature_c": 20, "low_salt": "MgCl2", "high_salt": "NaCl"}
    read = {"low_read_rh_pct": TRUE_LOW_RH_PCT + high_by, "high_read_rh_pct": TRUE_HIGH_RH_PCT + high_by}
    return yard.act(entries.check_hygrometer, probe, days_ago=days_ago, **salts, **read)


def client_of(yard):
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


def test_silent_ones_come_first_then_unplaced_then_the_others_by_place(yard):
    yard.act(entries.add_probe, "lost", topic="workshop/lost", days_ago=90)
    yard.act(entries.add_probe, "second", topic="workshop/shed/second", place="shed", days_ago=90)
    yard.act(entries.add_probe, "gone", topic="workshop/room/gone", place="room", days_ago=90)
    yard.log("lost", 10)
    yard.log("second", 10)
    yard.log("gone", 30, 9)
    shown = page(yard)
    assert [one.code for one in shown.probes] == ["gone", "lost", "north", "second", "warm"]
    assert [one.state for one in shown.probes] == ["silent", "unplaced", "heard", "heard", "heard"]
    assert shown.lead.startswith("5 probes: 1 silent, 1 unplaced and 3 heard.")
    assert re.fullmatch(r"for 9 days; last heard \d+ \w{3}( \d{4})?, \d\d:\d\d", shown.probes[0].since)
    assert [one.partition(":")[0] for one in shown.probes[0].steps] == ["Battery", "Reach", "Moved"]
    assert shown.probes[2].steps == ()
    assert shown.probes[0].age == "9 days ago"


def test_every_state_has_a_shape_of_its_own():
    assert set(probes.ORDER) == set(probes.STATE_KEYS) == set(small_marks.PROBES)
    assert len(set(small_marks.PROBES.values())) == len(small_marks.PROBES)


def test_a_probe_that_was_never_checked_says_so(yard):
    assert view(yard).check_told == ""  # once is enough
    assert re.fullmatch(r"Never checked: counts with ± \d\.\d %RH\.", view(yard).warning)
    assert page(yard).lead.endswith("Hygrometers: 2 never checked.")
    assert client_of(yard).get("/probes").text.count('probe-warning">') == 2


def test_a_check_is_told_with_its_age_how_far_off_it_reads_and_when_the_next_is_due(yard):
    check(yard, 0.8, 12)
    one = view(yard)
    assert re.fullmatch(r"Checked 12 days ago, reads 0\.[789] %RH high, due in 12 months", one.check_told)
    assert one.warning == "" and not one.due


def test_a_hygrometer_that_reads_low_is_told_to_read_low(yard):
    check(yard, -1.5, 5)
    assert re.search(r"reads 1\.[456] %RH low", view(yard).check_told)


def test_one_that_is_far_off_is_said_in_the_headline_and_in_the_lead(yard):
    check(yard, 6.0, 30)
    shown = page(yard)
    one = next(one for one in shown.probes if one.code == "north")
    assert re.fullmatch(r"Far off: reads (5\.9|6\.0|6\.1) %RH high, put right here\.", one.warning)
    assert shown.lead.endswith("Hygrometers: 1 far off and 1 never checked.")
    assert "reads" not in one.check_told  # once is enough


def test_an_overdue_check_is_said_in_the_headline(yard):
    check(yard, 0.5, 90)
    yard.now_ms += 300 * MS_PER_DAY  # a year after a check the next is due: common practice, no source
    one = view(yard)
    assert one.warning.startswith("Overdue for a check: since ")
    assert one.check_told.startswith("Checked 13 months ago, reads ")
    assert page(yard).lead.endswith("Hygrometers: 1 overdue for a check and 1 never checked.")


def test_a_battery_is_told_where_it_is_known(yard):
    assert view(yard).battery == ""
    probe = now(yard).probes[0]
    with yard.store.writing() as connection:
        series = readings.series_of(connection, probe.subject.id, Quantity.BATTERY_V)
        row = NewReading(series, yard.now_ms - 60_000, 2.87, Quality.GOOD, TimeSource.PAYLOAD)
        readings.append(connection, [row], yard.now_ms)
    assert view(yard, probe.subject.code).battery == "2.87 V"


def test_each_is_one_fold_with_its_code_for_address_and_its_forms_inside(yard):
    text = client_of(yard).get("/probes").text
    for code in ("north", "warm"):
        fold = re.search(
            rf'<details class="probe [^"]*" id="{code}">.*?(?=<details class="probe |</section>)', text, re.DOTALL
        )
        assert fold, code
        assert f'id="probe-{code}"' in fold[0] and f'id="check-{code}"' in fold[0]
        folded = fold[0].partition("</summary>")[0]
        assert "Heard" in html.unescape(folded) or ">heard<" in folded


def test_a_form_that_was_not_accepted_stands_in_an_open_fold(yard):
    client = client_of(yard)
    token = re.search(r'name="csrf" value="(\w+)"', client.get("/probes").text).group(1)
    answer = client.post("/probe/north/check", data={"csrf": token, "by": "Ida", "temperature_c": "200"})
    assert answer.status_code == 422
    assert re.search(r'<details class="probe [^"]*" id="north" open>', answer.text)
    assert re.search(r'<details class="probe [^"]*" id="warm">', answer.text)


def test_refused_messages_are_folded_away_with_their_number(yard):
    assert "Refused messages: none" in client_of(yard).get("/probes").text
    with yard.store.writing() as connection:
        some = [("workshop/x", b"{", "not a reading"), ("workshop/y", b"?", "not a reading")]
        readings.add_rejects(connection, some, yard.now_ms - 180_000)
    text = client_of(yard).get("/probes").text
    assert "Refused messages: the newest 2, the last 3 min ago" in text
    assert text.index('id="refused"') < text.index("workshop/x")


def test_figures_that_are_old_are_not_shown_as_if_of_now(yard):
    yard.now_ms += 3 * MS_PER_DAY
    text = client_of(yard).get("/probes").text
    one = view(yard)
    assert one.state == "silent" and one.age == "3 days ago"
    assert text.count('probe-figures of-old"') == 2


@pytest.mark.parametrize("state", probes.ORDER)
def test_the_word_of_a_state_is_not_said_twice(yard, state):
    told = next(iter(now(yard).probes))
    said = probes._after_its_word(
        replace(told, state=state, sentence=f"{state.capitalize()} for a while."), yard.now_ms
    )
    assert state not in said.lower()


def test_a_name_that_strangers_gave_is_shown_as_text(yard):
    yard.act(entries.add_probe, "x1", name="<b>loud</b>", topic="workshop/x1", days_ago=1)
    assert "<b>loud" not in client_of(yard).get("/probes").text


def test_a_stuck_probe_says_what_to_do(yard):
    told = replace(now(yard).probes[0], state="stuck")
    assert probe_steps.steps(told, yard.now_ms)[0].startswith("Breathe on it")
    assert probe_steps.told(told, yard.now_ms) == probe_steps.OF_STUCK[0]


def test_a_week_without_a_word_is_told_in_words(yard):
    habit = now(yard).probes[0].habit
    assert "Nothing heard all week." in probes.habit_sentence(replace(habit, hours_missing=168))
    assert "97 h of the last week are missing." in probes.habit_sentence(replace(habit, hours_missing=97))


def test_of_a_load_cell_the_net_is_in_sight_and_the_gross_in_the_fold(yard):
    yard.act(entries.add_probe, "scale", topic="workshop/scale", days_ago=30)
    with yard.store.writing() as connection:
        cell = next(one for one in now(yard).probes if one.subject.code == "scale")
        series = readings.series_of(connection, cell.subject.id, Quantity.MASS_KG)
        row = NewReading(series, yard.now_ms - 60_000, 10.441, Quality.GOOD, TimeSource.PAYLOAD)
        readings.append(connection, [row], yard.now_ms)
    alone = view(yard, "scale")
    assert alone.figures.replace("\u00a0", " ") == "10.441 kg gross"  # nobody has said what it carries
    assert alone.cell.gross.startswith("Gross, with all that hangs or stands on it: 10.441 kg, 1 min ago")
    at_ms = np.array([yard.now_ms - 7_200_000])
    told = SimpleNamespace(
        usable=np.array([True]),
        absolute=np.array([True]),
        mass_kg=np.array([10.104]),
        at_ms=at_ms,
        band_kg=lambda _: 0.05,
        events=(),
        notes=(),
    )
    shown = probes.probes_page(now(yard), [], "Ida", None, {cell.subject.id: told})
    (net,) = [one for one in shown.probes if one.code == "scale"]
    assert net.figures.replace("\u00a0", " ") == "10.10 kg" and net.age == "2 h ago"
    assert net.others == ()
