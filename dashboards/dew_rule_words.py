"""What the rules about surface and dew point say in words: missed or not, and by how much. No word gives leave."""

from __future__ import annotations

from collections.abc import Sequence

from dashboards import display
from dashboards.dew_words import gap_figure, point
from kiln.control import Control
from kiln.dew_gap import Asks, Film, Held, Rule, State
from kiln.sentences import capital

WET_MISSED = {
    Film.WET: "missed",
    Film.UNSAID: "missed, if the sheet means the wet film too; ask whoever makes it",
    Film.COUNTED: "its margin is that cooling, which is not taken off twice",
    Film.BARE: "but it is about the surface before it is wet",
}
IN_SHORT = {Asks.GAP: "surface too near the dew point", Asks.WARMTH: "surface too cold", Asks.HUMIDITY: "air too damp"}


def counted(held: Sequence[Held], listed: int) -> str:
    """How many rules are missed, and of how many nobody can say; ``listed``: how many stand there in all."""
    over = sum(one.control is Control.OVER for one in held)
    unsaid = sum(one.control is Control.CANT_SAY for one in held)
    told = []
    if over:
        told.append(f"{over} of {len(held)} {_rules(len(held))} {'is' if over == 1 else 'are'} missed")
    if unsaid:
        told.append(f"of {unsaid} nobody can say")
    if not told:
        return "No rule that counts is missed; none of them gives leave."
    return f"{capital('; '.join(told))}.{_passed_over(listed - len(held))}"


def _passed_over(count: int) -> str:
    """Which of the rules that are listed do not count."""
    if not count:
        return ""
    rules = "1 more rule is" if count == 1 else f"{count} more rules are"
    return f" {rules} listed: the data sheet comes before {'it' if count == 1 else 'them'}."


def _rules(count: int) -> str:
    return "rule that counts" if count == 1 else "rules that count"


def limit_of(rule: Rule) -> str:
    """What a rule asks, as a figure."""
    unit, decimals = {Asks.GAP: ("C°", 1), Asks.HUMIDITY: ("%RH", 0), Asks.WARMTH: ("°C", 1)}[rule.asks]
    return display.with_unit(rule.value, unit, decimals)


def mark_name(rule: Rule) -> str:
    """The rule's name on the drawing."""
    if rule.sheet:
        return f"sheet, {limit_of(rule)}"
    return rule.short


def said(one: Held, state: State) -> str:
    """What one rule says to the gap."""
    return f"{_said(one, state)}{_wet(one)}"


def _said(one: Held, state: State) -> str:
    if one.by_wet:
        return f"{kept(one)} before it is wet." if one.control is Control.CANT_SAY else "Missed in the wet film."
    if one.control is Control.OVER:
        return f"{missed(one)}."
    if one.control is Control.NOT_SHOWN:
        return f"{kept(one)}."
    if one.short_by is not None:
        return "Can't say: the limit lies within the error."
    missing = "the air is not known" if state.air is None else "the surface is not known"
    return f"Can't say: {missing}."


def _wet(one: Held) -> str:
    """What the rule says to the surface under evaporating thinner, cooled as far as it is said to be."""
    if one.wet_gap_k is None:
        return ""
    left = display.with_unit(abs(one.wet_gap_k), "C°")
    stands = f"as little as {left} above" if one.wet_gap_k >= 0.0 else f"as much as {left} below"
    at = f" Under wet thinner {stands} the dew point"
    if not one.wet_missed:
        return f"{at}: not missed there either."
    return f"{at}: {WET_MISSED[one.rule.film]}."


def missed(one: Held) -> str:
    """By how much a rule is missed."""
    rule, by = one.rule, one.short_by
    whose = f"the sheet of {rule.whose}" if rule.sheet else "this rule's limit"
    if rule.asks is Asks.HUMIDITY:
        return f"Over {whose} by {display.with_unit(by, '%RH', 0)}"
    figure = display.with_unit(by, "C°")
    if rule.asks is Asks.WARMTH:
        return f"Colder than {whose} asks, by {figure}"
    even = "Even a piece as warm as the room is below" if one.by_air else "Below"
    return f"{even} {whose} by {figure}"


def kept(one: Held) -> str:
    """By how much more than it asks a rule is kept."""
    by = 0.0 if one.short_by is None else -one.short_by
    if one.rule.asks is Asks.HUMIDITY:
        return f"{display.with_unit(by, '%RH', 0)} drier than it asks"
    figure = display.with_unit(by, "C°")
    return f"{figure} warmer than it asks" if one.rule.asks is Asks.WARMTH else f"{figure} more than it asks"


def all_missed(held: Sequence[Held], state: State) -> str:
    """What each of these misses of its data sheet, in one sentence without its stop; empty where none does."""
    return "; ".join(_missed_of_sheet(one, state) for one in held if one.control is Control.OVER)


def _missed_of_sheet(one: Held, state: State) -> str:
    by, sheet = one.short_by or 0.0, f"the sheet of {one.rule.whose} asks"
    if one.rule.asks is Asks.HUMIDITY and state.air is not None:
        rh, more = display.with_unit(state.air.rh_pct, "%RH", 0), display.with_unit(by, "%RH", 0)
        return f"air {rh}, {more} damper than {sheet}"
    figure = display.with_unit(by, "C°")
    if one.rule.asks is Asks.WARMTH and state.surface_c is not None:
        return f"surface {display.with_unit(state.surface_c[1], '°C')}, {figure} colder than {sheet}"
    if state.gap_k is not None:
        return f"{gap_figure(state)}, {figure} less than {sheet}"
    return f"a piece as warm as the room stands nearer to its {point(state)} than {sheet}, by {figure}"


def missed_in_short(held: Sequence[Held]) -> str:
    """What is missed of a data sheet, in a few words."""
    asks = {one.rule.asks for one in held if one.control is Control.OVER}
    return display.listed([words for one, words in IN_SHORT.items() if one in asks])


def drawn(state: State, held: Sequence[Held]) -> str:
    """The drawing in words."""
    parts = []
    if state.air is not None and state.dew_c is not None:
        parts.append(f"room air {display.with_unit(state.air.temperature_c, '°C')}")
        parts.append(f"dew point {display.with_unit(state.dew_c[1], '°C')}")
    if state.surface_c is not None:
        parts.append(f"surface {display.with_unit(state.surface_c[1], '°C')}")
    for control, word in ((Control.OVER, "missed"), (Control.CANT_SAY, "can't say")):
        named = [mark_name(one.rule) for one in held if one.control is control]
        parts += [f"{word}: {', '.join(named)}"] if named else []
    return f"A scale of temperature: {'; '.join(parts)}."
