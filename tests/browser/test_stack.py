"""A stack's page in a real browser: the pile by keyboard, the chart, and what could be done, also without script."""

import re

from screens import PHONE

STACK = "/stack/raised-plane"
NARROW = {"width": 320, "height": 700}


def test_the_boards_of_the_pile_are_reached_and_opened_by_the_keyboard_and_the_one_reached_is_seen(open_page):
    page = open_page(STACK, PHONE)
    end = page.locator('.pile a[href="/board/RP-2"] .end')
    at_rest = end.evaluate("one => getComputedStyle(one).strokeWidth")
    page.locator('a[href^="/add?stack="]').last.focus()
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.getAttribute('href')") == "/board/RP-2":
            break
    assert float(end.evaluate("one => getComputedStyle(one).strokeWidth")[:-2]) > float(at_rest[:-2])
    page.keyboard.press("Enter")
    page.wait_for_url("**/board/RP-2")


def test_the_pile_is_whole_and_can_be_touched_on_the_narrowest_phone(open_page):
    page = open_page(STACK, NARROW)
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    for box in (one.bounding_box() for one in page.locator(".pile .touch").all()):
        assert box["x"] >= 0 and box["x"] + box["width"] <= NARROW["width"] and box["height"] >= 44
    for writing in page.locator(".pile text").all():
        assert writing.bounding_box()["height"] >= 12


def test_the_chart_is_drawn_and_its_lines_are_named_beside_it(open_page):
    page = open_page(STACK, PHONE)
    figure = page.locator("figure.stack-chart")
    figure.scroll_into_view_if_needed()
    figure.locator(".main-svg").first.wait_for(timeout=20_000)
    assert figure.locator(".chart-key li").count() >= 5
    assert figure.locator(".legend .traces").count() == 0  # the library's own list is off
    assert page.troubles == []


def test_what_could_be_done_comes_in_place_and_by_its_own_address_without_script(open_page):
    page = open_page(STACK, PHONE)
    page.get_by_role("link", name="Work it out").click()
    page.locator("#options .options li").first.wait_for(timeout=60_000)
    assert page.url.endswith(STACK)
    assert "Leave the stack here" in page.locator("#options").inner_text()
    bare = open_page(f"{STACK}/options", PHONE, java_script_enabled=False)
    assert re.search(r"Move the stack to .+ now", bare.locator("#options").inner_text())
