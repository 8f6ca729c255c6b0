"""How far a board or the pieces of a set will move, from what the yard knows of them: asked by pages and commands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from dashboards import display, weeks
from dashboards.answers.movement import RING_ANGLE
from dashboards.situation import BoardNow, SetNow, Situation
from kiln import joints, promise
from kiln.evidence import now_index
from kiln.joints import Mismatch, Side
from kiln.promise import Air, Moved
from kiln.records import Three
from kiln.sorption import NEAR_SATURATION_RH_PCT
from kiln.spans import month
from shared import tables
from shared.store import facts
from shared.store.records import Joint, PieceKind
from shared.units import mm_from_m

UNSAID = (PieceKind.OTHER, None)  # nobody said what they are: two alike in size are taken for halves
SHOWN_FROM_MM, SHOWN_FROM_PCT = 0.005, 0.005  # less rounds to nothing
STEP_FROM_MM = 0.02  # less nobody feels under a finger; ours


@dataclass(frozen=True)
class BoardPromise:
    """How far a board will move, for each air that it may come to."""

    code: str
    name: str
    now_mc_pct: Three | None  # p10, p50, p90 at the newest logged hour
    known_until_ms: int | None
    width_m: float
    thickness_m: float
    moved: tuple[Moved, ...]
    why_none: str  # why there is no figure; empty: there are some
    flags: tuple[str, ...]  # what they rest on that was not read in print, or cannot be known


@dataclass(frozen=True)
class JointPromise:
    """What two pieces of a set want from each other over the coming year; a above b is above 0."""

    name: str
    a: str
    b: str
    length_m: float
    mismatch: Mismatch | None  # along the joint
    step: Mismatch | None  # in thickness, of halves joined edge to edge
    wider: Mismatch | None  # in width, of the same
    why_none: str


@dataclass(frozen=True)
class SetPromise:
    """How far the halves of a set move together, and what its pieces want from each other."""

    code: str
    halves: tuple[BoardPromise, ...]
    joined: tuple[tuple[Air, Three], ...]  # change of the joined width [m], for each air that all halves have
    joints: tuple[JointPromise, ...]


def of_board(situation: Situation, board: BoardNow) -> BoardPromise:
    """Return how far a board will move, and why not where nothing can be said."""
    fact, made = board.fact, board.projection
    wood = tables.species().get(fact.species)
    plate = _plate(board)
    why = ""
    if made is None:
        why = "It has no projection yet, so what it holds today is not known."
    elif plate is None:
        why = f"No shrinkage of {wood.label if wood else fact.species} is in the tables; add it in a file of your own."
    now_pct: Three | None = None
    found: tuple[Moved, ...] = ()
    if made is not None:
        at = now_index(made)
        now_pct = (float(made.mean.p10[at]), float(made.mean.p50[at]), float(made.mean.p90[at]))
        found = promise.moved(plate, now_pct, _airs(situation, board)) if plate else ()
    return BoardPromise(
        code=board.subject.code,
        name=fact.name,
        now_mc_pct=now_pct,
        known_until_ms=made.known_until_ms if made else None,
        width_m=fact.width_m,
        thickness_m=fact.thickness_m,
        moved=found,
        why_none=why,
        flags=_flags(board, found),
    )


def _plate(board: BoardNow) -> promise.Plate | None:
    wood = tables.species().get(board.fact.species)
    if wood is None:
        return None
    fact = board.fact
    return promise.plate_of(wood, fact.thickness_m, fact.width_m, RING_ANGLE[fact.cut.value])


def _airs(situation: Situation, board: BoardNow) -> list[Air]:
    """The airs that a board may come to: of its place's weeks, where it is to live, and of houses."""
    found: list[Air] = []
    if board.place_id is not None:
        found += weeks.of_place(situation.store, board.place_id, situation.now_ms) or ()
    if board.plan is not None:
        plan = board.plan
        found.append(promise.air_of("where it is to live", plan.destination_temperature_c, plan.destination_rh_pct))
    return [*found, *promise.houses()]


