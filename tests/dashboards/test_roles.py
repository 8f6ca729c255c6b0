"""Who may do what: every form of the pages and every role; sessions that end when they should; guessing."""

# ruff: noqa: F811 - fixtures are named by the arguments of tests
import json
import re
import threading

import pytest
from starlette.testclient import TestClient

from dashboards import auth, roles, secret_file, sign_in_limit
from dashboards.app import create_app
from dashboards.pages import acts
from dashboards.roles import Role
from dashboards.undoing import UNDOABLE
from shared.errors import Refused
from shared.units import MS_PER_DAY
from tests.dashboards.doors import OUTSIDE, PASSWORDS, app, now, quick, secrets, sign_in, token, visit, weigh_ins  # noqa: F401

ROUTES_WITH_ACTS = ("/add/{kind}", "/{kind}/{code}/{act}")


# The table -------------------------------------------------------------------------------------------------------


def test_every_act_and_every_kind_of_entry_stands_in_the_table():
    assert set(roles.ACTS) == set(acts.ACTS)
    assert set(UNDOABLE) == roles.MANAGED_ENTRIES | roles.RECORDED_ENTRIES
    assert not roles.MANAGED_ENTRIES & roles.RECORDED_ENTRIES


def test_every_address_that_takes_a_form_stands_in_the_table(app):
    taking = {
        route.path
        for route in app.routes
        if (getattr(route, "methods", None) or set()) - {"GET", "HEAD"} and route.path not in ROUTES_WITH_ACTS
    }
    known = [path for path, _role in roles.ADDRESSES]
    assert taking
    for path in taking:
        assert any(path == one or path.startswith(f"{one}/") for one in known), f"{path}: which role may send this?"


def forms():
    """Every address that takes a form, with the role that it asks for."""
    yield from ((f"/add/{act}" if kind == "add" else f"/{kind}/A1/{act}", kind, act) for kind, act in acts.ACTS)


@pytest.mark.parametrize("role", [Role.LOOK, Role.RECORD, Role.MANAGE])
def test_a_form_is_taken_from_those_who_may_send_it_and_from_no_others(visit, role):
    client = visit(role)
    csrf = token(client.get("/sign-in"))
    for path, kind, act in forms():
        answer = client.post(path, data={"csrf": csrf})
        refused = answer.status_code == 403 and "nothing was entered" in answer.text
        assert refused is (role < roles.ACTS[kind, act]), (path, answer.status_code)


def test_what_nobody_entered_in_the_table_is_for_managing_alone(visit):
    client = visit(Role.RECORD)
    csrf = token(client.get("/sign-in"))
    for path in ("/board/A1/burn", "/anything", "/add/ladder", "/settings/link"):
        assert roles.to_send(path) is Role.MANAGE
        assert client.post(path, data={"csrf": csrf}).status_code == 403


def test_nobody_who_is_not_signed_in_sends_anything(visit):
    client = visit()
    csrf = token(client.get("/sign-in"))
    for path, _kind, _act in forms():
        assert client.post(path, data={"csrf": csrf}).headers["location"] == "/sign-in"


def test_looking_enters_nothing_and_reads_everything(visit):
    client = visit(Role.LOOK)
    before = len(weigh_ins(client))
    page = client.get("/board/A1")
    answer = client.post("/board/A1/weigh-in", data={"csrf": token(page), "mass": "4700", "by": "Ida"})
    assert answer.status_code == 403 and "not for entering things" in answer.text
    assert len(weigh_ins(client)) == before
    for path in ("/", "/air", "/probes", "/limits", "/how", "/export/weigh-ins.csv", "/api/situation", "/settings"):
        assert client.get(path).status_code == 200, path


