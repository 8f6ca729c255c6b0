"""The wall view on a tablet: it goes round, follows a finger, stays, and covers its word when nobody answers."""

import pytest

TABLET, UPRIGHT = {"width": 1280, "height": 800}, {"width": 800, "height": 1280}
LEAST_MARK_PX, LEAST_WORD_PX, LEAST_NUMBER_PX = 235, 125, 100


def name(page):
    return page.inner_text("h1")


@pytest.mark.parametrize("size", [TABLET, UPRIGHT], ids=["lying", "upright"])
@pytest.mark.parametrize("word", ["READY", "WOOD DRY ENOUGH", "WAIT", "STOP", "CAN'T SAY"])
def test_three_things_are_large_and_fit_whatever_the_word(open_page, size, word):
    page = open_page("/?wall=1", size)
    seen = page.evaluate(
        """(word) => {
          const of = (name) => document.querySelector(".face " + name);
          of(".word").textContent = word;
          of(".word").className = word.length > 10 ? "word long" : "word";
          const bottom = of(".near").getBoundingClientRect().bottom;
          const foot = document.querySelector(".wall-foot").getBoundingClientRect();
          return {
            mark: of(".mark").getBoundingClientRect().width,
            word: parseFloat(getComputedStyle(of(".word")).fontSize),
            number: parseFloat(getComputedStyle(of(".number")).fontSize),
            lines: of(".word").getBoundingClientRect().height / parseFloat(getComputedStyle(of(".word")).lineHeight),
            whole: bottom <= foot.top + 1 && foot.bottom <= innerHeight + 1,
            sideways: document.documentElement.scrollWidth - innerWidth,
          };
        }""",
        word,
    )
    assert seen["mark"] >= LEAST_MARK_PX and seen["word"] >= LEAST_WORD_PX and seen["number"] >= LEAST_NUMBER_PX
    assert round(seen["lines"]) <= 2
    assert seen["whole"] and seen["sideways"] <= 0


def test_it_goes_round_by_itself_follows_a_finger_and_stays_where_it_is_told_to(open_page):
    page = open_page("/?wall=1&at=0", TABLET)
    page.clock.install()
    page.reload()
    first = name(page)
    page.mouse.click(640, 500)
    page.wait_for_function("(before) => document.querySelector('h1').innerText !== before", arg=first)
    second = name(page)
    page.clock.run_for(13_000)
    page.wait_for_function("(before) => document.querySelector('h1').innerText !== before", arg=second)
    third = name(page)
    assert len({first, second, third}) == 3
    page.get_by_role("link", name="Stay here").click()
    page.wait_for_load_state()
    page.clock.run_for(30_000)
    page.wait_for_timeout(500)
    assert name(page) == third


def test_without_script_it_goes_round_too(open_page):
    page = open_page("/?wall=1&at=0", TABLET, java_script_enabled=False)
    before = name(page)
    page.wait_for_url("**at=1", timeout=30_000)
    assert name(page) != before


def test_its_word_is_covered_when_nobody_has_answered_for_three_minutes(open_page):
    page = open_page("/?wall=1", TABLET)
    page.clock.install()
    page.reload()
    page.context.set_offline(True)
    page.clock.run_for(30_000)
    page.wait_for_selector("#offline", state="visible")
    assert page.is_visible(".face") and not page.is_visible("#cover")
    page.clock.run_for(175_000)
    page.wait_for_selector("#cover", state="visible")
    assert page.inner_text("#cover").startswith("NO CONNECTION") and "since " in page.inner_text("#cover")
    assert not page.is_visible(".face")
    page.context.set_offline(False)
    page.clock.run_for(13_000)
    page.wait_for_selector(".face", state="visible")
    assert not page.is_visible("#cover")
