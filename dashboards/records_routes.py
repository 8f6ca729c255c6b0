"""The page of all that was entered: it reads one page of the log, never all of it."""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response

from dashboards import display, fields
from dashboards.desk import Desk
from dashboards.pages import entered
from dashboards.pages.parts import Link
from dashboards.pages.records import (
    GROUPS,
    KIND_OF,
    PAGE,
    WORDS_VIEW,
    Asked,
    Ended,
    Found,
    kinds_of,
    page_of,
    records_page,
)
from shared.errors import BadInput, BenchdryError
from shared.store import Connection, facts, log, verdicts
from shared.store import records as r
from shared.store.records import Degree, OutcomeKind, Subject

MOST_PAGES = 1_000_000
DESCRIPTIONS = (r.BoardFact, r.StackFact, r.SetFact, r.PlaceFact, r.MeterFact, r.FinishFact)
NAMED = (*DESCRIPTIONS, r.ProbeFact)


def add(app: FastAPI, desk: Desk) -> None:
    """Add the address; before those that fit any kind of thing."""

    @app.get("/records", include_in_schema=False, response_class=HTMLResponse)
    def shown(request: Request, view: str = "", kind: str = "", about: str = "", page: str = "1") -> Response:
        with desk.store.reading() as connection:
            subjects = log.all_subjects(connection)
            names, called = entered.names_of(connection, desk.clock_ms()), _called(connection)
            asked, found, status = _read(connection, called, view, kind, about, page)
            filled = records_page(asked, found, subjects, names, _ended(connection, subjects), called)
        return desk.render(request, "records.html", filled, "records", status)


def back_to(typed: str) -> str:
    """Return where to go after taking something back: to the records if it was asked from there; else empty."""
    return typed if typed == "/records" or typed.startswith(("/records?", "/records#")) else ""


def _called(connection: Connection) -> dict[int, str]:
    """Return, by subject, what a thing is called."""
    return {one.subject_id: one.name for record in NAMED for one in facts.standing(connection, record)}


def _read(
    connection: Connection, called: dict[int, str], view: str, kind: str, about: str, page: str
) -> tuple[Asked, Found, int]:
    """What is asked for, what was found, and the status; what was refused is said at its field."""
    shown_view = WORDS_VIEW if view == WORDS_VIEW else "entries"
    try:
        asked = _asked(shown_view, kind, about, page)
        ids = _ids(connection, called, asked.about)
    except BenchdryError as error:
        return Asked(shown_view, about=about, error=str(error)), Found(), 422
    window = {"limit": PAGE + 1, "offset": (asked.page - 1) * PAGE}
    if asked.view == WORDS_VIEW:
        return asked, Found(changes=verdicts.changes(connection, ids, **window)), 200
    return asked, Found(entries=log.newest(connection, kinds_of(asked), about=ids, **window)), 200


def _asked(view: str, kind: str, about: str, page: str) -> Asked:
    if kind and kind not in GROUPS:
        raise BadInput("kind", kind, "one of " + ", ".join(GROUPS))
    number = int(fields.number("page", page or "1", 1, MOST_PAGES, ""))
    return Asked(view, kind, " ".join(about.split()), number)


def _ids(connection: Connection, called: dict[int, str], about: str) -> list[int] | None:
    """Return what is meant: by its code, or else by its name, or else by a part of its name; None: all."""
    if not about:
        return None
    wanted = about.casefold()
    by_name = {one: " ".join(name.split()).casefold() for one, name in called.items()}
    found = (
        [one.id for one in log.with_code(connection, about)]
        or [one for one, name in by_name.items() if name == wanted]
        or [one for one, name in by_name.items() if wanted in name]
    )
    if not found:
        raise BadInput("about", about, "the code or the name of a board, stack, set, place, probe, meter or finish")
    return found


def _ended(connection: Connection, subjects: list[Subject]) -> list[Ended]:
    """Boards that are finished, places and finishes that are closed, and whatever was taken back altogether."""
    by_id = {one.id: one for one in subjects}
    return [
        *_finished(connection, by_id),
        *_closed(connection, by_id, r.PlaceFact),
        *_closed(connection, by_id, r.FinishFact),
        *_gone(connection, by_id),
    ]


def _finished(connection: Connection, by_id: dict[int, Subject]) -> list[Ended]:
    ends = [one for one in facts.standing(connection, r.Outcome) if one.kind is OutcomeKind.FINISHED]
    return [
        Ended(
            _link(by_id[one.subject_id]),
            f"Finished {'well' if one.degree is Degree.WELL else 'but spoilt'} on {display.moment(one.true_at_ms)}",
            KIND_OF[r.Outcome],
            one.id,
            "Undo",
        )
        for one in reversed(ends)
    ]


def _closed(
    connection: Connection, by_id: dict[int, Subject], record: type[r.PlaceFact] | type[r.FinishFact]
) -> list[Ended]:
    newest = {one.subject_id: one for one in facts.standing(connection, record)}
    return [
        Ended(
            _link(by_id[one.subject_id]), f"Closed on {display.moment(one.true_at_ms)}; its history stays on its page"
        )
        for one in newest.values()
        if one.closed
    ]


def _gone(connection: Connection, by_id: dict[int, Subject]) -> list[Ended]:
    """Things whose description was taken back: they have no page until it is put back."""
    found = []
    for record in DESCRIPTIONS:
        standing = {one.subject_id for one in facts.standing(connection, record)}
        for one in facts.taken_back(connection, record):
            if one.subject_id in standing:
                continue
            subject = by_id[one.subject_id]
            told = f"Taken back by {one.entered_by} on {display.moment(one.entered_at_ms)}; put it back to see it again"
            found.append(Ended(Link(f"{subject.kind} {subject.code}", ""), told, KIND_OF[record], one.id, "Put back"))
    return found


def _link(subject: Subject) -> Link:
    return Link(f"{subject.kind} {subject.code}", page_of(subject))
