"""What is foretold of a board, in words: dates by chance, what limits them, and what came of earlier ones."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from dashboards import display
from kiln.records import Projection, Said
from kiln.spans import days_words
from shared.units import MS_PER_DAY, MS_PER_HOUR, g_from_kg

NOT_WITHIN = "not within a year"
EARLIEST = "1 in 10"  # the chance of the first date of a band
CHANCES = ("as likely as not", "8 in 10", "95 in 100")
MOVED_DAYS = 3  # a date that moves by less has not moved; ours
MOVED_SHARE = 0.1  # of its band: nor has one that moves by less than that; ours
# The last telling and today's projection are worked out with other numbers of boards, whose middles differ by chance:
# by about a fifth of the band at most (two standard errors of the medians of 32 and 64 normal draws)
SINCE_SHARE = 0.25
MOSTLY_OWN = 0.9  # of half the band: beyond it the measurements are said to make nearly all of it; ours
KILOGRAMS_FROM_KG = 10.0
FINE_BELOW_KG = 1.0

Dates = tuple[int | None, int | None, int | None]


@dataclass(frozen=True)
class Came:
    """One weigh-in: what was foretold after it, and what the next weight then was."""

    weighed: str = field(metadata={"help": "Day of the weigh-in"})
    mean: str = field(metadata={"help": "Mean moisture then, with its band"})
    date: str = field(metadata={"help": "When it would be fit, by what was known then, with its band"})
    foretold: str = field(metadata={"help": "The next weight as foretold, with its band"})
    came: str = field(metadata={"help": "What it then weighed, and when"})
    outside: str = field(metadata={"help": "lighter or heavier than the band; empty: inside, or nothing to compare"})


def date_words(at_ms: int | None, now_ms: int, told_ms: int | None = None) -> str:
    """Return a date; "now" when it is not later than the day of telling, and words when it is not within a year."""
    if at_ms is None:
        return NOT_WITHIN
    return "now" if at_ms <= (now_ms if told_ms is None else told_ms) else display.day(at_ms, now_ms)


def dates_by_chance(projection: Projection, now_ms: int) -> tuple[tuple[str, str], ...]:
    """Return by when it is fit as likely as not, with 8 chances in 10, and with 95 in 100."""
    dates = (date_words(one, now_ms, projection.known_until_ms) for one in projection.ready_by_ms)
    return tuple(
        (chance, date if date in ("now", NOT_WITHIN) else f"by {date}")
        for chance, date in zip(CHANCES, dates, strict=True)
    )


def limits(projection: Projection, now_ms: int) -> tuple[str, ...]:
    """Return what holds the date back, and what it rests on."""
    low, middle, high = projection.holds_mc_pct
    rest = ""
    if projection.chance_at_rest >= 0.5:
        rest = f" It lies within 1 % of that already: chance {display.chance(projection.chance_at_rest)}."
    floor = display.band(*projection.floor_mc_pct)
    found = [
        f"The air of the next month here holds it at {display.band(low, middle, high)}.{rest}",
        f"The floor here: {floor}, as expected around {display.day(projection.floor_ms, now_ms)}, in the driest month "
        "to come.",
    ]
    own = _own_floor(projection)
    return (*((own,) if own else ()), *found, taught_words(projection.boards_taught))


def _own_floor(projection: Projection) -> str:
    """How far its measurements alone leave the date open."""
    days, (first, middle, last) = projection.date_floor_days, projection.ready_ms
    if days is None or middle is None or middle <= projection.known_until_ms:
        return ""
    half = None if first is None or last is None else (last - first) / 2 / MS_PER_DAY
    if half is not None and days >= MOSTLY_OWN * half:
        return (
            "Nearly all of the date's band is for what its own measurements leave unknown of its water, whatever the "
            "air does."
        )
    return f"Its own measurements leave ± {days_words(max(1, round(days)))}, whatever the air does."


def taught_words(boards: int) -> str:
    """Return how many other boards bear on what is expected of this one."""
    if not boards:
        return "No other board has taught what to expect of this one."
    told = "1 other board" if boards == 1 else f"{boards} other boards"
    return f"{told} of its lot or wood taught what to expect of this one."


def weight(mass_kg: float) -> str:
    """Return a board's weight: kg from 10 kg on, else g."""
    if mass_kg >= KILOGRAMS_FROM_KG:
        return f"{mass_kg:.2f} kg"
    return f"{g_from_kg(mass_kg):.{1 if mass_kg < FINE_BELOW_KG else 0}f} g"


def mass_span(foretold_kg: tuple[float, float, float]) -> str:
    """Return between which weights 8 in 10 lie, each end with its unit where they differ."""
    low, _middle, high = foretold_kg
    lower, upper = weight(low), weight(high)
    number, _, unit = lower.partition(" ")
    return f"{number} to {upper}" if upper.endswith(f" {unit}") else f"{lower} to {upper}"


def outside(said: Said) -> str:
    """Return "lighter" or "heavier" where the next weight fell outside its band; else nothing."""
    if said.came_kg is None or said.foretold_kg is None:
        return ""
    low, _middle, high = said.foretold_kg
    return "lighter" if said.came_kg < low else "heavier" if said.came_kg > high else ""


def history(projection: Projection, now_ms: int) -> tuple[Came, ...]:
    """Return what was foretold after each weigh-in beside what came, the newest first."""
    return tuple(_came(one, now_ms) for one in reversed(projection.history))


def _told_ms(said: Said) -> int:
    """The moment from which on a date was told: the end of the hour of the weigh-in."""
    return said.at_ms + MS_PER_HOUR


