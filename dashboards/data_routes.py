"""Addresses for other programs: JSON, CSV, and the stream that tells open pages of news."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, StreamingResponse

from dashboards import api, cut_story, judging_story, live, page_warnings, promise_made
from dashboards.desk import Desk, found


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses."""

    @app.get("/api/situation")
    def whole() -> JSONResponse:
        """Return places, probes, stacks, sets and boards with their verdicts; projections come with each board.

        ``warnings`` are those of the finish rooms. They are not an alarm system, as ``not_an_alarm`` says.
        """
        now = desk.now()
        return JSONResponse(api.as_json(now, without=api.HEAVY) | page_warnings.as_plain(now))

    @app.get("/api/board/{code}")
    def board(code: str) -> JSONResponse:
        """Return one board: projection, verdict, all measured on it and entered about it, and how far it will move."""
        now = desk.now()
        one = found(now.boards, "board", code)
        told = api.as_json(one) | api.as_json(cut_story.read(desk.store, one.subject, desk.clock_ms()))
        told |= api.as_json(judging_story.of_board(desk.store, one.subject))
        return JSONResponse(told | {"movement": api.as_json(promise_made.of_board(now, one))})

    @app.get("/export/{kinds}.csv")
    def entered(kinds: str) -> StreamingResponse:
        """Return every standing entry of one kind: weigh-ins, outcomes, waters, planned-moves and so on."""
        return _csv(api.entry_rows(desk.store, kinds), f"{kinds}.csv")

    @app.get("/export/readings/{code}.csv")
    def exported(code: str) -> StreamingResponse:
        """Return every reading of a probe, flagged ones too."""
        probe = found(desk.now().probes, "probe", code).subject
        return _csv(api.reading_rows(desk.store, probe), f"readings-{probe.code}.csv")

    pulse = live.Pulse(desk.store)

    @app.get("/live", include_in_schema=False)
    async def stream(request: Request) -> StreamingResponse:
        async def gone() -> bool:
            return desk.closing.is_set() or not desk.may_look(request) or await request.is_disconnected()

        found_now = live.events(pulse, gone)
        return StreamingResponse(found_now, media_type="text/event-stream", headers={"cache-control": "no-store"})


def _csv(rows: Any, name: str) -> StreamingResponse:
    headers = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"}
    return StreamingResponse(api.csv_lines(rows), media_type="text/csv; charset=utf-8", headers=headers)
