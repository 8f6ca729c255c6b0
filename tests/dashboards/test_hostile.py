"""Names, notes and messages that are meant to be more than text: everywhere they are text, or refused in a sentence."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from dashboards import auth, entries, exports, figure_text
from dashboards.app import create_app
from sensors.topics import _free_code
from shared.errors import BadInput
from shared.store import readings
from tests.dashboards.commands import benchdry

# Cross-site scripting, formulas of spreadsheets (OWASP: CSV Injection), templates, paths, terminals.
TEXTS = (
    "<script>alert(1)</script>",
    "\"><img src=x onerror='alert(1)'>",
    "</title></svg><svg onload=alert(1)>",
    "../../x",
    "{{7*7}} {% raw %} ${7*7}",
    "😀" * 60,
    '<b>x</b> & <a href="javascript:x">y</a>',
    "[red]x[/red] [/] [link=x]",
    "&lt;i&gt; %{x} $x^2$",
)
FORMULAS = ('=HYPERLINK("http://evil.example")', "+1", "@SUM(1)", "-2+3", "'=1")
REFUSED = ("a\u202eb", "a\x00b", "\x1b[2Jb", "a\u200bb", "a\x07b", "a\u2066b", "a\x9bb", "x" * 401)
PAGES = (
    *("/", "/?wall=1", "/air", "/probes", "/add", "/finish", "/limits", "/meters", "/learned", "/settings", "/more"),
    *("/dust", "/work-out/dust?board=A1", "/finish/room/spray", "/finish/product/lacquer", "/records"),
    *("/stack/S1", "/board/A1", "/board/A2", "/set/M1", "/place/shed", "/weigh", "/work-out/density?board=A1"),
)
OF_FINISH = ("/finish", "/finish/room/spray", "/finish/product/lacquer")
MARKUP = {"script", "img", "iframe", "object", "embed"}


class Read(HTMLParser):
    """What a page would do beyond showing text, and the text that it shows."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.bad: list[str] = []
        self.text = ""
        self.values: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        held = {name: value or "" for name, value in attrs}
        ours = tag == "script" and held.get("src", "").startswith("/static/")
        if tag in MARKUP and not ours:
            self.bad.append(self.get_starttag_text())
        if any(name.startswith("on") or name == "style" or name == "hx-on" for name in held):
            self.bad.append(self.get_starttag_text())
        leads = [held.get(name, "") for name in ("href", "src", "action", "xlink:href")]
        if any(
            re.match(r"\s*(javascript|data|vbscript):", one, re.IGNORECASE) or one.startswith("//") for one in leads
        ):
            self.bad.append(self.get_starttag_text())
        self.values += held.values()

    def handle_data(self, data):
        self.text += data


def fill(yard, text):
    """A yard in which every text that somebody can type is this one."""
    note, by = text, text[:40]
    yard.act(entries.add_place, "shed", name=text, kind="shed", by=by)
    yard.act(entries.add_probe, "north", topic=f"workshop/{text[:20]}" if "+" not in text else "w/n", name=text, by=by)
    yard.act(entries.add_stack, "S1", place="shed", name=text, note=note, by=by)
    board = {"species": "Quercus alba", "thickness_mm": 27, "width_mm": 190, "length_mm": 1500, "cut": "flat-sawn"}
    board |= {"origin": "fresh-sawn", "stack": "S1", "name": text, "note": note}
    yard.act(entries.add_board, "A1", by=by, **board)
    yard.act(entries.add_board, "A2", by=by, **board)
    yard.act(entries.add_set, "M1", name=text, note=note, by=by)
    for code in ("A1", "A2"):
        yard.act(entries.put_in_set, code, set_code="M1", role=text[:30], by=by)
    yard.act(entries.add_weigh_in, "A1", mass_g=5000, by=by)
    yard.act(entries.add_meter, "pm", species="Quercus alba", name=text, note=note, by=by)
    yard.act(entries.add_place, "spray", name=text, kind="finish room", acknowledged=True, by=by)
    sheet = {"name": text, "ingredients": f"{text} 5", "sheet": text, "note": note}
    yard.act(entries.add_finish, "lacquer", by=by, **sheet)
    yard.act(entries.say_finish_room, "spray", volume=40, by=by)
    yard.act(entries.add_sprayed, "spray", finish="lacquer", litres=1, minutes=5, by=by)
    yard.act(entries.add_surface_reading, "spray", surface_c=15, what=text, by=by)
    yard.act(entries.add_override, "A1", kind="board", use="machine", reason=f"why {text}", by=by)
    yard.act(entries.set_limit, "glue.tolerance_mc_pct", value="0.4", reason=f"why {text}", by=by)


