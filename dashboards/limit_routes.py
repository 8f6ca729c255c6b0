"""Addresses of what bears on verdicts: the limits, and what was said of a set."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fastapi import FastAPI
from fastapi.responses import JSONResponse

from dashboards import api, judging_story, limits_now, region_entries
from dashboards.desk import Desk, found
from dashboards.limits_now import OwnLimits
from dashboards.region_entries import RegionNow


def own_limits(desk: Desk) -> OwnLimits:
    """Return what this yard has set, as it stands."""
    with desk.store.reading() as connection:
        return limits_now.own_limits(connection, desk.clock_ms())


def region(desk: Desk) -> RegionNow:
    """Return whose limits for breathed air count in this yard."""
    with desk.store.reading() as connection:
        return region_entries.region_now(connection, desk.clock_ms(), desk.settings)


def add(app: FastAPI, desk: Desk) -> None:
    """Add the addresses."""

    @app.get("/api/limits")
    def limits() -> JSONResponse:
        """Return every limit: in force, of the table, its unit, range, source and status, who set it and why."""
        told: list[dict[str, Any]] = [api.as_json(asdict(one)) for one in limits_now.every(own_limits(desk))]
        return JSONResponse(told)

    @app.get("/api/set/{code}")
    def matched_set(code: str) -> JSONResponse:
        """Return one set: its verdict, its pieces by number, its joints and its overrides."""
        one = found(desk.now().sets, "set", code)
        told = api.as_json(one, without=api.HEAVY) | api.as_json(judging_story.of_set(desk.store, one.subject))
        return JSONResponse(told)
