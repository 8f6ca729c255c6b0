"""Who may open the pages: loopback until a password, then the password; host, origin, form token, headers."""

import json
import re
import stat
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from dashboards import auth, guard, sign_in_limit
from dashboards.app import create_app
from dashboards.roles import Role
from shared.errors import BadInput, Refused
from shared.settings import Settings

PASSWORD = "twelve dry boards"
OUTSIDE = ("192.0.2.7", 4711)  # an address kept for documentation, RFC 5737


@pytest.fixture
def secrets(tmp_path):
    return auth.Secrets(tmp_path / auth.SECRETS_NAME)


@pytest.fixture
def visit(yard, secrets):
    def make(client=("127.0.0.1", 4711), base="http://localhost:8321", settings=yard.settings):
        app = create_app(yard.store, settings, secrets.path, lambda: yard.now_ms)
        return TestClient(app, client=client, base_url=base, follow_redirects=False)

    return make


def token(page):
    return re.search(r'name="csrf" value="(\w+)"', page.text).group(1)


def sign_in(client, password, **more):
    return client.post("/sign-in", data={"password": password, "csrf": token(client.get("/sign-in")), **more})


def test_without_a_password_only_this_machine_is_answered(visit):
    assert visit().get("/").status_code == 200
    assert visit(client=("::1", 4711)).get("/").status_code == 200
    for path in ("/", "/api/situation", "/live", "/export/weigh-ins.csv", "/static/page.css"):
        answer = visit(client=OUTSIDE).get(path)
        assert answer.status_code == 403 and "password" in answer.text


def test_what_a_forwarding_server_passes_on_is_not_this_machine(visit):
    assert visit().get("/", headers={"X-Forwarded-For": "192.0.2.7"}).status_code == 403


def test_with_a_password_nothing_but_the_sign_in_is_shown_before_it_is_given(visit, secrets):
    secrets.set_password(PASSWORD)
    client = visit(client=OUTSIDE)
    assert client.get("/board/A1?band=core").headers["location"] == "/sign-in?to=/board/A1%3Fband%3Dcore"
    for path in ("/api/situation", "/api/figure/board/A1.json", "/live", "/export/readings/north.csv", "/openapi.json"):
        assert client.get(path).status_code == 401
    assert client.get("/sign-in").status_code == 200
    wrong = sign_in(client, "twelve wet boards")
    assert wrong.status_code == 403 and "not the password" in wrong.text
    assert client.get("/").status_code == 303
    assert sign_in(client, PASSWORD).headers["location"] == "/"
    assert "Do today" in client.get("/").text


def test_a_new_password_ends_every_sign_in(visit, secrets):
    secrets.set_password(PASSWORD)
    client = visit(client=OUTSIDE)
    sign_in(client, PASSWORD)
    assert client.get("/").status_code == 200
    secrets.set_password("thirteen dry boards")
    assert client.get("/").status_code == 303


def test_signing_out_ends_it(visit, secrets):
    secrets.set_password(PASSWORD)
    client = visit(client=OUTSIDE)
    sign_in(client, PASSWORD)
    client.post("/sign-out", data={"csrf": token(client.get("/"))})
    assert client.get("/").status_code == 303


def test_guessing_is_slowed_down_for_that_address_alone(yard, secrets):
    secrets.set_password(PASSWORD)
    now = [yard.now_ms]
    app = create_app(yard.store, yard.settings, secrets.path, lambda: now[0])

    def visitor(address):
        return TestClient(app, client=(address, 1), base_url="http://localhost", follow_redirects=False)

    guesser = visitor("192.0.2.7")
    for _ in range(sign_in_limit.ATTEMPTS):
        sign_in(guesser, "guess guess")
    assert "Too many" in sign_in(guesser, PASSWORD).text
    assert sign_in(visitor("192.0.2.8"), PASSWORD).status_code == 303
    now[0] += sign_in_limit.ATTEMPTS_WITHIN_MS + 1
    assert sign_in(guesser, PASSWORD).status_code == 303


@pytest.mark.parametrize("host", ["evil.example", "localhost.evil.example", "127.0.0.1.evil.example", ""])
def test_another_host_name_is_refused(visit, host):
    assert visit().get("/", headers={"Host": host}).status_code == 421


@pytest.mark.parametrize("host", ["localhost:8321", "127.0.0.1", "[::1]:8321", "LOCALHOST", "drying.example:80"])
def test_own_and_added_host_names_are_accepted(visit, yard, host):
    client = visit(settings=replace(yard.settings, web_names="drying.example other.example"))
    assert client.get("/", headers={"Host": host}).status_code == 200


def every_form(app):
    paths = {route.path for route in app.routes if "POST" in (getattr(route, "methods", None) or ())}
    return [path.replace("{kind}", "board").replace("{code}", "A1").replace("{act}", "weigh-in") for path in paths]


def test_no_form_is_taken_without_this_sessions_token(visit, yard):
    client = visit()
    before = len(yard_weigh_ins(client))
    client.get("/")
    paths = every_form(client.app)
    assert {"/undo", "/sign-in", "/add/board", "/board/A1/weigh-in"} <= set(paths)
    stranger = token(visit().get("/board/A1"))
    for path in paths:
        for given in ({}, {"csrf": ""}, {"csrf": "0" * 64}, {"csrf": stranger}):
            answer = client.post(path, data={"mass": "4700", "by": "Ida", **given})
            assert answer.status_code == 403, path
    assert len(yard_weigh_ins(client)) == before