def test_taking_back_asks_for_what_entering_asked_for(visit):
    keeper, helper = visit(Role.MANAGE), visit(Role.RECORD)
    csrf = token(helper.get("/board/A1"))
    refused = helper.post("/undo", data={"csrf": csrf, "kind": "place", "id": "1", "by": "Ida"})
    assert refused.status_code == 403 and "not for changing places" in refused.text
    weighed = weigh_ins(helper)[-1]["id"]
    taken = helper.post("/undo", data={"csrf": csrf, "kind": "weigh-in", "id": str(weighed), "by": "Ida"})
    assert taken.status_code == 303
    limit = {"csrf": token(keeper.get("/limits")), "value": "0.4", "reason": "thin plates", "by": "Ida"}
    assert keeper.post("/limit/glue.tolerance_mc_pct/set", data=limit).status_code == 303


def actions(page):
    return set(re.findall(r'<form[^>]* method="post" action="([^"]+)"|<form[^>]*action="([^"]+)"', page.text))


@pytest.mark.parametrize("role", [Role.LOOK, Role.RECORD, Role.MANAGE])
def test_pages_show_no_form_that_would_be_refused(visit, role):
    client, shown = visit(role), set()
    for path in (
        "/",
        "/board/A1",
        "/stack/S1",
        "/place/shed",
        "/probes",
        "/limits",
        "/add",
        "/meters",
        "/settings",
        "/weigh",
    ):
        page = client.get(path)
        assert page.status_code == 200, path
        sent = re.findall(r'<form\b[^>]*method="post"[^>]*action="([^"]+)"', page.text)
        assert all(role >= roles.to_send(one) for one in sent), (path, sent)
        undone = re.findall(r'action="/undo">.*?name="kind" value="([\w-]+)"', page.text, re.DOTALL)
        assert all(role >= roles.to_undo(kind) for kind in undone), (path, undone)
        shown |= set(sent)
    assert ("/board/A1/weigh-in" in shown) is (role >= Role.RECORD)
    assert ("/place/shed/change" in shown) is (role >= Role.MANAGE)
    assert "/sign-out" in shown


def test_limits_can_be_read_by_those_who_may_not_set_them(visit):
    assert "0.5 %" in re.sub(r"[\u00a0\u202f\u2060]", " ", visit(Role.LOOK).get("/limits").text)


# Signing in ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", list(PASSWORDS))
def test_the_password_tells_the_role(secrets, role):
    assert secrets.role_by_password(PASSWORDS[role]) is role


def test_every_password_is_looked_at_whichever_fits_and_also_where_a_role_has_none(secrets, monkeypatch):
    secrets.remove_password(Role.LOOK)
    asked = []
    monkeypatch.setattr(secrets, "_fits", lambda kept, tried: asked.append(kept) or False)
    secrets.role_by_password("no such password")
    assert len(asked) == len(set(asked)) == 3 and all(one.startswith("$argon2id$") for one in asked)


def test_a_smaller_roles_password_needs_one_for_managing_and_differs_from_it(tmp_path):
    bare = auth.Secrets(tmp_path / "other" / auth.SECRETS_NAME)
    with pytest.raises(Refused, match="for managing first"):
        bare.set_password("seven wet boards", Role.RECORD)
    bare.set_password("twelve dry boards")
    with pytest.raises(Refused, match="Another role has this password"):
        bare.set_password("twelve dry boards", Role.LOOK)
    with pytest.raises(Refused, match="stays"):
        bare.remove_password(Role.MANAGE)
    assert not bare.has_password_for(Role.LOOK)


def test_a_secrets_file_from_before_there_were_roles_goes_on_as_managing(tmp_path, secrets):
    held = json.loads(secrets.path.read_text())
    old = tmp_path / "old.json"
    old.write_text(json.dumps({name: held[name] for name in ("signing_key", "password_hash")}))
    before = auth.Secrets(old)
    assert before.has_password and before.role_by_password(PASSWORDS[Role.MANAGE]) is Role.MANAGE
    assert before.role_by_password(PASSWORDS[Role.RECORD]) is Role.NOBODY


