"""No page, command or JSON of what can hurt someone says what a person would take for leave to go on.

Every one of them is asked of yards with nothing, too little and too much entered. The words are ours to avoid; which
they are is our judgement.
"""

from __future__ import annotations

import html
import json
import re

import pytest

from dashboards import entries, safety
from tests.dashboards import finish_yards as yards
from tests.dashboards.commands import benchdry
from tests.dashboards.test_app import client_of

COMFORT = re.compile(
    r"\b(safe|safely|safer|ok|okay|o\.k\.|all clear|you may|you can now|go ahead|good to go|clear to|harmless|no danger"
    r"|no risk|under control)\b|[✓✔☑✅👍]",
    re.IGNORECASE,
)
# Where such a word stands all the same, it denies what it names.
DENIED = re.compile(
    r"not shown to be under control|shows? that [\w ]+ (?:is|are) under control|not listed is not harmless"
    r"|listed or not|nothing here is ever said to be under control",
    re.IGNORECASE,
)
LISTS = ("Before sanding", "Before spraying", "Afterwards")
WORDS = {"OVER", "CAN'T SAY", "NOT SHOWN TO BE UNDER CONTROL"}
OF_VERDICTS = re.compile(r'class="mark mark-ready"|\bis-ready\b|>\s*READY\b')
PAGES = (
    "/finish",
    "/dust",
    "/hurt",
    "/work-out/vapour",
    "/work-out/vapour?place=spray",
    "/work-out/vapour?ingredients=n-butyl+acetate+60%0Asolids+40&basis=by+mass&density_kg_l=0.9&isocyanate=no"
    "&formaldehyde=no&litres=0.5&minutes=15&volume=40&extraction=900&extraction_known=measured&extraction_on=yes"
    "&dry_after_h=0.5",
    "/work-out/vapour?ingredients=HDI+trimer+20%0Asolids+80&litres=0.5&minutes=15&volume=40",
    "/work-out/vapour?ingredients=moonlight+20%0Asolids+80&litres=0.5&minutes=15&volume=40",
    "/work-out/substance?name=acetone&ppm=100",
    "/work-out/substance?name=acetone",
    "/work-out/dew-gap?temperature_c=20&rh_pct=30&surface_c=20",
    "/work-out/dew-gap?temperature_c=20&rh_pct=70&surface_c=12",
    "/work-out/warming?species=Acer+saccharum&thickness_mm=25&mc_pct=8&piece_c=5&room_c=20&rh_pct=50",
    "/work-out/dust?species=Acer+saccharum",
)
COMMANDS = (
    ("status",),
    ("status", "--json"),
    ("finish", "list"),
    ("cautions",),
    ("heavy",),
    ("work-out", "dust", "--species", "Acer saccharum"),
    ("work-out", "dew-gap", "--temperature-c", "20", "--rh-pct", "70", "--surface-c", "12"),
)
SOURCE = re.compile(r'<(p|span|li|dd) class="[^"]*\bsource\b[^"]*"[^>]*>.*?</\1>', re.DOTALL)
BESIDE = ("the wet surface can", "what the person at the gun breathes")


def text_of(page: str) -> str:
    """Return the text of a page that a person sees or hears, labels of drawings too."""
    page = SOURCE.sub(" ", page)  # titles of documents are not ours
    labels = " ".join(re.findall(r'(?:aria-label|title)="([^"]*)"', page))
    text = re.sub(r"<[^>]+>", " ", page)
    return " ".join(html.unescape(f"{text} {labels}").replace("\u2060", "").split())


def comforts(text: str) -> list[str]:
    """Return what comforts in a text."""
    return [found.group() for found in COMFORT.finditer(DENIED.sub(" ", text))]


def rooms_and_finishes(yard):
    paths = ["/finish/room/spray"] if yards.now(yard).places else []
    return [*paths, *(f"/finish/product/{code}" for code in yards.finish_codes(yard))]


def fetched(yard):
    """Return every page of what can hurt someone, by its address."""
    client = client_of(yard)
    found = {}
    for path in (*PAGES, *rooms_and_finishes(yard)):
        page = client.get(path)
        assert page.status_code == 200 or "place=spray" in path, (path, page.text[:300])  # not each yard has that room
        found[path] = page.text
    return found