def yard_weigh_ins(client):
    return client.get("/api/board/A1").json()["weigh_ins"]


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost:9999"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_form_sent_from_another_site_is_refused_even_with_the_token(visit, headers):
    client = visit()
    page = client.get("/board/A1")
    answer = client.post("/board/A1/weigh-in", data={"mass": "4700", "by": "Ida", "csrf": token(page)}, headers=headers)
    assert answer.status_code == 403 and "another site" in answer.text


def test_a_form_from_the_page_itself_is_taken(visit):
    client = visit()
    data = {"mass": "4700", "by": "Ida", "csrf": token(client.get("/board/A1"))}
    own = {"Origin": "http://localhost:8321", "Sec-Fetch-Site": "same-origin"}
    assert client.post("/board/A1/weigh-in", data=data, headers=own).status_code == 303


def test_every_answer_carries_the_security_headers(visit):
    client = visit()
    for path in ("/", "/nothing", "/api/situation", "/static/page.css"):
        headers = client.get(path).headers
        for name, value in guard.SECURITY_HEADERS.items():
            assert headers[name] == value


def test_the_policy_for_content_is_this_one_and_no_wider(visit):
    # Directives by the W3C's Content Security Policy Level 3; what is not named falls back to default-src 'none'.
    assert visit().get("/").headers["content-security-policy"] == (
        "default-src 'none'; script-src 'self'; "
        "style-src 'self' 'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='; "
        "img-src 'self' data:; font-src 'self'; connect-src 'self'; "
        "worker-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    )


def test_no_answer_but_a_static_file_is_kept_by_browsers(visit):
    client = visit()
    for path in ("/", "/nothing", "/api/situation", "/export/weigh-ins.csv", "/openapi.json"):
        assert client.get(path).headers["cache-control"] == "no-store", path
    marked = re.search(r"/static/page.css\?v=\w+", client.get("/").text).group(0)
    assert "immutable" in client.get(marked).headers["cache-control"]


@pytest.mark.parametrize(
    "name",
    ["../guard.py", "..%2fguard.py", "%2e%2e/guard.py", "styles/../../guard.py", "/etc/hostname", "..\\guard.py"],
)
def test_no_path_leads_out_of_the_static_files(visit, name):
    answer = visit().get(f"/static/{name}")
    assert answer.status_code == 404 and "Guard" not in answer.text


def test_the_cookie_is_signed_and_kept_from_scripts(visit):
    client = visit()
    cookie = client.get("/").headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=Lax" in cookie
    assert "set-cookie" not in client.get("/").headers
    value = client.cookies[auth.COOKIE_NAME]
    assert auth.read_session(value, "another key").key == ""
    assert auth.read_session(value[:-2] + "xx", "another key").key == ""


def test_fastapis_own_pages_are_off(visit):
    client = visit()
    for path in ("/docs", "/redoc"):
        assert client.get(path).status_code == 404


def test_the_secrets_file_is_its_owners_alone_and_holds_no_password(secrets):
    secrets.set_password(PASSWORD)
    assert stat.S_IMODE(secrets.path.stat().st_mode) == 0o600
    held = json.loads(secrets.path.read_text())
    assert held["password_hash"].startswith("$argon2id$") and PASSWORD not in secrets.path.read_text()
    assert secrets.role_by_password(PASSWORD) is Role.MANAGE
    assert secrets.role_by_password(PASSWORD + " ") is Role.NOBODY


def test_a_new_password_keeps_the_signing_key_and_no_other_file_is_left(secrets):
    key = secrets.signing_key
    secrets.set_password(PASSWORD)
    assert secrets.signing_key == key
    assert [one.name for one in secrets.path.parent.glob("*secrets*")] == [secrets.path.name]


@pytest.mark.parametrize("password", ["", "short", "x" * 201])
def test_a_password_is_neither_short_nor_endless(secrets, password):
    with pytest.raises(BadInput, match="8 to 200 characters"):
        secrets.set_password(password)


def test_a_spoilt_secrets_file_is_said_not_overwritten(secrets):
    secrets.path.write_text("{}")
    with pytest.raises(Refused, match="no signing key"):
        _ = secrets.has_password
    assert secrets.path.read_text() == "{}"


@pytest.mark.parametrize(
    ("host", "password", "allowed"),
    [
        ("127.0.0.1", False, True),
        ("localhost", False, True),
        ("::1", False, True),
        ("0.0.0.0", False, False),
        ("192.0.2.7", False, False),
        ("", False, False),
        ("127.0.0.1.example", False, False),
        ("0.0.0.0", True, True),
    ],
)
def test_the_pages_listen_beyond_this_machine_only_with_a_password(host, password, allowed):
    settings = replace(Settings(), web_host=host)
    if allowed:
        auth.require_binding_allowed(settings, password)
        return
    with pytest.raises(Refused, match="set a password"):
        auth.require_binding_allowed(settings, password)
