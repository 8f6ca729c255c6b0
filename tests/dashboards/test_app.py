"""The pages as a browser without script gets them, the forms, the live stream, JSON and CSV."""

import asyncio
import csv
import html
import io
import re
from dataclasses import fields
from html.parser import HTMLParser

import plotly.graph_objects as go
import pytest
from starlette.testclient import TestClient

from dashboards import entries, foretold, live, page_warnings, projection, safety
from dashboards.answers import records as answers
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.pages import (
    add,
    ahead,
    air,
    board,
    finish,
    forms,
    how,
    matched_set,
    message,
    meters,
    options,
    parts,
    probes,
    promise,
    room_warnings,
    stack,
    work_out,
)
from dashboards.pages import yard as yards
from shared.store import cache, facts, readings
from shared.store.records import Quality, SubjectKind
from shared.units import MS_PER_MINUTE

RECORDS = [
    yards.YardPage,
    yards.Card,
    stack.StackPage,
    stack.BoardRow,
    matched_set.SetPage,
    board.BoardPage,
    ahead.Ahead,
    foretold.Came,
    options.OptionsPage,
    options.OptionView,
    promise.PromiseView,
    promise.AirRow,
    promise.JointView,
    air.AirPage,
    air.PlacePage,
    air.PlaceView,
    probes.ProbesPage,
    probes.ProbeView,
    probes.RejectLine,
    finish.FinishPage,
    finish.RoomView,
    finish.ShelfLine,
    finish.TaskList,
    room_warnings.WarningLine,
    room_warnings.About,
    page_warnings.Warning,
    add.AddPage,
    how.HowPage,
    how.Method,
    how.Constant,
    message.MessagePage,
    forms.Form,
    forms.Field,
    forms.Option,
    parts.Frame,
    parts.VerdictView,
    parts.GateLine,
    parts.EntryLine,
    parts.Link,
    parts.Moisture,
    meters.MetersPage,
    meters.MeterView,
    work_out.Asking,
    work_out.WorkOutPage,
    work_out.QuestionPage,
    answers.Answer,
    answers.Basis,
    answers.Line,
]
PAGES = [
    "/",
    "/stack/S1",
    "/board/A1",
    "/board/A1?band=core",
    "/set/T1",
    "/air",
    "/place/shed",
    "/place/shed?days=365",
    "/probes",
    "/finish",
    "/dust",
    "/add",
    "/how",
    "/work-out",
    "/work-out/emc?place=shed",
    "/work-out/movement?board=A1&to_mc_pct=8",
    "/work-out/timber?name=sycamore",
    "/meters",
    "/limits",
    "/records",
    "/records?view=words",
    "/records?about=A1&kind=weigh-ins",
    "/sign-in",
]
UNDO = re.compile(r'name="kind" value="([\w-]+)">\s*<input type="hidden" name="id" value="(\d+)"')
VOID = {"meta", "link", "input", "br", "path", "rect", "circle"}


PROJECTED = []


@pytest.fixture
def projected(yard):
    """The projections of the yard's boards, worked out once: every test begins with the same yard."""
    if not PROJECTED:
        with yard.store.reading() as connection:
            ids = [one.id for one in facts.subjects(connection, SubjectKind.BOARD)]
        for board_id in ids:
            projection.refresh(yard.store, board_id, yard.now_ms)
        with yard.store.reading() as connection:
            PROJECTED.extend(cache.projections(connection).values())
    return PROJECTED


@pytest.fixture
def full(yard, projected):
    """The yard with its boards projected, a set, a finish room and a refused message."""
    yard.act(entries.add_set, "T1")
    yard.act(entries.put_in_set, "A1", set_code="T1", role="left half")
    yard.act(entries.put_in_set, "A2", set_code="T1", role="right half")
    yard.act(entries.add_place, "spray", kind="finish room", acknowledged=True, days_ago=50)
    yard.act(entries.add_meter, "pm", species="Fraxinus americana")
    yard.act(entries.add_meter_pair, "pm", reading_pct=14, wet_g=56, dry_g=50)
    salts = {
        "temperature_c": 20,
        "low_salt": "MgCl2",
        "low_read_rh_pct": 33.9,
        "high_salt": "NaCl",
        "high_read_rh_pct": 76,
    }
    yard.act(entries.check_hygrometer, "warm", days_ago=5, **salts)
    with yard.store.writing() as connection:
        readings.add_rejects(connection, [("workshop/x", b"<script>alert(1)</script>", "not a reading")], yard.now_ms)
    with yard.store.writing() as connection:
        for one in projected:
            cache.put_projection(connection, one)
    return yard


