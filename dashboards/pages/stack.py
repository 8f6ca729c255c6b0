"""A stack: its verdict, the pile seen from its end, how it dries, its air, and its boards."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from urllib.parse import quote

from markupsafe import Markup

from dashboards import chart_key, display, heavy, pile, sample_boards, smelt, stack_charts, volumes
from dashboards.chart_key import ChartKey
from dashboards.heavy import StackMass
from dashboards.pages import entry_forms, event_forms, parts, stack_air
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine, Link, VerdictView
from dashboards.pages.stack_air import AirBeside
from dashboards.pages.stack_pace import Paces, paces
from dashboards.situation import BoardNow, Situation, StackNow
from dashboards.stack_charts import Course
from kiln import together
from kiln.records import Word
from shared.store import facts
from shared.store.records import StackPosition

WORDS_IN_ORDER = (Word.STOP, Word.CANT_SAY, Word.WAIT, Word.DRY_ENOUGH, Word.READY)


@dataclass(frozen=True)
class BoardRow:
    """One board in a list."""

    name: str = field(metadata={"help": "What it is called"})
    link: str = field(metadata={"help": "Path of its page"})
    role: str = field(metadata={"help": "As what it belongs to a set; empty elsewhere"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    mean: str = field(metadata={"help": "Its mean moisture with band; a dash without projection"})
    age: str = field(metadata={"help": "Age of the air that the figure uses"})
    weighed: str = field(metadata={"help": "Age of its last weigh-in"})
    mass: str = field(default="", metadata={"help": "What it may weigh, said before it is lifted; empty elsewhere"})
    smelt: str = field(default="", metadata={"help": "Tar or a foul smell, in a few words; empty: neither"})
    reason: str = field(default="", metadata={"help": "Why, of a board that does not wait or is not met; else empty"})


@dataclass(frozen=True)
class Drying:
    """How a stack dries, as its chart and its table tell it."""

    said: tuple[str, ...] = field(metadata={"help": "The wettest board now, in a sentence"})
    caption: str = field(metadata={"help": "What the chart shows"})
    key: tuple[ChartKey, ...] = field(metadata={"help": "Its lines and marks, drawn beside their names"})
    head: tuple[str, ...] = field(metadata={"help": "What stands above the columns of the table"})
    table: tuple[tuple[str, ...], ...] = field(metadata={"help": "The chart as rows of text"})
    revision: str = field(metadata={"help": "Changes whenever the chart has to be drawn anew"})


@dataclass(frozen=True)
class StackPage:
    """Everything that stack.html may use."""

    name: str = field(metadata={"help": "What the stack is called"})
    code: str = field(metadata={"help": "Its code"})
    note: str = field(metadata={"help": "What was noted about it"})
    place: Link = field(metadata={"help": "Where it stands"})
    air: AirBeside | None = field(metadata={"help": "The air where it stands; None where nobody said where"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    below: str = field(metadata={"help": "When the wettest board is as dry as it is to become next; else empty"})
    drawing: Markup = field(metadata={"help": "The pile seen from its end"})
    key: tuple[pile.Key, ...] = field(metadata={"help": "What the drawing means, drawn with the same textures"})
    not_drawn: str = field(metadata={"help": "How many boards are left out of the drawing; empty: none"})
    boards: tuple[BoardRow, ...] = field(metadata={"help": "Its boards in the order they were entered"})
    boards_told: str = field(metadata={"help": "How many boards have which word, in a line"})
    boards_open: bool = field(
        metadata={"help": "Whether a board is stopped for another reason than the stack's verdict tells"}
    )
    paces: Paces | None = field(metadata={"help": "What each board loses a day; None without projection"})
    drying: Drying | None = field(metadata={"help": "How it dries; None without projection"})
    holds_at: str = field(metadata={"help": "What its air holds wood at, at best and soon; empty without projection"})
    holds: str = field(metadata={"help": "How many boards lie in it, where more do than are entered; else empty"})
    samples: tuple[str, ...] = field(
        metadata={"help": "Which boards to take as sample boards and why, and how well they tell the rest; else empty"}
    )
    samples_told: str = field(metadata={"help": "Their names, in a line"})
    as_of: str = field(metadata={"help": "Until when air was logged of which its figures come; empty: none are known"})
    volume: str = field(metadata={"help": "Net volume of its boards now, and when they came; empty without boards"})
    weight: str = field(metadata={"help": "What it may weigh as a whole; empty: no board lies in it"})
    to_move: str = field(metadata={"help": "The same in a few words, beside the way to move it; empty: no board"})
    heaviest: str = field(metadata={"help": "Its heaviest board and what that may weigh; empty: none can be told"})
    first_of_all: tuple[tuple[str, str], ...] = field(
        metadata={"help": "Gas and tar among its boards, once each: name and sentence; empty: neither"}
    )
    moves_told: str = field(metadata={"help": "Where it stands since when, and what is planned, in a line"})
    stood: tuple[EntryLine, ...] = field(metadata={"help": "Where it stood, the latest first"})
    plans: tuple[EntryLine, ...] = field(metadata={"help": "Moves planned for it, the latest first"})
    decides: Link = field(metadata={"help": "The board for which it is worked out what could be done; empty: none"})
    rests_on: tuple[str, ...] = field(metadata={"help": "What the verdict rests on, with ages"})
    forms: tuple[Form, ...] = field(metadata={"help": "Moving it, planning a move, correcting it"})


def board_row(board: BoardNow, now_ms: int, role: str = "", reason: str = "") -> BoardRow:
    """Return one board as it stands in a list."""
    wet = parts.moisture(board.projection, now_ms) if board.projection is not None else None
    return BoardRow(
        name=board.fact.name,
        link=f"/board/{board.subject.code}",
        role=role,
        verdict=parts.verdict_view(board.verdict),
        mean=wet.mean if wet else display.NOTHING,
        age=wet.age if wet else "not projected yet",
        weighed=display.age(parts.newest_weigh_in_ms([board]), now_ms),
        mass=heavy.headline(heavy.of_board(board, now_ms)),
        smelt=smelt.in_short(board),
        reason=reason,
    )


def stack_page(situation: Situation, stack: StackNow, by: str, attempt: Attempt | None) -> StackPage:
    """Fill the page of a stack."""
    place = parts.place_by_id(situation, stack.place_id)
    code, now_ms = stack.subject.code, situation.now_ms
    forms = (
        entry_forms.move_stack(situation, code, by, place.subject.code if place else ""),
        event_forms.plan(situation, "stack", code, by, stack.plans),
        entry_forms.change_stack(stack, by),
    )
    drawn, course = pile.ends(stack.boards), stack_charts.course_of(stack)
    why = _reasons(stack)
    rows = tuple(board_row(board, now_ms, reason=one) for board, one in zip(stack.boards, why, strict=True))
    stood, whole = _positions(situation, stack), heavy.of_stack(stack, now_ms)
    return StackPage(
        name=stack.fact.name,
        code=code,
        note=stack.fact.note,
        place=parts.place_link(situation, stack.place_id),
        air=stack_air.air_beside(situation, place),
        verdict=parts.verdict_view(stack.verdict),
        below="" if stack.wettest is None else together.below_sentence(stack.wettest),
        drawing=pile.pile(drawn, "pile"),
        key=pile.key(drawn),
        not_drawn=pile.not_drawn(stack.boards),
        boards=rows,
        boards_told=_words(stack.boards),
        boards_open=any(row.reason and row.verdict.word == Word.STOP for row in rows),
        paces=paces(stack),
        drying=_drying(stack, course, now_ms),
        holds_at="" if course is None else stack_air.holds(course.projection),
        holds=_holds(stack),
        samples=_samples(stack),
        samples_told=sample_boards.names(stack),
        as_of=_as_of(stack, now_ms),
        volume=volumes.stack_words(situation.store, stack, now_ms),
        weight=heavy.stack_words(stack, now_ms),
        to_move=_to_move(whole),
        heaviest=_heaviest(whole, now_ms),
        first_of_all=smelt.of_stack(stack.boards),
        moves_told=_moves_told(situation, stack, stood),
        stood=tuple(_stood(situation, one) for one in reversed(stood)),
        plans=tuple(line for _at_ms, line in reversed(event_forms.plan_lines(situation, stack.plans))),
        decides=_decides(stack),
        rests_on=_rests_on(stack),
        forms=tuple(shown_again(form, attempt) for form in forms),
    )


def _to_move(whole: StackMass | None) -> str:
    """Say beside the way to move it what that weighs, by sizes and weigh-ins; no figure of lifting by hand."""
    if whole is None:
        return ""
    return "weight: can't be said" if whole.mass.most_kg is None else f"{heavy.stack_headline(whole.mass)} in all"


def _heaviest(whole: StackMass | None, now_ms: int) -> str:
    if whole is None or whole.heaviest is None:
        return ""
    return f"Heaviest board: {whole.heaviest.fact.name}, {heavy.headline(heavy.of_board(whole.heaviest, now_ms))}."


def _reasons(stack: StackNow) -> list[str]:
    """Why boards are stopped or nothing can be said of them, once; that of the deciding one stands in the verdict."""
    told = [one.verdict.reason if one.verdict.word in (Word.STOP, Word.CANT_SAY) else "" for one in stack.boards]
    count = Counter(told)
    said = {"", stack.deciding.verdict.reason if stack.deciding is not None else ""}
    found = []
    for reason in told:
        others = count[reason] - 1
        more = f" So it is with {others} other{'s' if others > 1 else ''}." if others else ""
        found.append("" if reason in said else f"{reason}{more}")
        said.add(reason)
    return found


def _words(boards: Sequence[BoardNow]) -> str:
    if not boards:
        return "none yet"
    count = Counter(board.verdict.word for board in boards)
    told = [f"{count[word]} {word.value}" for word in WORDS_IN_ORDER if count[word]]
    return f"all {told[0]}" if len(told) == 1 < len(boards) else ", ".join(told)


def _drying(stack: StackNow, course: Course | None, now_ms: int) -> Drying | None:
    if course is None:
        return None
    caption = (
        f"Right of the line: to come, if all stay or go as planned. Floor, target, past: {course.board.fact.name}."
    )
    figure = stack_charts.stack_figure(stack, course, now_ms)
    return Drying(
        said=() if stack.wettest is None else (together.wettest_sentence(stack.wettest),),
        caption=caption,
        key=chart_key.chart_keys(figure),
        head=stack_charts.HEAD,
        table=stack_charts.rows(stack, course, now_ms),
        revision=" ".join(str(one.projected_ms) for one in stack.boards),
    )


def _holds(stack: StackNow) -> str:
    in_all, entered = stack.fact.boards_in_all or 0, len(stack.boards)
    return f"{in_all} boards in all, {entered} of them entered" if in_all > entered else ""


def _samples(stack: StackNow) -> tuple[str, ...]:
    found = sample_boards.samples(stack)
    return () if found is None else sample_boards.sentences(found)


def _positions(situation: Situation, stack: StackNow) -> list[StackPosition]:
    """Return where a stack stood, in order of time."""
    with situation.store.reading() as connection:
        return facts.standing(connection, StackPosition, stack.subject.id)


def _stood(situation: Situation, one: StackPosition) -> EntryLine:
    where = situation.place_name(one.place_id)
    return EntryLine(
        kind="stack-move",
        number=one.id,
        figure=f"To {where}" if where else "Nobody says where",
        when=display.moment(one.true_at_ms),
        by=one.entered_by,
        note="",
        word="move",
    )


def _moves_told(situation: Situation, stack: StackNow, stood: Sequence[StackPosition]) -> str:
    now_ms = situation.now_ms
    past = [one for one in stood if one.true_at_ms <= now_ms]
    where = situation.place_name(stack.place_id)
    here = f"in {where} since {display.day(past[-1].true_at_ms, now_ms)}" if past and where else "nobody said where"
    ahead = [one.move for one in stack.plans if one.ahead]
    if not ahead:
        return f"{here}; none planned"
    to = situation.place_name(ahead[0].place_id)
    return f"{here}; planned to {to} on {display.day(ahead[0].true_at_ms, now_ms)}"


def _as_of(stack: StackNow, now_ms: int) -> str:
    """Say how old the air is that the figures of the pile and of the loss rest on: the oldest of all boards."""
    known = [one.projection.known_until_ms for one in stack.boards if one.projection is not None]
    return f"Moisture and loss from air logged until {display.age(min(known), now_ms)}" if known else ""


def _decides(stack: StackNow) -> Link:
    one = stack.deciding
    return Link("", "") if one is None else Link(one.fact.name, f"/board/{quote(one.subject.code)}")


def _rests_on(stack: StackNow) -> tuple[str, ...]:
    """The evidence, but for what the chart says above it."""
    said = "" if stack.wettest is None else together.wettest_sentence(stack.wettest)
    return tuple(line for line in stack.verdict.evidence if line != said)
