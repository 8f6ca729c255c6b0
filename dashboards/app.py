"""The web pages: each route fetches, lets judge, and hands over to a template or to JSON."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

from fastapi import Depends, FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.middleware.gzip import GZipMiddleware

from dashboards import (
    ahead_routes,
    air_routes,
    assets,
    auth,
    cell_story,
    cut_story,
    data_routes,
    dust_routes,
    entries,
    faults,
    finish_routes,
    hurt_routes,
    judging_story,
    learned_routes,
    limit_routes,
    records_routes,
    replay_routes,
    roles,
    settings_routes,
    sign_in_routes,
    typed_units,
    unit_routes,
    weigh_routes,
)
from dashboards.desk import Desk, NotAllowed, OldForm, TooLong, found
from dashboards.guard import Guard
from dashboards.pages import acts, finish_acts, through, work_out
from dashboards.pages.add import add_page, leads_on
from dashboards.pages.board import board_page
from dashboards.pages.finish import finish_page
from dashboards.pages.forms import Attempt, sentence_of
from dashboards.pages.how import how_page
from dashboards.pages.limits import limits_page
from dashboards.pages.matched_set import set_page
from dashboards.pages.message import MessagePage, undo_page, undo_words
from dashboards.pages.meters import meters_page
from dashboards.pages.more import more_page
from dashboards.pages.probes import probes_page
from dashboards.pages.stack import stack_page
from dashboards.pages.wall import wall_page
from dashboards.pages.yard import yard_page
from dashboards.situation import Situation
from dashboards.yard_now import YardNow
from shared.errors import BadInput, BenchdryError
from shared.settings import Settings, Source
from shared.store import Store, readings
from shared.store.records import SubjectKind

REJECTS_SHOWN = 20
SECTIONS = {
    "stack": "yard",
    "board": "yard",
    "set": "yard",
    "place": "air",
    "probe": "probes",
    "meter": "more",
    "limit": "more",
    "add": "add",
    "finish": "finish",
    "finish-room": "finish",
}


def create_app(
    store: Store,
    settings: Settings,
    secrets_path: Path,
    clock_ms: Callable[[], int],
    *,
    demo: bool = False,
    share_ms: int = 0,
    sources: Sequence[Source] = (),
) -> FastAPI:
    """Return the application on a store; ``clock_ms`` gives the time now in UTC ms.

    ``sources``: where each setting came from; ``share_ms``: how long requests may share one reading of the yard,
    see ``yard_now``.
    ``app.state.closing`` is an event: set it when the server is to stop, and the live streams end.
    """
    yard = YardNow(store, settings, clock_ms, share_ms)
    desk = Desk(store, settings, auth.Secrets(secrets_path), clock_ms, demo, yard, sources=sources)
    # FastAPI's own documentation pages load scripts from elsewhere, so they are off.
    app = FastAPI(title="Benchdry", docs_url=None, redoc_url=None)
    app.state.closing = desk.closing
    _static(app)
    data_routes.add(app, desk)
    sign_in_routes.add(app, desk)
    _forms(app, desk)
    ahead_routes.add(app, desk)
    air_routes.add(app, desk)
    dust_routes.add(app, desk)
    hurt_routes.add(app, desk)
    finish_routes.add(app, desk)
    learned_routes.add(app, desk)
    replay_routes.add(app, desk)
    records_routes.add(app, desk)
    limit_routes.add(app, desk)
    weigh_routes.add(app, desk)
    unit_routes.add(app, desk)
    settings_routes.add(app, desk)
    _pages(app, desk)  # last: /{kind}/{code} fits many addresses
    _errors(app, desk)
    faults.add(app)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=6)
    app.add_middleware(Guard, settings=settings, secrets=desk.secrets, clock_ms=clock_ms)
    return app


def _static(app: FastAPI) -> None:
    @app.get("/static/{name:path}", include_in_schema=False)
    def static(request: Request, name: str) -> Response:
        return assets.answer(request, name)


def _pages(app: FastAPI, desk: Desk) -> None:
    page = {"include_in_schema": False, "response_class": HTMLResponse}

    @app.get("/", **page)
    def yard(request: Request) -> Response:
        if "wall" in request.query_params:
            return desk.render(request, "wall.html", wall_page(desk.now(request), request.query_params), "yard")
        return desk.render(request, "yard.html", yard_page(desk.now(request)), "yard")

    @app.get("/finish", **page)
    def finish(request: Request) -> Response:
        return desk.render(request, "finish.html", finish_page(desk.now(request)), "finish")

    @app.get("/how", **page)
    def how(request: Request) -> Response:
        return desk.render(request, "how.html", how_page(), "how")

    @app.get("/work-out", **page)
    def work_out_list(request: Request) -> Response:
        return desk.render(request, "work_out.html", work_out.work_out_page(), "work out")

    @app.get("/work-out/{name}", **page)
    def work_out_one(request: Request, name: str) -> Response:
        typed = typed_units.kept(request.query_params)
        asked = work_out.question_page(desk.now(request), name, typed)
        return desk.render(request, "question.html", asked, "work out", 422 if asked.refused else 200)

    @app.get("/more", **page)
    def rest(request: Request) -> Response:
        return desk.render(request, "more.html", more_page(), "more")

    @app.get("/meters", **page)
    def all_meters(request: Request) -> Response:
        return _shown(desk, request, "meter", "")

    @app.get("/limits", **page)
    def all_limits(request: Request) -> Response:
        return _shown(desk, request, "limit", "")

    @app.get("/add", **page)
    def add(request: Request) -> Response:
        return _shown(desk, request, "add", "")

    @app.get("/probes", **page)
    def probes(request: Request) -> Response:
        return _shown(desk, request, "probe", "")

    @app.get("/{kind}/{code}", **page)
    def thing(request: Request, kind: str, code: str) -> Response:
        return _shown(desk, request, kind, code)

    @app.get("/board/{code}/through", **page)
    def through_time(request: Request, code: str, moment: int) -> Response:
        now = desk.now()
        shown = through.of_board(found(now.boards, "board", code), now.now_ms, moment)
        return desk.part(request, "_through.html", shown)

    @app.get("/{kind}/{code}/{act}", **page)
    def form_address(kind: str, code: str, act: str) -> Response:
        if (kind, act) not in acts.ACTS:
            raise BadInput("page", f"/{kind}/{code}/{act}", "a page named in the menu")
        return RedirectResponse(f"/{kind}/{quote(code)}", 303)


def _shown(desk: Desk, request: Request, kind: str, code: str, attempt: Attempt | None = None) -> Response:
    """Return the page of a thing, with a form as it was typed when it was not accepted."""
    builders = {
        "stack": _stack,
        "board": _board,
        "set": _set,
        "place": air_routes.place_page,
        "probe": _probes,
        "meter": _meters,
        "limit": _limits,
        "add": _add,
        "finish": finish_routes.of_product,
        "finish-room": finish_routes.of_room,
    }
    if kind not in builders:
        raise BadInput("page", f"/{kind}/{code}", "a page named in the menu")
    now, by = desk.now(request), request.state.session.by
    template, page = builders[kind](desk, request, now, code, by, attempt)
    return desk.render(request, template, page, SECTIONS[kind], 422 if attempt else 200)


Built = tuple[str, Any]


def _stack(_desk: Desk, _request: Request, now: Situation, code: str, by: str, attempt: Attempt | None) -> Built:
    return "stack.html", stack_page(now, found(now.stacks, "stack", code), by, attempt)


def _board(desk: Desk, request: Request, now: Situation, code: str, by: str, attempt: Attempt | None) -> Built:
    board = found(now.boards, "board", code)
    story, of = cut_story.read(desk.store, board.subject, now.now_ms), request.query_params.get("band", "mean")
    said = judging_story.of_board(desk.store, board.subject)
    return "board.html", board_page(now, board, story, by, attempt, of, said)


def _set(desk: Desk, _request: Request, now: Situation, code: str, by: str, attempt: Attempt | None) -> Built:
    matched = found(now.sets, "set", code)
    return "set.html", set_page(now, matched, by, attempt, judging_story.of_set(desk.store, matched.subject))


def _probes(desk: Desk, _request: Request, now: Situation, _code: str, by: str, attempt: Attempt | None) -> Built:
    with desk.store.reading() as connection:
        rejects = readings.recent_rejects(connection, REJECTS_SHOWN)
        weights = cell_story.stories(connection, now.now_ms)
    return "probes.html", probes_page(now, rejects, by, attempt, weights)


def _meters(_desk: Desk, _request: Request, now: Situation, _code: str, by: str, attempt: Attempt | None) -> Built:
    return "meters.html", meters_page(now, by, attempt)


def _limits(desk: Desk, _request: Request, _now: Situation, _code: str, by: str, attempt: Attempt | None) -> Built:
    return "limits.html", limits_page(limit_routes.own_limits(desk), limit_routes.region(desk), by, attempt)


def _add(_desk: Desk, request: Request, now: Situation, _code: str, by: str, attempt: Attempt | None) -> Built:
    return "add.html", add_page(now, by, attempt, request.query_params)


def _forms(app: FastAPI, desk: Desk) -> None:
    @app.post("/add/{kind}", include_in_schema=False)
    def add(request: Request, kind: str, typed: dict[str, str] = Depends(desk.typed)) -> Response:  # noqa: B008
        return _entered(desk, request, ("add", kind, typed.get("code", "")), kind, typed)

    @app.post("/undo", include_in_schema=False)
    def undo(request: Request, typed: dict[str, str] = Depends(desk.typed)) -> Response:  # noqa: B008
        needed = roles.to_undo(typed.get("kind", ""))
        if request.state.role < needed:
            raise NotAllowed(roles.refusal(needed))
        by = typed.get("by") or request.state.session.by
        kind, number = typed.get("kind", ""), typed.get("id", "")
        if not by:
            with desk.store.reading() as connection:
                asked = undo_page(typed, undo_words(puts_back=entries.puts_back(connection, kind, number)))
            return desk.render(request, "message.html", asked, "records" if typed.get("back") else "yard", 422)
        with desk.store.writing() as connection:
            made = entries.undo(connection, kind, number, by=by, now_ms=desk.clock_ms())
            words = undo_words(puts_back=entries.puts_back(connection, made.kind, made.fact_id))
        back = records_routes.back_to(typed.get("back", ""))
        request.state.session.by, request.state.session.changed = " ".join(by.split()), True
        request.state.session.say(made.sentence, (made.kind, made.fact_id, words, back))
        return RedirectResponse(_at_its_top(back or _home_of(desk, made)), 303)

    @app.post("/{kind}/{code}/{act}", include_in_schema=False)
    def act(
        request: Request,
        kind: str,
        code: str,
        act: str,
        typed: dict[str, str] = Depends(desk.typed),  # noqa: B008
    ) -> Response:
        names = {
            ("probe", "move"): "probe",
            ("probe", "check"): "check",
            ("meter", "pair"): "pair",
            ("limit", "set"): "limit",
        }
        name = f"{names[kind, act]}-{code}" if (kind, act) in names else act
        return _entered(desk, request, (kind, act, code), name, typed)


def _entered(desk: Desk, request: Request, asked: tuple[str, str, str], form: str, typed: dict[str, str]) -> Response:
    """Make the entry and go to the page of what it is about; otherwise show the form again with the reason."""
    kind, act, code = asked
    session: auth.Session = request.state.session
    by = typed.get("by", "")
    try:
        with desk.store.writing() as connection:
            made = acts.perform(connection, kind, act, code, typed, by, desk.clock_ms())
    except BenchdryError as error:
        session.say(f"Not entered: {sentence_of(error)}")
        shown = "meter" if form == "meter" else "finish-room" if (kind, act) in finish_acts.OF_ROOM else kind
        return _shown(desk, request, shown, code, Attempt(form, typed, error))
    session.by, session.changed = " ".join(by.split()), True
    leads = leads_on(made.subject, typed) if kind == "add" else ()
    session.say(made.sentence, (made.kind, made.fact_id, undo_words(puts_back=False), ""), leads)
    return RedirectResponse(_at_its_top(f"/set/{code}" if kind == "set" else _home_of(desk, made)), 303)


def _at_its_top(path: str) -> str:
    """A browser carries the place on the old page over to the new one, past the word that has just changed."""
    return path if "#" in path else f"{path}#top"


def _home_of(desk: Desk, made: entries.Entered) -> str:
    """Return the page of what an entry is about, or the yard when it is shown nowhere any more."""
    kind, code = made.subject.kind, made.subject.code
    if kind is SubjectKind.FINISH or made.kind in finish_acts.KINDS_OF_ROOM:
        return finish_routes.home_of(desk, made)
    if kind in (SubjectKind.PROBE, SubjectKind.METER, SubjectKind.LIMIT):
        return f"/{kind}s#{code}"
    now = desk.now()
    shown = {
        SubjectKind.STACK: now.stacks,
        SubjectKind.BOARD: now.boards,
        SubjectKind.SET: now.sets,
        SubjectKind.PLACE: now.places,
    }[kind]
    return f"/{kind}/{code}" if any(one.subject.code == code for one in shown) else "/"


def _errors(app: FastAPI, desk: Desk) -> None:
    @app.exception_handler(BenchdryError)
    def explain(request: Request, error: BenchdryError) -> Response:
        status = {BadInput: 404, OldForm: 403, NotAllowed: 403, TooLong: 413}.get(type(error), 409)
        if request.url.path == weigh_routes.DOOR:
            return weigh_routes.refusal(error)
        if request.url.path.startswith(("/api/", "/export/")):
            return JSONResponse({"sentence": str(error)}, status)
        return desk.render(request, "message.html", MessagePage("That did not work", str(error), ()), "", status)

    @app.exception_handler(404)
    def missing(request: Request, _error: Exception) -> Response:
        sentence = f"There is no page {request.url.path}; the menu leads to those there are."
        return desk.render(request, "message.html", MessagePage("No such page", sentence, ()), "", 404)
