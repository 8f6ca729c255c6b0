"""Tables of the instruments: saturated salts, depths of pins, ends of oven-drying.

Their single constants are read with ``shared.tables.constants`` (``hygrometers``, ``meters``, ``oven_dry``,
``bag``, ``audit``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from shared.errors import BadInput
from shared.tables import Sourced, rows


@dataclass(frozen=True)
class Salt:
    """A saturated salt as a humidity fixed point: RH [%] = a0 + a1 t + a2 t² + a3 t³, t in °C."""

    formula: str
    name: str
    coefficients: tuple[float, float, float, float]
    lowest_c: float
    highest_c: float
    source: str
    status: str
    error: Sourced  # one standard error of the fixed point [%RH]
    caution: str  # "" where there is none
    caution_source: str
    caution_status: str
    note: str


@dataclass(frozen=True)
class PinDepth:
    """A convention of how deep to drive the pins, as shares of the thickness."""

    name: str
    low_share: float
    high_share: float
    sentence: str
    source: str
    status: str


@dataclass(frozen=True)
class Criterion:
    """When oven-drying has come to constant mass; one of the two limits is None."""

    name: str
    label: str
    interval_s: float
    change_share_pct: float | None  # of the mass
    includes_limit: bool  # a change equal to the limit still counts
    balance_steps: float | None  # times the sensitivity of the balance
    temperature_c: float
    temperature_tolerance_c: float
    source: str
    status: str


@cache
def salts() -> dict[str, Salt]:
    """Return the saturated salts by formula, driest first."""
    return {row["formula"]: _salt(row) for row in rows("salts")}


def _salt(row: dict[str, str]) -> Salt:
    def number(column: str, low: float, high: float) -> float:
        return _within(f"salts.csv {row['formula']} {column}", row[column], low, high)

    return Salt(
        formula=row["formula"],
        name=row["name"],
        coefficients=(
            number("a0", 0.0, 100.0),
            number("a1", -1.0, 1.0),
            number("a2", -0.01, 0.01),
            number("a3", -1e-3, 1e-3),
        ),
        lowest_c=number("lowest_c", 0.0, 20.0),
        highest_c=number("highest_c", 20.0, 60.0),
        source=row["source"],
        status=row["status"],
        error=Sourced(number("error_rh_pct", 0.01, 5.0), "%RH", row["error_source"], row["error_status"]),
        caution=row["caution"],
        caution_source=row["caution_source"],
        caution_status=row["caution_status"],
        note=row["note"],
    )


@cache
def pin_depths() -> tuple[PinDepth, ...]:
    """Return the conventions of pin depth, shallowest first."""
    return tuple(
        PinDepth(
            name=row["name"],
            low_share=_within(f"pin_depths.csv {row['name']} low_share", row["low_share"], 0.0, 0.5),
            high_share=_within(f"pin_depths.csv {row['name']} high_share", row["high_share"], 0.0, 0.5),
            sentence=row["sentence"],
            source=row["source"],
            status=row["status"],
        )
        for row in rows("pin_depths")
    )


@cache
def criteria() -> dict[str, Criterion]:
    """Return the criteria of constant mass by the name of their standard."""
    return {row["name"]: _criterion(row) for row in rows("constant_mass")}


def _criterion(row: dict[str, str]) -> Criterion:
    def number(column: str, low: float, high: float) -> float:
        return _within(f"constant_mass.csv {row['name']} {column}", row[column], low, high)

    return Criterion(
        name=row["name"],
        label=row["label"],
        interval_s=number("interval_s", 600.0, 200_000.0),
        change_share_pct=number("change_share_pct", 0.001, 5.0) if row["change_share_pct"] else None,
        includes_limit=row["includes_limit"] == "yes",
        balance_steps=number("balance_steps", 0.5, 10.0) if row["balance_steps"] else None,
        temperature_c=number("temperature_c", 90.0, 110.0),
        temperature_tolerance_c=number("temperature_tolerance_c", 0.5, 10.0),
        source=row["source"],
        status=row["status"],
    )


def _within(where: str, text: str, low: float, high: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        raise BadInput(where, text, f"{low:g} to {high:g}")
    return value