def _flags(board: BoardNow, found: Sequence[Moved]) -> tuple[str, ...]:
    wood, flags = tables.species().get(board.fact.species), []
    if wood is not None and found and wood.shrinkage_status != "published":
        flags.append(f"The shrinkage of {wood.common_name} is {wood.shrinkage_status}.")
    if found and not any(one.air.start_ms is not None for one in found):
        flags.append("Not a week of air is on record where it is: no driest and wettest week.")
    if any(one.air.rh_pct >= NEAR_SATURATION_RH_PCT for one in found):
        flags.append("That air is near saturation: wood may come to more than any curve says.")
    return tuple(flags)


def halves(matched: SetNow) -> tuple[BoardNow, ...]:
    """Return the pieces that are joined edge to edge: those said to be twins, left and right, or two alike in size."""
    said = tuple(board for board in matched.boards if board.kind is PieceKind.TWIN)
    if len(said) > 1:
        return said

    def side(word: str) -> BoardNow | None:
        return next((b for b in matched.boards if word in matched.roles.get(b.subject.id, "").lower()), None)

    left, right = side("left"), side("right")
    if left is not None and right is not None:
        return left, right
    unsaid = [board for board in matched.boards if board.kind in UNSAID]
    for one, other in combinations(unsaid, 2):
        if (one.fact.thickness_m, one.fact.width_m) == (other.fact.thickness_m, other.fact.width_m):
            return one, other
    return ()


def of_set(situation: Situation, matched: SetNow) -> SetPromise:
    """Return how far the halves of a set move together, and what its pieces want from each other."""
    pair = halves(matched)
    each = tuple(of_board(situation, board) for board in pair)
    return SetPromise(matched.subject.code, each, _joined(each), _joints(situation, matched, pair))


def _joined(each: Sequence[BoardPromise]) -> tuple[tuple[Air, Three], ...]:
    """The sum of the halves for each air by its name; weeks of two places are not one air."""
    if len(each) < 2 or any(one.why_none for one in each):
        return ()
    by_air = [{one.air: one.width_m for one in board.moved} for board in each]
    common = [air for air in by_air[0] if all(air in other for other in by_air[1:])]
    return tuple((air, promise.joined_m([board[air] for board in by_air])) for air in common)


def _joints(situation: Situation, matched: SetNow, pair: tuple[BoardNow, ...]) -> tuple[JointPromise, ...]:
    pieces = {board.subject.id: board for board in matched.boards}
    with situation.store.reading() as connection:
        entered = facts.standing(connection, Joint, matched.subject.id)
    found = [
        _joint(pieces[one.a_board_id], pieces[one.b_board_id], one, pair)
        for one in entered
        if one.a_board_id in pieces and one.b_board_id in pieces
    ]
    said = {frozenset((one.a_board_id, one.b_board_id)) for one in entered}
    for a, b in combinations(pair, 2):
        if frozenset((a.subject.id, b.subject.id)) not in said:
            found.append(_joint(a, b, None, pair))
    return tuple(found)


def _joint(a: BoardNow, b: BoardNow, entered: Joint | None, pair: tuple[BoardNow, ...]) -> JointPromise:
    """A joint as it was entered; None: two halves along all of their length, the grain along the joint."""
    edge_to_edge = {a.subject.id, b.subject.id} <= {board.subject.id for board in pair}
    length_m = entered.length_m if entered else min(a.fact.length_m, b.fact.length_m)
    name = entered.name if entered else f"{a.subject.code} to {b.subject.code}, edge to edge"
    grains = (entered.grain_a_deg, entered.grain_b_deg) if entered else (0.0, 0.0)
    sides = _sides(a, b, grains)
    if isinstance(sides, str):
        return JointPromise(name, a.subject.code, b.subject.code, length_m, None, None, None, sides)
    at_ms, one, other = sides
    # Leaves of one board scatter alike; other pieces each for itself.
    alike = joints.twins_in_common() if edge_to_edge and a.fact.species == b.fact.species else 0.0
    flush = edge_to_edge and grains == (0.0, 0.0)
    return JointPromise(
        name=name,
        a=a.subject.code,
        b=b.subject.code,
        length_m=length_m,
        mismatch=joints.along(length_m, one, other, at_ms, alike),
        step=joints.step(one, other, at_ms, alike) if flush else None,
        wider=joints.wider(one, other, at_ms, alike) if flush else None,
        why_none="",
    )


