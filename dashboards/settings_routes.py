"""The page of settings, and making and revoking read-only links."""

from __future__ import annotations

from dataclasses import fields
from importlib.metadata import PackageNotFoundError, version

from fastapi import Depends, FastAPI, Request
from fastapi.responses import RedirectResponse, Response

from dashboards import auth, display, look_links, roles
from dashboards import fields as typed_fields
from dashboards.desk import Desk
from dashboards.pages.forms import Attempt
from dashboards.pages.settings import Found, FreshLink, Told, settings_page
from dashboards.roles import ROLES
from shared.errors import BenchdryError
from shared.settings import Settings, Source
from shared.store import condition, keeping, readings
from shared.units import MS_PER_MINUTE

STEP_MS = MS_PER_MINUTE  # a clock this much behind the newest arrival has been set back
SET_THE_CLOCK = "Set the clock, and have it set by the network: timedatectl set-ntp true"
WALL = "?to=/?wall=1"


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses."""

    @app.get("/settings", include_in_schema=False)
    def shown(request: Request) -> Response:
        return _page(desk, request)

    @app.post("/settings/link", include_in_schema=False)
    def make(request: Request, typed: dict[str, str] = Depends(desk.typed)) -> Response:  # noqa: B008
        name = typed.get("name", "")
        try:
            days = int(typed_fields.number("days", typed.get("days"), 1, look_links.MOST_DAYS, ""))
            path = look_links.make(desk.secrets, name, days, desk.clock_ms())
        except BenchdryError as error:
            return _page(desk, request, Attempt("link", typed, error))
        # Answered at once and not after a redirect: the address is kept nowhere, not in a cookie either.
        address = f"{request.scope['scheme']}://{request.headers['host']}{path}"
        return _page(desk, request, fresh=FreshLink(" ".join(name.split()), address, address + WALL))

    @app.post("/settings/revoke", include_in_schema=False)
    def revoke(request: Request, typed: dict[str, str] = Depends(desk.typed)) -> Response:  # noqa: B008
        name = typed.get("name", "")
        look_links.revoke(desk.secrets, name)
        request.state.session.say(f"The link {name} is revoked, and whoever looked by it is signed out.")
        return RedirectResponse("/settings#links", 303)


def _page(desk: Desk, request: Request, attempt: Attempt | None = None, fresh: FreshLink | None = None) -> Response:
    now_ms = desk.clock_ms()
    found = Found(
        may=roles.may(request.state.role),
        passwords=frozenset(role for role in ROLES if desk.secrets.has_password_for(role)),
        links=look_links.listed(desk.secrets, now_ms),
        clock=_clock(desk, now_ms),
        store=_store(desk),
        reach=_reach(desk.settings, https=request.scope["scheme"] == "https"),
        sources=desk.sources or _as_given(desk.settings),
        version=_version(),
        now_ms=now_ms,
    )
    page = settings_page(found, attempt, fresh)
    return desk.render(request, "settings.html", page, "settings", 422 if attempt else 200)


def _as_given(settings: Settings) -> list[Source]:
    """Return the settings where nobody said whence they came."""
    return [
        Source(
            one.name,
            getattr(settings, one.name),
            one.metadata["unit"],
            one.metadata["help"],
            "default" if getattr(settings, one.name) == one.default else "start of the program",
        )
        for one in fields(settings)
    ]


def _clock(desk: Desk, now_ms: int) -> Told:
    """Tell whether this machine's clock looks right, by when readings came in and what probes stamped on them."""
    with desk.store.reading() as connection:
        arrived_ms = condition.newest_arrival_ms(connection)
        ahead, heard = condition.series_ahead(connection, now_ms + STEP_MS)
    here = display.local(now_ms)
    says = f"{here:%a} {display.moment(now_ms)}"
    probes_in = desk.settings.local_zone or "this machine's zone"
    zone = f"Its time zone is {here:%Z} ({here:%z}); local times in messages of probes are taken as {probes_in}."
    if arrived_ms is not None and arrived_ms > now_ms + STEP_MS:
        told = f"The newest reading came in at {display.moment(arrived_ms)}: the clock has been set back since."
        return Told(f"{says}: the clock has been set back", (told, SET_THE_CLOCK, zone), wrong=True)
    if ahead and ahead == heard:
        told = "Every probe stamps its readings later than this machine's clock: that is the one that is wrong."
        return Told(f"{says}: the clock is behind", (told, SET_THE_CLOCK, zone), wrong=True)
    if ahead:
        told = f"{ahead} of {heard} series hold readings stamped later than now: the clocks of their probes are ahead."
        return Told(f"{says}: a probe's clock is ahead", (told, zone), wrong=True)
    agrees = "It agrees with the probes' clocks." if heard else "No probe has been heard yet to hold it against."
    return Told(f"{says}, and the clock looks right", (agrees, zone))


def _store(desk: Desk) -> Told:
    with desk.store.reading() as connection:
        count, entered = readings.count(connection), condition.entries(connection)
        rejected = len(readings.recent_rejects(connection, 1))
        differing = readings.count_conflicts(connection)
    size = keeping.megabytes(keeping.size_bytes(desk.store))
    more = [f"{differing:,} readings came twice with different values; both are kept."] if differing else []
    more += ["Messages were refused; the newest stand on the page of probes."] if rejected else []
    days = desk.settings.keep_raw_days
    kept = f"Single readings are kept for {days} days." if days else "Single readings are kept for ever."
    copied = "“benchdry backup” copies the store while it is in use; “benchdry doctor” looks at what can lose readings."
    return Told(f"{size}, {count:,} readings and {entered:,} entries", (kept, *more, copied))


def _reach(settings: Settings, *, https: bool) -> Told:
    over = "over HTTPS" if https else "over plain HTTP"
    if auth.is_loopback(settings.web_host):
        told = "The pages listen on this machine alone (web_host)."
        return Told(f"this machine only, {over}", (told,))
    told = f"The pages listen on {settings.web_host}, port {settings.web_port}."
    plain = "Over plain HTTP whoever is in the same network can read passwords and pages on their way."
    return Told(f"the network, {over}", (told,) if https else (told, plain))


def _version() -> str:
    try:
        return version("benchdry")
    except PackageNotFoundError:  # started from a tree that was never installed
        return "not installed"
