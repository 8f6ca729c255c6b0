"""Checking a hygrometer over saturated salts: what it ought to read, and what its readings then are worth."""

from __future__ import annotations

from dashboards import display
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of, nothing_known
from dashboards.instrument_entries import READING_ERROR_RH_PCT
from dashboards.pages.forms import Field
from dashboards.pages.instrument_forms import NO_SALT, salt_options
from kiln import hygrometers
from kiln.records import Z80
from shared.tables import limit

SHOWN_RH_PCT = (30.0, 50.0, 70.0, 90.0)

FIELDS = (
    Field(
        "temperature_c",
        "Temperature there",
        "number",
        unit="°C",
        spoken="temperature",
        hint="Alone: what each salt makes.",
    ),
    Field("low_salt", "Drier salt", "choice", options=(NO_SALT, *salt_options()), spoken="low salt"),
    Field("low_read", "it read", "number", unit="%RH", spoken="low reading"),
    Field("high_salt", "Moister salt", "choice", options=(NO_SALT, *salt_options()), spoken="high salt"),
    Field("high_read", "it read", "number", unit="%RH", spoken="high reading"),
    Field("shows_pct", "Now it shows", "number", unit="%RH", spoken="reading now"),
)
HOW_TO = (
    "A slurry with more salt than water in a lidded box, the hygrometer above it, not in it; one temperature all "
    "round; some hours, until the figure stands still. Pure salt: table salt without iodine or free-flow agents."
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    t = asked.number("temperature_c", "temperature", 5.0, 40.0, "°C")
    points = _points(asked, t)
    if not points:
        return _table(t)
    calibration = hygrometers.calibrate(points)
    shown = asked.or_else("shows_pct", "reading now", 0.0, 100.0, "%RH", 50.0)
    true, error = float(calibration.apply(shown)), float(calibration.error_rh_pct(shown))
    return Answer(
        headline=f"{true:.1f} %RH",
        band=f"± {Z80 * error:.1f} holds eight in ten, when it shows {shown:g}",
        sentence=f"true = {display.number(calibration.offset_rh_pct, 2)} + {calibration.gain:.3f} × what it shows.",
        lines=tuple(_line(calibration, rh) for rh in SHOWN_RH_PCT),
        flags=_flags(calibration),
        next_step="Enter the check at the probe: from then on its readings are corrected when they are read; "
        "what it sent stays as it was.",
        formula=(
            "RH over a salt = a₀ + a₁t + a₂t² + a₃t³; two salts give offset and gain, one an offset only",
            "error² = the line's own + its bend beyond the checked span + the display's last digit + drift with age",
        ),
        bases=_bases(calibration.salts),
        validity="5 to 40 °C (potassium carbonate to 30 °C); best between the two salts; less than 15 %RH off.",
    )


def _points(asked: Asked, t: float) -> list[hygrometers.Point]:
    found = []
    for end in ("low", "high"):
        if asked.given(f"{end}_salt"):
            read = asked.number(f"{end}_read", f"{end} reading", 0.0, 104.0, "%RH")
            salt = hygrometers.find_salt(asked.text(f"{end}_salt")).formula
            found.append(hygrometers.Point(salt, t, read, READING_ERROR_RH_PCT))
    return found


def _line(calibration: hygrometers.Calibration, shown: float) -> Line:
    true = float(calibration.apply(shown))
    now, in_a_year = (Z80 * float(calibration.error_rh_pct(shown, years)) for years in (0.0, 1.0))
    return Line(f"When it shows {shown:g} %RH", f"{true:.1f} ± {now:.1f} %RH", f"± {in_a_year:.1f} after a year")


def _flags(calibration: hygrometers.Calibration) -> tuple[str, ...]:
    told = f"Unchecked it would count with ± {Z80 * limit('unchecked_hygrometer'):.1f} %RH."
    if len(calibration.salts) > 1:
        return (told,)
    return ("One salt tells an offset only: how it reads far from there stays uncertain.", told)


def _table(t: float) -> Answer:
    lines = []
    for salt in hygrometers.salts().values():
        if not salt.lowest_c <= t <= salt.highest_c:
            lines.append(
                Line(
                    f"{salt.name}, {salt.formula}",
                    "not at this temperature",
                    f"{salt.lowest_c:g} to {salt.highest_c:g} °C",
                )
            )
            continue
        rh = hygrometers.salt_rh_pct(salt.formula, t)
        status = "" if salt.status == "published" else f" ({salt.status})"
        lines.append(Line(f"{salt.name}, {salt.formula}", f"{rh:.1f} ± {salt.error.value:g} %RH{status}", salt.caution))
    return Answer(
        headline=f"{hygrometers.salt_rh_pct('MgCl2', t):.0f} and {hygrometers.salt_rh_pct('NaCl', t):.0f} %RH",
        band=f"over magnesium chloride and over table salt at {t:g} °C",
        sentence=HOW_TO,
        lines=tuple(lines),
        next_step="Read it over two of them, at least 20 %RH apart, and give both figures here.",
        formula=("RH over a salt = a₀ + a₁t + a₂t² + a₃t³, t in °C",),
        bases=_bases(tuple(hygrometers.salts())),
        validity="5 to 40 °C (potassium carbonate to 30 °C).",
    )


def _bases(formulas: tuple[str, ...]) -> tuple[Basis, ...]:
    held = hygrometers.salts()
    salts = dict.fromkeys((held[f].source.partition(";")[0], held[f].status) for f in formulas)
    errors = dict.fromkeys((held[f].error.source, held[f].error.status) for f in formulas)
    return (
        *(Basis(source, status) for source, status in salts),
        *(Basis(f"errors of the salts: {source}", status) for source, status in errors),
        *bases_of("hygrometers", "drift_rh_pct_per_year", "bend_outside"),
        *bases_of("limits", "unchecked_hygrometer"),
    )


QUESTION = Question(
    name="hygrometer",
    title="Hygrometer check",
    lead="What a hygrometer ought to read over saturated salts, and what its figures are worth afterwards.",
    fields=FIELDS,
    answer=answer,
    fill=nothing_known,
    wanted=("temperature_c",),
)
