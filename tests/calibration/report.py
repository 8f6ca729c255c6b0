"""Writes docs/calibration.md of the scores."""

from __future__ import annotations

import datetime
import os
import platform
import subprocess
from pathlib import Path

import numpy as np
from scoring import DAYS, NEAR_EMC, OFFCUT, PLAIN, PRIOR, Score
from summary import Ahead, Cell, Half, Never, aheads, cells, halves, nevers

NAMES = {"20": "20 %", "12": "12 %", NEAR_EMC: "EMC + 2.5 %", "pooled": "all cells"}


def _share(value: float) -> str:
    return "—" if not np.isfinite(value) else f"{100 * value:.0f} %"


def _number(value: float) -> str:
    return f"{value:.2f}"


def _cell_row(one: Cell) -> str:
    better = "yes" if one.interval < one.interval_prior else "**no**"
    fields = (
        NAMES[one.target], one.kind or "—", str(one.day or "—"), str(one.n), _share(one.coverage),
        _share(one.truth_early), _share(one.truth_late), _share(one.coverage_50), _share(one.coverage_95),
        _number(one.interval), _number(one.interval_prior), better, _share(one.median_error), _share(one.floor),
    )  # fmt: skip
    return "| " + " | ".join(fields) + " |"


def _cells(found: list[Cell]) -> list[str]:
    head = (
        "| target | data | day | n | in 80 % band | ready before it | ready after it | in 50 % | in 95 % | score | "
        "prior's | better | median error | floor |"
    )
    return [head, "|" + "---|" * 14, *map(_cell_row, found)]


def _halves(found: list[Half]) -> list[str]:
    rows = [
        f"| {h.half_of} | {NAMES[h.target]} | {h.kind} | {h.n} | {_share(h.median_error)} | {_share(h.coverage)} | "
        f"{_share(h.true_fraction)} | {_share(h.floor)} |"
        for h in found
    ]
    return [
        "| half of | target | data | n | median error | in 80 % band | of the whole time | floor |",
        "|" + "---|" * 8,
        *rows,
    ]


def _aheads(found: list[Ahead]) -> list[str]:
    rows = [
        f"| {NAMES[a.target]} | {a.kind} | {a.day} | {a.n} | {a.median_error_pct:.2f} | {_share(a.coverage)} | "
        f"{a.median_now_error_pct:.2f} |"
        for a in found
    ]
    head = "| not ready for | data | day | n | median error in 30 days, %MC | in 80 % band | median error now, %MC |"
    return [head, "|" + "---|" * 7, *rows]


def _nevers(found: list[Never]) -> list[str]:
    rows = [
        f"| {one.kind} | {one.n} | {_share(one.base_rate)} | {one.brier:.3f} | {one.brier_base:.3f} | "
        f"{'yes' if one.brier < one.brier_base else '**no**'} |"
        for one in found
    ]
    return ["| data | n | never ready | Brier score | of the base rate | better |", "|" + "---|" * 6, *rows]


def _goal(name: str, value: str, met: bool) -> str:
    return f"| {name} | {value} | {'met' if met else '**missed**'} |"


def _pick(found: list, **wanted) -> object | None:
    matching = [one for one in found if all(getattr(one, name) == value for name, value in wanted.items())]
    return matching[0] if matching else None


