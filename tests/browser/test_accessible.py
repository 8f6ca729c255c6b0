"""Screens for everybody: axe-core by WCAG 2.2 AA, forced colours, marks in grey, the keyboard alone, paper."""

import base64
import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from screens import DESK, PHONE, SCREENS, WALL

AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"
# Deque's tags of WCAG 2.0, 2.1 and 2.2 at A and AA: axe-core's own API documentation.
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
MARKS = ("ready", "wait", "stop", "unsure")
GRID = 24
APART = 0.12  # of black against white, on average over the whole mark
A4_PX = 794  # 210 mm at 96 px an inch (CSS Values and Units 4, section 6.2)


def unfold(page):
    """Open everything that is folded, so that it is judged too."""
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")


def violations(page):
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("levels => axe.run(document, {runOnly: levels})", LEVELS)["violations"]
    return [(one["id"], [node["target"][0] for node in one["nodes"]][:3], one["help"]) for one in found]


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("path", SCREENS)
def test_nothing_is_found_against_a_screen(open_page, path, size):
    page = open_page(path, size)
    unfold(page)
    for figure in page.locator("figure[data-src]").all():
        figure.scroll_into_view_if_needed()
        figure.locator(".main-svg").first.wait_for(timeout=20_000)
    assert violations(page) == []


def seen(page, mark):
    """Return a mark as it is on the screen: brightness on a grid, 0 black to 1 white."""
    shot = base64.b64encode(mark.screenshot()).decode()
    pixels = page.evaluate(
        """async ([shot, grid]) => {
            const bytes = Uint8Array.from(atob(shot), one => one.charCodeAt(0));
            const image = await createImageBitmap(new Blob([bytes], {type: "image/png"}));
            const canvas = new OffscreenCanvas(grid, grid), context = canvas.getContext("2d");
            context.imageSmoothingQuality = "high";
            context.drawImage(image, 0, 0, grid, grid);
            return Array.from(context.getImageData(0, 0, grid, grid).data);
        }""",
        [shot, GRID],
    )
    return np.array(pixels, dtype=float).reshape(GRID, GRID, 4)[..., :3].mean(axis=2) / 255


@pytest.mark.parametrize("forced", [False, True], ids=["grey", "forced colours"])
def test_the_four_marks_differ_without_colour(open_page, forced):
    page = open_page("/", DESK, **({"forced_colors": "active"} if forced else {}))
    page.context.new_cdp_session(page).send("Emulation.setEmulatedVisionDeficiency", {"type": "achromatopsia"})
    pictures = {}
    for key in MARKS:
        pictures[key] = seen(page, page.locator(f".card.is-{key} .card-verdict .mark, .card.is-{key} .mark").first)
        assert pictures[key].min() < 0.5 < pictures[key].max(), f"{key} has no ink or no paper"
    for one, other in combinations(MARKS, 2):
        apart = np.abs(pictures[one] - pictures[other]).mean()
        assert apart > APART, f"{one} and {other} are {apart:.2f} apart"


@pytest.mark.parametrize("path", ["/", "/board/RP-1", "/stack/raised-plane", "/set/back-15", "/weigh", WALL])
def test_forced_colours_leave_nothing_unreadable(open_page, path):
    page = open_page(path, PHONE, forced_colors="active")
    assert violations(page) == []


def test_a_weigh_in_is_made_with_the_keyboard_alone(open_page):
    page = open_page("/board/RP-3", DESK)
    for _ in range(60):  # to the way to the form, which unfolds it
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.hash || ''") == "#weigh-in":
            break
    page.keyboard.press("Enter")
    for _ in range(20):
        page.keyboard.press("Tab")
        named = page.evaluate("document.activeElement.name || ''")
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline != "none", page.evaluate("document.activeElement.outerHTML.slice(0, 200)")
        if named == "by":  # asked before the figure where the name is not known
            page.keyboard.type("Ida")
        if named == "mass":
            break
    assert named == "mass"
    assert page.locator("#weigh-in-by").input_value() == "Ida"
    page.keyboard.type("7")
    page.keyboard.press("Backspace")
    page.keyboard.type("9.999")  # a board of about this weight starts on kg
    page.keyboard.press("Enter")
    page.wait_for_load_state()
    page.get_by_role("button", name=re.compile("Take it back")).first.wait_for()
    page.get_by_role("button", name=re.compile("Take it back")).first.press("Enter")
    page.wait_for_load_state()
    assert "taken back" in page.inner_text("body")


@pytest.mark.parametrize(
    ("path", "most_sheets"),
    [("/board/RP-1", 4), ("/stack/raised-plane", 4), ("/set/back-15", 4), ("/place/log-shed?days=365", 6),
     ("/weigh/sheet?stack=raised-plane", 1), ("/", 4)],
)  # fmt: skip
def test_a_page_goes_onto_paper(open_page, path, most_sheets):
    page = open_page(path, DESK)
    for figure in page.locator("figure[data-src]:visible").all():
        figure.scroll_into_view_if_needed()
        figure.locator(".main-svg").first.wait_for(timeout=20_000)
    paper = page.pdf(format="A4", margin=dict.fromkeys(("top", "bottom", "left", "right"), "12mm"))
    assert paper.startswith(b"%PDF-")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", paper)) <= most_sheets
    page.emulate_media(media="print")
    page.set_viewport_size({"width": A4_PX, "height": 1123})
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.wait_for_timeout(1500)
    widest = page.evaluate(
        "Math.max(0, ...[...document.querySelectorAll('.js-plotly-plot .main-svg')]"
        ".map(one => one.getBoundingClientRect().right))"
    )
    assert widest <= A4_PX
    assert not page.locator("nav.menu").is_visible()
