"""A matched set: its verdict, the plates laid open with the difference across their joint, and every piece."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import quote

from markupsafe import Markup

from dashboards import display, foretold, fresh_edges, marks, pair, wood_warnings
from dashboards.foretold import Came
from dashboards.judging_story import NOTHING_OF_A_SET, SetSaid
from dashboards.pages import board_forms, entry_forms, parts
from dashboards.pages import promise as promises
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine, Link, VerdictView
from dashboards.pages.stack import BoardRow, board_row
from dashboards.pages.verdict_forms import about_set, set_lines
from dashboards.promise_made import halves
from dashboards.situation import BoardNow, SetNow, Situation
from dashboards.use_entries import cannot_hold
from kiln.evidence import now_index
from kiln.gates import named
from kiln.records import Apart
from kiln.together import waits_for_a_moment
from kiln.twins import NAME as TWINS
from shared import tables
from shared.store.records import PieceKind

SHOWN = 12  # of what was said and came, the newest


@dataclass(frozen=True)
class PairView:
    """The two halves of a set laid open."""

    drawing: Markup = field(metadata={"help": "The halves with their figures, and how far apart across their joint"})
    judged: str = field(metadata={"help": "Whether they agree, and by what that was judged"})
    scale: str = field(metadata={"help": "In which sizes they are drawn"})


@dataclass(frozen=True)
class OtherPiece:
    """A brace, block, neck or other piece beside the halves."""

    mark: Markup = field(metadata={"help": "Its small mark"})
    name: str = field(metadata={"help": "What it is called"})
    link: str = field(metadata={"help": "Path of its page"})
    kind: str = field(metadata={"help": "What it is to the set"})
    key: str = field(metadata={"help": "How it stands to the halves, as a style"})
    standing: Markup = field(metadata={"help": "How it stands to the halves, as a joint mark"})
    word: str = field(metadata={"help": "How it stands to the halves, in a word"})
    apart: str = field(metadata={"help": "How far it lies from the halves, with the band and what is allowed"})


@dataclass(frozen=True)
class SaidAndCame:
    """What was foretold of one piece after a weigh-in, and what came."""

    piece: str = field(metadata={"help": "Which piece"})
    came: Came = field(metadata={"help": "What was said of it, and what it then weighed"})
    fit: str = field(metadata={"help": "When it would be fit, by what was known then, in words"})


@dataclass(frozen=True)
class SetPage:
    """Everything that set.html may use."""

    name: str = field(metadata={"help": "What the set is called"})
    code: str = field(metadata={"help": "Its code"})
    note: str = field(metadata={"help": "What was noted about it"})
    use: str = field(metadata={"help": "What it is wanted for, in which air, and when; or that nobody said"})
    edges: str = field(metadata={"help": "To be glued: which pieces were not planed lately; else empty"})
    dust: tuple[Link, ...] = field(metadata={"help": "What is said of the dust of each of its woods, and who says so"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    weigh: str = field(metadata={"help": "Path on which its pieces are weighed one after the other; empty: none"})
    pair: PairView | None = field(metadata={"help": "Its two halves laid open; None: it has not two"})
    others: tuple[OtherPiece, ...] = field(
        metadata={"help": "Braces, blocks, neck and the like, held against the halves"}
    )
    pieces: tuple[BoardRow, ...] = field(metadata={"help": "Every piece"})
    promise: promises.PromiseView | None = field(
        metadata={"help": "How far it will move; None without halves or joints"}
    )
    history: tuple[SaidAndCame, ...] = field(metadata={"help": "What was said of its pieces and came, newest first"})
    score: str = field(metadata={"help": "How many weights came inside their bands; empty: none to compare"})
    entries: tuple[EntryLine, ...] = field(metadata={"help": "Its joints and overrides, newest first"})
    forms: tuple[Form, ...] = field(metadata={"help": "Setting its use, putting a piece in, a joint"})
    ahead: Form | None = field(metadata={"help": "Going ahead whatever the verdict; stands last"})


def set_page(
    situation: Situation, matched: SetNow, by: str, attempt: Attempt | None, said: SetSaid = NOTHING_OF_A_SET
) -> SetPage:
    """Fill the page of a set; ``said``: its joints, and who went ahead whatever the verdict."""
    code = matched.subject.code
    asked = (
        board_forms.plan("set", code, by, matched.plan),
        entry_forms.pieces(situation, code, by),
        *about_set(matched, by),
    )
    *forms, ahead = (shown_again(form, attempt) for form in asked)
    return SetPage(
        name=matched.fact.name,
        code=code,
        note=matched.fact.note,
        use=use_sentence(matched.plan, situation.now_ms),
        edges=fresh_edges.sentence(situation.store, matched, situation.now_ms),
        dust=tuple(
            Link(wood_warnings.line_of(wood), wood_warnings.path_of(wood))
            for wood in dict.fromkeys(board.fact.species for board in matched.boards)
        ),
        verdict=parts.verdict_view(matched.verdict, matched.override),
        weigh=f"/weigh?set={quote(code)}" if matched.boards else "",
        pair=_pair(matched, before=waits_for_a_moment(matched.verdict)),
        others=_others(matched),
        pieces=tuple(board_row(b, situation.now_ms, matched.roles.get(b.subject.id, "")) for b in matched.boards),
        promise=promises.of_set(situation, matched),
        history=_history(matched, situation.now_ms),
        score=_score(matched),
        entries=set_lines(said),
        forms=tuple(forms),
        ahead=ahead,
    )


def use_sentence(plan, now_ms: int) -> str:  # type: ignore[no-untyped-def]
    """Return what a piece is wanted for, in a sentence."""
    if plan is None:
        return "Nobody has said what it is wanted for; it is judged for machining."
    label = tables.uses()[plan.use].label
    booked = f", booked for {display.day_ahead(plan.booked_ms, now_ms)}" if plan.booked_ms else ""
    begun = "; the work has begun" if plan.begun else ""
    low, high = plan.wanted_mc_low_pct, plan.wanted_mc_high_pct
    wet = f", also wanted at {low:g}–{high:g} %MC" if low is not None and high is not None else ""
    air = f"{plan.destination_rh_pct:g} %RH at {plan.destination_temperature_c:g} °C"
    odd = cannot_hold(plan.destination_rh_pct, plan.destination_temperature_c, low, high)
    return f"{label}, for air of {air}{wet}{booked}{begun}. {odd}".strip()


def _pair(matched: SetNow, *, before: bool) -> PairView | None:
    """Lay open the two halves that are joined edge to edge, where there are two; ``before``: as it stood before."""
    both = halves(matched)
    if len(both) != 2:
        return None
    left, right = (_leaf(board) for board in both)
    gate = named(matched.verdict.gates, TWINS)
    apart = gate.apart if gate is not None else None
    return PairView(
        pair.pair(left, right, apart), pair.agree_words(apart, before=before), pair.scale_words(left, right)
    )


def _leaf(board: BoardNow) -> pair.Leaf:
    mc_pct = None
    if board.projection is not None and len(board.projection.at_ms):
        mean, now = board.projection.mean, now_index(board.projection)
        mc_pct = float(mean.p10[now]), float(mean.p50[now]), float(mean.p90[now])
    fact = board.fact
    return pair.Leaf(
        board.subject.code, f"/board/{quote(board.subject.code)}", mc_pct, fact.width_m, fact.length_m, fact.cut
    )


def _others(matched: SetNow) -> tuple[OtherPiece, ...]:
    """The pieces that are held against the halves."""
    said = zip(matched.boards, matched.verdict.pieces, strict=True)
    return tuple(_other(board, piece.apart) for board, piece in said if piece.apart is not None)


def _other(board: BoardNow, apart: Apart) -> OtherPiece:
    kind = board.kind or PieceKind.OTHER
    return OtherPiece(
        pair.piece_mark(kind),
        board.fact.name,
        f"/board/{quote(board.subject.code)}",
        "" if kind is PieceKind.OTHER else str(kind),
        marks.standing_key(apart.standing),
        marks.standing(apart.standing),
        apart.standing.value,
        pair.from_halves_words(apart),
    )


def _history(matched: SetNow, now_ms: int) -> tuple[SaidAndCame, ...]:
    told = [
        (said.at_ms, SaidAndCame(board.fact.name, came, foretold.fit_words(came)))
        for board in matched.boards
        if board.projection is not None
        for said, came in zip(
            reversed(board.projection.history), foretold.history(board.projection, now_ms), strict=True
        )
    ]
    return tuple(one for _at_ms, one in sorted(told, key=lambda pair: -pair[0])[:SHOWN])


def _score(matched: SetNow) -> str:
    """Of all pieces together, how many weights came as foretold."""
    counted = [foretold.inside_their_bands(one.projection) for one in matched.boards if one.projection is not None]
    inside, of = sum(one[0] for one in counted), sum(one[1] for one in counted)
    if not of:
        return ""
    return f"Of {of} weights {inside} came inside {'its' if of == 1 else 'their'} band; 8 in 10 should."