def goals(every: list[Score]) -> list[str]:
    """Each goal, what came out, and whether that meets it."""
    *single, pooled = cells(every)
    rows = ["| goal | came out | |", "|---|---|---|"]
    rows.append(_goal("80 % bands hold 76 to 86 %, pooled", _share(pooled.coverage), 0.76 <= pooled.coverage <= 0.86))
    least, most = (pick(one.coverage for one in single) for pick in (min, max))
    rows.append(
        _goal("and 72 to 90 % in every cell", f"{_share(least)} to {_share(most)}", least >= 0.72 and most <= 0.9)
    )
    early, late = (max(getattr(one, side) for one in single) for side in ("truth_early", "truth_late"))
    shown = f"{_share(early)} ready before, {_share(late)} after"
    rows.append(_goal("misses on either side at most 15 %, in every cell", shown, max(early, late) <= 0.15))
    worse = [one for one in single if one.interval >= one.interval_prior]
    shown = f"better in {len(single) - len(worse)} of {len(single)}"
    rows.append(_goal("a better interval score than the prior alone in every cell", shown, not worse))
    half = halves(every)
    for target, most_error in (("20", 0.12), (NEAR_EMC, 0.18)):
        one = _pick(half, half_of="water", target=target, kind=OFFCUT)
        if isinstance(one, Half):
            name = f"{NAMES[target]}, with offcut, half of the water gone: median error at most {_share(most_error)}"
            rows.append(_goal(name, f"{100 * one.median_error:.1f} %", one.median_error <= most_error))
    for target, most_pct in (("12", 1.2), ("20", 1.8)):
        ahead = _pick(aheads(every), target=target, kind=OFFCUT, day=50)
        if isinstance(ahead, Ahead):
            name = f"moisture 30 days ahead of day 50, with offcut, not ready for {NAMES[target]}: median error"
            met = ahead.median_error_pct <= most_pct
            rows.append(_goal(f"{name} at most {most_pct} %MC", f"{ahead.median_error_pct:.2f} %MC", met))
    for one in nevers(every):
        if one.kind != PRIOR:
            name = f"“not in this air”, {one.kind}: a better Brier score than the base rate"
            rows.append(_goal(name, f"{one.brier:.3f} against {one.brier_base:.3f}", one.brier < one.brier_base))
    return rows


def table(every: list[Score]) -> str:
    """The figures alone."""
    parts = (goals(every), _cells(cells(every)), _halves(halves(every)), _aheads(aheads(every)), _nevers(nevers(every)))
    return "\n\n".join("\n".join(part) for part in parts)


def _machine() -> str:
    model = platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        named = [line.split(":")[1].strip() for line in info.read_text().splitlines() if line.startswith("model name")]
        model = named[0] if named else model
    return f"{model}, {os.cpu_count()} cores, Python {platform.python_version()}"


def _commit() -> str:
    try:
        here = Path(__file__).resolve().parent
        told = subprocess.run(
            ["git", "rev-parse", "--short", "HEAD"], cwd=here, capture_output=True, text=True, check=True
        )
        changed = subprocess.run(["git", "status", "--porcelain", "kiln", "shared"], cwd=here.parent.parent,
                                 capture_output=True, text=True, check=True)  # fmt: skip
    except (OSError, subprocess.CalledProcessError):
        return "not known"
    return told.stdout.strip() + (" with changes not committed" if changed.stdout.strip() else "")


def markdown(every: list[Score], looked: int, asked: int, took_s: float, commit: str | None = None) -> str:
    """The whole document."""
    today = datetime.datetime.now(tz=datetime.UTC).date().isoformat()
    parts = [
        TEXT_BEFORE,
        f"{looked} boards were followed, {asked} asked about, {len(every)} forecasts of a date scored, in "
        f"about {took_s / 60:.0f} minutes. {today}; {_machine()}; commit {commit or _commit()}.",
        "## Goals, in our synthetic truth",
        "\n".join(goals(every)),
        f"## The cells: target, data, day\n\n{CELLS_TEXT}",
        "\n".join(_cells(cells(every))),
        f"## Half way\n\n{HALF_TEXT}",
        "\n".join(_halves(halves(every))),
        "## Moisture thirty days ahead\n\nOf the whole board, by the middle member; beside it the error of today's.",
        "\n".join(_aheads(aheads(every))),
        f"## “Not in this air”\n\n{NEVER_TEXT}",
        "\n".join(_nevers(nevers(every))),
    ]
    return "\n\n".join(parts) + "\n"


