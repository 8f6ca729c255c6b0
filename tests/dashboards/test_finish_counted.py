"""How long what was sprayed counts: never shorter than its film is wet, a week where nothing is drawn out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboards import entries, page_warnings
from kiln.control import Control
from shared.units import MS_PER_DAY, MS_PER_HOUR
from tests.dashboards import finish_yards as yards
from tests.dashboards.finish_yards import room_now, vapour_of


def kinds(yard):
    return [one.kind for one in page_warnings.warnings_of(yards.now(yard))]


def made(yard, figures, **sheet):
    return yards.shelved(yards.room(yard, **figures), "l", yards.LACQUER | sheet)


def hours_on(yard, hours):
    return replace(yard, now_ms=yard.now_ms + round(hours * MS_PER_HOUR))


def counts_for(yard, hours):
    """Whether it counts so many hours from now on, and not for a minute more."""
    return bool(room_now(hours_on(yard, hours)).sprayed) and not room_now(hours_on(yard, hours + 1 / 60)).sprayed


def test_a_film_still_wet_is_counted_and_warned_of(yard):
    """Dry to handle after 100 hours, sprayed 50 hours ago: it is wet now, whatever else is known."""
    yards.sprayed(made(yard, yards.SMALL, dry_after_h="100 h"), "l", minutes_ago=50 * 60)
    assert room_now(yard).sprayed and kinds(yard) == ["vapour"]
    assert vapour_of(yard).control is Control.OVER and vapour_of(yard).not_before_ms > yard.now_ms
    assert not room_now(yard).counted_no_more


@pytest.mark.parametrize(
    ("figures", "sheet", "sprayed", "hours"),
    [
        (yards.SMALL, {}, {}, 48.5),
        (yards.SMALL, {"dry_after_h": "100 h"}, {}, 148),
        (yards.SMALL, {"dry_after_h": ""}, {}, 7 * 24 + 48),
        (yards.SMALL, {}, {"extraction_on": False}, 7 * 24),
        (yards.SMALL | {"extraction": "none"}, {}, {}, 7 * 24),
        ({"volume": "30"}, {}, {}, 7 * 24),
        ({}, {}, {}, 7 * 24),
        ({}, {"dry_after_h": "720 h"}, {}, 720 + 48),
    ],
)
def test_it_counts_until_dry_and_two_days_and_a_week_where_nothing_is_drawn_out(yard, figures, sheet, sprayed, hours):
    yards.sprayed(made(yard, figures, **sheet), "l", minutes_ago=0, minutes=60, **sprayed)
    assert counts_for(yard, hours + 1)
    after = hours_on(yard, hours + 2)
    assert "vapour" not in kinds(after) and vapour_of(after) is None and len(room_now(after).counted_no_more) == 1


def test_the_longest_drying_of_any_version_counts(yard):
    yards.sprayed(made(yard, yards.SMALL, dry_after_h="100 h"), "l", minutes_ago=0, minutes=60)
    on = hours_on(yard, 1)
    on.act(entries.change_finish, "l", dry_after_h="1 h")
    assert counts_for(yard, 149)


def test_a_fan_that_is_said_to_run_afterwards_makes_it_count_no_shorter(yard):
    yards.sprayed(made(yard, yards.SMALL | {"extraction": "none"}), "l", minutes_ago=0, minutes=60)
    on = hours_on(yard, 1)
    on.act(entries.say_finish_room, "spray", sure=True, **yards.SMALL)
    assert counts_for(yard, 7 * 24 + 1)


def test_it_is_warned_of_where_the_room_is_closed_as_long_as_it_counts(yard):
    yards.sprayed(made(yard, yards.SMALL, dry_after_h="100 h"), "l", minutes_ago=0)
    yard.act(entries.close_place, "spray")
    assert kinds(hours_on(yard, 140)) == ["vapour"] and kinds(hours_on(yard, 150)) == []


def test_many_sprayings_in_a_room_without_extraction_are_all_counted(yard):
    made(yard, {"volume": "30", "extraction": "none"})
    for turn in range(28):
        yards.sprayed(yard, "l", minutes_ago=turn * 6 * 60 + 60)
    assert len(room_now(yard).sprayed) == 28 and vapour_of(yard).control is Control.OVER
    assert yard.now_ms - vapour_of(yard).at_ms < MS_PER_DAY