def client_of(some_yard, **options):
    app = create_app(
        some_yard.store, some_yard.settings, some_yard.folder / SECRETS_NAME, lambda: some_yard.now_ms, **options
    )
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


@pytest.fixture
def client(full):
    return client_of(full)


def send(client, page, action, **typed):
    """Fill in a form of a page and send it."""
    token = re.search(r'name="csrf" value="(\w+)"', client.get(page).text).group(1)
    return client.post(action, data={"csrf": token, "by": "Ida", **typed})


def plain(text):
    """Return it without what only a browser needs: spaces and joiners plain."""
    return html.unescape(text).replace("\u00a0", " ").replace("\u2060", "")


def words_of(text):
    """Return what a person reads of some HTML."""
    return " ".join(plain(re.sub(r"<[^>]+>", " ", text)).split())


def words(page):
    """Return what a person reads of a page."""
    return words_of(page.text)


def shown(client, path, status=200, **query):
    """Return a page's HTML, plain, having seen that it is answered so."""
    got = client.get(path, params=query or None)
    assert got.status_code == status, got.text[:400]
    return plain(got.text)


# --- pages -----------------------------------------------------------------------------------------


class Balance(HTMLParser):
    """Checks that every tag is closed in order, and that no id is given twice."""

    def __init__(self):
        super().__init__()
        self.open, self.ids, self.outside = [], [], []

    def handle_starttag(self, tag, attributes):
        held = dict(attributes)
        if "id" in held:
            self.ids.append(held["id"])
        led_to = [held.get(key) or "" for key in ("src", "href", "action")]
        self.outside += [one for one in led_to if one.startswith(("http", "//"))]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag, (tag, self.getpos())


@pytest.mark.parametrize("path", PAGES)
def test_every_page_is_well_formed_and_loads_nothing_from_elsewhere(client, path):
    page = client.get(path)
    assert page.status_code == 200
    seen = Balance()
    seen.feed(page.text)
    assert seen.open == [] and seen.outside == []
    assert len(seen.ids) == len(set(seen.ids))
    assert "Undefined" not in page.text and "None" not in words(page)


@pytest.mark.parametrize("record", RECORDS, ids=lambda one: one.__name__)
def test_every_field_that_a_page_may_use_is_explained(record):
    assert record.__dataclass_params__.frozen
    for one in fields(record):
        assert len(one.metadata.get("help", "")) > 5, one.name


def test_the_yard_shows_mark_word_number_reason_and_ages(client):
    page = client.get("/")
    shown = words(page)
    verdict = client.get("/api/situation").json()["stacks"][0]["verdict"]
    board, _, cause = verdict["reason"].partition(" decides. ")
    assert verdict["word"] in shown and verdict["number"] in shown and re.split(r"[.;:] ", cause)[0] in shown
    assert f"decides: {board}, weighed 2 days ago · air 10 min ago" in shown
    assert len(re.findall(r'<article[^>]*>\s*<svg class="mark mark-', page.text)) == 2


def test_things_stand_in_the_order_they_were_entered(client, full):
    full.act(entries.add_stack, "AA", place="room")
    places = [
        m.start()
        for code in ("/stack/S1", "/set/T1", "/stack/AA")
        for m in [re.search(f'<h2><a href="{code}"', client.get("/").text)]
    ]
    assert places == sorted(places)


def test_an_empty_yard_teaches_the_first_stack(empty_yard):
    shown = words(client_of(empty_yard).get("/"))
    assert "Your first stack, in five steps" in shown and "Add the place" in shown


def test_the_demo_says_on_every_page_that_it_is_invented(full):
    demo, real = client_of(full, demo=True), client_of(full)
    for path in PAGES:
        assert "Invented data" in demo.get(path).text
    assert "Invented data" not in real.get("/").text


def test_a_silent_probe_leads_the_yard_and_makes_cant_say(client, full):
    full.now_ms += 2 * full.settings.silent_after_minutes * MS_PER_MINUTE  # its own rhythm is an hour
    page = client.get("/")
    assert re.search(r"2 probes fail: north silent .* and warm silent ", words(page)) and 'href="/probes"' in page.text
    assert "CAN'T SAY" in words(page)


