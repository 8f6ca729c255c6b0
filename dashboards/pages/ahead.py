"""Where a board is going: the fan, the dates by chance, what limits them, and what came of what was said before."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import board_charts, display, foretold
from dashboards.foretold import Came
from dashboards.pages.parts import Link
from kiln.records import Projection

SHOWN = 4  # weigh-ins of which what was foretold is not folded away


@dataclass(frozen=True)
class Ahead:
    """Everything that _ahead.html may use."""

    code: str = field(metadata={"help": "The board's code"})
    of: str = field(metadata={"help": "Whose band the chart shows: mean, shell or core"})
    bands: tuple[Link, ...] = field(metadata={"help": "Whose band else it may show"})
    revision: str = field(metadata={"help": "Changes whenever the charts have to be drawn anew"})
    caption: str = field(metadata={"help": "What the chart shows, and what it rests on"})
    head: tuple[str, ...] = field(metadata={"help": "What stands above the chart's columns as a table"})
    table: tuple[tuple[str, ...], ...] = field(metadata={"help": "The chart as rows of text"})
    dates: tuple[tuple[str, str], ...] = field(metadata={"help": "Chances, and the date by which it is fit with each"})
    dates_told: str = field(metadata={"help": "The dates in a few words, in sight while they are folded"})
    limits: tuple[str, ...] = field(metadata={"help": "What limits the date: measurements, air, what others taught"})
    history: tuple[Came, ...] = field(metadata={"help": "What was foretold after the newest weigh-ins and what came"})
    earlier: tuple[Came, ...] = field(metadata={"help": "The same of the earlier ones, folded away"})
    moves: tuple[str, ...] = field(metadata={"help": "How the date moved, in words"})
    score: str = field(metadata={"help": "How many weights came inside their bands; empty: none to compare"})
    score_told: str = field(metadata={"help": "The same in a few words, in sight while the rest is folded"})
    dates_drawn: bool = field(metadata={"help": "Whether there are dates enough for a chart of how they moved"})


def ahead(made: Projection, code: str, revision: str, now_ms: int, of: str, waits: tuple[str, ...] = ()) -> Ahead:
    """Fill it from a projection; ``waits``: what holds it up beyond its dates.

    Raises BadInput when ``of`` is none of mean, shell and core.
    """
    board_charts.band_of(made, of)
    air = "from air of earlier times where it is planned to be" if made.legs else "from air of earlier times here"
    told, dates = foretold.history(made, now_ms), foretold.dates_by_chance(made, now_ms)
    return Ahead(
        code=code,
        of=of,
        bands=tuple(Link(name.capitalize(), f"/board/{code}?band={name}#ahead") for name in board_charts.DASHES),
        revision=revision,
        caption=f"Fan of the {of} from the logged air and everything measured on this board; right of the line, {air}. "
        "Darkest: half of what is believed; then 8 in 10; palest: 95 in 100.",
        head=board_charts.table_head(of),
        table=board_charts.board_table(made, now_ms, of),
        dates=dates,
        dates_told=_dates_told(dates, made, now_ms),
        limits=(*waits, *foretold.limits(made, now_ms)),
        history=told[:SHOWN],
        earlier=told[SHOWN:],
        moves=foretold.moves(made, now_ms),
        score=foretold.score(made),
        score_told=_score_told(made),
        dates_drawn=board_charts.dates_worth_drawing(made),
    )


def _dates_told(dates: tuple[tuple[str, str], ...], made: Projection, now_ms: int) -> str:
    """Say the dates once where all chances have the same, else each; and on what those that do not come hang."""
    told = _told_once(dates)
    if made.ready_ms[1] is not None:
        return told
    stays = f"{told}, {'as planned' if made.legs else 'if it stays'}"
    move = made.move
    if move is None or move.ready_ms[1] is None:
        return stays
    moved = "now" if move.from_ms <= now_ms else f"on {display.day(move.from_ms, now_ms)}"
    return f"{stays}; if moved {moved} {move.name}: {display.day(move.ready_ms[1], now_ms)}, as likely as not"


def _told_once(dates: tuple[tuple[str, str], ...]) -> str:
    if len({date for _chance, date in dates}) == 1:
        return dates[0][1]
    by_date: dict[str, list[str]] = {}
    for chance, date in dates:
        by_date.setdefault(date, []).append(chance)
    return "; ".join(f"{' and '.join(chances)} {date}" for date, chances in by_date.items())


def _score_told(made: Projection) -> str:
    inside, of = foretold.inside_their_bands(made)
    if not of:
        return "not weighed again yet"
    return f"{inside} of {of} weights inside {'its' if of == 1 else 'their'} band"
