"""A finish room in a real browser: what is over is seen without a tap or a script, the rest is reached by key."""

from screens import NARROW, PHONE

ROOM = "/finish/room/finish-room"


def test_what_is_over_and_the_drawing_are_seen_without_a_tap_and_without_script(open_page):
    bare = open_page(ROOM, NARROW, java_script_enabled=False)
    assert bare.locator("#vapour .control-word").inner_text() == "OVER"
    assert bare.locator("#over .held-figure").first.is_visible()
    drawing = bare.locator("svg.vapour-chart")
    box = drawing.bounding_box()
    assert box["x"] >= 0 and box["x"] + box["width"] <= NARROW["width"]
    assert "explosive limit" in drawing.get_attribute("aria-label")
    for sentence in (
        "the explosive limit whatever the mean of the room says",
        "not what the person at the gun breathes",
    ):
        assert sentence in bare.locator("#vapour").inner_text()


def test_the_figures_of_the_drawing_are_reached_by_key(open_page):
    page = open_page(ROOM, PHONE)
    summary = page.locator("#all-figures > summary")
    summary.focus()
    page.keyboard.press("Enter")
    assert page.locator("#all-figures table").is_visible()
    assert "the person at the gun" in page.locator("#all-figures").inner_text()


def test_the_way_to_enter_a_spraying_opens_its_form(open_page):
    page = open_page(ROOM, PHONE)
    page.get_by_role("link", name="Enter what was sprayed").click()
    page.locator("#sprayed-litres").wait_for(state="visible")
    assert page.locator("#sprayed-finish option").count() >= 3
    assert page.troubles == []