def _came(said: Said, now_ms: int) -> Came:
    foretold, came = "not weighed since", display.NOTHING
    if said.next_ms is not None:
        foretold = mass_span(said.foretold_kg) if said.foretold_kg else "not to be compared"
        weighed = weight(said.came_kg) if said.came_kg is not None else "weighed"
        came = f"{weighed}, {display.day(said.next_ms, now_ms)}"
    return Came(
        display.day(said.at_ms, now_ms),
        display.band(*said.mc_pct),
        date_band(said.ready_ms, _told_ms(said), now_ms),
        foretold,
        came,
        outside(said),
    )


def fit_words(came: Came) -> str:
    """Return when a board would be fit, by what was known on a day, as part of a sentence."""
    return came.date if came.date.endswith(NOT_WITHIN) else f"fit {came.date}"


def next_words(came: Came) -> str:
    """Return the next weight as foretold and as it came, as part of a sentence."""
    if came.came == display.NOTHING:
        return came.foretold
    return f"next weight foretold {came.foretold}, came {came.came}{f' ({came.outside})' if came.outside else ''}"


def date_band(dates: Dates, told_ms: int, now_ms: int, on_the_day: str = "that day") -> str:
    """Return a date with its band as it was told on a day: "12 May (3 May – 1 June)".

    Where it is likelier than not that it is not fit within a year, and yet it may be, that is said in a sentence.
    """
    then = {"now": on_the_day, NOT_WITHIN: "later"}
    first, middle, last = (date_words(one, now_ms, told_ms) for one in dates)
    if dates[0] is None:
        return NOT_WITHIN
    if dates[1] is None:
        early = on_the_day if first == "now" else f"by {first}"
        return f"perhaps fit {early} ({EARLIEST}), but likelier {NOT_WITHIN}"
    if middle == last == "now":
        return on_the_day
    if middle == "now":
        return f"{on_the_day} (perhaps {NOT_WITHIN if last == NOT_WITHIN else f'not before {last}'})"
    year = f" {display.local(dates[1]).year}"
    ends = (then.get(one, one.removesuffix(year) if middle.endswith(year) else one) for one in (first, last))
    return f"{middle} ({' – '.join(ends)})"


def moves(projection: Projection, now_ms: int) -> tuple[str, ...]:
    """Return in words how the date moved from one weigh-in to the next and since, the newest first."""
    said = projection.history
    found = [_moved(one, after, now_ms) for one, after in pairwise(said)]
    if said and not projection.legs:
        found.append(_since(said[-1], projection, now_ms))
    return tuple(one for one in reversed(found) if one)


def _moved(before: Said, after: Said, now_ms: int) -> str:
    words = _move((before.ready_ms, _told_ms(before)), (after.ready_ms, _told_ms(after)), MOVED_SHARE, now_ms)
    if not words:
        return ""
    why = _why(before)
    return f"{words} with the weigh-in of {display.day(after.at_ms, now_ms)}{f' ({why})' if why else ''}."


def _since(last: Said, projection: Projection, now_ms: int) -> str:
    today = projection.ready_ms, projection.known_until_ms
    words = _move((last.ready_ms, _told_ms(last)), today, SINCE_SHARE, now_ms)
    since = f"since the weigh-in of {display.day(last.at_ms, now_ms)}"
    return f"{words} {since}, by the air that came and whatever else was entered." if words else ""


def _move(before: tuple[Dates, int], after: tuple[Dates, int], share: float, now_ms: int) -> str:
    """How a date moved between two tellings (dates, and when); empty: by less than that share of its band."""
    (old_dates, old_told_ms), (new_dates, new_told_ms) = before, after
    old, new = old_dates[1], new_dates[1]
    was_fit, is_fit = old is not None and old <= old_told_ms, new is not None and new <= new_told_ms
    if old == new or (was_fit and is_fit):
        return ""
    if old is None or new is None:
        shown = display.day(old or new or 0, now_ms)
        near, far = f"The date came within the year, to {shown},", f"The date moved from {shown} beyond a year"
        return near if old is None else far
    if abs(new - old) <= max(MOVED_DAYS * MS_PER_DAY, share * max(_width_ms(old_dates), _width_ms(new_dates))):
        return ""
    if is_fit and old <= new_told_ms:  # it came between the two, as foretold
        return ""
    to = "that very day" if is_fit else display.day(new, now_ms)
    return (
        f"It had been thought fit; the date moved to {to}"
        if was_fit
        else f"The date moved from {display.day(old, now_ms)} to {to}"
    )


def _width_ms(dates: Dates) -> float:
    """How wide the band of a date is; where its end is open, twice its first half."""
    first, middle, last = dates
    if first is None or middle is None:
        return 0.0
    return float(last - first) if last is not None else 2.0 * (middle - first)


def _why(before: Said) -> str:
    """What the next weight had to say to what was foretold of it."""
    if before.came_kg is None or before.foretold_kg is None:
        return ""
    shown = f"{weight(before.came_kg)}, foretold {mass_span(before.foretold_kg)}"
    words = {"heavier": "it had lost less than foretold", "lighter": "it had lost more than foretold"}
    return f"{words.get(outside(before), 'it weighed what was foretold')}: {shown}"


def score(projection: Projection) -> str:
    """Return how many weights came inside their bands; empty: none to compare."""
    inside, of = inside_their_bands(projection)
    if not of:
        return ""
    return f"Of {of} weights {inside} came inside {'its' if of == 1 else 'their'} band; 8 in 10 should."


def inside_their_bands(projection: Projection) -> tuple[int, int]:
    """Return how many weights came inside their bands, and of how many."""
    told = [one for one in projection.history if one.came_kg is not None and one.foretold_kg is not None]
    return sum(not outside(one) for one in told), len(told)
