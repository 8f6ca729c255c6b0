"""Whose limits for breathed air count: chosen by whoever manages, kept as an entry; the lowest listed by default."""

from __future__ import annotations

import re

import pytest

from dashboards import entries, region_entries, roles
from dashboards.pages import entry_words
from dashboards.pages.entered import names_of
from dashboards.roles import Role
from shared.errors import BadInput
from shared.store import facts
from shared.store.as_known import AsKnown
from shared.store.records import AirRegion
from shared.tables import Average, Region, find_substance, lowest_limit
from shared.tables.substances import limit_mg_m3
from shared.units import MS_PER_DAY
from tests.dashboards import finish_yards as yards
from tests.dashboards.commands import benchdry
from tests.dashboards.test_app import client_of, words


def region_of(yard):
    return yards.now(yard).region


def chosen(yard, region, **said):
    return yard.act(entries.set_region, region=region, **said)


def test_the_lowest_listed_is_the_default_and_a_choice_counts_at_once_until_it_is_undone(empty_yard):
    assert region_of(empty_yard) is Region.LOWEST
    first = chosen(empty_yard, "gb", note="our inspector asks for it")
    assert region_of(empty_yard) is Region.GB
    chosen(empty_yard, "lowest")
    assert region_of(empty_yard) is Region.LOWEST
    second = chosen(empty_yard, "DE")
    empty_yard.act(entries.undo, second.kind, second.fact_id)
    assert region_of(empty_yard) is Region.LOWEST
    assert (
        first.sentence
        == "For breathed air counts the lowest that is listed for GB, where others may list lower ones from now on."
    )


def test_the_choice_comes_before_the_setting(empty_yard):
    yard = empty_yard
    with yard.store.reading() as connection:
        settings = type(yard.settings)(limits_region="EU")
        assert region_entries.region_now(connection, yard.now_ms, settings).region is Region.EU
    chosen(yard, "US")
    with yard.store.reading() as connection:
        assert region_entries.region_now(connection, yard.now_ms, settings).region is Region.US


@pytest.mark.parametrize("typed", ["", "Mars", "all"])
def test_a_region_that_there_is_not_is_refused_naming_those_there_are(empty_yard, typed):
    with pytest.raises(BadInput, match=r"region.*lowest, US, GB, EU, DE"):
        chosen(empty_yard, typed)


def test_who_chose_it_is_in_the_log_and_what_was_known_then_stays(empty_yard):
    yard = empty_yard
    with yard.store.writing() as connection:
        before_ms = yard.now_ms - 2 * MS_PER_DAY
        entries.set_region(connection, region="EU", note="a customer asks", by="Ada", now_ms=before_ms)
    chosen(yard, "US")
    with AsKnown(yard.store, yard.now_ms - MS_PER_DAY).held() as past, past.reading() as connection:
        assert region_entries.region_now(connection, yard.now_ms, yard.settings).region is Region.EU
    with yard.store.reading() as connection:
        first = facts.standing(connection, AirRegion)[0]
        assert entry_words.words(first, names_of(connection, yard.now_ms)) == (
            "For breathed air, limits of EU: a customer asks"
        )
    assert "limits of EU: a customer asks" in words(client_of(yard).get("/records?kind=limits"))
    assert (roles.to_send("/limit/breathed-air/region"), roles.to_undo("region")) == (Role.MANAGE, Role.MANAGE)


def test_it_is_chosen_on_a_page_and_by_a_command(empty_yard):
    yard = yards.commanded(empty_yard)
    client = client_of(yard)
    page = client.get("/limits").text
    assert "the lowest of all listed" in page and 'id="breathed-air"' in page
    assert "where only the lowest of all is passed, beside the word" in page
    csrf = re.search(r'name="csrf" value="([^"]+)"', page).group(1)
    sent = client.post("/limit/breathed-air/region", data={"csrf": csrf, "region": "GB", "note": "", "by": "Ada"})
    assert (sent.status_code, sent.headers["location"]) == (303, "/limits#breathed-air")
    assert region_of(yard) is Region.GB
    sent = client.get("/limits")
    assert "where others may list lower ones" in words(sent)
    assert "Ada" in words(sent)
    again = client.post("/limit/breathed-air/region", data={"csrf": csrf, "region": "US", "note": "", "by": ""})
    assert "Not entered" in words(again) and region_of(yard) is Region.GB
    assert "undo: benchdry undo region" in benchdry(yard, "finish", "region", "DE", "--by", "Ada")
    assert "/limits#breathed-air" in client.get("/settings").text


def test_that_others_list_lower_is_told_of_each_ingredient_and_never_by_the_lowest(empty_yard):
    butyl, acetone = find_substance("n-butyl acetate"), find_substance("acetone")
    assert region_entries.lower_elsewhere((butyl, acetone), Region.LOWEST) == ()
    for region in (one for one in Region if one is not Region.LOWEST):
        told = region_entries.lower_elsewhere((butyl, acetone), region)
        for one in (butyl, acetone):
            for average in Average:
                lowest, here = (lowest_limit(one.cas, average, each) for each in (Region.LOWEST, region))
                lower = lowest is not None and (here is None or limit_mg_m3(lowest) < limit_mg_m3(here))
                assert any(line.startswith(f"{one.name}, {average.value}: ") for line in told) == lower


def test_the_finish_page_says_whose_limits_count_and_which_are_lower_elsewhere(empty_yard):
    yard = yards.over(empty_yard)
    assert "the lowest of all listed" in words(client_of(yard).get("/finish"))
    chosen(yard, "US")
    told = words(client_of(yard).get("/finish"))
    with_lower = region_entries.lower_elsewhere((find_substance("n-butyl acetate"),), Region.US)
    assert with_lower and all(line in told for line in with_lower)