def _sides(a: BoardNow, b: BoardNow, grains: tuple[float, float]) -> tuple[NDArray[np.int64], Side, Side] | str:
    """The moments and both sides, or why there are none."""
    plates = _plate(a), _plate(b)
    for board, plate in zip((a, b), plates, strict=True):
        if board.projection is None:
            return f"{board.fact.name} has no projection yet."
        if plate is None:
            return f"No shrinkage of the wood of {board.fact.name} is in the tables."
    stepped = joints.in_step(a.projection, b.projection) if a.projection and b.projection else None
    if stepped is None or plates[0] is None or plates[1] is None:
        return "Their projections have no weeks in common."
    at_ms, one, other = stepped
    return at_ms, Side(plates[0], grains[0], one), Side(plates[1], grains[1], other)


# --- in words --------------------------------------------------------------------------------------


def mm(change_m: float) -> str:
    """Return a signed change in mm, two figures after the point."""
    shown = mm_from_m(change_m)
    return display.number(shown if abs(shown) >= SHOWN_FROM_MM else 0.0, 2)


def band_mm(change_m: Three) -> str:
    """Return a change with its band: "−1.92 mm (−2.51 to −1.30)"."""
    return f"{mm(change_m[1])} mm ({mm(change_m[0])} to {mm(change_m[2])})"


def air_words(air: Air, now_ms: int) -> str:
    """Return an air's figures, and of a week on record when it began."""
    week = f", from {display.day(air.start_ms, now_ms)} on" if air.start_ms is not None else ""
    return f"{display.number(air.rh_pct, 0)} %RH, {display.number(air.temperature_c, 0)} °C{week}"


def rests_words(one: Moved) -> str:
    """Return the moisture at which a piece comes to rest, with its band, or that it may stay."""
    return f"{display.band(*one.mc_pct)}{'; it may stay as it is' if one.stays else ''}"


def joint_sentences(one: JointPromise) -> tuple[str, ...]:
    """Say what two pieces want from each other, and when it is the most."""
    if one.mismatch is None:
        return (one.why_none,)
    along = one.mismatch
    share_pct = 100.0 * along.most_m[1] / one.length_m
    share = "" if share_pct < SHOWN_FROM_PCT else f", {display.number(share_pct, 2)} % of its length,"
    found = [
        f"Along {display.millimetres(one.length_m)} mm of joint they come to differ by up to {_most(along)}{share} in "
        f"the coming year, most in {month(along.most_at_ms)}: {_which(one, along, 'longer', 'shorter')}."
    ]
    if one.step is not None and mm_from_m(one.step.most_m[2]) < STEP_FROM_MM:
        found.append(f"No step in thickness to speak of at the joint: less than {STEP_FROM_MM:g} mm all year.")
    elif one.step is not None:
        found.append(
            f"Step in thickness at the joint, flush today: up to {_most(one.step)}, most in "
            f"{month(one.step.most_at_ms)}: {_which(one, one.step, 'thicker', 'thinner')}."
        )
    if one.wider is not None:
        found.append(
            f"In width they come to differ by up to {_most(one.wider)}, most in {month(one.wider.most_at_ms)}: "
            f"{_which(one, one.wider, 'wider', 'narrower')}."
        )
    return tuple(found)


def _most(found: Mismatch) -> str:
    return f"{mm(found.most_m[1])} mm ({mm(found.most_m[0])} to {mm(found.most_m[2])})"


def _which(one: JointPromise, found: Mismatch, more: str, less: str) -> str:
    """Say which of the two is the larger then, where that can be told."""
    low, middle, high = found.extreme_m
    if low < 0.0 < high or abs(mm_from_m(middle)) < SHOWN_FROM_MM:
        return f"which of the two is {more} cannot be told"
    return f"{one.a} the {more if middle > 0 else less}"