def test_a_board_shows_every_modelled_figure_with_band_age_and_way_back(client, full):
    page = client.get("/board/A1")
    shown = words(page)
    held = client.get("/api/board/A1").json()["projection"]
    index = max(i for i, at in enumerate(held["at_ms"]) if at <= held["known_until_ms"])
    low, mean, high = (held["mean"][p][index] for p in ("p10", "p50", "p90"))
    assert f"{mean:.1f} % ({low:.1f}–{high:.1f})" in shown
    assert "From air logged until" in shown and 'href="/how#projection"' in page.text
    for gate in client.get("/api/board/A1").json()["verdict"]["gates"]:
        assert gate["sentence"] in shown
    assert "4700.0 g" in shown and "6900.0 g" in shown


def test_a_board_without_projection_is_shown_all_the_same(yard):
    page = client_of(yard).get("/board/A1")
    assert page.status_code == 200 and "CAN'T SAY" in words(page)
    assert client_of(yard).get("/api/figure/board/A1.json").status_code == 404


def test_the_finish_page_defers_first_and_last_and_clears_nothing(client):
    shown = words(client.get("/finish"))
    assert shown.index(safety.FIRST_LINE) < shown.index("Rags, pads") < shown.index(safety.LAST_LINE)
    assert not re.search(r"\bsafe\b", shown, re.IGNORECASE)
    assert "READY" not in shown


def test_no_page_says_safe(client):
    for path in PAGES:
        assert not re.search(r"\bsafe\b", words(client.get(path)), re.IGNORECASE), path


def test_what_strangers_send_is_shown_as_text(client):
    page = client.get("/probes")
    assert "<script>alert" not in page.text and "&lt;script&gt;alert" in page.text


@pytest.mark.parametrize("path", ["/board/none", "/stack/none", "/place/shed?days=8", "/nowhere", "/a/b", "/a/b/c"])
def test_what_is_not_there_is_said_in_a_sentence(client, path):
    page = client.get(path)
    assert page.status_code == 404 and 'class="decides"' in page.text


# --- forms -----------------------------------------------------------------------------------------


def test_a_whole_yard_can_be_entered_by_forms_alone(empty_yard):
    client = client_of(empty_yard)
    for kind, typed in [
        ("place", {"code": "loft", "kind": "shed", "altitude_m": "120"}),
        ("probe", {"code": "loft-1", "topic": "workshop/loft/1", "place": "loft"}),
        ("stack", {"code": "K7", "place": "loft"}),
        (
            "board",
            {
                "code": "K7-1",
                "species": "Black walnut (Juglans nigra)",
                "thickness_mm": "52",
                "width_mm": "200",
                "length_mm": "900",
                "cut": "flat-sawn",
                "origin": "fresh-sawn",
                "where": "stack:K7",
            },
        ),
        ("set", {"code": "S1"}),
    ]:
        answer = send(client, "/add", f"/add/{kind}", **typed)
        assert answer.status_code == 303, words(answer)
        assert client.get(answer.headers["location"]).status_code == 200
    for action, typed in [
        ("weigh-in", {"mass": "9,1", "unit": "kg"}),
        ("pin", {"mc_pct": "60", "depth_mm": ""}),
        ("oven-dry", {"wet_g": "160", "dry_g": "100"}),
        ("use", {"use": "glue", "booked": "2027-01-10"}),
        ("set", {"set_code": "S1", "role": "back"}),
        ("move", {"where": "place:loft"}),
    ]:
        answer = send(client, "/board/K7-1", f"/board/K7-1/{action}", **typed)
        assert answer.status_code == 303, words(answer)
    held = client.get("/api/board/K7-1").json()
    assert held["weigh_ins"][0]["mass_kg"] == pytest.approx(9.1)
    assert held["plan"]["use"] == "glue" and held["role"] == "back" and held["stack_id"] is None
    assert len(held["pins"]) == len(held["oven_dry"]) == 1


def test_what_was_entered_is_said_once_and_can_be_taken_back_and_put_back(client):
    before = len(client.get("/api/board/A2").json()["weigh_ins"])
    assert send(client, "/board/A2", "/board/A2/weigh-in", mass="5000").headers["location"] == "/board/A2#top"
    page = client.get("/board/A2")
    assert "Board A2 weighs 5000 g." in words(page)
    kind, number = UNDO.search(page.text).groups()
    assert "Board A2 weighs" not in words(client.get("/board/A2"))
    send(client, "/board/A2", "/undo", kind=kind, id=number)
    assert len(client.get("/api/board/A2").json()["weigh_ins"]) == before
    page = client.get("/board/A2")
    _kind, number = UNDO.search(page.text).groups()
    send(client, "/board/A2", "/undo", kind=kind, id=number)
    assert len(client.get("/api/board/A2").json()["weigh_ins"]) == before + 1


