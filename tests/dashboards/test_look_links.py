"""Links for looking, the page of settings, and the commands for both: shown once, revoked at once."""

# ruff: noqa: F811 - fixtures are named by the arguments of tests
import html
import re

import pytest
from starlette.testclient import TestClient

from dashboards import auth, look_links
from dashboards.app import create_app
from dashboards.roles import Role
from shared import settings as settings_module
from shared.errors import BadInput, Refused
from shared.units import MS_PER_DAY, MS_PER_HOUR
from tests.dashboards.commands import benchdry
from tests.dashboards.doors import OUTSIDE, PASSWORDS, app, now, quick, secrets, sign_in, token, visit, weigh_ins  # noqa: F401

# Read-only links -------------------------------------------------------------------------------------------------


def test_a_link_opens_the_pages_for_looking_until_it_is_revoked(visit, secrets, now):
    path = look_links.make(secrets, "tablet on the nail", 365, now[0])
    assert path.rsplit("/", maxsplit=1)[1] not in secrets.path.read_text()
    tablet = visit()
    answer = tablet.get(f"{path}?to=/?wall=1")
    assert answer.status_code == 303 and answer.headers["location"] == "/?wall=1"
    assert answer.headers["referrer-policy"] == "no-referrer" and answer.headers["cache-control"] == "no-store"
    page = tablet.get("/board/A1")
    assert page.status_code == 200 and "weigh-in" not in actions_of(page)
    assert tablet.post("/board/A1/weigh-in", data={"csrf": token(page), "mass": "4700"}).status_code == 403
    assert look_links.listed(secrets, now[0])[0].used_ms == now[0]
    look_links.revoke(secrets, "Tablet on the  nail")
    assert tablet.get("/board/A1").status_code == 303
    assert visit().get(path).status_code == 404


def actions_of(page):
    return " ".join(re.findall(r'action="([^"]+)"', page.text))


def test_a_link_runs_out_and_so_do_its_sessions(visit, secrets, now):
    path = look_links.make(secrets, "customer", 100, now[0])
    tablet = visit()
    tablet.get(path)
    now[0] += 99 * MS_PER_DAY
    assert tablet.get("/air").status_code == 200  # longer than a sign-in by password
    now[0] += 2 * MS_PER_DAY
    assert tablet.get("/air").status_code == 303 and visit().get(path).status_code == 404
    assert look_links.listed(secrets, now[0]) == []


def test_the_last_use_of_a_link_is_noted_to_the_hour(visit, secrets, now):
    path, start_ms = look_links.make(secrets, "tablet", 365, now[0]), now[0]
    tablet = visit()
    tablet.get(path)
    now[0] += MS_PER_HOUR // 2
    tablet.get("/air")
    assert look_links.listed(secrets, now[0])[0].used_ms == start_ms
    now[0] += MS_PER_HOUR
    tablet.get("/air")
    assert look_links.listed(secrets, now[0])[0].used_ms == now[0]


def test_whoever_may_do_more_keeps_that_when_opening_a_link(visit, secrets, now):
    keeper = visit(Role.MANAGE)
    keeper.get(look_links.make(secrets, "tablet", 365, now[0]))
    assert "/place/shed/change" in actions_of(keeper.get("/place/shed"))


@pytest.mark.parametrize("wanted", ["/look/x", "/look/", "/look/" + "A" * 43])
def test_a_guessed_link_opens_nothing(visit, wanted):
    assert visit().get(wanted).status_code in (303, 404)
    assert visit().get("/").status_code == 303


@pytest.mark.parametrize(
    "wanted",
    [
        "//evil.example",
        "https://evil.example/",
        "/\\evil.example",
        "\\\\evil.example",
        "/\n/evil.example",
        "javascript:1",
        "/\t/evil.example",
        "evil.example",
        "",
        "/look/abc",
        "/%0d%0aSet-Cookie:x",
        "///evil.example",
        "/" + "a" * 600,
    ],
)
def test_a_link_leads_nowhere_else(visit, secrets, now, wanted):
    path = look_links.make(secrets, "tablet", 365, now[0])
    location = visit().get(path, params={"to": wanted}).headers["location"]
    assert location.startswith("/") and not location.startswith(("//", "/\\"))
    assert "evil.example" not in location and "\n" not in location


def test_links_are_named_once_and_only_where_a_password_is_set(secrets, tmp_path, now):
    look_links.make(secrets, "tablet", 365, now[0])
    with pytest.raises(Refused, match="already"):
        look_links.make(secrets, "TABLET", 365, now[0])
    with pytest.raises(BadInput, match="1 to 60 characters"):
        look_links.make(secrets, " \n", 365, now[0])
    with pytest.raises(BadInput, match="1 to 3650"):
        look_links.make(secrets, "long", 4000, now[0])
    with pytest.raises(BadInput, match="one of tablet"):
        look_links.revoke(secrets, "stove")
    bare = auth.Secrets(tmp_path / "other" / auth.SECRETS_NAME)
    with pytest.raises(Refused, match="Set a password first"):
        look_links.make(bare, "tablet", 365, now[0])


# Settings page and terminal ----------------------------------------------------------------------------------------


