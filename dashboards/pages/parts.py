"""What several pages show: a verdict, a line with an age, an entry that can be taken back, the frame around all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from markupsafe import Markup

from dashboards import display, marks
from dashboards.pages import conditions
from dashboards.pages.conditions import GateLine as GateLine
from dashboards.roles import May
from kiln.records import Band, Projection, Verdict, Word
from kiln.together import waits_for_a_moment
from shared import tables
from shared.store.records import Override


@dataclass(frozen=True)
class Link:
    """A name that leads somewhere."""

    text: str = field(metadata={"help": "What it says"})
    to: str = field(metadata={"help": "Path that it leads to; empty when nowhere"})


@dataclass(frozen=True)
class Frame:
    """What stands around every page."""

    path: str = field(metadata={"help": "Path and query of this page, fetched again when news arrives; empty: never"})
    beat: str = field(metadata={"help": "What the live stream said just before this page was read"})
    section: str = field(metadata={"help": "Which entry of the menu is lit"})
    demo: bool = field(metadata={"help": "Whether to say that the data are invented"})
    csrf: str = field(metadata={"help": "Token that every form carries"})
    by: str = field(metadata={"help": "Name that this browser last entered something under"})
    said: str = field(metadata={"help": "What was just done, said once"})
    undo_kind: str = field(metadata={"help": "Kind of the entry just made, to take it back; empty when none"})
    undo_id: str = field(metadata={"help": "Number of that entry"})
    undo_words: str = field(metadata={"help": "What the button says that takes it back or puts it back"})
    undo_back: str = field(metadata={"help": "Page to come back to after that; empty: that of what it is about"})
    leads: tuple[Link, ...] = field(metadata={"help": "What comes next after what was just done"})
    may: May = field(metadata={"help": "What whoever looks may do: forms and undo buttons are shown by it"})
    may_sign_out: bool = field(metadata={"help": "Whether a password is set, so that signing out means something"})
    read_at: str = field(metadata={"help": "Moment at which the store was read"})


@dataclass(frozen=True)
class VerdictView:
    """A verdict as it is shown."""

    key: str = field(metadata={"help": "Its word as a style: ready, wait, stop, unsure"})
    mark: Markup = field(metadata={"help": "The joint mark"})
    word: str = field(metadata={"help": "READY, WOOD DRY ENOUGH, WAIT, STOP or CAN'T SAY"})
    number: str = field(metadata={"help": "The one figure, with its unit"})
    reason: str = field(metadata={"help": "Why, in a sentence"})
    next_step: str = field(metadata={"help": "What to do next"})
    chance: str = field(metadata={"help": "Chance that the piece is fit now; empty when not known"})
    chance_of: str = field(metadata={"help": "What that is the chance of"})
    gates: tuple[GateLine, ...] = field(metadata={"help": "The conditions that are not met, the worst first"})
    met: tuple[GateLine, ...] = field(metadata={"help": "Those that are met, as the judgement ordered them"})
    met_told: str = field(metadata={"help": "Which are met, in one line; empty: none"})
    pieces: tuple[GateLine, ...] = field(metadata={"help": "Of a set or stack, the verdict on each piece"})
    pieces_told: str = field(metadata={"help": "How many pieces there are of each word"})
    evidence: tuple[str, ...] = field(metadata={"help": "What it rests on, with ages"})
    overridden: str = field(metadata={"help": "Who goes ahead whatever it says, and why; empty: nobody"})
    as_before: bool = field(
        default=False, metadata={"help": "Whether an entry is being worked in, and what stands below is from before it"}
    )
    on_the_day: str = field(
        default="", metadata={"help": "Whether it will be fit on the day it is booked for; or empty"}
    )


@dataclass(frozen=True)
class EntryLine:
    """An entry in a list, with the button that takes it back."""

    kind: str = field(metadata={"help": "Kind of entry, as undo knows it"})
    number: int = field(metadata={"help": "Number of the entry"})
    figure: str = field(metadata={"help": "What was entered"})
    when: str = field(metadata={"help": "From when it is true"})
    by: str = field(metadata={"help": "Who entered it"})
    note: str = field(metadata={"help": "How it fits the projection; empty when nothing is known"})
    word: str = field(default="", metadata={"help": "What people call this kind of entry; empty: as undo knows it"})


@dataclass(frozen=True)
class Moisture:
    """A board's moisture at the newest moment with logged air."""

    mean: str = field(metadata={"help": "Mean through the thickness, with its band"})
    shell: str = field(metadata={"help": "Shell, with its band"})
    core: str = field(metadata={"help": "Core, with its band"})
    emc: str = field(metadata={"help": "Moisture that the air of that moment leads to"})
    age: str = field(metadata={"help": "Age of the newest logged air that it uses"})
    mean_pct: float = field(metadata={"help": "Mean, middle of its band [%MC]"})
    shell_pct: float = field(metadata={"help": "Shell, middle of its band [%MC]"})
    core_pct: float = field(metadata={"help": "Core, middle of its band [%MC]"})