@pytest.mark.parametrize("made", yards.YARDS, ids=lambda made: made.__name__)
def test_no_page_comforts_and_each_defers_first_and_last(empty_yard, made):
    for path, page in fetched(made(empty_yard)).items():
        told = text_of(page)
        assert comforts(told) == [], path
        assert not OF_VERDICTS.search(page), path
        if not path.startswith("/work-out"):
            first, last = told.index(safety.FIRST_LINE), told.index(safety.LAST_LINE)
            assert first < last, path


def test_a_place_that_is_no_finish_room_leads_to_no_page_of_one(yard):
    assert client_of(yard).get("/finish/room/shed").status_code in (404, 409)
    assert client_of(yard).get("/finish/product/none").status_code == 404


@pytest.mark.parametrize("made", yards.YARDS, ids=lambda made: made.__name__)
def test_no_command_and_no_json_comforts(empty_yard, made):
    yard = yards.commanded(made(empty_yard))
    for said in (*COMMANDS, *(("finish", "show", code) for code in yards.finish_codes(yard))):
        assert comforts(benchdry(yard, *said)) == [], said
    held = client_of(yard).get("/api/situation").json()
    assert comforts(json.dumps([held["warnings"], held["not_an_alarm"]], ensure_ascii=False)) == []


@pytest.mark.parametrize("made", yards.YARDS, ids=lambda made: made.__name__)
def test_beside_every_figure_of_vapour_stands_what_it_is_not(empty_yard, made):
    yard = made(empty_yard)
    client, looked_at = client_of(yard), set()
    for path in ("/finish", *(one for one in rooms_and_finishes(yard) if "/room/" in one)):
        page = client.get(path).text
        for section in re.findall(r"<section(?:(?!<section).)*?</section>", page, re.DOTALL):
            told = text_of(section)
            if re.search(r"times (?:the limit|it)\b|\d %[^.]*lower explosive limit.*up to|mg/m³", told):
                assert all(line in told for line in BESIDE), (path, told[:200])
                looked_at.add(path)
    assert made is not yards.over or "/finish/room/spray" in looked_at, "the figures of this yard were looked at"


@pytest.mark.parametrize("made", [yards.refused_isocyanate, yards.refused_formaldehyde], ids=lambda made: made.__name__)
def test_of_what_air_is_no_answer_to_no_figure_of_vapour_stands_anywhere(empty_yard, made):
    yard = made(empty_yard)
    client = client_of(yard)
    for path in ("/finish", "/finish/room/spray", "/"):
        told = text_of(client.get(path).text)
        assert not re.search(r"times the limit|times it\b|\d % of (?:it|the limit)\b|Not before", told), path
    assert "air-fed" in text_of(client.get("/finish").text)


@pytest.mark.parametrize("made", yards.YARDS, ids=lambda made: made.__name__)
def test_the_words_on_a_room_are_three_and_no_other(empty_yard, made):
    word = re.compile(r'class="[^"]*\bcontrol-word\b[^"]*"[^>]*>([^<]*)<')
    pages = fetched(made(empty_yard)).items()
    told = {path: {html.unescape(one).strip() for one in word.findall(page)} for path, page in pages}
    assert all(words <= WORDS for words in told.values()), told
    assert told["/finish"] and told["/dust"]


def test_on_a_first_visit_the_reminders_stand_and_nothing_is_taken_for_good(empty_yard):
    told = text_of(client_of(empty_yard).get("/finish").text)
    for part in ("No place is entered as a finish room", "CAN'T SAY", *LISTS):
        assert part in told
    assert "pilot lights" in told and "hours later" in told


def test_a_comfort_would_be_seen():
    for said in ("It is safe.", "OK", "You may spray.", "The air is under control.", "✓ done", "all clear"):
        assert comforts(said), said
    for said in ("The safety data sheet decides.", "NOT SHOWN TO BE UNDER CONTROL", "Not listed is not harmless."):
        assert not comforts(said), said


def test_nothing_on_the_page_is_folded_that_is_over_unknown_or_to_be_done_first(empty_yard):
    yard = yards.unread(empty_yard)
    yards.sprayed(yards.shelved(yard, "hard", yards.HARDENED), "hard", minutes_ago=200)
    yard.act(entries.close_finish, "hard")
    page = client_of(yard).get("/finish").text
    open_part = re.sub(r"<details.*?</details>", "", page, flags=re.DOTALL)
    for word in re.findall(r'class="control-word">([^<]*)<', page):
        assert word in open_part
    assert open_part.count('class="control-word"') == page.count('class="control-word"')
    for part in (*LISTS, "air-fed", "Nobody has said"):
        assert part in text_of(open_part)
