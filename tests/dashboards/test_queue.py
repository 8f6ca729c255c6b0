"""Entries that a phone has kept: each is entered once, whatever becomes of sends, answers, restarts and undoing."""

from __future__ import annotations

import re
import shutil
import tempfile
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import settings
from hypothesis.stateful import Bundle, RuleBasedStateMachine, invariant, rule
from starlette.testclient import TestClient

from dashboards import auth, entries, kept_entries
from dashboards.app import create_app
from dashboards.auth import SECRETS_NAME
from dashboards.weigh_routes import DOOR, LONGEST_ENTRY_BYTES, TOKEN_HEADER
from shared.settings import Settings
from shared.store import Store, entry_keys, facts
from shared.store.records import PinReading, SubjectKind, WeighIn
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

NOW_MS = 1_795_600_800_000
KEY = "0123456789abcdef0123456789abcdef"
BOARD = {
    "species": "Fraxinus americana",
    "thickness_mm": 27,
    "width_mm": 190,
    "length_mm": 1500,
    "cut": "flat-sawn",
    "origin": "fresh-sawn",
    "stack": "S1",
}


def small_yard(path: Path) -> Store:
    store = Store(path)
    store.create_or_upgrade()
    who = {"by": "Ida", "now_ms": NOW_MS, "true_at_ms": NOW_MS - 30 * MS_PER_DAY}
    with store.writing() as connection:
        entries.add_place(connection, "shed", kind="shed", **who)
        entries.add_stack(connection, "S1", place="shed", **who)
        entries.add_board(connection, "A1", **BOARD, **who)
    return store


def kept(key=KEY, grams="5600", at_ms=NOW_MS, act="weigh-in", code="A1", **others):
    typed = {"mass": grams, "unit": "g", "true_at": at_ms} | others
    return {"key": key, "act": act, "code": code, "by": "Ida", "typed": typed}


def weigh_ins(store):
    with store.reading() as connection:
        board = facts.subject(connection, SubjectKind.BOARD, "A1")
        return facts.standing(connection, WeighIn, board.id)


# --- by the address that a phone sends to ---


@pytest.fixture
def store(tmp_path):
    made = small_yard(tmp_path / "yard.sqlite3")
    yield made
    made.close()


@pytest.fixture
def client(store, tmp_path):
    app = create_app(store, Settings(), tmp_path / SECRETS_NAME, lambda: NOW_MS)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)


def send(client, entry, token=None):
    token = client.get("/weigh/session").json()["token"] if token is None else token
    return client.post(DOOR, json=entry, headers={TOKEN_HEADER: token})


def test_an_entry_is_made_at_its_own_time_and_answered_alike_ever_after(client, store):
    at_ms = NOW_MS - 3 * MS_PER_HOUR
    first = send(client, kept(at_ms=at_ms))
    assert first.status_code == 200
    assert first.json()["sentence"] == "Board A1 weighs 5600 g."
    assert first.json()["again"] is False
    for _ in range(3):
        again = send(client, kept(at_ms=at_ms))
        assert again.json() == first.json() | {"again": True}
    assert [(one.mass_kg, one.true_at_ms, one.entered_at_ms) for one in weigh_ins(store)] == [(5.6, at_ms, NOW_MS)]


def test_a_key_with_other_content_is_refused_and_changes_nothing(client, store):
    send(client, kept())
    other = send(client, kept(grams="5610"))
    assert other.status_code == 422
    assert "entered already, in other words: Board A1 weighs 5600 g." in other.json()["sentence"]
    assert [one.mass_kg for one in weigh_ins(store)] == [5.6]


def test_what_is_refused_leaves_its_key_free_until_it_is_said_to_be_right(client, store):
    send(client, kept())
    slip = kept(key="b" * 32, grams="2600", at_ms=NOW_MS)
    refused = send(client, slip)
    assert (refused.status_code, refused.json()["sure"]) == (422, True)
    assert "is this the right board?" in refused.json()["sentence"]
    slip["typed"]["sure"] = "yes"
    assert send(client, slip).status_code == 200
    assert [one.mass_kg for one in weigh_ins(store)] == [5.6, 2.6]


