"""A year of air as rows of days, one row a month: each day a plank end whose height and grain tell its mean EMC.

More ink is more water, as in the drawing of a pile. The heights of all rows shown run over what the days among them
came to, so that the course of the year is seen; a torn foot says that they do not begin at 0. Beside the mean stands a
thin line from the day's driest to its dampest hour. A day without readings is an outline, one with few is not filled.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from dashboards import display
from dashboards.months import Day

DAYS, SLOT, HIGH = 31, 12.0, 60.0
FOOT, HEAD = 50.0, 3.0
TOOTH = 3.0  # of the torn foot
FROM_ZERO_PCT = 2.0  # rows that would begin below this begin at 0
LEAST_REACH_PCT = 4.0  # so that a steady room is drawn steady
FEW_HOURS = 12  # below that many hours of record a day's mean is not the day's
# Steps are the drawing's own: heated rooms, what furniture meets, sheltered outdoors, damp, wood that moulds in time.
GRAINS = ((20.0, "4"), (16.0, "3"), (12.0, "2"), (8.0, "1"), (0.0, "0"))
COLUMNS = (2.0, 112.0, 262.0)  # of the legend; the middle one has the longest words
PITCH = {"1": 8.0, "2": 5.0, "3": 3.2}


@dataclass(frozen=True)
class Scale:
    """The EMC at the foot and at the head of every row [%MC]; what lies beyond is cut off, its figure is not."""

    foot_pct: float
    head_pct: float

    @property
    def torn(self) -> bool:
        """Whether the rows begin above 0."""
        return self.foot_pct > 0

    @property
    def words(self) -> str:
        """Both ends in words."""
        foot = "torn foot" if self.torn else "foot"
        return f"from {self.foot_pct:g} % at the {foot} of a row to {self.head_pct:g} % at its head"


def scale(days: Sequence[Day]) -> Scale:
    """Return a scale for the means of these days; for all that are known where each has but few hours."""
    known = [one for one in days if math.isfinite(one.emc_pct)]
    means = [one.emc_pct for one in known if one.hours >= FEW_HOURS] or [one.emc_pct for one in known] or [0.0]
    foot, head = math.floor(min(means) - 0.5), math.ceil(max(means) + 0.5)
    foot = 0 if foot < FROM_ZERO_PCT else foot
    return Scale(float(foot), float(max(head, foot + LEAST_REACH_PCT)))


def grain(emc_pct: float) -> str:
    """Return the name of the grain that an EMC is drawn with."""
    return next(name for least, name in GRAINS if emc_pct >= least)


def classes() -> tuple[tuple[str, str], ...]:
    """Return each grain with the EMC it stands for, driest first."""
    least = [one for one, _ in reversed(GRAINS)]
    above = [*least[1:], None]
    told = [
        f"below {high:g} %" if low == 0 else f"{low:g} % and more" if high is None else f"{low:g} to {high:g} %"
        for low, high in zip(least, above, strict=True)
    ]
    return tuple((name, words) for (_, name), words in zip(reversed(GRAINS), told, strict=True))


def legend() -> Markup:
    """Return what each grain stands for, drawn; the grains of all rows are defined in it."""
    patterns = "".join(
        f'<pattern id="grain-{name}" width="8" height="{pitch:g}" patternUnits="userSpaceOnUse">'
        f'<path class="grain" d="M0 {pitch / 2:g}H8"/></pattern>'
        for name, pitch in PITCH.items()
    )
    rows = []
    for index, (name, words) in enumerate(classes()):
        x, y = COLUMNS[index % 3], 8.0 + 34.0 * (index // 3)
        rows.append(_plank(x, y, 13.0, 22.0, name) + _words(words, x + 20, y + 16))
    x, y = COLUMNS[2], 42.0
    rows.append(f'<path class="outline" d="M{x + 0.5:g} {y + 0.5:g}h12v21h-12z"/>{_words("few hours", x + 20, y + 16)}')
    return Markup(
        '<svg class="legend" viewBox="0 0 372 72" role="img" aria-label="The more lines, the damper the day">'
        f"<defs>{patterns}</defs>{''.join(rows)}</svg>"
    )


def _words(text: str, x: float, y: float) -> str:
    return f'<text x="{x:g}" y="{y:g}" font-size="13">{escape(text)}</text>'


def _plank(x: float, y: float, wide: float, high: float, name: str) -> str:
    fill = {"0": "none", "4": "currentColor"}.get(name, f"url(#grain-{name})")
    kind = "plank full" if name == "4" else "plank"
    return f'<path class="{kind}" fill="{fill}" d="M{x:.1f} {y:.1f}h{wide:g}v{high:.1f}h{-wide:g}z"/>'


def month_row(days: Sequence[Day], label: str, on: Scale) -> Markup:
    """Return one month as a row of days on a common ground; ``label`` says it in words."""
    drawn = [_day(index, one, on) for index, one in enumerate(days)]
    wide = DAYS * SLOT
    teeth = f"l{TOOTH:g} {TOOTH:g} {TOOTH:g}-{TOOTH:g}" * round(wide / (2 * TOOTH))
    ground = f'<path class="ground" d="M0 {FOOT:g}{teeth if on.torn else f"H{wide:g}"}"/>'
    return Markup(
        f'<svg class="month-row" viewBox="0 0 {DAYS * SLOT:g} {HIGH:g}" role="img" aria-label="{escape(label)}">'
        f"{ground}{''.join(drawn)}</svg>"
    )


def _y(emc_pct: float, on: Scale) -> float:
    share = (emc_pct - on.foot_pct) / (on.head_pct - on.foot_pct)
    return FOOT - (FOOT - HEAD) * min(max(share, 0.0), 1.0)


def _day(index: int, one: Day, on: Scale) -> str:
    x = index * SLOT + 1.0
    monday = display.local(one.start_ms).weekday() == 0
    week = f'<path class="monday" d="M{x:.1f} {FOOT + TOOTH:g}v6"/>' if monday else ""
    if not math.isfinite(one.emc_pct):
        return f'{week}<path class="outline" d="M{x + 1:.1f} {FOOT:g}v-6h7v6"/>'
    y = _y(one.emc_pct, on)
    if one.hours < FEW_HOURS:
        body = f'<path class="outline" d="M{x:.1f} {FOOT:g}V{y:.1f}h9V{FOOT:g}"/>'
    else:
        body = _plank(x, y, 9.0, FOOT - y, grain(one.emc_pct))
    d = f"M{x + 4.5:.1f} {_y(one.low_pct, on):.1f}V{_y(one.high_pct, on):.1f}"
    return f'{week}{body}<path class="bed" d="{d}"/><path class="reach" d="{d}"/>'
