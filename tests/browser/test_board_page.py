"""A board's page in a browser: addresses into folds, with and without script, thumbs, narrow phones, paper."""

import re

import pytest
from screens import DESK, PHONE

NARROW = {"width": 320, "height": 700}  # WCAG 2.2, 1.4.10: content is whole at 320 CSS px
LEAST_TARGET_PX = 48  # ours, for gloves; WCAG 2.2, 2.5.8 asks for 24


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
@pytest.mark.parametrize(
    ("name", "field"), [("pin", "#pin-mc_pct"), ("weigh-in", "#weigh-in-mass"), ("use", "#use-use")]
)
def test_an_address_opens_what_it_names_and_all_folds_around_it(open_page, script, name, field):
    page = open_page(f"/board/RP-1#{name}", PHONE, java_script_enabled=script)
    page.locator(field).wait_for()
    assert 0 <= page.locator(field).bounding_box()["y"] < PHONE["height"]
    assert not page.locator("#volume").is_visible()  # what was not named stays folded


def test_the_same_address_again_opens_it_again(open_page):
    page = open_page("/board/RP-1#pin", PHONE)
    page.locator("#pin > summary").click()
    assert not page.locator("#pin-mc_pct").is_visible()
    page.locator(".acts a", has_text="Pin").click()
    page.locator("#pin-mc_pct").wait_for()


def test_what_to_do_next_is_within_a_flick_of_the_thumb(open_page):
    page = open_page("/board/RP-1", PHONE)
    assert page.locator(".verdict .next").bounding_box()["y"] < PHONE["height"]
    assert page.locator(".acts").bounding_box()["y"] < 2 * PHONE["height"]


def test_all_that_is_touched_is_large_enough_for_gloves(open_page):
    page = open_page("/board/RP-1", PHONE)
    for one in page.locator(".acts a, .fold > summary, .for-use a, .mind a").all():
        if one.is_visible():
            assert one.bounding_box()["height"] >= LEAST_TARGET_PX, one.inner_text()


def test_a_narrow_phone_shows_all_that_unfolds_without_scrolling_sideways(open_page):
    page = open_page("/board/RP-1", NARROW)
    page.evaluate("for (const one of document.querySelectorAll('main details')) one.open = true")
    page.wait_for_timeout(1_500)
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0


@pytest.mark.parametrize("code", ["RP-1", "LM-1"])
def test_the_first_sheet_holds_what_matters_most(open_page, code):
    page = open_page(f"/board/{code}", DESK)
    page.locator("#ahead").scroll_into_view_if_needed()
    page.locator("#ahead .main-svg").first.wait_for(timeout=20_000)
    page.evaluate("for (const one of document.querySelectorAll('.folds, #entries-to-make, .foot')) one.remove()")
    paper = page.pdf(format="A4", margin=dict.fromkeys(("top", "bottom", "left", "right"), "12mm"))
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
