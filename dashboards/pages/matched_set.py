"""A matched set: its verdict, the plates laid open with the difference across their joint, and every piece."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import display, fresh_edges, marks
from dashboards.judging_story import NOTHING_OF_A_SET, SetSaid
from dashboards.pages import board_forms, entry_forms, parts
from dashboards.pages import promise as promises
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine, VerdictView
from dashboards.pages.stack import BoardRow, board_row
from dashboards.pages.verdict_forms import about_set, set_lines
from dashboards.promise_made import halves
from dashboards.situation import SetNow, Situation
from dashboards.use_entries import cannot_hold
from shared import tables


@dataclass(frozen=True)
class SetPage:
    """Everything that set.html may use."""

    name: str = field(metadata={"help": "What the set is called"})
    code: str = field(metadata={"help": "Its code"})
    note: str = field(metadata={"help": "What was noted about it"})
    use: str = field(metadata={"help": "What it is wanted for, in which air, and when; or that nobody said"})
    edges: str = field(metadata={"help": "To be glued: which pieces were not planed lately; else empty"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    pair: Markup = field(metadata={"help": "The two plates laid open; empty without two plates"})
    pieces: tuple[BoardRow, ...] = field(metadata={"help": "Every piece"})
    promise: promises.PromiseView | None = field(
        metadata={"help": "How far it will move; None without halves or joints"}
    )
    entries: tuple[EntryLine, ...] = field(metadata={"help": "Its joints and overrides, newest first"})
    forms: tuple[Form, ...] = field(metadata={"help": "Setting its use, putting a piece in, a joint, an override"})


def set_page(
    situation: Situation, matched: SetNow, by: str, attempt: Attempt | None, said: SetSaid = NOTHING_OF_A_SET
) -> SetPage:
    """Fill the page of a set; ``said``: its joints, and who went ahead whatever the verdict."""
    code = matched.subject.code
    forms = (
        board_forms.plan("set", code, by, matched.plan),
        entry_forms.pieces(situation, code, by),
        *about_set(matched, by),
    )
    return SetPage(
        name=matched.fact.name,
        code=code,
        note=matched.fact.note,
        use=use_sentence(matched.plan, situation.now_ms),
        edges=fresh_edges.sentence(situation.store, matched, situation.now_ms),
        verdict=parts.verdict_view(matched.verdict, matched.override),
        pair=_pair(matched),
        pieces=tuple(board_row(b, situation.now_ms, matched.roles.get(b.subject.id, "")) for b in matched.boards),
        promise=promises.of_set(situation, matched),
        entries=set_lines(said),
        forms=tuple(shown_again(form, attempt) for form in forms),
    )


def use_sentence(plan, now_ms: int) -> str:  # type: ignore[no-untyped-def]
    """Return what a piece is wanted for, in a sentence."""
    if plan is None:
        return "Nobody has said what it is wanted for; it is judged for machining."
    label = tables.uses()[plan.use].label
    booked = f", booked for {display.day(plan.booked_ms, now_ms)}" if plan.booked_ms else ""
    begun = "; the work has begun" if plan.begun else ""
    low, high = plan.wanted_mc_low_pct, plan.wanted_mc_high_pct
    wet = f", also wanted at {low:g}–{high:g} %MC" if low is not None and high is not None else ""
    air = f"{plan.destination_rh_pct:g} %RH at {plan.destination_temperature_c:g} °C"
    odd = cannot_hold(plan.destination_rh_pct, plan.destination_temperature_c, low, high)
    return f"{label}, for air of {air}{wet}{booked}{begun}. {odd}".strip()


def _pair(matched: SetNow) -> Markup:
    """Draw the two plates that are joined edge to edge, where there are two."""
    plates = [parts.board_ends([board])[0] for board in halves(matched)]
    if len(plates) != 2:
        return Markup()
    left, right = plates
    if left.mc_pct is None or right.mc_pct is None:
        return marks.pair(left, right, "not known")
    apart = display.with_unit(abs(left.mc_pct - right.mc_pct), "%MC apart")
    return marks.pair(left, right, apart)