def test_a_new_password_ends_the_sessions_of_its_role_alone(visit, secrets):
    helper, keeper = visit(Role.RECORD), visit(Role.MANAGE)
    secrets.set_password("eight wet boards", Role.RECORD)
    assert helper.get("/").status_code == 303 and keeper.get("/").status_code == 200
    secrets.remove_password(Role.RECORD)
    assert secrets.role_by_password("eight wet boards") is Role.NOBODY


def test_signing_in_goes_on_to_the_page_that_was_asked_for_and_nowhere_else(visit):
    client = visit()
    asked = client.get("/board/A1?band=core").headers["location"]
    page = client.get(asked)
    hidden = re.search(r'name="to" value="([^"]+)"', page.text).group(1)
    assert sign_in(client, PASSWORDS[Role.LOOK], to=hidden).headers["location"] == "/board/A1?band=core"
    assert sign_in(visit(), PASSWORDS[Role.LOOK], to="//evil.example/x").headers["location"] == "/"


def test_signing_in_makes_the_session_anew(visit):
    client = visit()
    client.get("/sign-in")
    before = client.cookies[auth.COOKIE_NAME]
    csrf = token(client.get("/sign-in"))
    sign_in(client, PASSWORDS[Role.MANAGE])
    assert token(client.get("/board/A1")) != csrf
    thief = visit()
    thief.cookies.set(auth.COOKIE_NAME, before)
    assert thief.get("/").status_code == 303


def test_a_cookie_kept_from_before_signing_out_opens_nothing(visit, secrets):
    client, copy = visit(Role.MANAGE), visit()
    copy.cookies.set(auth.COOKIE_NAME, client.cookies[auth.COOKIE_NAME])
    assert copy.get("/").status_code == 200
    client.post("/sign-out", data={"csrf": token(client.get("/"))})
    assert copy.get("/").status_code == 303
    afterwards = auth.Secrets(secrets.path)  # as after a new start
    assert len(afterwards.current()["ended"]) == 1


def test_an_open_pages_stream_ends_with_its_session(visit, secrets, now):
    client = visit(Role.LOOK)
    session = auth.read_session(client.cookies[auth.COOKIE_NAME], secrets.signing_key)
    ending = threading.Timer(1.0, secrets.end_session, (session.session_id, now[0]))
    ending.start()
    assert client.get("/live").status_code == 200  # comes back only because the stream ends
    ending.join()


def test_the_list_of_ended_sessions_is_bounded_and_full_it_ends_them_all(secrets):
    under, made_ms = secrets.mark(Role.MANAGE), 1_000_000
    secrets.update(lambda held: held | {"ended": {f"s{n}": made_ms for n in range(secret_file.MOST_ENDED)}})
    assert secrets.role_signed_in(under, "mine", made_ms, made_ms) is Role.MANAGE
    secrets.end_session("one more", made_ms + 5)
    assert secrets.current()["ended"] == {}
    assert secrets.role_signed_in(under, "mine", made_ms, made_ms + 6) is Role.NOBODY
    assert secrets.role_signed_in(under, "one more", made_ms, made_ms + 6) is Role.NOBODY
    assert secrets.role_signed_in(under, "later", made_ms + 7, made_ms + 8) is Role.MANAGE


def test_ended_sessions_are_forgotten_once_their_cookies_count_no_more(secrets):
    later_ms = (secret_file.SESSION_DAYS + 1) * MS_PER_DAY
    secrets.end_session("old", 0)
    secrets.end_session("new", later_ms)
    assert set(secrets.current()["ended"]) == {"new"}
    assert secrets.role_signed_in(secrets.mark(Role.MANAGE), "old", 0, later_ms) is Role.NOBODY


def test_a_sign_in_counts_for_ninety_days(visit, now):
    client = visit(Role.RECORD)
    now[0] += 89 * MS_PER_DAY
    assert client.get("/air").status_code == 200
    now[0] += 2 * MS_PER_DAY
    assert client.get("/air").status_code == 303


# The cookie ------------------------------------------------------------------------------------------------------