def test_taking_back_goes_the_same_way_and_what_was_taken_back_does_not_come_in_again(client, store):
    made = send(client, kept()).json()
    typed = {"kind": "weigh-in", "id": str(made["id"])}
    back = {"key": "c" * 32, "act": "undo", "code": "", "by": "Ida", "typed": typed}
    told = [send(client, back).json()["sentence"] for _ in range(2)]
    assert told == ["The weigh-in of board A1 is taken back."] * 2
    assert weigh_ins(store) == []
    assert send(client, kept()).json()["again"] is True
    assert weigh_ins(store) == []


def test_pin_readings_and_what_was_found_go_the_same_way(client, store):
    pin = {"key": "d" * 32, "act": "pin", "code": "A1", "by": "Ida", "typed": {"mc_pct": "21", "true_at": NOW_MS}}
    seen = {"key": "e" * 32, "act": "outcome", "code": "A1", "by": "Ida", "typed": {"found": "mould:none"}}
    for entry in (pin, pin, seen, seen):
        assert send(client, entry).status_code == 200, send(client, entry).text
    with store.reading() as connection:
        assert [one.mc_pct for one in facts.standing(connection, PinReading)] == [21.0]


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        (kept(code="A9"), "board is A9; accepted: A1"),
        (kept(at_ms=NOW_MS + MS_PER_HOUR), "a time that has come"),
        (kept(at_ms=NOW_MS - 31 * MS_PER_DAY), "since when A1 is entered"),
        (kept(grams="many"), "accepted: a number"),
        (kept(act="board"), "accepted: one of weigh-in, pin, outcome, undo"),
        (kept(key="short"), "16 to 64 letters, digits and dashes"),
        ([], "an object with key, act, code, by and typed"),
        (kept() | {"typed": {"mass": ["5600"]}}, "text of up to"),
        (kept() | {"typed": {str(one): "" for one in range(50)}}, "an object of up to"),
        ({"key": KEY, "act": "undo", "by": "Ida", "typed": {"kind": "board", "id": "1"}}, "one of weigh-in, pin"),
    ],
)
def test_a_refusal_is_a_sentence_and_keeps_nothing(client, store, entry, told):
    answer = send(client, entry)
    assert answer.status_code == 422
    assert told in answer.json()["sentence"]
    assert weigh_ins(store) == []
    with store.reading() as connection:
        assert entry_keys.find(connection, KEY) is None


def test_a_clock_a_little_ahead_does_not_put_an_entry_into_the_time_to_come(client, store):
    assert send(client, kept(at_ms=NOW_MS + 2 * MS_PER_MINUTE)).status_code == 200
    assert [one.true_at_ms for one in weigh_ins(store)] == [NOW_MS]


def test_without_this_sessions_token_or_in_too_many_words_nothing_is_entered(client, store):
    assert send(client, kept(), token="0" * 64).status_code == 403
    assert send(client, kept(note="x" * LONGEST_ENTRY_BYTES)).status_code == 413
    broken = client.post(DOOR, content=b"{", headers={TOKEN_HEADER: client.get("/weigh/session").json()["token"]})
    assert broken.status_code == 422
    strange = {TOKEN_HEADER: "", "origin": "http://elsewhere.example"}
    assert client.post(DOOR, json=kept(), headers=strange).status_code == 403
    assert weigh_ins(store) == []


def test_signed_out_it_waits_for_the_sign_in_and_is_then_entered(store, tmp_path):
    secrets = auth.Secrets(tmp_path / SECRETS_NAME)
    secrets.set_password("twelve dry boards")
    app = create_app(store, Settings(), secrets.path, lambda: NOW_MS)
    client = TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost", follow_redirects=False)
    assert (
        client.get("/weigh/session").headers["location"].startswith("/sign-in")
    )  # which the phone takes for the answer
    assert client.post(DOOR, json=kept(), headers={TOKEN_HEADER: ""}).status_code == 401
    assert weigh_ins(store) == []
    form = re.search(r'name="csrf" value="(\w+)"', client.get("/sign-in").text).group(1)
    client.post("/sign-in", data={"password": "twelve dry boards", "csrf": form})
    assert send(client, kept()).status_code == 200
    assert len(weigh_ins(store)) == 1


