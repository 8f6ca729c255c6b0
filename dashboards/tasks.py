"""What to do before sanding, before spraying and afterwards: short lists by what the yard holds, never ticked off.

Each line is a row of ``cautions.csv``; its column ``applies_to`` names a condition of this file. A condition that
nobody has answered counts as met: an unread data sheet never shortens a list.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from dashboards import display, finish_now, finish_versions, safety
from dashboards.airs import by_subject
from dashboards.safety import Caution
from dashboards.situation import BoardNow, Situation
from kiln.records import Standing
from kiln.standing import MOULD
from shared import tables
from shared.store import facts
from shared.store.records import Degree, FinishFact, Origin, Outcome, OutcomeKind
from shared.tables import species

ANY = "any"
HARMFUL, MOULDY, RECLAIMED = "harmful wood", "mouldy board", "reclaimed wood"
ISOCYANATE, FORMALDEHYDE, UNREAD = "isocyanate", "formaldehyde", "sheet not read"
SOLVENT, DRYING_OIL, NITROCELLULOSE = "solvent", "drying oil", "nitrocellulose"
PEROXIDE, CHLORINATED = "peroxide", "chlorinated solvent"
SANDED_FOR = ("finish", "machine")  # uses before which a board is sanded or planed
NO_VAPOUR = re.compile(r"^(water|solids)\b", re.IGNORECASE)  # of a line of ingredients
NITRATED = re.compile(r"nitro-?cellulose|cellulose nitrate|collodion|pyroxylin|9004-70-0", re.IGNORECASE)
PEROXIDES = re.compile(r"peroxide|perox\b|\bMEKP\b|\bBPO\b|1338-23-4|94-36-0", re.IGNORECASE)
CHLORINATED_NAMES = re.compile(
    r"dichloromethane|methylene (di)?chloride|trichloro|tetrachloro|perchloroethylene|75-09-2|79-01-6|127-18-4",
    re.IGNORECASE,
)

Conditions = Mapping[str, tuple[str, ...]]  # those that are met, with whom they are met by; nobody: not known otherwise


@dataclass(frozen=True)
class Tasks:
    """The three lists of a day's work."""

    before_sanding: tuple[Caution, ...] = field(metadata={"help": "What to do before a sander or a saw starts"})
    before_spraying: tuple[Caution, ...] = field(metadata={"help": "What to do before a can is opened"})
    afterwards: tuple[Caution, ...] = field(metadata={"help": "What to do once it is done, and hours later"})


def of_yard(situation: Situation) -> Tasks:
    """Return the lists for this yard: its boards and the finishes on its shelf."""
    met = {**of_boards(situation), **of_finishes(on_the_shelf(situation))}
    return Tasks(before_sanding(met), before_spraying(met), afterwards(met))


def before_sanding(met: Conditions) -> tuple[Caution, ...]:
    """Return what to do before sanding and machining."""
    return _listed("before-sanding", met)


def before_spraying(met: Conditions) -> tuple[Caution, ...]:
    """Return what to do before spraying."""
    return _listed("before-spraying", met)


def afterwards(met: Conditions) -> tuple[Caution, ...]:
    """Return what to do afterwards, hours later too."""
    return _listed("afterwards", met)


def _listed(topic: str, met: Conditions) -> tuple[Caution, ...]:
    rows = [one for one in safety.on_topic(topic) if one.applies_to == ANY or one.applies_to in met]
    first = {one.applies_to: at for at, one in reversed(list(enumerate(rows)))}  # whom it is met by is said once a list
    return tuple(
        _named(one, met.get(one.applies_to, ()) if first[one.applies_to] == at else ()) for at, one in enumerate(rows)
    )


def _named(one: Caution, names: Sequence[str]) -> Caution:
    if not names:
        return one
    return replace(one, sentence=f"{one.sentence} Here: {display.first_few(names)}.")


# --- boards ----------------------------------------------------------------------------------------


