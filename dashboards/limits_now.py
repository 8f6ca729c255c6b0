"""The limits by which verdicts are reached, as they stand: those of the tables, and what this yard has set instead.

A limit is called as it stands in its table: ``twins_apart`` is a row of ``limits.csv``, ``glue.tolerance_mc_pct`` a
figure of the use "glue" in ``uses.csv``. What somebody has set is an ``OwnLimit`` about the subject of that name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import get_type_hints

from kiln.limits import Limits
from shared import tables
from shared.errors import BadInput
from shared.store import Connection, facts
from shared.store.records import OwnLimit, SubjectKind
from shared.tables import Use

NOT_ASKED = "not asked for"  # of a use that has no such condition


@dataclass(frozen=True)
class Accepted:
    """What a limit may be set to. The ranges are ours: wide, but no slip of the pen and no way round the judgement."""

    low: float
    high: float
    unit: str
    whole: bool = False  # only whole numbers


# Of the figures of a use: what it is called, and what is accepted.
USE_FIGURES: dict[str, tuple[str, Accepted]] = {
    "destination_rh_pct": ("usual air, humidity", Accepted(5.0, 95.0, "%RH")),
    "destination_temperature_c": ("usual air, temperature", Accepted(0.0, 45.0, "°C")),
    "tolerance_mc_pct": ("moisture may miss what that air holds by", Accepted(0.2, 10.0, "%MC")),
    "gradient_mc_pct": ("core and shell may differ by", Accepted(0.2, 10.0, "%MC")),
    "steady_days": ("must have kept still for", Accepted(1.0, 90.0, "day", whole=True)),
    "room_days": ("the room must have been right for", Accepted(0.0, 60.0, "day", whole=True)),
    "room_ahead_days": ("and must stay right for", Accepted(0.0, 7.0, "day", whole=True)),
    "room_tolerance_mc_pct": ("a piece at rest in the room may miss that air by", Accepted(0.2, 10.0, "%MC")),
    "water_wait_days": ("water from glue or bending is given", Accepted(0.0, 60.0, "day", whole=True)),
}
# Of the rows of limits.csv; one that is not named here may be moved from a fifth of its figure to five times it.
ROWS: dict[str, tuple[str, tuple[float, float]]] = {
    "reclaimed_heat": ("warmest kiln for reclaimed wood with a core above saturation", (20.0, 60.0)),
    "move_in_below": ("may come indoors below", (8.0, 30.0)),
    "loss_counts_above": ("the loss a day counts above", (20.0, 35.0)),
    "measured_within": ("the wood itself must have been measured within", (1.0, 366.0)),
    "pieces_apart": ("pieces of one set may differ by", (0.3, 6.0)),
    "twins_apart": ("twins may differ by", (0.1, 3.0)),
    "unchecked_hygrometer": ("a hygrometer that was never checked may be off by", (0.5, 10.0)),
    "probes_disagree": ("probes in one place are named when they differ by", (0.5, 20.0)),
    "pin_at_least": ("pins say only “at least” above", (20.0, 35.0)),
    "sure": ("called fit from this chance on", (0.5, 0.999)),
    "steady": ("still, if it changes over the steady days by no more than", (0.05, 3.0)),
    "plateau": ("twins must stand within this much of their own resting mass", (0.02, 2.0)),
}
FREE_TIMES = 5.0
JUDGED_BY = frozenset(one.name for one in fields(Limits))  # the rows that the judgement asks a yard for


@dataclass(frozen=True)
class LimitNow:
    """One limit: what is in force, what the table says, on whose word, and who has set it otherwise."""

    name: str
    group: str  # the name of its use; empty for those that hold for every use
    label: str
    value: float | None  # in force; None: not asked for
    usual: float | None  # of the table
    accepted: Accepted
    source: str
    status: str
    own: OwnLimit | None  # who has set it, when and why; None: nobody
    settable: bool  # whether a yard can set it; else it is part of how readings are worked out, the same for all

    @property
    def unit(self) -> str:
        """Its unit."""
        return self.accepted.unit


OwnLimits = Mapping[str, OwnLimit]


def own_limits(connection: Connection, now_ms: int, known_at_ms: int | None = None) -> dict[str, OwnLimit]:
    """Return what this yard has set by name, in force at ``now_ms``; ``known_at_ms``: as it was known then."""
    names = {one.id: one.code for one in facts.subjects(connection, SubjectKind.LIMIT, known_at_ms)}
    found: dict[str, OwnLimit] = {}
    for entry in facts.standing(connection, OwnLimit, known_at_ms=known_at_ms):  # in order of time: the last holds
        if entry.true_at_ms <= now_ms:
            found[names[entry.subject_id]] = entry
    return found


def uses_now(own: OwnLimits) -> dict[str, Use]:
    """Return the uses by name, with what this yard has set in place of the table's figures."""
    return {name: _use_now(use, own) for name, use in tables.uses().items()}


def _use_now(use: Use, own: OwnLimits) -> Use:
    set_here = {one: own[f"{use.name}.{one}"].value for one in figures() if f"{use.name}.{one}" in own}
    return replace(use, **set_here) if set_here else use


def limit_now(own: OwnLimits, name: str) -> float:
    """Return a limit of ``limits.csv`` as it stands in this yard, in the unit that its row names."""
    return own[name].value if name in own else tables.limit(name)


def figures() -> tuple[str, ...]:
    """Return the names of a use's figures: whatever of it is a number."""
    hints = get_type_hints(Use)
    return tuple(one.name for one in fields(Use) if hints[one.name] in (float, float | None))


def every(own: OwnLimits) -> tuple[LimitNow, ...]:
    """Return every limit, those of each use first, in the order of the tables."""
    return tuple(_of_use(use, one, own) for use in tables.uses().values() for one in figures()) + tuple(
        _of_row(name, own) for name in tables.constants("limits")
    )


def named(own: OwnLimits, name: str) -> LimitNow:
    """Return one limit; raises BadInput when there is none of this name."""
    wanted = (name or "").strip().casefold()
    for one in every(own):
        if one.name.casefold() == wanted:
            return one
    raise BadInput("limit", (name or "").strip(), "a name from the list of limits, such as glue.tolerance_mc_pct")


def _of_use(use: Use, figure: str, own: OwnLimits) -> LimitNow:
    name = f"{use.name}.{figure}"
    usual = getattr(use, figure)
    label, accepted = USE_FIGURES.get(figure) or (figure.replace("_", " "), _free(usual or 1.0, ""))
    value = own[name].value if name in own else usual
    return LimitNow(name, use.name, label, value, usual, accepted, use.source, use.status, own.get(name), settable=True)


def _of_row(name: str, own: OwnLimits) -> LimitNow:
    row = tables.constants("limits")[name]
    unit = {"1": "", "% MC": "%MC", "% RH": "%RH"}.get(row.unit, row.unit)
    label, ends = ROWS.get(name, (name.replace("_", " "), None))
    accepted = _free(row.value, unit) if ends is None else Accepted(*ends, unit, whole=unit == "day")
    value, settable = limit_now(own, name), name in JUDGED_BY
    return LimitNow(
        name, "", label, value, row.value, accepted, row.source, row.status, own.get(name), settable=settable
    )


def _free(value: float, unit: str) -> Accepted:
    low, high = sorted((value / FREE_TIMES, value * FREE_TIMES))
    return Accepted(low, high, unit)


def shown(value: float | None, unit: str) -> str:
    """Return a limit's figure with its unit, as a person reads it."""
    if value is None:
        return NOT_ASKED
    unit = "days" if unit == "day" and value != 1.0 else unit
    return f"{value:g} {unit}".strip()
