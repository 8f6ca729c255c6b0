"""The number in a cell: decimal point or comma, grouped thousands, a unit behind it, or no value at all."""

from __future__ import annotations

import re
from datetime import date, time, timedelta
from functools import lru_cache
from typing import NoReturn

from sensors.log_cells import Cell
from sensors.log_headings import Unit, unit_of
from shared.store.records import Quantity

LARGEST = 1e12  # as for live messages
LONGEST = 40  # characters of a number with its unit, and of a cell that is shown
NO_VALUE = {"", "-", "--", "---", "–", "—", "n/a", "na", "nan", "null", "none"}
# Of these a figure of a thousand and more can be true, so that 1,234 has two meanings.
MAY_BE_THOUSANDS = (Quantity.MASS_KG, Quantity.RAIN_MM, Quantity.PM2_5_UG_M3, Quantity.PM10_UG_M3)
SIGNS = {".": "a point, as in 21.5", ",": "a comma, as in 21,5"}

_EXPONENT = r"(?:[eE][+-]?[0-9]{1,3})?"
_PLAIN = {one: re.compile(rf"[+-]?(?:[0-9]+(?:\{one}[0-9]*)?|\{one}[0-9]+){_EXPONENT}") for one in ".,"}
# Grouped only where a decimal sign follows: else 1.234 could be either.
_GROUPED = {
    own: re.compile(rf"[+-]?[0-9]{{1,3}}(?:[\{other}'’ ][0-9]{{3}})+\{own}[0-9]+") for own, other in (".,", ",.")
}
_FIGURE = re.compile(r"([+-]?[0-9.,](?:[0-9.,'’]|\s(?=[0-9]{3})|[eE][+-]?(?=[0-9]))*)\s*(.*)", re.S)
_THREE_BEHIND = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")


class NoNumber(Exception):
    """A cell that is no number; its text is what is accepted."""


def number(cell: Cell, decimal: str) -> tuple[float, Unit | None] | None:
    """Return a cell's number and the unit that stands behind it; None for a cell that says there is none.

    ``decimal``: the decimal sign of text, "." or ",". Raises NoNumber.
    """
    accepted = f"a number with {SIGNS[decimal]}"
    if cell is None:
        return None
    if isinstance(cell, bool | date | time | timedelta):
        raise NoNumber(accepted)
    if not isinstance(cell, str):
        return None if cell != cell else (_usable(cell), None)  # NaN alone is not itself; an integer may be any size
    return _in_text(cell, decimal) if len(cell) <= LONGEST else _refuse(accepted)


@lru_cache(maxsize=4096)  # a log says the same few figures over and over
def _in_text(cell: str, decimal: str) -> tuple[float, Unit | None] | None:
    text = " ".join(cell.replace("−", "-").split())
    if text.lower() in NO_VALUE:
        return None
    found = _FIGURE.fullmatch(text)
    unit = unit_of(found[2]) if found and found[2] else None
    if found is None or (found[2] and unit is None) or not _well_formed(found[1], decimal):
        _refuse(f"a number with {SIGNS[decimal]}")
    return _usable(_float(found[1], decimal)), unit


def _refuse(accepted: str) -> NoReturn:
    raise NoNumber(accepted)


def _well_formed(figure: str, decimal: str) -> bool:
    return bool(_PLAIN[decimal].fullmatch(figure) or _GROUPED[decimal].fullmatch(figure))


def _float(figure: str, decimal: str) -> float:
    other = "," if decimal == "." else "."
    return float(re.sub(rf"[\{other}'’ ]", "", figure).replace(decimal, "."))


def _usable(value: float) -> float:
    if not abs(value) <= LARGEST:  # so written that infinity falls out too
        raise NoNumber(f"a number up to {LARGEST:g}")
    return float(value)


def decimal_sign(cell: Cell, quantity: Quantity) -> str:
    """Return the decimal sign that a cell shows, . or ,; ? where it could be one of thousands; empty for none."""
    sign = _sign_in(cell) if isinstance(cell, str) and len(cell) <= LONGEST else ""
    return "?" if sign in (".?", ",?") and quantity in MAY_BE_THOUSANDS else sign[:1]


@lru_cache(maxsize=4096)
def _sign_in(cell: str) -> str:
    found = _FIGURE.fullmatch(" ".join(cell.split()))
    figure = found[1] if found else ""
    if any(one.fullmatch(figure) for one in _GROUPED.values()):
        return max(".,", key=figure.rfind)
    if not any(one.fullmatch(figure) for one in _PLAIN.values()):
        return ""
    sign = "," if "," in figure else "." if "." in figure else ""
    return f"{sign}?" if _THREE_BEHIND.fullmatch(figure) else sign


def shown(cell: object) -> str:
    """Return a cell as it may be shown: short, and without what would steer a terminal."""
    text = _whole(cell) if isinstance(cell, int) else "" if cell is None else str(cell)
    safe = "".join(one if one.isprintable() else "\N{REPLACEMENT CHARACTER}" for one in text[: LONGEST + 1].strip())
    return (safe or "empty") if len(safe) <= LONGEST else safe[: LONGEST - 1] + "…"


def _whole(value: int) -> str:
    return str(value) if abs(value) < 10**LONGEST else "a number of very many digits"