def test_a_form_not_accepted_comes_back_as_typed_with_the_sentence_at_its_field(client):
    page = send(client, "/board/A1", "/board/A1/weigh-in", mass="12", unit="kg", scale_error_g="3")
    assert page.status_code == 422
    assert re.search(r'id="weigh-in-mass" name="mass" value="12"', page.text)
    assert '<option value="kg" selected>' in page.text
    told = re.search(r'id="weigh-in-mass-told" role="alert">([^<]+)<', page.text).group(1)
    assert told.startswith("mass of A1 is 12.00 kg; accepted: 2116 g to 11.47 kg")
    assert 'hx-get=""' not in page.text
    assert len(client.get("/api/board/A1").json()["weigh_ins"]) == 3


def test_typing_that_would_be_markup_comes_back_as_text(client):
    page = send(client, "/add", "/add/place", code='"><script>x</script>', kind="shed", altitude_m="0")
    assert page.status_code == 422 and "<script>x" not in page.text


def test_a_place_in_use_is_not_closed_and_the_page_says_why(client):
    page = send(client, "/place/shed", "/place/shed/close")
    assert page.status_code == 422 and "probe north, stack S1" in words(page)


def test_an_undo_without_a_remembered_name_asks_for_one(full):
    client = client_of(full)
    page = send(client, "/board/A1", "/undo", kind="weigh-in", id="1", by="")
    assert page.status_code == 422 and "Who takes this back?" in words(page)


def test_the_browser_remembers_the_name(client):
    send(client, "/board/A2", "/board/A2/weigh-in", mass="5000", by="Jon Ash")
    assert 'name="by" value="Jon Ash"' in client.get("/board/A1").text


def test_an_endless_form_is_refused(client):
    page = send(client, "/board/A1", "/board/A1/weigh-in", mass="1" * 70_000)
    assert page.status_code == 413


def test_a_form_that_is_none_of_ours_is_refused(client):
    assert send(client, "/board/A1", "/board/A1/burn").status_code == 422
    assert send(client, "/board/A1", "/chair/A1/use").status_code == 404


def test_the_address_of_a_form_leads_back_to_its_page(client):
    assert client.get("/board/A1/weigh-in").headers["location"] == "/board/A1"
    assert client.get("/add/board").status_code == 200


# --- live ------------------------------------------------------------------------------------------


def test_the_stream_tells_of_readings_entries_and_projections_and_ends(full):
    def next_change(number):
        if number == 0:
            full.log("north", 0.0)
        if number == 1:
            full.act(entries.add_weigh_in, "A2", mass_g=5000)
        if number == 2:
            full.now_ms += 1000
            with full.store.reading() as connection:
                projected = facts.subject(connection, SubjectKind.BOARD, "A1")
            projection.refresh(full.store, projected.id, full.now_ms)

    async def follow():
        told, asked = [], [0]

        async def gone():
            asked[0] += 1
            return asked[0] > 6

        async for event in live.events(lambda: live.look(full.store), gone, every_s=0.0, ping_every_s=1e9):
            told.append(event)
            next_change(len(told) - 1)
        return told

    told = asyncio.run(follow())
    assert len(told) == len(set(told)) == 4
    assert all(one.startswith("event: news\ndata: ") and one.endswith("\n\n") for one in told)


def test_the_stream_pings_when_nothing_happens(full):
    async def follow():
        asked = [0]

        async def gone():
            asked[0] += 1
            return asked[0] > 4

        return [one async for one in live.events(lambda: (1, 1, 1), gone, every_s=0.01, ping_every_s=0.02)]

    told = asyncio.run(follow())
    assert told[0].startswith("event: news") and told[1:] == [": still here\n\n"] * 2


def test_the_stream_ends_when_the_server_closes(client):
    client.app.state.closing.set()
    answer = client.get("/live")
    assert answer.headers["content-type"].startswith("text/event-stream") and answer.text.count("event: news") == 1


def test_a_page_knows_what_the_stream_said_and_where_to_ask_again(client, full):
    page = client.get("/place/shed?days=30").text
    assert f'data-beat="{live.text_of(live.look(full.store))}"' in page
    assert 'hx-get="/place/shed?days=30"' in page


