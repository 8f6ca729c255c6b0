"""What boards and stacks weigh before anybody lifts them: how that is known, how old it is, and the most it may be.

A board that was weighed weighs what it ought to by now; one that never was, what its sizes and its wood come to at its
projected moisture. Wood out of the water that was never weighed may still be soaked: that end decides. What is heavy
is told by the upper end of what is known, never by its middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboards import display, full_of_water
from dashboards.situation import BoardNow, StackNow
from kiln import lifting, next_weight, sawing
from kiln.control import Control, worst
from kiln.evidence import now_index
from kiln.records import WEIGHED, Z80, Projection, Three
from kiln.sentences import capital
from shared.store.records import Origin, WeighIn
from shared.tables import Species, species
from shared.units import MS_PER_DAY

KG = "kg"
CANT_SAY = Control.CANT_SAY.value.upper()
COARSE_FROM_KG = 10.0
GEAR = "Use gear, or enough people."
NINE_IN_10 = "9 in 10 "
SINCE = "its drying since is not reckoned, and wood that got wet is heavier"


@dataclass(frozen=True)
class Mass:
    """What a board or a stack weighs: one in ten lighter than the first figure, one in ten heavier than the last."""

    kg: Three | None  # None: it can't be said
    most_kg: float | None  # what decides: the upper end, or what it weighs if it is still soaked
    how: str  # how it is known, with its age; of one that can't be said why not
    at_ms: int | None  # when it was last weighed; None: never, or not since it was cut
    soaked: bool  # whether what decides is that it may still be soaked
    doubt: str = ""  # what speaks against the figure; empty: nothing does
    may_be_more: bool = False  # what is known leaves room for more than ``most_kg``

    @property
    def control(self) -> Control:
        """What can be said of lifting it by hand."""
        found = lifting.control_of(self.most_kg)
        return Control.CANT_SAY if self.may_be_more and found is Control.NOT_SHOWN else found


def of_board(board: BoardNow, now_ms: int) -> Mass:
    """Return what a board weighs at ``now_ms`` (UTC ms)."""
    wood = species().get(board.fact.species)
    last = next((one for one in reversed(board.weigh_ins) if one.true_at_ms >= board.fact.true_at_ms), None)
    doubt = full_of_water.remark(board.fact, board.weigh_ins)
    if last is not None:
        soaked_kg = sawing.mass(board.fact.volume_m3, wood).kg[2] if wood is not None else float("inf")
        return _weighed(board.projection, last, now_ms, doubt, soaked_kg)
    if wood is None:
        why = f"{board.fact.species} stands in no table, and nobody weighed it in these sizes: weigh it"
        return Mass(None, None, why, None, soaked=False, doubt=doubt)
    return _by_sizes(board, wood)


def _weighed(made: Projection | None, last: WeighIn, now_ms: int, doubt: str, soaked_kg: float) -> Mass:
    shown = f"weighed {words((last.mass_kg,))} {display.age(last.true_at_ms, now_ms)}"
    expected = None
    if made is not None:
        expected = next_weight.expected_kg(made, last.mass_kg, last.scale_error_kg, last.true_at_ms, now_ms)
    if expected is not None:
        how = f"{shown}, and dried since as its air let it"
        return Mass(expected, expected[2], how, last.true_at_ms, soaked=False, doubt=doubt)
    kg = lifting.as_weighed_kg(last.mass_kg, last.scale_error_kg)
    old = now_ms - last.true_at_ms > MS_PER_DAY and soaked_kg >= lifting.looked_at_kg()
    return Mass(kg, kg[2], f"{shown}; {SINCE}", last.true_at_ms, soaked=False, doubt=doubt, may_be_more=old)


def _by_sizes(board: BoardNow, wood: Species) -> Mass:
    """A board never weighed as it is now, by what is projected of it, or as wet as it came."""
    made, volume_m3 = board.projection, board.fact.volume_m3
    reclaimed = board.fact.origin is Origin.RECLAIMED
    soaked = sawing.mass(volume_m3, wood)
    if made is None:
        return _as_it_came(soaked, wood, volume_m3, reclaimed=reclaimed)
    at = now_index(made)
    low, mc, high = (float(band[at]) for band in (made.mean.p10, made.mean.p50, made.mean.p90))
    cut = bool(board.weigh_ins)
    if not cut and _on_a_cell(made):
        kg = lifting.with_water_kg(made.oven_dry_mass_kg, (low, mc, high))
        return Mass(kg, kg[2], "by the load cell that it was on, and its drying since", None, soaked=False)
    kg = sawing.mass(volume_m3, wood, mc, (high - low) / 2.0 / Z80).kg
    how = f"never weighed{' since it was cut' if cut else ''}: by its sizes, the density of its wood and its moisture"
    if reclaimed and not cut and not board.oven_dry and soaked.kg[2] > kg[2]:
        told = f"{how}; {words(soaked.kg)} if it is still soaked"
        return Mass(kg, soaked.kg[2], told, None, soaked=True)
    return Mass(kg, kg[2], how, None, soaked=False)


def _as_it_came(soaked: sawing.Mass, wood: Species, volume_m3: float, *, reclaimed: bool) -> Mass:
    how = "never weighed, and its moisture is not projected: by its sizes and the density of its wood, "
    known = [mc for mc in (wood.green_mc_heart_pct, wood.green_mc_sap_pct) if mc is not None]
    if reclaimed or not known:
        return Mass(soaked.kg, soaked.kg[2], f"{how}soaked", None, soaked=True)
    kg = sawing.mass(volume_m3, wood, max(known)).kg
    return Mass(kg, kg[2], f"{how}as wet as it grows", None, soaked=False)


def _on_a_cell(made: Projection) -> bool:
    return any(one.kind in WEIGHED for one in made.measured)


@dataclass(frozen=True)
class StackMass:
    """What a whole stack weighs, without stickers, roof and weights: for floor, bearers and gear, not for hands."""

    mass: Mass  # its ``control`` is of lifting by hand, and says nothing here
    counted: str  # which boards were added up
    heaviest: BoardNow | None  # the board that may be heaviest; None: none can be told


def of_stack(stack: StackNow, now_ms: int) -> StackMass | None:
    """Return what a stack weighs, with boards that were not entered taken like those that were; None: it is empty."""
    if not stack.boards:
        return None
    parts = [(board, of_board(board, now_ms)) for board in stack.boards]
    known = [(board, one) for board, one in parts if one.kg is not None and one.most_kg is not None]
    in_all = max(stack.fact.boards_in_all or 0, len(parts))
    counted = _counted(len(parts), in_all)
    if not known:
        why = "what its boards weigh can't be said: weigh one"
        return StackMass(Mass(None, None, why, None, soaked=False), counted, None)
    heaviest = max(known, key=lambda pair: pair[1].most_kg or 0.0)[0]
    return StackMass(_sum([one for _board, one in known], len(parts), in_all), counted, heaviest)


def _sum(known: Sequence[Mass], entered: int, in_all: int) -> Mass:
    """Add up as if all were light, or all heavy, together; what is not known of some is said, never left out."""
    share = in_all / len(known)
    low, middle, high = (share * sum(one.kg[at] for one in known if one.kg is not None) for at in range(3))
    missing = entered - len(known)
    doubt = ""
    if missing:
        doubt = f"of {missing} of its boards it can't be said, and they are taken like the others: it may be more"
    return Mass(
        kg=(low, middle, high),
        most_kg=share * sum(one.most_kg or 0.0 for one in known),
        how="the sum of its boards, as if all were light, or all heavy, together",
        at_ms=None,
        soaked=any(one.soaked for one in known),
        doubt=doubt,
        may_be_more=missing > 0,
    )


def _counted(entered: int, in_all: int) -> str:
    told = f"{entered} board{'s' if entered > 1 else ''} entered"
    return f"{told}, taken {in_all / entered:.3g} times for the {in_all} that lie in it" if in_all > entered else told


def worst_of(masses: Sequence[Mass]) -> Control:
    """Return the worst word among some masses; of none nothing can be said."""
    return worst(*(one.control for one in masses))


# --- in words --------------------------------------------------------------------------------------


def words(kg: Sequence[float]) -> str:
    """Return a mass, or its band from the first figure to the last: "84 kg", "7.4 kg", "78–91 kg"."""
    low, high = kg[0], kg[-1]
    decimals = 0 if high >= COARSE_FROM_KG else 1
    first, last = display.number(low, decimals), display.number(high, decimals)
    return f"{last} {KG}" if first == last else f"{first}–{last} {KG}"


def headline(one: Mass) -> str:
    """Return the figure to be seen first: what nine in ten such boards stay below, mud and bark not counted."""
    return CANT_SAY if one.most_kg is None else f"{NINE_IN_10}below {words((one.most_kg,))}"


def stack_headline(one: Mass) -> str:
    """Return the figure of a stack: the sum of its boards, as if all were heavy together."""
    return CANT_SAY if one.most_kg is None else f"up to {words((one.most_kg,))}"


def drawn(one: Mass) -> str:
    """Return the figure as it stands in a drawing, where room is short."""
    return headline(one).removeprefix(NINE_IN_10)


def band(one: Mass) -> str:
    """Return the middle with its band; empty: it can't be said."""
    if one.kg is None:
        return ""
    middle, span = words((one.kg[1],)), words(one.kg)
    return f"about {middle}" if middle == span else f"about {middle}; {span} holds 8 in 10"


