"""What was said then: the whole yard, or some boards of it, judged again from what was known at an earlier time.

The program runs as it is on the store as it was known (``shared.store.as_known``); projections are worked out in
memory. Two ways to look back: as it was known then, which gives what was told; and with ``hindsight``, as it is known
now to have been, for a history that was typed in or imported after it happened.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

from dashboards import display, fields, projection, situation, teaching
from dashboards.projection_json import from_json
from dashboards.situation import BoardNow, Bodies, SetNow, Situation
from dashboards.yard_entries import Entries, read_entries
from kiln.doubts import MOMENT
from shared import tables
from shared.errors import Refused
from shared.settings import Settings
from shared.store import Store, facts, verdicts
from shared.store.as_known import AsKnown
from shared.store.records import CachedProjection, KeptVerdict, Subject, SubjectKind, UsePlan

NOT_ASKED = "its projection for that time was not asked for"
NOT_KEPT = (
    "Not kept from then, so taken as they are now: the flags on readings (a spike or a stuck figure is often seen only "
    "by what follows it), the settings, your own file of timbers, and the rules and tables of this program. Where "
    "single readings were cleared away since, the means of ten minutes stand in for them."
)
AS_KNOWN = "From what had been entered, and what readings had arrived, by then: later corrections do not count."
IN_HINDSIGHT = (
    "As it is known now: everything that was true or measured by then counts, whenever it was entered or arrived, with "
    "all corrections made since. Moves planned then are left out."
)


class NothingKnown(Refused):
    """Nothing had been entered of a thing by the time that was asked for."""


@dataclass(frozen=True)
class Then:
    """A board or set as it was judged again, and the yard around it."""

    now: Situation
    thing: BoardNow | SetNow
    at_ms: int
    hindsight: bool
    told: KeptVerdict | None  # what the journal says was told of it last by then; None: nothing yet

    @property
    def how(self) -> str:
        """What it rests on, in a sentence."""
        return IN_HINDSIGHT if self.hindsight else AS_KNOWN


@dataclass(frozen=True)
class Change:
    """A moment from which the journal of verdicts has another word of a thing; an empty word: nothing more is said."""

    at_ms: int
    word: str
    number: str
    reason: str
    use: str = ""  # what it was from then on wanted for, where the use was changed and not the word


def then(
    store: Store, at_ms: int, settings: Settings, board_ids: Collection[int] | None = None, *, hindsight: bool = False
) -> Situation:
    """Return the yard as it was at ``at_ms`` (UTC ms), worked out from what was known then; nothing is kept.

    ``board_ids``: the boards to project, which takes a second or so each, None: all of them; others are there without
    a projection. Raises no error where nothing was known yet: the yard is empty then.
    """

    def asked_for(entries: Entries) -> Collection[int]:
        return entries.boards.keys() if board_ids is None else board_ids

    return _then(store, at_ms, settings, asked_for, hindsight=hindsight)


def _then(
    store: Store, at_ms: int, settings: Settings, boards: Callable[[Entries], Collection[int]], *, hindsight: bool
) -> Situation:
    with AsKnown(store, at_ms, hindsight=hindsight).held() as past:
        with past.reading() as connection:
            entries = read_entries(connection, at_ms, settings)
        asked = entries.boards.keys() & set(boards(entries))
        bodies = dict.fromkeys(entries.boards, NOT_ASKED) | _projected(past, entries, asked, at_ms, settings)
        found = situation.read(past, at_ms, settings, bodies)
    # How recorder and watch were doing is not kept, and says nothing about them now.
    return replace(found, recorder_note="", watch_note="")


def _projected(past: Store, entries: Entries, asked: Collection[int], at_ms: int, settings: Settings) -> Bodies:
    """The projections asked for, and those that they go by: of boards on which harm was found."""
    memory = projection.Memory()
    kept: dict[int, CachedProjection] = {}
    woods = {entries.boards[one].fact.species for one in asked}
    harmed = [one for wood in sorted(woods) for one in teaching.harmed_boards(entries, wood)]
    for one in [*harmed, *sorted(asked)]:  # a harmed board that was asked for goes by its own, too
        worked = projection.worked_out(past, one, at_ms, settings, memory, dict(kept))
        kept[one] = CachedProjection(one, worked.key, at_ms, worked.body)
    return {one: from_json(made.body) for one, made in kept.items()}  # rounded as when it is read from the cache


def of_thing(
    store: Store,
    kind: SubjectKind,
    code: str,
    at_ms: int,
    now_ms: int,
    settings: Settings,
    *,
    hindsight: bool = False,
) -> Then:
    """Return a board or set as it was at a moment (UTC ms), with its pieces.

    Raises BadInput for a code that there is not and for a time that has not come; NothingKnown, saying so, where
    nothing was known of it at that time.
    """
    fields.past_ms("time", at_ms, now_ms)
    with store.reading() as connection:
        subject = facts.subject(connection, kind, code)
        told = verdicts.latest_by_subject(connection, at_ms).get(subject.id)

    def pieces(entries: Entries) -> Collection[int]:
        return {subject.id} | {one for one, member in entries.membership.items() if member.set_id == subject.id}

    now = _then(store, at_ms, settings, pieces, hindsight=hindsight)
    things: list[BoardNow] | list[SetNow] = now.boards if kind is SubjectKind.BOARD else now.sets
    thing = next((one for one in things if one.subject.id == subject.id), None)
    if thing is None:
        raise NothingKnown(_unknown(subject, at_ms, hindsight=hindsight))
    return Then(now, thing, at_ms, hindsight, told)


def _unknown(subject: Subject, at_ms: int, *, hindsight: bool) -> str:
    at = display.moment(at_ms)
    if hindsight:
        return f"The {subject.kind} {subject.code} was not there yet on {at}, as far as anybody has entered."
    return (
        f"Nothing had been entered of the {subject.kind} {subject.code} by {at}: what stands of that time was entered "
        "later, and counts in hindsight."
    )


def journal(store: Store, subject: Subject) -> list[Change]:
    """Return when the word that is told of a board or set changed, by the journal, the earliest first.

    That an entry was being worked in is left out: it says nothing of the wood.
    """
    with store.reading() as connection:
        rows = [row for row in verdicts.history(connection, subject.id) if row.number != MOMENT]
    found: list[Change] = []
    for row in rows:
        if not found or found[-1].word != row.word:
            found.append(Change(row.at_ms, row.word, row.number, row.reason))
    return found


def uses(store: Store, subject: Subject) -> list[Change]:
    """Return when it was entered what a board or set is wanted for, the earliest first; only what it was changed to."""
    with store.reading() as connection:
        plans = facts.standing(connection, UsePlan, subject.id)
    found: list[Change] = []
    for plan in sorted(plans, key=lambda one: one.entered_at_ms):
        words = f"{tables.uses()[plan.use].label}, for air of {plan.destination_rh_pct:g} %RH"
        if not found or found[-1].use != words:
            found.append(Change(plan.entered_at_ms, "", "", f"Entered by {plan.entered_by}.", words))
    return found


def told_sentence(found: Then) -> str:
    """Say what the journal of verdicts has of a thing by then, in a sentence."""
    told = found.told
    if told is None:
        return "The journal of verdicts has nothing of it by then."
    number = f", {told.number}" if told.number else ""
    return f"The journal has, from {display.moment(told.at_ms)}: {told.word or 'no more told'}{number}. {told.reason}"


def change_words(one: Change) -> str:
    """Say what was told from a change on, in a line."""
    return f"{one.word}, {one.number}" if one.number else one.word or f"no more told: {one.reason}"
