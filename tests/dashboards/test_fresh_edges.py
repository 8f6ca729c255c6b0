"""Before glueing, pieces that were not planed lately are named; no verdict hangs on it."""

import pytest

from dashboards import entries, fresh_edges, situation
from dashboards.pages.matched_set import set_page

MINUTE_DAYS = 1 / 1440


@pytest.fixture
def plates(yard):
    yard.act(entries.add_set, "T1", days_ago=30)
    for code, role in (("A1", "left half"), ("A2", "right half")):
        yard.act(entries.put_in_set, code, set_code="T1", role=role, days_ago=30)
    yard.act(entries.plan_use, "T1", kind="set", use="glue", days_ago=20)
    return yard


def said(yard):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    page = set_page(now, now.sets[0], "Ida", None)
    assert page.edges == fresh_edges.sentence(yard.store, now.sets[0], now.now_ms)
    return page.edges


def plane(yard, code, minutes_ago):
    yard.act(entries.plane_board, code, off_marked_mm=0.3, days_ago=minutes_ago * MINUTE_DAYS)


def test_pieces_that_were_never_planed_are_named(plates):
    assert said(plates) == (
        "Edges glue best within the hour after planing (common practice, no source): "
        "no planing of A1 and A2 was entered."
    )


def test_only_those_whose_planing_is_more_than_an_hour_old_are_named(plates):
    plane(plates, "A1", 59)
    plane(plates, "A2", 61 + 3 * 24 * 60)
    assert said(plates).endswith("A2 was planed 3 days ago.") and "A1" not in said(plates)
    plane(plates, "A2", 5)
    assert said(plates) == ""


def test_a_set_that_is_not_to_be_glued_hears_nothing_of_it_and_no_verdict_hangs_on_it(plates):
    before = situation.read(plates.store, plates.now_ms, plates.settings).sets[0].verdict
    assert not any("edge" in gate.name for gate in before.gates)
    plates.act(entries.plan_use, "T1", kind="set", use="brace", days_ago=10)
    assert said(plates) == ""
