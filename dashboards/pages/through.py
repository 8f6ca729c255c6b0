"""Through a board's thickness at one moment, past or to come: drawn here, chosen with a slider on the page."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from markupsafe import Markup

from dashboards import display, marks
from dashboards.situation import BoardNow
from kiln.records import Projection
from shared.errors import BadInput
from shared.units import MS_PER_DAY, mm_from_m

FIRST_DAYS_MS = 7 * MS_PER_DAY
FLAT_SHARE = 0.5  # of the greatest moisture: where all later moments lie below it, they have a scale of their own; ours
LOGGED = "worked out from the air logged so far"
FORECAST = "a forecast, as if earlier air of this place came again"


@dataclass(frozen=True)
class Through:
    """What _through.html may use."""

    tile: Markup = field(metadata={"help": "Section with shell and core"})
    profile: Markup = field(metadata={"help": "Moisture from face to face"})
    moment: int = field(metadata={"help": "Which moment is shown, from 0 on"})
    now: int = field(metadata={"help": "Which moment is the newest of logged air"})
    last: int = field(metadata={"help": "The last moment there is"})
    when: str = field(metadata={"help": "The moment as a date, and how far from now"})
    rests_on: str = field(metadata={"help": "What it rests on: logged air, or air of earlier times"})


def of_board(board: BoardNow, now_ms: int, moment: int) -> Through:
    """Return what ``at_moment`` does; raises BadInput for a board without projection too."""
    if board.projection is None:
        raise BadInput("profile of board", board.subject.code, "a board that has been projected")
    return at_moment(board.projection, board.fact.thickness_m, now_ms, moment)


def at_moment(made: Projection, thickness_m: float, now_ms: int, moment: int | None = None) -> Through:
    """Return the drawings of one of the projection's moments; None: the newest of logged air.

    Raises BadInput for a moment that is none of them.
    """
    last = len(made.profile_ms) - 1
    now = int(np.searchsorted(made.profile_ms, made.known_until_ms))
    moment = now if moment is None else moment
    if not 0 <= moment <= last:
        raise BadInput("moment", moment, f"0 to {last}")
    at_ms = int(made.profile_ms[moment])
    in_bands = int(np.searchsorted(made.at_ms, at_ms))
    profile = marks.profile(
        made.depth_fraction.tolist(),
        made.profiles.p10[moment].tolist(),
        made.profiles.p50[moment].tolist(),
        made.profiles.p90[moment].tolist(),
        made.target_mc_pct,
        _top_pct(made, moment),
        round(mm_from_m(thickness_m), 1),
    )
    return Through(
        tile=marks.split_tile(
            made.depth_fraction.tolist(),
            made.profiles.p50[moment].tolist(),
            float(made.shell.p50[in_bands]),
            float(made.core.p50[in_bands]),
            "tile",
        ),
        profile=profile,
        moment=moment,
        now=now,
        last=last,
        when=_when(at_ms, made.known_until_ms, now_ms),
        rests_on=LOGGED if moment <= now else FORECAST,
    )


def _top_pct(made: Projection, moment: int) -> float:
    """What the scale holds: all moments, or where its wet first days would press the rest flat, those after them.

    One of those first days is then shown on the scale that it needs.
    """
    most = made.profiles.p90.max(axis=1)
    early = made.profile_ms < made.profile_ms[0] + FIRST_DAYS_MS
    if early.all() or early[moment] or most[~early].max() > FLAT_SHARE * most.max():
        return float(most.max())
    return float(most[~early].max())


def _when(at_ms: int, known_until_ms: int, now_ms: int) -> str:
    away = "the last hour with logged air" if at_ms == known_until_ms else display.age(at_ms, now_ms)
    return f"{display.moment(at_ms)}, {away}"
