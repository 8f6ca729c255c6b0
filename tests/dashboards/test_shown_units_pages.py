"""Every page in °F and inches, by the yard's choice or the browser's; and in °C and mm as it would be without."""

from __future__ import annotations

import html
import re
from urllib.parse import urlencode

import pytest
from starlette.testclient import TestClient

from dashboards import desk, entries, kept_entries
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.shown_units import METRIC
from shared.settings import Settings
from shared.store import facts
from shared.store.records import BoardFact, PinReading, SubjectKind
from tests.dashboards.test_app import PAGES, full, projected, send, words  # noqa: F401 - fixtures
from tests.dashboards.test_work_out import ASKED

QUESTIONS = [f"/work-out/{name}?{urlencode(typed)}" for name, typed in ASKED.items()]
MORE = [
    "/work-out/emc?temperature_c=20&wet_bulb_c=15",
    "/work-out/movement?board=A1&from_mc_pct=12&to_rh_pct=50&thickness_mm=27&length_mm=900&pith_mm=80",
    "/work-out/saw-plan?species=Quercus+rubra&finished_mm=90",
    "/board/A1/through?moment=0",
    "/board/A1/then?at=2026-11-20",
    "/set/T1/then",
    "/units",
    "/settings",
    "/weigh",
    "/?wall=1",
    "/stack/S1/options",
    "/board/A1/options",
    "/air?hours=24",
    "/more",
    "/dust",
    "/learned",
    "/nowhere",
]
ALL = [*PAGES, *QUESTIONS, *MORE]
# What a page may say in °C or mm all the same: the words of a source, a formula, the constants as their sources have
# them (all marked with a joiner); what came from a probe; the name of the unit where it is chosen.
CHOSEN_ON = ("/units", "/settings")
MARKED = re.compile("[ \u00a0\u2009]\u2060(?:°C|mm)")
RAW = re.compile(r"<code>.*?</code>|<td>.*?(?:g/mol|per °C|/°C|1/°C).*?</td>", re.DOTALL)
OTHER = re.compile(r"°C|C°|(?<![\w/])mm\b(?![²³])")


@pytest.fixture
def browser(full):  # noqa: F811
    def of(**chosen):
        app = create_app(full.store, Settings(**chosen), full.folder / SECRETS_NAME, lambda: full.now_ms)
        return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)

    return of


def told(page: str) -> str:
    """Return what is read on a page, what is read out of its drawings among it, but not what is marked as quoted."""
    spoken = " ".join(re.findall(r'aria-label="([^"]*)"', page))
    return html.unescape(MARKED.sub("", re.sub(r"<[^>]+>", " ", RAW.sub("", page)) + spoken))


def test_no_page_speaks_of_celsius_or_millimetres_to_somebody_who_chose_otherwise(browser):
    client, found, figures = browser(temperature_unit="F", length_unit="in"), [], 0
    for path in ALL:
        text = told(client.get(path).text)
        figures += len(re.findall(r"\d[ \u00a0](?:°F|in)\b", text))
        if path in CHOSEN_ON:
            continue
        left = [text[max(0, one.start() - 60) : one.end() + 20] for one in OTHER.finditer(text)]
        found += [f"{path}: {' '.join(one.split())}" for one in left]
    assert not found, "\n".join(found)
    assert figures > 100  # the pages have figures, so that there was something to turn


def test_in_celsius_and_millimetres_every_page_is_as_it_is_without_turning(browser, monkeypatch):
    client = browser()
    client.get("/add")  # the session's cookie, once
    turned = {path: client.get(path).text for path in ALL}
    plain = desk.templates.__wrapped__(METRIC)
    plain.finalize = None
    monkeypatch.setattr(desk, "templates", lambda _units: plain)
    for path, page in turned.items():
        assert page == client.get(path).text.replace("C°", "°C"), path


def test_a_browser_chooses_for_itself_and_keeps_its_choice(browser):
    client = browser()
    shed = words(client.get("/air"))
    assert "12.0 °C" in shed or "°C" in shed
    answer = send(client, "/units", "/units", temperature="F", length="in", to="/air")
    assert (answer.status_code, answer.headers["location"]) == (303, "/air")
    page = client.get("/air").text
    assert "°F" in page and "°C" not in told(page)
    assert "degrees Fahrenheit and sizes in inches" in page
    again = client.get("/units").text
    assert re.search(r'value="F" checked', again) and re.search(r'value="in" checked', again)


@pytest.mark.parametrize("to", ["//elsewhere.example", "https://elsewhere.example/", "/\\elsewhere.example", "air", ""])
def test_the_choice_leads_nowhere_else(browser, to):
    answer = send(browser(), "/units", "/units", temperature="F", length="mm", to=to)
    assert answer.headers["location"] in ("/", "/units")


def test_a_choice_that_there_is_not_is_refused(browser):
    answer = send(browser(), "/units", "/units", temperature="K", length="mm")
    assert "temperature unit is K; accepted: C or F." in words(answer)


