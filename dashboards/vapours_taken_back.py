"""What a room's vapour is told as for a day after a spraying was taken back there: never less than before.

Whether it was sprayed all the same is not known here. Its solvents are in no figure any more, but no hour comes earlier
for it, and what no amount of air is an answer to is told as if it had been sprayed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from markupsafe import Markup

from dashboards import vapour_figures
from dashboards.finish_now import Gone
from dashboards.vapour_records import Refused, Vapour, refused_by
from kiln import finish_air, finish_told
from kiln.control import Control, worst

STILL_THERE = "What was sprayed is still in the air, whatever is taken back."
ASK = "Ask who took it back whether it was sprayed. Until that is known, take it for sprayed and stay out."
LATER = "Told is the later hour of both: with what was taken back, and without it."
IF_ALL_THE_SAME = "If it was sprayed all the same, its vapour is in this room."
AIR_FED = (
    "If it was sprayed all the same: no amount of air is an answer to it. Stay out; inside only with air-fed breathing "
    "apparatus, by whoever is trained and licensed for it."
)
NOT_IN = "What was taken back is not in these figures; whether it was sprayed can't be said here."


def is_refused(gone: Sequence[Gone]) -> bool:
    """Whether no amount of air is an answer to one of them, by any version of its sheet."""
    return _refusal(gone) is not None


def _refusal(gone: Sequence[Gone]) -> Refused | None:
    return refused_by(finish_air.refusal_of(each for one in gone for each in one.sprayed.mixtures))


def alone(with_it: Vapour, gone: Sequence[Gone]) -> Vapour:
    """Return what is told of a room where nothing counts but what was taken back; ``with_it``: as if it counted."""
    acts = finish_told.ACTS if is_refused(gone) else ()
    bare = replace(
        _without_figures(with_it),
        **vapour_figures.word(Control.CANT_SAY),
        headline=AIR_FED if is_refused(gone) else IF_ALL_THE_SAME,
        doing=(*acts, ASK),
        unknowns=tuple(f"Not known whether it was sprayed: {one.line}" for one in gone),
        over=(),
        cant_say=(),
        over_each=(),
        worst_each=(),
        not_shown=(),
        sprayed=(),
    )
    return _with_hour(bare)


def beside(made: Vapour, gone: Sequence[Gone]) -> Vapour:
    """Return the vapour of what counts, its hour told as the later one already, with what was taken back beside it."""
    told = replace(
        made, first=(*_refused_lines(gone), *made.first), **vapour_figures.word(worst(made.control, Control.CANT_SAY))
    )
    if made.control is Control.NOT_SHOWN:
        told = replace(told, headline=NOT_IN)
    if is_refused(gone):
        acts = [one for one in (*finish_told.ACTS, ASK) if one not in made.doing]
        told = replace(
            _without_figures(told), refused=made.refused or _refusal(gone), headline=AIR_FED, doing=(*acts, *made.doing)
        )
    return _with_hour(told)


def _refused_lines(gone: Sequence[Gone]) -> tuple[str, ...]:
    """Say of each that no amount of air is an answer to who took it back, when, and what it asks for all the same."""
    return tuple(f"{one.line} {AIR_FED}" for one in gone if is_refused([one]))


def _without_figures(made: Vapour) -> Vapour:
    return replace(made, figures=(), air=(), air_why="", amounts=(), drawing=Markup(), drawn="", table=(), formula=())


def _with_hour(made: Vapour) -> Vapour:
    told = (STILL_THERE, made.not_before, *(() if made.not_before_ms is None else (LATER,)))
    return replace(made, not_before=" ".join(told))