def verdict_view(verdict: Verdict, override: Override | None = None) -> VerdictView:
    """Return a verdict as it is shown; ``override``: who goes ahead whatever it says.

    While an entry is being worked in, the chances are left out: they are those of before it.
    """
    as_before = waits_for_a_moment(verdict)
    if as_before:
        verdict = _without_chances(verdict)
    return VerdictView(
        key=marks.WORD_KEYS[verdict.word],
        mark=marks.joint(verdict.word),
        word=verdict.word.value,
        number=verdict.number,
        reason=verdict.reason,
        next_step=verdict.next_step,
        chance=display.chance(verdict.probability),
        chance_of=f"Chance that {'the wood is dry enough' if verdict.word is Word.DRY_ENOUGH else 'it is fit now'}",
        gates=conditions.open_lines(verdict.gates),
        met=conditions.met_lines(verdict.gates),
        met_told=conditions.met_words(verdict.gates),
        pieces=conditions.piece_lines(verdict.pieces),
        pieces_told=conditions.pieces_words(verdict.pieces),
        evidence=tuple(verdict.evidence),
        overridden="" if override is None else _overridden(override),
        as_before=as_before and bool(verdict.gates),
        on_the_day=verdict.on_the_day.sentence if verdict.on_the_day else "",
    )


def _without_chances(verdict: Verdict) -> Verdict:
    gates = tuple(replace(gate, probability=None) for gate in verdict.gates)
    pieces = tuple(replace(piece, probability=None) for piece in verdict.pieces)
    return replace(verdict, probability=None, gates=gates, pieces=pieces)


def _overridden(override: Override) -> str:
    when = display.moment(override.true_at_ms)
    use = tables.uses()[override.use].label.lower()
    return f"{override.entered_by} goes ahead all the same ({use}, {when}): {override.reason.rstrip('.')}."


def now_index(projection: Projection) -> int:
    """Return the index of the newest moment that still rests on logged air."""
    return max(0, int(np.searchsorted(projection.at_ms, projection.known_until_ms, side="right")) - 1)


def moisture(projection: Projection, now_ms: int) -> Moisture:
    """Return a board's moisture now, each figure with its band."""
    index = now_index(projection)

    def shown(band: Band) -> str:
        return display.band(float(band.p10[index]), float(band.p50[index]), float(band.p90[index]))

    return Moisture(
        mean=shown(projection.mean),
        shell=shown(projection.shell),
        core=shown(projection.core),
        emc=display.with_unit(float(projection.emc.p50[index]), "%"),
        age=display.age(projection.known_until_ms, now_ms),
        mean_pct=float(projection.mean.p50[index]),
        shell_pct=float(projection.shell.p50[index]),
        core_pct=float(projection.core.p50[index]),
    )


def mean_mc_pct(board: Any) -> float | None:
    """Return a board's mean moisture now [%MC]; None without a projection."""
    if board.projection is None or len(board.projection.at_ms) == 0:
        return None
    return float(board.projection.mean.p50[now_index(board.projection)])


def board_ends(boards: Sequence[Any]) -> list[marks.BoardEnd]:
    """Return boards as they are drawn in a pile."""
    thickest = max((board.fact.thickness_m for board in boards), default=1.0)
    return [
        marks.BoardEnd(
            board.subject.code,
            f"/board/{board.subject.code}",
            mean_mc_pct(board),
            board.verdict.word,
            board.fact.thickness_m / thickest,
        )
        for board in boards
    ]


def newest_weigh_in_ms(boards: Sequence[Any]) -> int | None:
    """Return when any of these boards was last weighed."""
    return max((one.true_at_ms for board in boards for one in board.weigh_ins), default=None)


def place_by_id(situation: Any, place_id: int | None) -> Any | None:
    """Return the place with this id as it is now."""
    return next((place for place in situation.places if place.subject.id == place_id), None)


def place_link(situation: Any, place_id: int | None) -> Link:
    """Return the name of a place, leading to its page."""
    place = place_by_id(situation, place_id)
    return Link("nowhere yet", "") if place is None else Link(place.fact.name, f"/place/{place.subject.code}")


def air_age(situation: Any, place_id: int | None) -> str:
    """Return how old the newest air of a place is, in words."""
    place = place_by_id(situation, place_id)
    if place is None or place.air is None:
        return "no air logged"
    return f"air {display.age(place.air.at_ms, situation.now_ms)}"


def is_trouble(word: Word) -> bool:
    """Return whether a verdict asks for something to be done today."""
    return word in (Word.STOP, Word.CANT_SAY)