def before_lifting(one: Mass, now_ms: int) -> str:
    """Return the line that stands on a board's page; empty: what is known lies under the figure."""
    weighed = "not weighed in these sizes" if one.at_ms is None else f"weighed {display.age(one.at_ms, now_ms)}"
    if one.control is Control.CANT_SAY:
        return f"What it weighs now can't be said: {one.how}."
    if one.control is not Control.OVER or one.kg is None:
        return ""
    most, span = f"9 in 10 stay below {words((one.most_kg or 0.0,))}", f"{words(one.kg)} holds 8 in 10"
    if one.soaked:
        projected = "" if one.most_kg == one.kg[2] else "as it is projected "
        return f"If it is still soaked, {most}, mud not counted; {projected}{span}; {weighed}. {GEAR}"
    return f"{capital(most)}: {span}; {weighed}. {GEAR}"


def reckoned(one: Mass) -> str:
    """Return what a board is reckoned to weigh that nobody weighed, with its soaked end; empty: it can't be said."""
    if one.kg is None or one.most_kg is None:
        return ""
    if not one.soaked:
        return f"reckoned {band(one)}"
    if one.most_kg == one.kg[2]:  # nothing is known of it but that it was soaked
        return f"reckoned as soaked {band(one)}, mud not counted"
    return f"reckoned {band(one)}; still soaked 9 in 10 stay below {words((one.most_kg,))}, mud not counted"


def in_short(one: Mass) -> str:
    """Return the same for a list, in a few words; empty where nothing is to be said."""
    if one.control is Control.CANT_SAY:
        return "Its weight can't be said. Gear first."
    if one.control is not Control.OVER:
        return ""
    return f"{capital(headline(one))}{' if soaked' if one.soaked else ''}. Use gear."


def stack_words(stack: StackNow, now_ms: int) -> str:
    """Return what stands on a stack's page, for floor, bearers and gear; empty: no board lies in it.

    No figure of lifting by hand is held against it: nobody lifts a stack.
    """
    found = of_stack(stack, now_ms)
    if found is None:
        return ""
    one = found.mass
    if one.kg is None:
        return f"What it weighs can't be said: {one.doubt or one.how}."
    soaked = " if still soaked" if one.soaked else ""
    doubt = f" {capital(one.doubt)}." if one.doubt else ""
    most = words((one.most_kg or 0.0,))
    return f"As a whole up to {most}{soaked}, for floor, bearers and gear; stickers, roof and weights on top.{doubt}"
