"""A board: its verdict, how wet it is through its thickness, where it is going, and everything measured on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from dashboards import display, full_of_water, safety, volumes
from dashboards.cut_story import BoardStory
from dashboards.judging_story import NOTHING_OF_A_BOARD, BoardSaid
from dashboards.pages import (
    ahead,
    at_hand,
    board_forms,
    cut_forms,
    entered,
    event_forms,
    harms,
    instrument_forms,
    out_of_water,
    parts,
    promise,
    through,
    weigh,
    wood_forms,
)
from dashboards.pages.at_hand import FormGroup, Mind
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.matched_set import use_sentence
from dashboards.pages.on_cell import on_cell
from dashboards.pages.parts import EntryLine, Link, Moisture, VerdictView
from dashboards.pages.verdict_forms import about_board, board_lines
from dashboards.situation import BoardNow, Situation
from kiln import meters
from kiln.gates import WATER
from kiln.pace import Pace
from kiln.records import Projection, Standing
from shared import tables
from shared.store import facts
from shared.store.records import BoardFact

Figure = tuple[str, tuple[str, str, str], str]
WHERE_TO_LIVE = "where it is to live"  # as the airs of a promise are called
NEWEST_SHOWN = 3  # entries in sight; the others are folded away


@dataclass(frozen=True)
class BoardPage:
    """Everything that board.html may use."""

    name: str = field(metadata={"help": "What the board is called"})
    code: str = field(metadata={"help": "Its code"})
    wood: str = field(metadata={"help": "The name of its wood in the trade"})
    species: str = field(metadata={"help": "Common and botanical name"})
    described: str = field(metadata={"help": "Sizes, cut and origin"})
    volume: str = field(metadata={"help": "Its net volume now, and what it was where its sizes changed"})
    note: str = field(metadata={"help": "What was noted about it"})
    lies_in: tuple[Link, ...] = field(metadata={"help": "Stack, place and set that it is in"})
    planned: str = field(metadata={"help": "Where it is to go, and when; empty when nothing is planned"})
    use: str = field(metadata={"help": "What it is wanted for"})
    air: str = field(metadata={"help": "Age of the air of its place"})
    verdict: VerdictView = field(metadata={"help": "The verdict on it"})
    first_of_all: tuple[Mind, ...] = field(metadata={"help": "Gas and tar, told above all else; empty: neither"})
    mind: tuple[Mind, ...] = field(metadata={"help": "What to mind before work on it, the most pressing first"})
    moisture: Moisture | None = field(metadata={"help": "How wet it is now; None without projection"})
    figures: tuple[Figure, ...] = field(
        metadata={
            "help": "Its figures now: name; figure, band, what stands beside; where it is said how it comes about"
        }
    )
    projected: str = field(metadata={"help": "Age of the projection"})
    ahead: ahead.Ahead | None = field(metadata={"help": "Where it is going; None without projection"})
    harms: harms.Harms | None = field(metadata={"help": "What may harm it; None without projection"})
    tells: harms.TellsView | None = field(metadata={"help": "What to measure next; None where nothing tells"})
    through: through.Through | None = field(metadata={"help": "Its thickness at the newest moment of logged air"})
    out_of_water: out_of_water.OutOfWaterView | None = field(
        metadata={"help": "Its clock and what its marks change; None for wood that never lay in water"}
    )
    promise: promise.PromiseView = field(metadata={"help": "How far it will move, in each air that it may come to"})
    moves: str = field(metadata={"help": "How far, in a few words: in sight while the rest is folded"})
    notes: tuple[str, ...] = field(metadata={"help": "What limits the projection"})
    newest: tuple[EntryLine, ...] = field(
        metadata={"help": "What was measured on it and entered about it last, newest first, a move ahead before all"}
    )
    earlier: tuple[EntryLine, ...] = field(metadata={"help": "All before these"})
    before: str = field(metadata={"help": "What else is told of entries"})
    entered: str = field(metadata={"help": "How many entries there are"})
    weighing: weigh.Weighing = field(metadata={"help": "What a weigh-in is held against as it is typed"})
    weighing_told: str = field(metadata={"help": "Last weight and the expected one, in a few words"})
    on_cell: Link | None = field(metadata={"help": "The load cell under it and what that carries; None: none is"})
    weigh_in: Form = field(metadata={"help": "The form for a weigh-in"})
    form_groups: tuple[FormGroup, ...] = field(metadata={"help": "All other forms, by what they are about"})
    cautions: dict[str, tuple[safety.Caution, ...]] = field(metadata={"help": "Cautions that bear on it, by topic"})


def board_page(
    situation: Situation,
    board: BoardNow,
    story: BoardStory,
    by: str,
    attempt: Attempt | None,
    of: str = "mean",
    said: BoardSaid = NOTHING_OF_A_BOARD,
) -> BoardPage:
    """Fill the page of a board; ``of``: whose band the chart shows, of mean, shell or core; ``said``: of verdicts."""
    fact, made, now_ms = board.fact, board.projection, situation.now_ms
    known = tables.species().get(fact.species)
    place = parts.place_by_id(situation, board.place_id)
    use, place_kind = board.plan.use if board.plan else None, place.fact.kind if place else None
    water = out_of_water.of_board(situation, board)
    topics = dict.fromkeys((*(water.topics if water else ()), *safety.topics_for_board(fact.origin, use, place_kind)))
    wet = parts.moisture(made, now_ms) if made is not None else None
    first, mind = at_hand.first_of_all(board), at_hand.to_mind(board, now_ms)
    topics |= dict.fromkeys(one.topic for one in (*first, *mind))
    code, entries = board.subject.code, _entries(situation, board, story, said)
    promised, weighing = promise.of_board(situation, board), _weighing(situation, board)
    return BoardPage(
        name=fact.name,
        code=board.subject.code,
        wood=known.common_name if known else fact.species,
        species=known.label if known else fact.species,
        described=f"{display.size(fact.thickness_m, fact.width_m, fact.length_m)} · {fact.cut} · {fact.origin}",
        volume=volumes.board_words(volumes.of_board(situation.store, board.subject.id, now_ms)),
        note=fact.note,
        lies_in=_lies_in(situation, board),
        planned=event_forms.planned(situation, board),
        use=at_hand.use_qualified(board, use_sentence(board.plan, now_ms)),
        air=parts.air_age(situation, board.place_id),
        verdict=parts.verdict_view(board.verdict, board.override),
        first_of_all=first,
        mind=mind,
        moisture=wet,
        figures=_figures(wet, made, board.pace) if wet is not None and made is not None else (),
        projected=display.age(board.projected_ms, now_ms),
        ahead=ahead.ahead(made, code, str(board.projected_ms), now_ms, of, _waits(board)) if made else None,
        harms=harms.harms(made, code, str(board.projected_ms), now_ms) if made else None,
        tells=harms.tells(made) if made else None,
        through=through.at_moment(made, fact.thickness_m, now_ms) if made else None,
        out_of_water=water,
        promise=promised,
        moves=_moves(promised),
        notes=(*(made.notes if made else ()), *_depths(board), *_too_heavy(board)),
        newest=entries[:NEWEST_SHOWN],
        earlier=entries[NEWEST_SHOWN:],
        before=_before(len(entries) - NEWEST_SHOWN),
        entered=str(len(entries)),
        weighing=weighing,
        weighing_told=_weighing_told(weighing),
        on_cell=on_cell(situation, board, weighing),
        weigh_in=shown_again(weigh.form_of(weighing, by), attempt),
        form_groups=tuple(
            at_hand.group(key, title, tuple(shown_again(form, attempt) for form in forms), lead)
            for key, title, lead, forms in _form_groups(situation, board, story, by, said)
        ),
        cautions=safety.cautions(*topics),
    )


def _waits(board: BoardNow) -> tuple[str, ...]:
    """What keeps a board from its use beyond the dates of its moisture: water of gluing that is given its days."""
    late = [gate for gate in board.verdict.gates if gate.name == WATER and gate.standing is Standing.NOT_YET]
    return tuple(f"Not before this: {gate.sentence}" for gate in late)


def _moves(view: promise.PromiseView) -> str:
    """Say how far its width moves on the way to where it is to live, or why that is not told."""
    row = next((one for one in view.rows if one.name == WHERE_TO_LIVE), None)
    return f"{row.shown} where it is to live" if row is not None else view.headline or view.why_none


def _weighing(situation: Situation, board: BoardNow) -> weigh.Weighing:
    with situation.store.reading() as connection:
        sizes = facts.standing(connection, BoardFact, board.subject.id)
    return weigh.weighing(situation, board, sizes)


Group = tuple[str, str, str, tuple[Form, ...]]


def _form_groups(
    situation: Situation, board: BoardNow, story: BoardStory, by: str, said: BoardSaid
) -> tuple[Group, ...]:
    """Return key, title, how things stand, and forms of each group."""
    code = board.subject.code
    measured = (
        board_forms.pin_reading(situation, code, by, board.fact),
        instrument_forms.bag_test(situation, code, by),
        board_forms.oven_dry(code, by),
    )
    planned = (
        board_forms.plan("board", code, by, board.plan),
        board_forms.move_board(situation, code, by, _where_value(situation, board)),
        event_forms.plan(situation, "board", code, by, story.plans),
        board_forms.join_set(situation, code, by, _code_of(situation.sets, board.set_id)),
    )
    lying = (wood_forms.rest(code, by, story), wood_forms.coat(code, by, story), event_forms.water(code, by))
    other = (*about_board(board, by, said), board_forms.correct_board(board, by))
    return (
        ("enter-found", "Found", event_forms.found_so_far(story), (event_forms.outcome(code, by),)),
        ("enter-measured", "Measured", "", measured),
        ("enter-planned", "Moved and planned", "", planned),
        ("enter-lying", "How it lies", wood_forms.lies_now(story), lying),
        (
            "enter-cut",
            "Planed, sawn or trimmed",
            cut_forms.cut_now(story, board.fact),
            cut_forms.forms(code, by, board.fact, situation.sets),
        ),
        ("enter-other", "Other", "", other),
    )


def _code_of(things: Sequence, subject_id: int | None) -> str:  # type: ignore[type-arg]
    return next((one.subject.code for one in things if one.subject.id == subject_id), "")


def _where_value(situation: Situation, board: BoardNow) -> str:
    if board.stack_id is not None:
        return f"stack:{_code_of(situation.stacks, board.stack_id)}"
    return f"place:{_code_of(situation.places, board.place_id)}"


def _lies_in(situation: Situation, board: BoardNow) -> tuple[Link, ...]:
    links = []
    holders = (("stack", situation.stacks, board.stack_id), ("set", situation.sets, board.set_id))
    for kind, things, subject_id in holders:
        held = next((one for one in things if one.subject.id == subject_id), None)
        if held is not None:
            links.append(Link(f"{kind} {held.fact.name}", f"/{kind}/{held.subject.code}"))
    return (*links, parts.place_link(situation, board.place_id))


def _weighing_told(one: weigh.Weighing) -> str:
    told = (
        f"last {one.last}" if one.last else "never weighed",
        one.reckoned,
        f"expected {one.expected}" if one.expected else "",
    )
    return "; ".join(part for part in told if part)


def _before(count: int) -> str:
    """Say what lies folded away after the newest entries."""
    if count <= 0:
        return "An earlier day, and all as CSV"
    return "The one before these, and all as CSV" if count == 1 else f"The {count} before these, and all as CSV"


def _figures(wet: Moisture, made: Projection, pace: Pace | None) -> tuple[Figure, ...]:
    """Return the figures of a board now, each apart from its band, so that the figure can stand larger."""
    beside = {"Pace": _survives(pace)}
    found = (
        ("Mean", wet.mean, "projection"),
        ("Shell", wet.shell, "shell"),
        ("Core", wet.core, "shell"),
        ("Air leads to", wet.emc, "emc"),
        ("Pace", _losing(made), "projection"),
    )
    return tuple((name, (*_apart(shown), beside.get(name, "")), how) for name, shown, how in found)


def _survives(pace: Pace | None) -> str:
    """Say in few words what loss a board survives."""
    if pace is None:
        return ""
    if not pace.counts:
        return f"no limit counts below {pace.counts_above_mc_pct:g} %"
    if pace.limit is None:
        return "no limit known for this wood"
    over = {Standing.OVER: "over: ", Standing.NEAR: "perhaps over: "}.get(pace.standing, "") if pace.standing else ""
    return f"{over}survives about {display.number(pace.limit.pct_per_day)} % a day"


def _apart(shown: str) -> tuple[str, str]:
    figure, _, band = shown.partition(" (")
    return figure, f"({band}" if band else ""


def _losing(made: Projection) -> str:
    low, middle, high = made.loss_pct_per_day
    word = "losing" if middle >= 0 else "gaining"
    ends = sorted((low, high)) if middle >= 0 else sorted((-low, -high))
    return f"{word} {abs(middle):.2f} % a day ({display.number(ends[0], 2)} to {display.number(ends[1], 2)})"


def _entries(situation: Situation, board: BoardNow, story: BoardStory, said: BoardSaid) -> tuple[EntryLine, ...]:
    made = board.projection.measured if board.projection is not None else ()
    taken = entered.measured([*board.weigh_ins, *board.pins, *board.oven_dry, *board.bags], made)
    lines = wood_forms.entry_lines(story) + event_forms.entry_lines(situation, story) + board_lines(said)
    return entered.in_order([*lines, *taken])


def _too_heavy(board: BoardNow) -> tuple[str, ...]:
    told = full_of_water.remark(board.fact, board.weigh_ins)
    return (told,) if told else ()


def _depths(board: BoardNow) -> tuple[str, ...]:
    """Say it when the pin readings of a board follow both conventions of depth."""
    if not meters.mixed([pin.depth_m / board.fact.thickness_m for pin in board.pins]):
        return ()
    return ("its pin readings follow two conventions of depth, which read differently: each counts at its own depth",)
