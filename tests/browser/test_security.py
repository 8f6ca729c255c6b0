"""The policy for content in real Chromium: charts are drawn under it, and nothing on any page goes against it."""

import pytest

PHONE = {"width": 390, "height": 844}
WATCH = """
window.violations = [];
document.addEventListener("securitypolicyviolation", (one) => {
  window.violations.push([one.violatedDirective, one.blockedURI, one.sourceFile, one.sample].join(" "));
});
"""
CHARTED = ["/board/RP-1", "/stack/raised-plane", "/place/bench-room"]
PLAIN = ["/", "/?wall=1", "/air", "/weigh", "/settings", "/probes", "/set/back-15", "/records", "/how", "/sign-in"]


@pytest.fixture
def watched(chromium, running):
    """Open a page that keeps what goes against its policy, and read it to its end."""
    context = chromium.new_context(viewport=PHONE)
    context.add_init_script(WATCH)

    def open_(path):
        page = context.new_page()
        page.troubles = []
        page.on("console", lambda said: page.troubles.append(said.text) if said.type in ("error", "warning") else None)
        page.goto(running.address + path)
        for _ in range(40):
            page.mouse.wheel(0, 500)
            page.wait_for_timeout(40)
        return page

    yield open_
    context.close()


@pytest.mark.parametrize("path", CHARTED)
def test_a_chart_is_drawn_looked_at_and_nothing_goes_against_the_policy(watched, path):
    page = watched(path)
    chart = page.locator(".js-plotly-plot").first
    chart.locator(".main-svg").first.wait_for()
    chart.scroll_into_view_if_needed()
    box = chart.bounding_box()
    for share in (0.3, 0.5, 0.7):
        page.mouse.move(box["x"] + share * box["width"], box["y"] + box["height"] / 2)
        page.wait_for_timeout(150)
    page.set_viewport_size({"width": 700, "height": 844})
    page.wait_for_timeout(500)
    assert page.evaluate("window.violations") == [] and page.troubles == []


@pytest.mark.parametrize("path", PLAIN)
def test_nothing_on_a_page_goes_against_the_policy(watched, path):
    page = watched(path)
    assert page.evaluate("window.violations") == [] and page.troubles == []


@pytest.mark.parametrize(
    "planted",
    [
        "const s = document.createElement('script'); s.textContent = 'window.ran = 1'; document.body.append(s)",
        "document.body.insertAdjacentHTML('beforeend', '<img src=nothing onerror=\"window.ran = 1\">')",
        "document.body.insertAdjacentHTML('beforeend', '<p style=\"position:fixed\">x</p>')",
        "const s = document.createElement('style'); s.textContent = 'p{color:red}'; document.head.append(s)",
        "document.body.append(Object.assign(document.createElement('iframe'), {src: 'https://evil.example'}))",
        "document.body.append(Object.assign(document.createElement('script'), {src: 'https://evil.example/x.js'}))",
    ],
)
def test_what_was_planted_in_a_page_does_nothing(watched, planted):
    page = watched("/sign-in")
    page.evaluate(f"() => {{ {planted}; }}")
    page.wait_for_function("window.violations.length > 0")
    assert page.evaluate("window.ran") is None
