"""What is told outside: each message keeps to its schema, never says READY of a finish, and ends in time."""

import json
from dataclasses import replace
from datetime import datetime

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards import entries, projection, situation, verdict_messages
from kiln.records import Verdict, Word
from shared import verdict_topics
from shared.errors import BadInput
from shared.settings import Settings
from shared.store.records import Subject, SubjectKind
from shared.units import MS_PER_MINUTE, ms_from_datetime

EVERY = 10


@pytest.fixture
def now(yard):
    yard.act(entries.add_set, "T1", name="Twin plates")
    for code, role in (("A1", "left"), ("A2", "right")):
        yard.act(entries.put_in_set, code, set_code="T1", role=role)
    return situation.read(yard.store, yard.now_ms, yard.settings)


def all_told(now, closed=()):
    return verdict_messages.told(now, Settings(), closed)


def one_of(told, code):
    return next(one for one in told if one.subject.code == code)


def said_of(now, code, verdict, **others):
    """The yard as it is, with this verdict on one board or set."""
    boards = [replace(b, verdict=verdict, **others) if b.subject.code == code else b for b in now.boards]
    by_id = {board.subject.id: board for board in boards}
    sets = [
        replace(one, boards=[by_id[b.subject.id] for b in one.boards])
        if one.subject.code != code
        else replace(one, verdict=verdict, **others)
        for one in now.sets
    ]
    stacks = [replace(one, boards=[by_id[b.subject.id] for b in one.boards]) for one in now.stacks]
    return replace(now, boards=boards, sets=sets, stacks=stacks)


def test_boards_sets_and_stacks_are_told_and_keep_to_the_schema(now, yard, valid_message):
    told = all_told(now)
    messages = [valid_message(json.dumps(verdict_messages.message(one, yard.now_ms, yard.settings))) for one in told]
    assert {(one["kind"], one["code"]) for one in messages} == {
        ("board", "A1"),
        ("board", "A2"),
        ("set", "T1"),
        ("stack", "S1"),
    }
    assert all(one["word"] == "CAN'T SAY" and one["moisture_mc_pct"] is None for one in messages)
    assert {one["use"] for one in messages if one["kind"] != "stack"} == {"machine"}


def test_a_projected_board_tells_its_moisture_and_how_far_its_air_is_known(yard, valid_message):
    board_id = situation.read(yard.store, yard.now_ms, yard.settings).boards[0].subject.id
    projection.refresh(yard.store, board_id, yard.now_ms)
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    told = one_of(all_told(now), "A1")
    message = valid_message(json.dumps(verdict_messages.message(told, yard.now_ms, yard.settings)))
    band = message["moisture_mc_pct"]
    assert band["p10"] < band["p50"] < band["p90"]
    made = now.boards[0].projection
    assert ms_from_datetime(datetime.fromisoformat(message["known_until"])) == made.known_until_ms
    assert message["reason"] == now.boards[0].verdict.reason


@pytest.mark.parametrize("word", [Word.READY, Word.DRY_ENOUGH])
def test_wood_to_be_finished_is_dry_enough_and_never_ready(now, yard, word, valid_message):
    yard.act(entries.plan_use, "A1", use="finish")
    plan = situation.read(yard.store, yard.now_ms, yard.settings).boards[0].plan
    fit = Verdict(word, "8.2 %", "Its water suits the use.", "Go on.", 0.97)
    told = all_told(said_of(now, "A1", fit, plan=plan))
    message = valid_message(json.dumps(verdict_messages.message(one_of(told, "A1"), yard.now_ms, yard.settings)))
    assert (message["word"], message["use"]) == ("WOOD DRY ENOUGH", "finish")