@pytest.fixture(autouse=True)
def settings_file(tmp_path):
    """What the commands find the store of the tests by."""
    (tmp_path / "benchdry.toml").write_text('store = "yard.sqlite3"')


@pytest.fixture
def client(empty_yard):
    app = create_app(
        empty_yard.store, empty_yard.settings, empty_yard.folder / auth.SECRETS_NAME, lambda: empty_yard.now_ms
    )
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost:8321", follow_redirects=False)


def squeezed(text):
    """Letters as they are shown, whatever kind of space stands between them."""
    return re.sub(r"[\s\u2060]+", " ", text)


@pytest.mark.parametrize("text", TEXTS)
def test_pages_and_drawings_show_it_as_text(empty_yard, client, text):
    fill(empty_yard, text)
    for path in PAGES:
        answer = client.get(path)
        assert answer.status_code == 200, path
        read = Read(answer.text)
        assert not read.bad, (path, read.bad)
    for path in ("/stack/S1", "/board/A1", "/set/M1", "/place/shed", "/air", *OF_FINISH):
        shown = Read(client.get(path).text)
        assert squeezed(text) in squeezed(shown.text) or any(text in value for value in shown.values), path


@pytest.mark.parametrize("text", [*TEXTS, *FORMULAS])
def test_json_and_csv_give_it_back_letter_by_letter(empty_yard, client, text):
    fill(empty_yard, text)
    told = client.get("/api/situation")
    assert told.headers["content-type"] == "application/json"
    assert told.json()["boards"][0]["fact"]["name"] == text
    for kind in (
        "boards",
        "places",
        "stacks",
        "sets",
        "overrides",
        "limits",
        "set-members",
        "weigh-ins",
        "finishes",
        "surfaces",
    ):
        answer = client.get(f"/export/{kind}.csv")
        assert answer.headers["content-disposition"] == f'attachment; filename="{kind}.csv"'
        rows = list(csv.reader(io.StringIO(answer.text)))
        assert len(rows) > 1, kind
        number = re.compile(r"-?\d+(\.\d+)?(e-?\d+)?")
        for cell in (cell for row in rows for cell in row):
            assert number.fullmatch(cell) or not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n")), (kind, cell)
        assert any(text[:30] in exports.from_cell(cell) for cell in rows[1]), kind


@given(st.text(max_size=30))
def test_a_cell_reads_back_as_it_was(text):
    assert exports.from_cell(exports.cell(text)) == text
    assert not exports.cell(text).startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


@pytest.mark.parametrize("text", TEXTS)
def test_the_terminal_prints_it_as_it_is(empty_yard, text):
    fill(empty_yard, text)
    said = {
        command: benchdry(empty_yard, *command.split())
        for command in (
            "status",
            "board show A1",
            "probes",
            "meter list",
            "limits",
            "finish list",
            "finish show lacquer",
        )
    }
    for command, printed in said.items():
        assert "\x1b" not in printed, command
    together = squeezed(" ".join(said.values()))
    assert squeezed(text)[:30] in together
    assert text[:20] in said["meter list"]
    assert squeezed(text)[:30] in squeezed(said["finish show lacquer"])


