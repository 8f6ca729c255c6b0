"""What a board or set is wanted for: its use, its air, its day, and the moisture that is also wanted of it."""

from __future__ import annotations

from typing import Any

from dashboards import entering, fields, limits_now
from dashboards.entering import Connection, Entered, hand
from kiln import targets
from shared.errors import BadInput
from shared.store import records as r

DESTINATION_C = (0.0, 45.0)  # what the drying model covers
DESTINATION_RH_PCT = (5.0, 95.0)
WANTED_MC_PCT = (3.0, 30.0)  # from wood in a heated room to fibre saturation


def plan_use(
    connection: Connection,
    code: str,
    *,
    use: str,
    by: str,
    now_ms: int,
    kind: str = "board",
    destination_rh_pct: str | float | None = None,
    destination_temperature_c: str | float | None = None,
    booked: str | int | None = None,
    wanted_mc_low_pct: str | float | None = None,
    wanted_mc_high_pct: str | float | None = None,
    begun: bool | str = False,
    true_at_ms: int | None = None,
) -> Entered:
    """Say what a board or set is wanted for, in which air it will live, when it is booked, and if work has begun.

    Air not given is the usual one of the use in this yard; ``booked`` is a date, typed or in UTC ms. Moisture that is
    also wanted (%MC, both ends or neither) is entered even where that air cannot give it, and the sentence says so.
    """
    at = hand(connection, by, now_ms, true_at_ms)
    if kind not in ("board", "set"):
        raise BadInput("kind", kind, "board or set")
    about = entering.board(connection, code)[0] if kind == "board" else entering.matched_set(connection, code)
    wanted = fields.use(use)
    usual = limits_now.uses_now(limits_now.own_limits(connection, now_ms))[wanted]
    rh = _given(destination_rh_pct, usual.destination_rh_pct)
    temperature = _given(destination_temperature_c, usual.destination_temperature_c)
    low, high = _wanted_mc_pct(wanted_mc_low_pct, wanted_mc_high_pct)
    values: dict[str, Any] = {
        "use": wanted,
        "destination_rh_pct": fields.number("destination RH", rh, *DESTINATION_RH_PCT, "%RH"),
        "destination_temperature_c": fields.number("destination temperature", temperature, *DESTINATION_C, "°C"),
        "booked_ms": fields.day_ahead_ms("booked date", fields.moment_ms("booked date", booked), now_ms),
        "wanted_mc_low_pct": low,
        "wanted_mc_high_pct": high,
        "begun": fields.yes(begun),
    }
    made = at.write(r.UsePlan, about, **values)
    begun_words = "; the work has begun" if values["begun"] else ""
    told = f"{about.kind.value.capitalize()} {about.code} is wanted for: {usual.label.lower()}{begun_words}."
    odd = cannot_hold(values["destination_rh_pct"], values["destination_temperature_c"], low, high)
    return Entered(about, "use", made, f"{told} {odd}".strip())


def cannot_hold(rh_pct: float, temperature_c: float, low: float | None, high: float | None) -> str:
    """Say that the air [%RH, °C] and the moisture [%MC] wanted of a piece cannot both hold; empty when they can."""
    return "" if low is None or high is None else targets.disagreement(rh_pct, temperature_c, low, high)


def _wanted_mc_pct(low: str | float | None, high: str | float | None) -> tuple[float | None, float | None]:
    if not _told(low) and not _told(high):
        return None, None
    least = fields.number("wanted moisture from", low, *WANTED_MC_PCT, "%MC; both ends, or neither")
    most = fields.number("wanted moisture to", high, *WANTED_MC_PCT, "%MC; both ends, or neither")
    if not least < most:
        raise BadInput("wanted moisture to", f"{most:g} %MC", f"more than the {least:g} %MC that it begins at")
    return least, most


def _told(typed: str | float | None) -> bool:
    return typed is not None and str(typed).strip() != ""


def _given(typed: str | float | None, usual: float) -> str | float:
    return typed if typed is not None and _told(typed) else usual