def test_a_set_or_stack_that_holds_wood_to_be_finished_is_not_ready_either(now, yard):
    yard.act(entries.plan_use, "A1", use="finish")
    plan = situation.read(yard.store, yard.now_ms, yard.settings).boards[0].plan
    fit = Verdict(Word.READY, "8.2 %", "All pieces are fit.", "Go on.", 0.97)
    changed = said_of(now, "A1", fit, plan=plan)
    changed = replace(
        changed,
        sets=[replace(one, verdict=fit) for one in changed.sets],
        stacks=[replace(one, verdict=fit) for one in changed.stacks],
    )
    told = all_told(changed)
    assert [str(one_of(told, code).word) for code in ("A1", "T1", "S1")] == ["WOOD DRY ENOUGH"] * 3


def test_ready_for_another_use_stays_ready(now):
    fit = Verdict(Word.READY, "8.2 %", "It suits the use.", "Use it.", 0.97)
    assert one_of(all_told(said_of(now, "A1", fit)), "A1").word is Word.READY


def test_the_schema_itself_refuses_ready_for_a_finish(now, yard, valid_message):
    message = verdict_messages.message(one_of(all_told(now), "A1"), yard.now_ms, yard.settings)
    valid_message(json.dumps(message | {"word": "READY"}))
    for wrong in (
        {"word": "READY", "use": "finish"},
        {"word": "SAFE"},
        {"at": "2026-11-25 09:40"},
        {"schema_version": 2},
        {"more": 1},
        {"probability": 1.2},
        {"kind": "set", "moisture_mc_pct": {"p10": 8.0, "p50": 9.0, "p90": 10.0}},
    ):
        with pytest.raises(jsonschema.ValidationError):
            valid_message(json.dumps(message | wrong))
    for name in message:
        with pytest.raises(jsonschema.ValidationError, match="required"):
            valid_message(json.dumps({key: value for key, value in message.items() if key != name}))


def test_a_verdict_holds_for_three_renewals(now, yard):
    told = one_of(all_told(now), "A1")
    settings = replace(Settings(), verdict_every_minutes=EVERY)
    assert verdict_messages.valid_until_ms(told, yard.now_ms, settings) == yard.now_ms + 3 * EVERY * MS_PER_MINUTE


def test_a_verdict_never_outlasts_the_air_that_it_rests_on(now, yard):
    place = next(one for one in now.places if one.subject.code == "shed")
    silent_ms = place.air.at_ms + Settings().silent_after_minutes * MS_PER_MINUTE
    told = one_of(all_told(now), "A1")
    late_ms = silent_ms - 4 * MS_PER_MINUTE
    assert verdict_messages.valid_until_ms(told, late_ms, Settings()) == silent_ms
    # Once the air is silent the verdict says so itself, and that holds as long as any.
    assert verdict_messages.valid_until_ms(told, silent_ms, Settings()) > silent_ms
    assert verdict_messages.valid_until_ms(one_of(all_told(now), "T1"), late_ms, Settings()) == silent_ms


@pytest.mark.parametrize(("kind", "code"), [("board", "A1"), ("set", "T1")])
def test_an_override_is_told_with_its_name_and_reason_for_its_own_use_alone(now, yard, kind, code, valid_message):
    def message():
        told = one_of(all_told(situation.read(yard.store, yard.now_ms, yard.settings)), code)
        return valid_message(json.dumps(verdict_messages.message(told, yard.now_ms, yard.settings)))

    yard.act(entries.plan_use, code, kind=kind, use="bend", days_ago=3)
    yard.act(entries.add_override, code, kind=kind, use="bend", reason="a prototype that nobody buys", days_ago=2)
    assert message()["overridden"] == {"by": "Ida", "reason": "a prototype that nobody buys"}
    assert message()["word"] == "CAN'T SAY", "the verdict itself is as it is"
    yard.act(entries.plan_use, code, kind=kind, use="machine", days_ago=1)
    assert message()["overridden"] is None


def test_a_closed_board_is_not_told(now):
    board = now.boards[0].subject
    assert {one.subject.code for one in all_told(now, closed={board.id})} == {"A2", "T1", "S1"}