@pytest.mark.parametrize("text", REFUSED)
def test_what_cannot_be_seen_is_refused_and_nothing_is_entered(empty_yard, client, text):
    empty_yard.act(entries.add_place, "shed", name="shed", kind="shed")
    csrf = re.search(r'name="csrf" value="(\w+)"', client.get("/add").text).group(1)
    for field in ("name", "by"):
        typed = {
            "csrf": csrf,
            "code": "P9",
            "name": "room",
            "kind": "room",
            "altitude_m": "0",
            "by": "Ida",
            field: text,
        }
        answer = client.post("/add/place", data=typed)
        assert answer.status_code == 422 and not Read(answer.text).bad
        assert "plain text" in answer.text
    assert [one["subject"]["code"] for one in client.get("/api/situation").json()["places"]] == ["shed"]


@pytest.mark.parametrize("text", ["a\tb", "a\nb", "a\r\nb", " a  b "])
def test_tabs_and_line_breaks_become_a_space(empty_yard, client, text):
    empty_yard.act(entries.add_place, "shed", name=text, kind="shed")
    assert client.get("/api/situation").json()["places"][0]["fact"]["name"] == "a b"


@pytest.mark.parametrize("code", [*TEXTS, *REFUSED, "a/b", "a b", ".", "..", "A" * 25])
def test_a_code_is_letters_digits_dashes_and_dots(empty_yard, code):
    with pytest.raises(BadInput, match="letters, digits"):
        empty_yard.act(entries.add_place, code, name="shed", kind="shed")


@pytest.mark.parametrize(
    "path", ["/board/{}", "/place/{}", "/export/{}.csv", "/export/readings/{}.csv", "/{}", "/{}/A"]
)
def test_an_address_that_leads_nowhere_says_so_and_repeats_it_as_text(client, path):
    for text in TEXTS:
        answer = client.get(path.format(text.replace("?", "").replace("#", "").replace("%", "%25")))
        assert answer.status_code in (404, 307)
        if "text/html" in answer.headers.get("content-type", ""):
            assert not Read(answer.text).bad


def test_messages_that_were_refused_are_shown_as_text(empty_yard, client):
    refused = [(f"w/{text}", text.encode(), f"no reading: {text}") for text in (*REFUSED, *TEXTS)]
    with empty_yard.store.writing() as connection:
        readings.add_rejects(connection, refused, empty_yard.now_ms)
    page = client.get("/probes")
    assert page.status_code == 200 and not Read(page.text).bad
    assert not set(Read(page.text).text) & set("\x00\x07\x1b\x9b\u202e\u2066")
    assert not set(benchdry(empty_yard, "probes")) & set("\x00\x07\x1b\x9b\u202e\u2066")


@given(st.text(max_size=60))
def test_a_probe_heard_for_the_first_time_gets_a_code_of_plain_letters(topic):
    assert re.fullmatch(r"[A-Za-z0-9-]{1,40}", _free_code(topic, set()))


@pytest.mark.parametrize("text", TEXTS)
def test_a_chart_reads_no_tag_in_a_name(text):
    figure = {"data": [{"name": text, "y": [1.5, None], "hovertemplate": "%{y:.1f} %<extra>%{fullData.name}</extra>"}]}
    made = figure_text.plain({**figure, "layout": {"annotations": ({"text": f"to<br>{text}"},)}})
    name, note = made["data"][0]["name"], made["layout"]["annotations"][0]["text"]
    assert "<" not in name and "<" not in note.replace("<br>", "")
    assert name.replace("&lt;", "<").replace("&amp;", "&") == text  # as the chart's library reads entities
    assert made["data"][0]["hovertemplate"] == figure["data"][0]["hovertemplate"]
    assert made["data"][0]["y"] == [1.5, None]
    assert json.dumps(made)


def test_every_chart_goes_through_that(client):
    drawing = [one for one in client.app.routes if getattr(one, "path", "").startswith("/api/figure/")]
    assert len(drawing) >= 4
    for one in drawing:
        names = one.endpoint.__code__.co_names
        assert "figure" in names and "JSONResponse" not in names, one.path
