"""Wood out of the water: what was seen of it when it was lifted, what that changes, and the milder limit to its drying.

No diagnosis: marks are named, and what follows from them for drying, measuring and handling. The marks of bacterial
wood are those of E. M. Wengert: ring shake, "potentially a foul odor as well", in wood "difficult or impossible to dry
without checks, honeycomb, and so on" (Drying oak lumber, step 1, 2012).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from kiln import wood
from kiln.errors import refuse_unless
from kiln.sentences import capital, lower
from kiln.stress import LossLimit
from shared.tables import Species, constants

RECLAIMED = "water-reclaimed"
UNKNOWN = "unknown"
FRESH, BRACKISH, SALT = "fresh", "brackish", "salt"
SOUND, LOST, NONE_ON_IT = "sound", "lost", "none on it"
NO_SMELL, SOUR, TAR = "none", "sour or sulphurous", "tar or creosote"
FOUL_TOPIC, TAR_TOPIC, HEAVY_TOPIC, DUST_TOPIC = "foul-smell", "tar", "heavy-boards", "dust"
METAL_TOPIC = "grit-metal"
TARRED = "Tarred: ask before it goes indoors or to a machine."
FOUL_INDOORS = "Foul smell: into no closed room or van."
# The doors first, and from outside: "take it into the open air" would send somebody into the gas.
OUT_FIRST = (
    "Out first: open the doors from outside, let it air; nobody goes in alone; only then the wood, and stand upwind."
)


class Grade(StrEnum):
    """What the marks come to, in plain words."""

    CLEAR = "no mark of trouble seen"
    UNSEEN = "not looked at yet"
    DOUBTFUL = "doubtful"
    BACTERIAL = "marks of bacterial wood"


@dataclass(frozen=True)
class Signs:
    """What somebody saw and smelt when it was lifted, in the words of the store; None: nobody looked."""

    water: str = UNKNOWN
    sapwood: str = UNKNOWN
    shake: bool | None = None
    smell: str = UNKNOWN
    washed: bool = False
    metal_searched: bool = False
    light: bool = False  # lighter than any sound piece of its kind: see ``lighter_than_sound``


@dataclass(frozen=True)
class Triage:
    """A class, why, and what it changes."""

    grade: Grade
    weak: bool  # to be dried as slowly as bacterial wood
    reason: str
    changes: tuple[str, ...]  # for drying, measuring and sawing
    before_sawing: tuple[str, ...]  # what is to be done first; empty when it is done
    topics: tuple[str, ...]  # cautions that belong to it, keys of ``cautions.csv``
    next_step: str


def triage(signs: Signs) -> Triage:
    """Return the class of a piece by what was seen of it.

    Source: E. M. Wengert, Drying oak lumber, step 1, 2012 (shake, smell); Sinker log issues, 2005 (sapwood not
    usable, odd colours, weaker); the rest common practice, no source.
    """
    foul = signs.smell == SOUR
    grade, weak, reason = _grade(signs, foul=foul)
    before = _before_sawing(signs)
    return Triage(
        grade=grade,
        weak=weak,
        reason=reason,
        changes=(*_changes(grade, weak=weak), *_of_sapwood(signs.sapwood), *_of_water(signs.water)),
        before_sawing=before,
        topics=(
            *((FOUL_TOPIC,) if foul else ()),
            *((TAR_TOPIC,) if signs.smell == TAR else ()),
            HEAVY_TOPIC,
            METAL_TOPIC,
            DUST_TOPIC,
        ),
        next_step=_next_step(signs, grade, before, foul=foul),
    )


def first_of_all(found: Triage | None, of_foul: str = FOUL_INDOORS) -> str:
    """Return what stands before any other step with this wood, however it dries; empty: nothing does."""
    told = {FOUL_TOPIC: of_foul, TAR_TOPIC: TARRED}
    return " ".join(told[topic] for topic in (() if found is None else found.topics) if topic in told)


def lighter_than_sound(density_kg_m3: float, species: Species, mc_pct: float | None = None) -> bool:
    """Whether a density [kg/m³, water included] is below that of any sound piece of its species.

    ``mc_pct``: its moisture content [%MC] where that is known; None: as dry as a board can be, so that only wood that
    is light whatever it holds is told. Sound: basic gravity no more than ``outlying_sd`` (``audit.csv``) board-to-board
    deviations below the species' mean. Raises OutOfRange unless the density is above 0 and mc_pct not negative.
    Source: Wood Handbook FPL-GTR-282, 2021, Equations 4-9, 4-12 and 4-14; scatter in ``wood.csv``.
    """
    mc = constants("audit")["driest_mc_pct"].value if mc_pct is None else mc_pct
    shrinkage, fsp = species.shrinkage_volumetric_pct, species.fsp_pct
    own = float(wood.basic_specific_gravity_from_density(density_kg_m3, mc, shrinkage, fsp))
    below = constants("audit")["outlying_sd"].value * constants("wood")["basic_board_cv"].value
    return own < species.basic_specific_gravity * float(np.exp(-below))


def milder_loss(
    limit: LossLimit | None,
    species_name: str,
    origin: str,
    found: Triage | None,
    *,
    refractory: bool | None,
) -> LossLimit | None:
    """Return the safe daily loss of a board, made milder where it is refractory heartwood out of the water.

    ``limit``: the published or own one [%MC a day]; None stays None unless the wood is weak: no figure is invented.
    ``refractory``: whether the heartwood of ``species_name`` is; only True makes it milder: stain-prone sapwood wants
    air early. ``found``: None where nobody entered what was seen.
    Source: E. M. Wengert, Drying sinker wood, 2000, as a share of the pace of drying: ``reclaimed.csv``.
    """
    refuse_unless(
        limit is None or limit.pct_per_day > 0.0,
        f"safe daily loss of {species_name}",
        np.asarray(limit.pct_per_day if limit else 1.0),
        0.0,
        np.inf,
        "%MC a day",
    )
    if origin != RECLAIMED or refractory is not True:
        return limit
    weak = constants("reclaimed")["weak_loss"]
    cap = LossLimit(weak.value, f"{weak.source}: {weak.status}", weak.status) if found and found.weak else None
    if limit is None:
        return cap
    factor = constants("reclaimed")["milder_factor"]
    milder = LossLimit(
        limit.pct_per_day * factor.value,
        f"{limit.source}; times {factor.value:g} out of the water ({factor.source})",
        f"{limit.status}; times {factor.value:g} out of the water",
    )
    return cap if cap is not None and cap.pct_per_day < milder.pct_per_day else milder


def _grade(signs: Signs, *, foul: bool) -> tuple[Grade, bool, str]:
    """Return class, whether it is weak, and why."""
    if foul and signs.shake:
        return (
            Grade.BACTERIAL,
            True,
            "A foul smell together with splits along the rings (ring shake): wood with these marks can hardly be dried "
            "without checks and honeycomb.",
        )
    marks = []
    if signs.shake:
        marks.append("splits along the rings (ring shake), which hardly occur but in bacterial wood")
    if foul:
        marks.append("a foul smell, which bacteria leave, in the mud or in the wood")
    if signs.light:
        marks.append("lighter than any sound piece of its kind, as wood that has lost substance is")
    if marks:
        return Grade.DOUBTFUL, bool(signs.shake or signs.light), capital("; ".join(marks)) + "."
    if signs.shake is None or signs.smell == UNKNOWN:
        missing = [
            *(("nobody looked for splits along the rings",) if signs.shake is None else ()),
            *(("nobody smelt it",) if signs.smell == UNKNOWN else ()),
        ]
        return Grade.UNSEEN, False, capital(" and ".join(missing)) + "."
    return (
        Grade.CLEAR,
        False,
        "No foul smell and no splits along the rings. That does not show that the wood within is sound.",
    )


def _changes(grade: Grade, *, weak: bool) -> tuple[str, ...]:
    if weak:
        value = constants("reclaimed")["weak_loss"].value
        return (
            "Saw it thin, keep more thickness for collapse, and dry it very slowly: heartwood that is hard to dry no "
            f"faster than about {value:g} % MC a day (from memory).",
            "Try a few boards before sawing the rest; some may be fit for nothing but short pieces.",
        )
    slower = "Dry hard-to-dry heartwood more slowly than fresh wood; sapwood that stains wants air early."
    if grade is Grade.CLEAR:
        return (slower,)
    return (slower, "Keep more thickness for collapse until the first boards have shown themselves.")


def _of_sapwood(sapwood: str) -> tuple[str, ...]:
    if sapwood == LOST:
        return ("Its sapwood is lost: reckon the yield from the heartwood.",)
    if sapwood == SOUND:
        return ("Its sapwood looks sound; one adviser finds that of long-sunken logs not usable: judge it sawn.",)
    return ()


def _of_water(water: str) -> tuple[str, ...]:
    if water not in (BRACKISH, SALT):
        return ()
    return (
        f"From {water} water: salts mislead pin and capacitance meters; weigh it instead.",
        "Salts and minerals count into the oven-dry mass, so a section reads a little too dry.",
    )


def _before_sawing(signs: Signs) -> tuple[str, ...]:
    return (
        *(() if signs.washed else ("Wash off grit and mud.",)),
        *(() if signs.metal_searched else ("Search it for metal with a detector, after washing.",)),
    )


def _next_step(signs: Signs, grade: Grade, before: tuple[str, ...], *, foul: bool) -> str:
    if signs.smell == TAR:
        return "Do not saw it yet: ask the local authority what tarred or creosoted wood counts as there."
    if foul:
        return "Keep it in the open air, out of cellars and closed vans; " + lower(" ".join(before) or "saw it thin.")
    if grade is Grade.UNSEEN:
        return "Smell a fresh cut and look at the ends for splits along the rings; enter what you find."
    if before:
        return " ".join(before)
    return "Saw it thin, and weigh the boards."