# --- figures, JSON, CSV ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "/api/figure/board/A1.json",
        "/api/figure/board/A1.json?band=shell",
        "/api/figure/dates/A1.json",
        "/api/figure/air/shed.json?days=1",
        "/api/figure/air/shed.json?days=365",
        "/api/figure/air/room.json",
    ],
)
def test_a_figure_is_one_that_plotly_knows_thin_and_without_upload(client, path):
    figure = client.get(path).json()
    go.Figure(data=figure["data"], layout=figure["layout"])  # raises for a property that does not exist
    assert figure["config"]["showSendToCloud"] is False and figure["config"]["displayModeBar"] is False
    assert all(len(trace["x"]) <= 1200 for trace in figure["data"])
    styles = [(t["line"]["color"], t["line"]["dash"]) for t in figure["data"] if "dash" in t.get("line", {})]
    assert len(styles) == len(set(styles))


def test_the_charts_points_are_the_weigh_ins(client):
    figure = client.get("/api/figure/board/A1.json").json()
    measured = client.get("/api/board/A1").json()["projection"]["measured"]
    marks = next(trace for trace in figure["data"] if trace.get("name") == "weigh-in")
    assert marks["y"] == [round(one["mc_pct"], 2) for one in measured] and len(measured) == 3


def test_beyond_a_fortnight_the_air_is_drawn_as_daily_bands(client):
    week, month = (client.get(f"/api/figure/air/shed.json?days={days}").json() for days in (7, 30))
    assert not [t for t in week["data"] if t.get("fill")]  # one reading an hour: lowest and highest are the same
    assert len([t for t in month["data"] if t.get("fill")]) == 3


def test_the_air_as_json_is_what_the_page_shows(client):
    held = client.get("/api/air/shed?days=7").json()
    air_now = held["place"]["air"]
    shown = words(client.get("/place/shed"))
    assert f"{air_now['temperature_c']:.1f} °C" in shown and f"{air_now['rh_pct']:.0f} %" in shown
    assert len(held["history"]["at_ms"]) == len(held["history"]["rh_pct"])


def test_readings_as_csv_are_every_stored_one(client, full):
    rows = list(csv.reader(io.StringIO(client.get("/export/readings/north.csv").text)))
    with full.store.reading() as connection:
        held = [
            row
            for one in readings.all_series(connection)
            for row in readings.raw(connection, one.id, 0, 2**62)
            if one.probe_id == facts.subject(connection, SubjectKind.PROBE, "north").id
        ]
    assert len(rows) == len(held) + 1
    assert float(rows[1][2]) == held[0].value and held[0].quality is Quality.GOOD


def test_a_cell_that_a_spreadsheet_would_compute_is_marked_as_text(client, full):
    full.act(entries.add_weigh_in, "A1", mass_g=4700, by="=HYPERLINK(1)")
    rows = list(csv.reader(io.StringIO(client.get("/export/weigh-ins.csv").text)))
    assert "'=HYPERLINK(1)" in [cell for row in rows for cell in row]
    assert not [cell for row in rows for cell in row if cell.startswith("=")]


def test_the_thickness_is_drawn_for_any_moment_and_for_no_other(client, full):
    page = client.get("/board/A1").text
    last = int(re.search(r'type="range"[^>]*max="(\d+)"', page).group(1))
    now = int(re.search(r'id="through" data-moment="(\d+)"', page).group(1))
    assert 0 < now < last
    answer = client.get(f"/board/A1/through?moment={last}")
    assert answer.status_code == 200
    assert f'data-moment="{last}"' in answer.text and "a forecast" in answer.text and "<html" not in answer.text
    for wrong in (str(last + 1), "-1", "soon", ""):
        assert client.get(f"/board/A1/through?moment={wrong}").status_code in (404, 422)
    assert client.get("/board/nobody/through?moment=0").status_code == 404


def test_a_fault_of_the_programs_own_is_told_in_words_and_without_the_templates(yard, monkeypatch):
    app = create_app(yard.store, yard.settings, yard.folder / SECRETS_NAME, lambda: yard.now_ms)
    client = TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", raise_server_exceptions=False)
    monkeypatch.setattr("dashboards.desk.Desk.render", lambda *_: 1 / 0)
    page = client.get("/", headers={"accept": "text/html"})
    assert page.status_code == 500 and "stays as it was" in page.text and "division" not in page.text
    assert "default-src 'none'" in page.headers["content-security-policy"]
    told = client.get("/board/A1", headers={"accept": "application/json"})
    assert told.status_code == 500 and "stays as it was" in told.json()["sentence"]