def test_over_https_the_cookie_is_secure_and_of_this_server_alone(visit):
    plain = visit().get("/sign-in").headers["set-cookie"]
    assert "Secure" not in plain and "HttpOnly" in plain and "SameSite=Lax" in plain
    # RFC 6265bis: a name that begins with __Host- is taken only with Secure, Path=/ and without Domain.
    secure = visit(base="https://localhost:8321").get("/sign-in").headers["set-cookie"]
    assert secure.startswith("__Host-benchdry=") and "; Secure" in secure and "; Path=/;" in secure
    assert "Domain" not in secure


def test_a_forwarding_server_is_believed_only_when_the_settings_name_it(yard, secrets):
    told = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "192.0.2.9"}

    def cookie_of(proxies):
        settings = type(yard.settings)(web_proxies=proxies)
        made = create_app(yard.store, settings, secrets.path, lambda: yard.now_ms)
        client = TestClient(made, client=("127.0.0.1", 1), base_url="http://localhost:8321", follow_redirects=False)
        return client.get("/sign-in", headers=told).headers["set-cookie"]

    assert "Secure" not in cookie_of("")
    assert "Secure" not in cookie_of("192.0.2.50")
    assert "Secure" in cookie_of("192.0.2.50 127.0.0.1")


def test_what_a_believed_forwarding_server_passes_on_is_not_this_machine(yard, tmp_path):
    settings = type(yard.settings)(web_proxies="127.0.0.1")
    made = create_app(yard.store, settings, tmp_path / "none" / auth.SECRETS_NAME, lambda: yard.now_ms)
    client = TestClient(made, client=("127.0.0.1", 1), base_url="http://localhost:8321", follow_redirects=False)
    assert client.get("/", headers={"X-Forwarded-For": "127.0.0.1"}).status_code == 403
    assert client.get("/").status_code == 403


# Guessing --------------------------------------------------------------------------------------------------------


def test_an_ipv6_neighbour_counts_as_the_same_and_a_mapped_address_as_its_ipv4():
    # RFC 4291: the leading 64 bits name the network; RFC 3849: 2001:db8::/32 is kept for documentation.
    limit = sign_in_limit.SignInLimit()
    for number in range(sign_in_limit.ATTEMPTS):
        limit.take(f"2001:db8::{number + 1:x}", 0)
    with pytest.raises(Refused, match="from here"):
        limit.take("2001:db8::ffff:1", 1)
    limit.take("2001:db8:0:1::1", 1)
    assert sign_in_limit.network_of("::ffff:192.0.2.7") == sign_in_limit.network_of("192.0.2.7") == "192.0.2.7"


def test_many_addresses_together_are_slowed_down_too_and_this_machine_is_not_shut_out():
    limit = sign_in_limit.SignInLimit()
    for number in range(sign_in_limit.ATTEMPTS_OF_ALL):
        limit.take(f"198.51.100.{number}", 0)
    with pytest.raises(Refused, match="from everywhere together"):
        limit.take("203.0.113.1", 1)
    limit.take("127.0.0.1", 1, from_here=True)
    limit.take("203.0.113.1", sign_in_limit.ATTEMPTS_WITHIN_MS + 2)


def test_the_memory_of_wrong_passwords_is_bounded():
    limit = sign_in_limit.SignInLimit()
    for number in range(3 * sign_in_limit.REMEMBERED_NETWORKS):
        limit.take(f"2001:db8:0:{number:x}::1", 0, from_here=True)
    assert len(limit._tried) == sign_in_limit.REMEMBERED_NETWORKS
    assert len(limit._of_all) == sign_in_limit.ATTEMPTS_OF_ALL


def test_the_right_password_counts_as_no_try():
    limit = sign_in_limit.SignInLimit()
    for moment in range(10 * sign_in_limit.ATTEMPTS_OF_ALL):
        limit.take("192.0.2.7", moment)
        limit.give_back("192.0.2.7", moment)