def of_boards(situation: Situation) -> dict[str, tuple[str, ...]]:
    """Return the conditions that boards meet: those wanted for such work, or all where none is."""
    wanted = [one for one in situation.boards if one.plan is not None and one.plan.use in SANDED_FOR]
    boards = wanted or situation.boards
    among = {one.subject.id for one in boards}
    found = {
        HARMFUL: tuple(dict.fromkeys(_wood(one) for one in boards if _listed_for_dust(one.fact.species))),
        MOULDY: tuple(one.fact.name for one in mouldy(situation) if one.subject.id in among),
        RECLAIMED: tuple(one.fact.name for one in boards if one.fact.origin is Origin.RECLAIMED),
    }
    return {condition: names for condition, names in found.items() if names}


def mouldy(situation: Situation) -> list[BoardNow]:
    """Return the boards on which somebody found mould last time, or whose air is over the limit for it."""
    with situation.store.reading() as connection:
        told = by_subject(facts.standing(connection, Outcome))
    return [one for one in situation.boards if _found(told.get(one.subject.id, []), situation.now_ms) or _over(one)]


def _found(outcomes: Sequence[Outcome], now_ms: int) -> bool:
    of_mould = [one for one in outcomes if one.kind is OutcomeKind.MOULD and one.true_at_ms <= now_ms]
    return bool(of_mould) and of_mould[-1].degree is not Degree.NONE


def _over(board: BoardNow) -> bool:
    dangers = board.projection.dangers if board.projection is not None else None
    return dangers is not None and any(one.name == MOULD and one.standing is Standing.OVER for one in dangers.dangers)


def _listed_for_dust(botanical_name: str) -> bool:
    return bool(tables.dust_harms(botanical_name, "").listed)


def _wood(board: BoardNow) -> str:
    known = species().get(board.fact.species)
    return known.common_name if known is not None else board.fact.species


# --- finishes --------------------------------------------------------------------------------------


def on_the_shelf(situation: Situation) -> list[FinishFact]:
    """Return the finishes of the yard that are not closed, as they were entered."""
    with situation.store.reading() as connection:
        return [one.entered for one in finish_now.finishes(connection)]


def of_finishes(finishes: Sequence[FinishFact]) -> dict[str, tuple[str, ...]]:
    """Return the conditions that the finishes on the shelf meet; with an empty shelf, all but those of a group."""
    if not finishes:
        return dict.fromkeys((UNREAD, SOLVENT, DRYING_OIL, NITROCELLULOSE), ())
    judged = [finish_versions.as_judged(one) for one in finishes]
    found = {
        ISOCYANATE: [one.name for one in judged if one.isocyanate],
        FORMALDEHYDE: [one.name for one in judged if one.formaldehyde],
        UNREAD: [one.name for one in finishes if one.isocyanate is None or one.formaldehyde is None],
        SOLVENT: [one.name for one in finishes if _gives_vapour(one)],
        DRYING_OIL: [one.name for one in judged if one.self_heating is not False],
        NITROCELLULOSE: [one.name for one in finishes if _names(NITRATED, one)],
        PEROXIDE: [one.name for one in finishes if _names(PEROXIDES, one)],
        CHLORINATED: [one.name for one in finishes if _names(CHLORINATED_NAMES, one)],
    }
    met = {condition: tuple(names) for condition, names in found.items() if names}
    # A resin is often not named in a sheet: where there is oily waste, the other kind is to be kept from it
    return {NITROCELLULOSE: (), **met} if DRYING_OIL in met else met


def _names(pattern: re.Pattern[str], one: FinishFact) -> bool:
    """Whether a finish's name or one of its ingredients is such a thing."""
    return bool(pattern.search(f"{one.name}\n{one.ingredients}"))


def _gives_vapour(one: FinishFact) -> bool:
    """Whether anything in it but water and solids is named, or nothing is."""
    lines = [line.strip() for line in one.ingredients.splitlines() if line.strip()]
    return not lines or not all(NO_VAPOUR.match(line) for line in lines)