def test_the_session_tells_the_time_here_and_a_token_that_sends(client):
    told = client.get("/weigh/session")
    assert told.json()["now_ms"] == NOW_MS
    assert told.headers["cache-control"] == "no-store"


def test_two_pages_that_send_at_once_enter_one(store):
    entry = kept_entries.read(kept())

    def page(_number):
        with store.writing() as connection:
            return kept_entries.enter(connection, entry, NOW_MS)

    with ThreadPoolExecutor(4) as pages:
        answers = list(pages.map(page, range(4)))
    assert sorted(one.again for one in answers) == [False, True, True, True]
    assert len({(one.sentence, one.id) for one in answers}) == 1
    assert len(weigh_ins(store)) == 1


# --- any order of sends, lost answers, restarts and undoing ---


@cache
def begun() -> Path:
    """The file of a yard with one board, made once: to bring up its tables takes longer than all else."""
    path = Path(tempfile.mkdtemp()) / "begun.sqlite3"
    store = small_yard(path)
    store.close()
    return path


class Phones(RuleBasedStateMachine):
    """Phones that send what they have kept, to a yard that may stop between the commit and the answer, or before."""

    made = Bundle("made")

    def __init__(self):
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        shutil.copy(begun(), self.folder / "yard.sqlite3")
        self.store = Store(self.folder / "yard.sqlite3")
        self.sent = {}  # by key: the sentence of the first answer
        self.taken_back = set()

    def teardown(self):
        self.store.close()
        shutil.rmtree(self.folder)

    @rule(target=made, grams=st.integers(5000, 5600), minutes=st.integers(0, 600), key=st.uuids())
    def weigh(self, grams, minutes, key):
        return kept(key=key.hex, grams=str(grams), at_ms=NOW_MS - minutes * MS_PER_MINUTE)

    @rule(entry=made)
    def send(self, entry):
        """The answer may be heard or lost: what it says is the same either way."""
        with self.store.writing() as connection:
            answer = kept_entries.enter(connection, kept_entries.read(entry), NOW_MS)
        assert answer.again == (entry["key"] in self.sent)
        assert answer.sentence == self.sent.setdefault(entry["key"], answer.sentence)

    @rule(entry=made)
    def send_and_fall_over_before_the_commit(self, entry):
        with pytest.raises(ZeroDivisionError), self.store.writing() as connection:
            kept_entries.enter(connection, kept_entries.read(entry), NOW_MS)
            raise ZeroDivisionError

    @rule(entry=made)
    def send_in_other_words(self, entry):
        if entry["key"] not in self.sent:
            return
        other = entry | {"typed": entry["typed"] | {"mass": "5601"}}
        with pytest.raises(kept_entries.UsedKey), self.store.writing() as connection:
            kept_entries.enter(connection, kept_entries.read(other), NOW_MS)

    @rule(entry=made)
    def take_back(self, entry):
        if entry["key"] not in self.sent or entry["key"] in self.taken_back:
            return
        self.taken_back.add(entry["key"])
        with self.store.writing() as connection:
            held = entry_keys.find(connection, entry["key"])
            entries.undo(connection, held.kind, held.fact_id, by="Ida", now_ms=NOW_MS)

    @rule()
    def restart(self):
        self.store.close()
        self.store = Store(self.folder / "yard.sqlite3")

    @invariant()
    def each_that_was_answered_stands_once_unless_it_was_taken_back(self):
        assert len(weigh_ins(self.store)) == len(self.sent.keys() - self.taken_back)


Phones.TestCase.settings = settings(max_examples=20, stateful_step_count=15)
TestPhones = Phones.TestCase