def test_the_chart_and_the_part_that_a_page_fetches_are_in_its_units(browser):
    metric, client = browser(), browser(temperature_unit="F", length_unit="in")
    one, other = (each.get("/api/figure/air/shed.json?days=30").json() for each in (metric, client))
    heat = [trace["y"] for trace in one["data"] if "°C" in trace["name"]]
    turned = [trace["y"] for trace in other["data"] if "°F" in trace["name"]]
    assert heat and len(heat) == len(turned)
    for before, after in zip(heat, turned, strict=True):
        # NIST SP 811 (2008), Appendix B.8
        assert [None if v is None else 1.8 * v + 32 for v in before] == pytest.approx(after, abs=0.006, nan_ok=True)
    assert "°C" not in client.get("/api/figure/air/shed.json?days=30").text
    assert "mm through" not in client.get("/board/A1/through?moment=0").text


def test_programs_get_celsius_and_millimetres_whatever_is_chosen(browser):
    metric, client = browser(), browser(temperature_unit="F", length_unit="in")
    for path in ("/api/board/A1", "/api/air/shed", "/export/boards.csv", "/export/readings/north.csv"):
        assert metric.get(path).text == client.get(path).text, path
        assert "C°" not in client.get(path).text


def test_a_board_is_entered_in_inches(browser, full):  # noqa: F811
    client = browser(length_unit="in")
    form = client.get("/add").text
    assert re.search(r'name="unit-thickness_mm" value="in"', form)
    typed = {"code": "Q1", "species": "Fraxinus americana", "cut": "flat-sawn", "origin": "fresh-sawn"}
    typed |= {"where": "place:shed", "thickness_mm": "8/4", "width_mm": "7 1/2", "length_mm": "96"}
    typed |= {f"unit-{key}_mm": "in" for key in ("thickness", "width", "length")}
    refused = send(client, "/add", "/add/board", **(typed | {"thickness_mm": "1 9/4"}))
    assert refused.status_code == 422
    assert "thickness is 1 9/4; accepted: a number, " in words(refused)
    assert 'value="1 9/4"' in refused.text and 'value="7 1/2"' in refused.text
    assert send(client, "/add", "/add/board", **typed).status_code == 303
    with full.store.reading() as connection:
        board = facts.subject(connection, SubjectKind.BOARD, "Q1")
        held = next(one for one in facts.standing(connection, BoardFact) if one.subject_id == board.id)
    # NIST SP 811 (2008), Appendix B.8: 25.4 mm to the inch, exactly
    assert (held.thickness_m, held.width_m, held.length_m) == pytest.approx((0.0508, 0.1905, 2.4384), rel=1e-12)
    assert "2 × 7.5 × 96 in" in words(client.get("/board/Q1"))


def test_a_form_that_was_filled_in_inches_counts_so_whatever_is_chosen_since(browser, full):  # noqa: F811
    client = browser()  # by now in mm
    typed = {"code": "Q2", "species": "Fraxinus americana", "cut": "flat-sawn", "origin": "fresh-sawn"}
    typed |= {"where": "place:shed", "thickness_mm": "1", "width_mm": "6", "length_mm": "48"}
    typed |= {f"unit-{key}_mm": "in" for key in ("thickness", "width", "length")}
    assert send(client, "/add", "/add/board", **typed).status_code == 303
    assert "25.4 × 152.4 × 1219.2 mm" in words(client.get("/board/Q2"))


def test_a_question_is_asked_in_inches_and_its_address_tells_the_same_to_everybody(browser):
    asked = "species=Quercus+rubra&finished_mm=3/4&unit-finished_mm=in&cut=flat-sawn"
    in_inches, in_mm = (browser(length_unit=unit).get(f"/work-out/saw-plan?{asked}").text for unit in ("in", "mm"))
    asked_metric = browser().get("/work-out/saw-plan?species=Quercus+rubra&finished_mm=19.05&cut=flat-sawn").text
    headline = re.compile(r'class="headline">saw at ([\d.]+)\s(\w+)')
    inches, mm, metric = (headline.search(page).groups() for page in (in_inches, in_mm, asked_metric))
    assert mm == metric and (inches[1], mm[1]) == ("in", "mm")
    assert float(inches[0]) * 25.4 == pytest.approx(float(mm[0]), abs=0.1)
    assert 'value="3/4"' in in_inches and 'value="19.05"' in in_mm


def test_a_person_s_own_words_are_sent_back_as_they_were_typed(browser, full):  # noqa: F811
    full.act(entries.add_stack, "S9", place="shed", name="27 mm ash at 20 °C")
    page = browser(temperature_unit="F", length_unit="in").get("/stack/S9").text
    assert 'value="27 mm ash at 20 °C"' in page


def test_a_pin_reading_that_a_phone_kept_in_inches_and_fahrenheit_is_entered_so(full):  # noqa: F811
    typed = {
        "mc_pct": "14",
        "depth_mm": "1/4",
        "unit-depth_mm": "in 6.75",
        "temperature_c": "50",
        "unit-temperature_c": "F",
    }
    kept = kept_entries.Kept("k" * 32, "pin", "A1", "Ida", {**typed, "true_at": full.now_ms})
    with full.store.writing() as connection:
        kept_entries.enter(connection, kept, full.now_ms)
        pin = facts.standing(connection, PinReading)[-1]
    # NIST SP 811 (2008), Appendix B.8: a quarter of an inch is 6.35 mm, 50 °F is 10 °C
    assert (pin.depth_m, pin.wood_temperature_c) == pytest.approx((0.00635, 10.0), rel=1e-9)
