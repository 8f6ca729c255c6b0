"""Everything entered about a board is listed once, in words that a person knows and units that they use."""

import re

from dashboards import entries
from dashboards.pages import entered
from dashboards.situation import read
from shared.store import facts
from shared.store.records import SubjectKind


def board_id(yard, code="A1"):
    with yard.store.reading() as connection:
        return facts.subject(connection, SubjectKind.BOARD, code)


def much_entered(yard):
    yard.act(entries.add_set, "T1", days_ago=34)
    yard.act(entries.put_in_set, "A1", set_code="T1", role="left half", days_ago=33)
    yard.act(entries.plan_use, "A1", use="glue", days_ago=30)
    yard.act(entries.add_pin_reading, "A1", mc_pct=17.5, depth_mm=5, days_ago=10)
    yard.act(entries.add_oven_dry, "A1", wet_g=80, dry_g=60, days_ago=9)
    bag = {"rh_pct": 64, "temperature_c": 19, "waited_h": 48, "bag_l": 5, "last_moved": "dried"}
    yard.act(entries.add_bag_test, "A1", probe="warm", days_ago=8, **bag)
    yard.act(entries.say_rest, "A1", rest="free on all sides", days_ago=7)
    yard.act(entries.say_coat, "A1", coat="bare", ends_sealed=True, days_ago=7)
    yard.act(entries.plane_board, "A1", off_marked_mm=1, days_ago=6)
    yard.act(entries.add_water, "A1", kind="rained on", water_g=12, faces="both faces", days_ago=5)
    yard.act(entries.add_outcome, "A1", kind="checks", degree="slight", days_ago=4)
    yard.act(entries.add_override, "A1", use="glue", reason="a trial")
    yard.act(entries.move_board, "A1", place="room", days_ago=1)


def test_each_entry_is_listed_once_and_none_is_left_out(yard):
    much_entered(yard)
    lines = entered.every(yard.store, board_id(yard), yard.now_ms)
    with yard.store.reading() as connection:
        stands = {
            (kind, one.id)
            for kind, record in entries.UNDOABLE.items()
            for one in facts.standing(connection, record, board_id(yard).id)
        }
    assert {(one.kind, one.number) for one in lines} == stands
    assert len(lines) == len(stands) > 15


def test_no_entry_shows_a_name_or_unit_of_the_store(yard):
    much_entered(yard)
    lines = entered.every(yard.store, board_id(yard), yard.now_ms)
    said = "\n".join(one.figure for one in lines)
    assert not re.search(r"[a-z]_[a-z]|True|False|None", said), said
    for words in ("27 × 190 × 1500 mm", "Into stack S1", "To room", "In set T1 as left half (twin)", "17.5 % at 5 mm"):
        assert words in said


def test_the_page_of_a_board_says_each_measurement_in_the_same_words(yard):
    much_entered(yard)
    board = next(one for one in read(yard.store, yard.now_ms, yard.settings).boards if one.subject.code == "A1")
    on_page = {line.figure for _, line in entered.measured([*board.weigh_ins, *board.pins, *board.bags])}
    assert on_page < {one.figure for one in entered.every(yard.store, board.subject, yard.now_ms)}
