"""Where the forms of finishes and finish rooms lead: back to their pages, or shown again with what was wrong."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import Request

from dashboards import finish_now
from dashboards.desk import Desk, found
from dashboards.entries import Entered
from dashboards.pages import finish_forms
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.message import MessagePage
from dashboards.situation import Situation
from shared.errors import BadInput
from shared.store.records import PlaceKind, SubjectKind

Built = tuple[str, MessagePage]


def of_product(
    desk: Desk, _request: Request, _now: Situation, code: str, by: str, attempt: Attempt | None = None
) -> Built:
    """Return the forms about a finish; of one that was not accepted that one alone, as it was typed."""
    with desk.store.reading() as connection:
        finish = found(list(finish_now.finishes(connection, closed=True)), "finish", code)
    forms = (finish_forms.change_finish(finish, by), finish_forms.close_finish(finish.subject.code, by))
    return _told(f"Finish {finish.fact.name}", forms, attempt)


def of_room(desk: Desk, _request: Request, now: Situation, code: str, by: str, attempt: Attempt | None = None) -> Built:
    """Return the forms about a finish room; of one that was not accepted that one alone, as it was typed."""
    place = found(now.open_places, "place", code)
    if place.fact.kind is not PlaceKind.FINISH_ROOM:
        raise BadInput("finish room", place.subject.code, "a place that is entered as a finish room")
    with desk.store.reading() as connection:
        held = finish_now.room_of(connection, place.subject.id, now.now_ms)
        shelf = finish_now.finishes(connection)
    forms = room_forms(place.subject.code, by, held, shelf)
    return _told(f"Finish room {place.fact.name}", forms, attempt)


def room_forms(
    code: str, by: str, held: finish_now.FinishRoom | None, shelf: tuple[finish_now.FinishNow, ...]
) -> tuple[Form, ...]:
    """Return every form about a finish room."""
    return (
        finish_forms.sprayed(code, shelf, by),
        finish_forms.surface(code, by),
        finish_forms.finish_room(code, by, held),
        finish_forms.acknowledge(code, by),
    )


def _told(title: str, forms: tuple[Form, ...], attempt: Attempt | None) -> Built:
    if attempt is None:
        return "message.html", MessagePage(title, "What can be entered about it.", forms)
    again = tuple(shown_again(one, attempt) for one in forms if one.name == attempt.name)
    return "message.html", MessagePage(title, "It was not entered; what was wrong stands at its field.", again)


def home_of(desk: Desk, made: Entered) -> str:
    """Return the page of the finish or the finish room that an entry is about."""
    code = made.subject.code
    if made.subject.kind is not SubjectKind.FINISH:
        return f"/finish/room/{quote(code)}"
    with desk.store.reading() as connection:
        held = any(one.subject.code == code for one in finish_now.finishes(connection, closed=True))
    return f"/finish/product/{quote(code)}" if held else "/finish"