TEXT_BEFORE = f"""# How honest the forecasts are, over synthetic boards

`make bench` writes this page; `python tests/calibration/run.py --boards 60` makes a smaller one in some minutes.

No open record of boards that were weighed from green to dry was found. So boards were invented that dry by **another
model than the product's**, measured as a yard would measure them, and the product was asked when each would be ready.
All figures hold **in our synthetic truth**: they show whether refit and forecast are honest when the wood is not what
they assume. Real wood differs from this truth too, and can be worse.

**The truth** (`tests/calibration/truth.py`) shares no code with the product and differs in structure:

- a section in two dimensions, of which the product follows the thickness and adds edges by a closure;
- diffusion that is quadratic in moisture below fibre saturation and a power of the filling of the cavities above it
  (the product: exponential, and constant); along the width 0.6 to 1.6 times that through the thickness;
- activation temperature 4000 to 6500 K (the product: one for all);
- edges, also in a stack, with 0.3 to 1.2 times the film of the faces; ends as a first-order sink;
- a film that wanders by up to 30 % (one standard deviation) over some ten days;
- sorption with memory at the surface: from drying to wetting wood's curve (0.80 to 0.88 of it) within a play of 2 to
  10 % of the moisture content;
- a core that begins wetter than the shell; an isotherm's scale of the board's own.

Both share what is taken as law: water diffuses, the surface follows the handbook's isotherm times a scale, the air's
film cools what dries. Wood that checks, collapses, or lets water through by other ways than these is in neither, nor is
a slip of the pen, a board mixed up, or air that was not logged.

**The boards** are 12 to 40 mm thick, of density 300 to 620 kg/m³ and begin at 0.25 to 0.98 of saturation: two oaks,
three other hardwoods, two softwoods, fresh-sawn, in a stack or free. Their parameters lie around what the product
believes beforehand, but not on it: the centres of each yard of twenty boards are moved by a draw of 0.35 of a standard
deviation, the spreads by up to a fifth, each drawn by itself (`boards.py`). Were all of them moved to the side of
quicker drying, as in an earlier run (2026-11-27, commit 000a296), a fifth of the boards would be ready before the band
of day 10: nothing measured by then tells. **The air**: a loft whose EMC is about 9.5 % and a place outdoors of about
14.5 %, with season, day, weather over days, and slow swings that make each year another; on record are one or two years
before. The probe that logs it misreads by a constant of its own (standard deviation 3 %RH, or 1 for checked ones).

What no model of one section can follow, the lapse, was given its size by the first eighty of these
boards (`lapse_mc_pct`, `lapse_share`, `profile_share` in `drying.csv`): that pooled bands hold about 80 % is in part
set by that, how they fare cell by cell is not.

**Measured**: the mass every 2 to 12 days (0.3 %, and a scale wrong by 2 to 10 g); pins every 20 days at a quarter of
the thickness (scatter 1.2 %MC, bias of the board 1.5, above 27 % only “at least”). *With offcut*: one section dried in
the oven at the start, 1 to 2 %MC off the board's mean. *Prior alone*: the same without any measurement of the wood.

**Ready**: the first day on which the mean of the board over that day and the two before is at or below the target, for
truth and members alike. Scored are boards that in truth are not ready yet on days {", ".join(map(str, DAYS))}, and of
their members those that are not either; never at a share of the true time, which would give the answer away. That a
board is not ready yet is itself something that the program was not told: of boards with the same weights those whose
wood is lighter than thought are wetter, and it is they that are left on the later days. So without an offcut, which
tells the oven-dry mass, late forecasts lie early here by more than they would over all boards. Looked ahead is one
year; a later date counts as its end."""

CELLS_TEXT = """The 12 % target is asked for in the loft only; 20 % in both kinds of air. *Score*: Winkler's interval
score of the 80 % band on the logarithm of days from the start: its width, plus ten times the distance of a true date
outside; less is better. *Median error*: |middle member's date − true date| / true date, both in days from the start, of
boards ready within the look-ahead. *Floor*: what 1 %MC of error that no weighing can resolve makes of a date:
1 / ((target − EMC) ln((start − EMC) / (target − EMC))), as a share of the whole time. Of n boards chance alone moves a
share of 80 % by 40 / √n points (one standard error: 3 points for 200): a cell can miss a goal, or meet it, by that."""

HALF_TEXT = """The first scored day (5, 10, 15, 25, 35, 50, 70, 90, 120, 160) on which by the middle member at most half
of the water between start and target is left, or at least half of the time has passed, on boards not ready then. Half
of the water leaves in about the first third of the time. *EMC + 2.5 %*: ready when at or below 2.5 %MC
above the long-term EMC of this air for this wood, of the truth by its own isotherm, of each member by its own."""

NEVER_TEXT = """The chance that a board will not be ready within 365 days, against what came in its real coming year:
both targets in both kinds of air, on the cells' days, where the target lies at least 1.5 %MC from the least that a
month of that year's air would bring this wood to. The Brier score is the mean square of what the chance was off; that
of the base rate is what saying the same for all would earn."""

__all__ = ["PLAIN", "goals", "markdown", "table"]
