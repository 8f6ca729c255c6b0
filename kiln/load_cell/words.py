"""What is said of each thing that happened to the weight on a load cell."""

from __future__ import annotations

from kiln.load_cell.records import Event, Kind, value
from kiln.spans import span_words

NAN = float("nan")
SLOW_DRIFT = (
    "A slow drift of the cell that no tare has caught cannot be told from drying: it is in the error of the weights, "
    "never in the weights."
)
NO_ZERO = (
    "Nobody has tared the cell or weighed the load: its zero is taken as nought, and only changes of weight mean "
    "anything."
)
NOT_ABSOLUTE = (
    "The load was changed and neither a tare nor a weigh-in has followed: what is on the cell now is told only by its "
    "changes. Weigh the load, or tare the cell."
)


def kg_words(mass_kg: float) -> str:
    """Return a mass in kg, below 1 kg in g, to three figures or to whole kg."""
    size = abs(mass_kg)
    if size < 0.9995:
        return f"{1000.0 * size:.3g} g"
    return f"{size:.0f} kg" if size >= 999.5 else f"{size:.3g} kg"


def tare(at_ms: int, drift_kg: float, error_kg: float, since_ms: int | None, *, seen: bool) -> Event:
    """Say that the zero is known here, and how far it moved in ``since_ms`` since it was known before."""
    opening = "Nothing was on the cell: its zero was seen" if seen else "The cell was tared"
    moved = "." if since_ms is None else f"; the zero {_moved(drift_kg, error_kg, span_words(since_ms))}."
    return Event(Kind.TARE, at_ms, at_ms, drift_kg, error_kg, opening + moved)


def _moved(drift_kg: float, error_kg: float, span: str) -> str:
    """Say which way the zero went, or that it did not go further than can be seen."""
    way = "up" if drift_kg > 0 else "down"
    if abs(drift_kg) <= error_kg:
        return f"moved by no more than the cell's error in {span} ({kg_words(drift_kg)} {way}, ± {kg_words(error_kg)})"
    return f"moved {way} by {kg_words(drift_kg)} in {span} (± {kg_words(error_kg)}), taken as having moved evenly"


def unloaded(start_ms: int, end_ms: int) -> Event:
    """Say that nothing was on the cell, which is a tare."""
    sentence = f"Nothing was on the cell for {span_words(end_ms - start_ms)}; what it read then is taken as its zero."
    return Event(Kind.UNLOADED, start_ms, end_ms, NAN, NAN, sentence)


def gap(start_ms: int, end_ms: int, *, over: bool) -> Event:
    """Say that the cell was silent, or still is."""
    silent = span_words(end_ms - start_ms)
    sentence = (
        f"No reading for {silent}." if over else f"No reading for {silent}: look at the cell, its wire, its power."
    )
    return Event(Kind.GAP, start_ms, end_ms, NAN, NAN, sentence, settled=over)


def excursion(start_ms: int, end_ms: int, step_kg: float, error_kg: float) -> Event:
    """Say that something was on or off for a while and the old weight came back."""
    way = "More" if step_kg > 0 else "Less"
    sentence = (
        f"{way} by {kg_words(step_kg)} for {span_words(max(end_ms - start_ms, 1))}, then back at the old weight: "
        "handled; these readings are left out."
    )
    return Event(Kind.EXCURSION, start_ms, end_ms, step_kg, error_kg, sentence)


def undecided(start_ms: int, end_ms: int, step_kg: float, error_kg: float) -> Event:
    """Say that the weight stepped so lately that nobody can tell what it is."""
    hours = value("aftermath_h" if step_kg > 0 else "excursion_h")
    cause = "Whether the load was changed, handled or rained on" if step_kg > 0 else "Whether it comes back"
    sentence = (
        f"{'More' if step_kg > 0 else 'Less'} by {kg_words(step_kg)} at once. {cause} shows within {hours:.0f} h."
    )
    return Event(Kind.EXCURSION, start_ms, end_ms, step_kg, error_kg, sentence, settled=False)


def changed(start_ms: int, end_ms: int, step_kg: float, error_kg: float) -> Event:
    """Say that something was put on or taken off."""
    done = "put on" if step_kg > 0 else "taken off"
    sentence = (
        f"{kg_words(step_kg)} ± {kg_words(error_kg)} was {done}: too quick for drying or damp air, and it stayed. "
        "What is on the cell since then is known by its changes only, until a tare or a weigh-in says what the load is."
    )
    return Event(Kind.LOAD_CHANGED, start_ms, end_ms, step_kg, error_kg, sentence)


def rain(start_ms: int, end_ms: int, most_kg: float, error_kg: float, *, recorded: bool) -> Event:
    """Say that water lay on the wood and went."""
    cause = "Rain" if recorded else "Rain or dew, it seems"
    sentence = (
        f"{cause}: up to {kg_words(most_kg)} more, gone after {span_words(end_ms - start_ms)}; left out until the "
        "weight was back where drying alone would have it."
    )
    return Event(Kind.RAIN, start_ms, end_ms, most_kg, error_kg, sentence)


def wet_since(start_ms: int, end_ms: int, most_kg: float, error_kg: float, *, recorded: bool) -> Event:
    """Say that water came and has not gone."""
    cause = "rain" if recorded else "rain or dew, it seems"
    sentence = (
        f"Wet for {span_words(max(end_ms - start_ms, 1))} ({cause}): up to {kg_words(most_kg)} more, not back where "
        "drying alone would have it; not used until it is, or until the dry load is weighed or the cell tared."
    )
    return Event(Kind.WET_SINCE, start_ms, end_ms, most_kg, error_kg, sentence, settled=False)