def test_what_is_the_same_verdict_and_what_is_another(now, yard):
    told = one_of(all_told(now), "A1")
    message = verdict_messages.message(told, yard.now_ms, yard.settings)
    later = verdict_messages.message(told, yard.now_ms + 5 * MS_PER_MINUTE, yard.settings)
    assert later["valid_until"] > message["valid_until"]
    assert verdict_messages.says_the_same(message, later | {"probability": 0.4, "moisture_mc_pct": None})
    for name in ("word", "number", "reason", "next_step", "name", "use", "booked", "overridden"):
        assert not verdict_messages.says_the_same(message, message | {name: "other"})


@pytest.mark.parametrize(
    ("name", "text", "alone"),
    [
        ("reason", "It stands at 13.9 % (12.8–15.1).", True),
        ("reason", "It stands at 9 % (8–10.55).", True),
        ("reason", "It lies at 14.1 % (13.2–15.0).", False),
        ("next_step", "Weigh it at 10:30.", True),
        ("number", "11 days", False),
        ("word", "STOP", False),
        ("overridden", {"by": "Ida", "reason": "a prototype"}, False),
    ],
)
def test_figures_alone_are_told_from_words(name, text, alone):
    said = {"reason": "It stands at 14.1 % (13.2–15.0).", "next_step": "Weigh it at 9:40.", "number": "12 days"}
    assert verdict_messages.differs_in_figures_alone(said, said | {name: text}) is alone


# --- topics ------------------------------------------------------------------------------------------


@given(code=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40))
def test_any_code_makes_one_level_of_a_topic_of_its_own(code):
    topic = verdict_topics.topic_of("benchdry/verdict", "board", code)
    assert topic.count("/") == 3
    assert all("!" <= letter <= "~" and letter not in "+#$" for letter in topic)
    other = verdict_topics.topic_of("benchdry/verdict", "board", f"{code}/")
    assert other != topic


# RFC 3986, section 2.1 (percent-encoding) and 2.3 (unreserved characters); 2.5 has "À" as %C3%80
@pytest.mark.parametrize(
    ("code", "level"),
    [("A-1.x", "A-1.x"), ("a b", "a%20b"), ("1/2+#", "1%2F2%2B%23"), ("À", "%C3%80"), ("50%", "50%25")],
)
def test_codes_are_written_in_topics_as_in_addresses(code, level):
    assert verdict_topics.topic_of("r/verdict", str(Subject(1, SubjectKind.SET, code).kind), code) == (
        f"r/verdict/set/{level}"
    )


@pytest.mark.parametrize("prefix", ["yard/#", "a+b", "a b", "/yard", "yard/", "a//b", "$SYS", "a\x00", "x" * 101])
def test_prefixes_that_mqtt_forbids_or_that_mislead_are_refused(prefix):
    with pytest.raises(BadInput, match="setting verdict_topic_prefix"):
        verdict_topics.root(replace(Settings(), verdict_topic_prefix=prefix))


def test_no_prefix_means_no_topics():
    assert verdict_topics.root(replace(Settings(), verdict_topic_prefix=" ")) == ""
    assert not verdict_topics.is_own("", "/board/A1")
    assert not verdict_topics.takes_in("#", "")


# MQTT 5, section 4.7.1: # stands for any number of levels and the parent, + for one
@pytest.mark.parametrize(
    ("topic_filter", "covers"),
    [
        ("#", True),
        ("benchdry/#", True),
        ("benchdry/verdict/status", True),
        ("benchdry/verdict/board/A1", True),
        ("benchdry/+/+/+", True),
        ("+/verdict/#", True),
        ("benchdry/verdict/+/+/#", True),
        ("workshop/#", False),
        ("+/+", False),
        ("benchdry/shed/#", False),
        ("benchdry/verdict/board/A1/x", False),
        ("benchdry/verdict", False),
    ],
)
def test_a_filter_that_takes_in_what_we_publish_is_known(topic_filter, covers):
    assert verdict_topics.takes_in(topic_filter, "benchdry/verdict") is covers