def test_the_page_of_settings_tells_every_setting_and_no_secret(yard, secrets):
    environment = {"BENCHDRY_BROKER_PASSWORD": "hunter two", "BENCHDRY_SILENT_AFTER_MINUTES": "60"}
    chosen, sources = settings_module.load(environment=environment)
    made = create_app(
        yard.store, chosen, yard.folder / "none" / auth.SECRETS_NAME, lambda: yard.now_ms, sources=sources
    )
    page = TestClient(made, client=("127.0.0.1", 1), base_url="http://localhost:8321").get("/settings").text
    for source in sources:
        assert f'id="setting-{source.name}"' in page and html.escape(source.help)[:30] in page.replace(
            "&#39;", "&#x27;"
        )
    assert "hunter" not in page and "(set)" in page and "environment (BENCHDRY_SILENT_AFTER_MINUTES)" in page
    assert secrets.signing_key not in page and "argon2" not in page


def test_an_address_in_a_setting_shows_no_password():
    assert (
        settings_module.shown_value("store", "postgresql://ida:hunter@db/yard")
        == "postgresql://ida:(not shown)@db/yard"
    )
    assert settings_module.shown_value("broker_password", "") == "(not set)"
    assert settings_module.shown_value("web_port", 8321) == "8321"


def test_a_link_is_made_and_revoked_on_the_page_of_settings(visit, secrets, now):
    keeper, helper = visit(Role.MANAGE), visit(Role.RECORD)
    csrf = token(keeper.get("/settings"))
    made = keeper.post("/settings/link", data={"csrf": csrf, "name": "tablet", "days": "30"})
    address = re.search(r"http://localhost:8321(/look/[\w-]+)", made.text).group(1)
    assert made.status_code == 200 and made.headers["cache-control"] == "no-store"
    assert address not in keeper.get("/settings").text and "tablet" in keeper.get("/settings").text
    assert "tablet" not in helper.get("/settings").text
    assert visit().get(address).headers["location"] == "/"
    refused = keeper.post("/settings/link", data={"csrf": csrf, "name": "tablet", "days": "30"})
    assert refused.status_code == 422 and "already" in refused.text
    keeper.post("/settings/revoke", data={"csrf": csrf, "name": "tablet"})
    assert look_links.listed(secrets, now[0]) == []


def test_before_there_is_a_password_no_link_is_asked_for_but_what_to_do_is_said(yard):
    made = create_app(yard.store, yard.settings, yard.folder / "none" / auth.SECRETS_NAME, lambda: yard.now_ms)
    client = TestClient(made, client=("127.0.0.1", 1), base_url="http://localhost:8321")
    page = client.get("/settings").text
    assert 'action="/settings/link"' not in page and "Phones cannot open these pages until a password is set" in page
    folded = re.search(r'<details id="links".*?</details>', page, re.S).group(0)
    assert "a password comes first" in folded and "First set a password" in folded and "<form" not in folded
    refused = client.post("/settings/link", data={"csrf": token(client.get("/add")), "name": "tablet", "days": "30"})
    assert refused.status_code == 422 and "No link was made: Set a password first" in refused.text


def test_why_no_link_was_made_stands_before_everything_else(visit):
    keeper = visit(Role.MANAGE)
    typed = {"csrf": token(keeper.get("/settings")), "name": "tablet", "days": "0"}
    page = keeper.post("/settings/link", data=typed).text
    told = page.index("No link was made: days is 0; accepted: 1 to")
    assert told < page.index('id="units"') < page.index('id="link-days-told"')
    assert re.search(r'<details id="links" open>', page)


def test_what_was_changed_from_the_usual_is_named_and_limits_and_meters_are_in_reach(yard):
    chosen, sources = settings_module.load(environment={"BENCHDRY_WEB_PORT": "8321"})
    made = create_app(
        yard.store, chosen, yard.folder / "none" / auth.SECRETS_NAME, lambda: yard.now_ms, sources=sources
    )
    client = TestClient(made, client=("127.0.0.1", 1), base_url="http://localhost:8321")
    page = client.get("/settings").text
    assert "changed from the usual: web_port" in page and "all as usual" in page
    assert "in the yard&#39;s folder" in page or "in the yard's folder" in page
    for path in ("/settings", "/how", "/work-out"):
        main = client.get(path).text.partition("<main")[2]
        assert 'href="/limits"' in main and 'href="/meters"' in main, path


def test_a_clock_that_was_set_back_is_told_on_the_page_of_settings(visit, now):
    keeper = visit(Role.MANAGE)
    assert "the clock looks right" in keeper.get("/settings").text
    now[0] -= 3 * MS_PER_DAY
    assert "the clock has been set back" in visit(Role.MANAGE).get("/settings").text


def test_links_and_roles_passwords_in_the_terminal(yard, secrets):
    made = benchdry(yard, "link", "make", "--name", "tablet [red]", "--days", "30")
    path = re.search(r"(/look/[\w-]+)", made).group(1)
    assert look_links.mark_of(secrets, path.removeprefix("/look/"), yard.now_ms)
    listed = benchdry(yard, "link", "list")
    assert "tablet [red]" in listed and "never" in listed and path not in listed
    benchdry(yard, "link", "revoke", "tablet [red]")
    assert "There is no link" in benchdry(yard, "link", "list")
    assert "one of" in benchdry(yard, "password", "--role", "owner", code=2)
    benchdry(yard, "password", "--role", "look", "--remove")
    assert not secrets.has_password_for(Role.LOOK)
