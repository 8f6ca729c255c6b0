"""The other ways to get hurt: what boards and stacks weigh, kilns, ovens, mould, grit, gas, tar, salts, rags, waste."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from urllib.parse import quote

from markupsafe import Markup

from dashboards import control_marks, display, finish_now, heavy, heavy_drawings, safety, tasks
from dashboards.heavy import Mass
from dashboards.situation import Situation
from kiln import lifting, reclaimed
from kiln.control import Control
from kiln.sentences import capital
from shared.store.records import Origin, PlaceKind
from shared.tables import constants

# The anchors of the page, each with its topic in the table of cautions and how many of its lines belong before the
# work: those are never folded; and what it is called where room is short.
HAZARDS = (
    ("rags", "rags", 3, "Rags"),
    ("gun", "gun-hardener", 4, "Gun"),
    ("waste", "finishing-waste", 1, "Waste"),
    ("gas", "foul-smell", 2, "Gas"),
    ("kiln", "kiln-heat", 6, "Kiln"),
    ("oven-dry", "oven-drying", 2, "Oven"),
    ("mould", "mould", 1, "Mould"),
    ("grit", "grit-metal", 3, "Grit"),
    ("tar", "tar", 2, "Tar"),
    ("salts", "salts", 1, "Salts"),
)
LIFTING_SHOWN = 2
LEAST = {"kiln": 3}  # shown whatever the yard holds: locked off, hot damp air, smoke; of the others 1
# Shown in full whatever the yard holds; of the others only the first line, until something here belongs to them.
ALWAYS = ("lifting", "rags", "gun", "gas")
GUIDES = ("lift_least", "lift_most", "lift_constant")


@dataclass(frozen=True)
class HeavyLine:
    """A board with what it may weigh."""

    name: str = field(metadata={"help": "What it is called"})
    path: str = field(metadata={"help": "Its page"})
    where: str = field(metadata={"help": "Where it lies"})
    word: str = field(metadata={"help": "Over, or can't say"})
    figure: str = field(metadata={"help": "The most that it may weigh"})
    band: str = field(metadata={"help": "The middle, with its band; empty: it can't be said"})
    how: str = field(metadata={"help": "How it is known, and how old that is"})
    doubt: str = field(metadata={"help": "What speaks against it; empty: nothing"})


@dataclass(frozen=True)
class HeavyGroup:
    """Boards of which the same is said."""

    key: str = field(metadata={"help": "How the word is styled"})
    mark: Markup = field(metadata={"help": "The mark of the word"})
    word: str = field(metadata={"help": "Over, or can't say"})
    boards: tuple[HeavyLine, ...] = field(metadata={"help": "The boards, the heaviest first"})


@dataclass(frozen=True)
class StackLine:
    """A stack with what it may weigh: a figure for floor, bearers and gear. Nobody lifts one."""

    name: str = field(metadata={"help": "What it is called"})
    path: str = field(metadata={"help": "Its page"})
    figure: str = field(metadata={"help": "The most that it may weigh, or that it can't be said"})
    told: str = field(metadata={"help": "Its band, what was added up, and where it stands"})
    doubt: str = field(metadata={"help": "What speaks against it; empty: nothing"})


@dataclass(frozen=True)
class Guide:
    """A published figure of lifting."""

    figure: str = field(metadata={"help": "The mass"})
    source: str = field(metadata={"help": "The document with its year, and what it says"})
    status: str = field(metadata={"help": "How it is known"})


@dataclass(frozen=True)
class Here:
    """Something of this yard that belongs to one of the hazards."""

    sentence: str = field(metadata={"help": "What is so"})
    to: str = field(metadata={"help": "The hazard on this page"})


@dataclass(frozen=True)
class Hazard:
    """One way to get hurt."""

    key: str = field(metadata={"help": "Its place on the page"})
    title: str = field(metadata={"help": "What it is"})
    short: str = field(metadata={"help": "The same in a word"})
    here: tuple[str, ...] = field(metadata={"help": "What of this yard belongs to it"})
    before: tuple[safety.Caution, ...] = field(metadata={"help": "What comes before the work: never folded"})
    more: tuple[safety.Caution, ...] = field(metadata={"help": "The rest, folded"})


@dataclass(frozen=True)
class HurtPage:
    """Everything that hurt.html may use."""

    first_line: str = field(metadata={"help": "What the page does not replace, said first"})
    last_line: str = field(metadata={"help": "The same, said last"})
    here: tuple[Here, ...] = field(metadata={"help": "What of this yard belongs to some hazard, lifting aside"})
    over: str = field(metadata={"help": "How many boards may weigh more than the lowest published figure"})
    drawing: Markup = field(metadata={"help": "Their masses beside the published figures; empty: there is none"})
    boards: tuple[HeavyLine, ...] = field(metadata={"help": "Boards over it, or of which it can't be said"})
    groups: tuple[HeavyGroup, ...] = field(metadata={"help": "The same boards by what is said of them, worst first"})
    stacks: tuple[StackLine, ...] = field(metadata={"help": "Stacks as a whole, the heaviest first"})
    others: str = field(metadata={"help": "What is known of all other boards; empty: there are none"})
    guides: tuple[Guide, ...] = field(metadata={"help": "The published figures"})
    lifting: Hazard = field(metadata={"help": "How to lift"})
    hazards: tuple[Hazard, ...] = field(metadata={"help": "The others"})


def hurt_page(situation: Situation) -> HurtPage:
    """Fill the page."""
    masses = {one.subject.id: heavy.of_board(one, situation.now_ms) for one in situation.boards}
    found = here_now(situation)
    boards = _boards(situation, masses)
    return HurtPage(
        first_line=safety.FIRST_LINE,
        last_line=safety.LAST_LINE,
        here=tuple(Here(sentence, key) for key, some in found.items() for sentence in some),
        over=_over(masses),
        drawing=heavy_drawings.scale([(one.fact.name, masses[one.subject.id]) for one in _told(situation, masses)]),
        boards=boards,
        groups=tuple(_groups(boards)),
        stacks=_stacks(situation),
        others=_others([one for one in masses.values() if one.control is Control.NOT_SHOWN]),
        guides=_guides(),
        lifting=_hazard(("lifting", "heavy-boards", LIFTING_SHOWN, "Lifting"), ()),
        hazards=tuple(_hazard(one, found.get(one[0], ())) for one in HAZARDS),
    )


def _hazard(listed: tuple[str, str, int, str], here: Sequence[str]) -> Hazard:
    key, topic, shown, short = listed
    rows = safety.on_topic(topic)
    first = shown if here or key in ALWAYS else LEAST.get(key, 1)
    return Hazard(key, safety.TOPIC_TITLES[topic], short, tuple(here), rows[:first], rows[first:])


# --- what it weighs --------------------------------------------------------------------------------


def _told(situation: Situation, masses: dict[int, Mass]) -> list:  # type: ignore[type-arg]
    """The boards to be told of: over the figure, the heaviest first; then those of which it can't be said."""
    some = [one for one in situation.boards if masses[one.subject.id].control is not Control.NOT_SHOWN]
    return sorted(some, key=lambda one: _weight(masses[one.subject.id]))


def _weight(one: Mass) -> tuple[bool, float]:
    return one.control is not Control.OVER, -(one.most_kg or 0.0)


def _boards(situation: Situation, masses: dict[int, Mass]) -> tuple[HeavyLine, ...]:
    stacks = {one.subject.id: one.fact.name for one in situation.stacks}
    lines = []
    for one in _told(situation, masses):
        where = [f"stack {stacks[one.stack_id]}"] if one.stack_id in stacks else []
        where.append(situation.place_name(one.place_id))
        path, where_told = f"/board/{quote(one.subject.code)}", ", ".join(filter(None, where))
        lines.append(_line(one.fact.name, path, where_told, masses[one.subject.id]))
    return tuple(lines)


def _groups(boards: Sequence[HeavyLine]) -> Iterator[HeavyGroup]:
    for one in Control:
        word = control_marks.WORDS[one]
        some = tuple(line for line in boards if line.word == word)
        if some:
            yield HeavyGroup(control_marks.KEYS[one], control_marks.drawn(one), word, some)


def _stacks(situation: Situation) -> tuple[StackLine, ...]:
    some = [(one, heavy.of_stack(one, situation.now_ms)) for one in situation.stacks]
    known = [(one, found) for one, found in some if found is not None]
    known.sort(key=lambda pair: -(pair[1].mass.most_kg or 0.0))
    lines = []
    for one, found in known:
        told = (heavy.band(found.mass), found.counted, situation.place_name(one.place_id))
        lines.append(
            StackLine(
                name=one.fact.name,
                path=f"/stack/{quote(one.subject.code)}",
                figure=heavy.stack_headline(found.mass),
                told="; ".join(filter(None, told)),
                doubt=capital(found.mass.doubt) if found.mass.doubt else "",
            )
        )
    return tuple(lines)


def _line(name: str, path: str, where: str, one: Mass) -> HeavyLine:
    return HeavyLine(
        name=name,
        path=path,
        where=where,
        word=control_marks.WORDS[one.control],
        figure=heavy.headline(one),
        band=heavy.band(one),
        how=capital(one.how),
        doubt=capital(one.doubt) if one.doubt else "",
    )


def _over(masses: dict[int, Mass]) -> str:
    """Say how many boards may weigh more than the lowest published figure."""
    figure = heavy.words((lifting.looked_at_kg(),))
    count = {word: sum(1 for one in masses.values() if one.control is word) for word in Control}
    if not masses:
        return "No board is entered: what it weighs can be worked out before it is lifted."
    gear = ": use gear, or enough people" if count[Control.OVER] else ""
    over = f"{_boards_words(count[Control.OVER])} may weigh {figure} or more{gear}."
    unknown = count[Control.CANT_SAY]
    if not count[Control.OVER]:
        over = f"no board {'of which it can be said' if unknown else 'here'} is likely to weigh {figure} or more."
    told = f" Of {unknown} it can't be said: weigh {'it' if unknown == 1 else 'them'} with gear." if unknown else ""
    return f"{capital(over)}{told}"


def _boards_words(count: int) -> str:
    return f"{count} board{'s' if count != 1 else ''}"


def _others(some: Sequence[Mass]) -> str:
    if not some:
        return ""
    most = max(one.most_kg or 0.0 for one in some)
    count = f"{len(some)} other board{'s' if len(some) != 1 else ''}"
    return (
        f"{count}, up to {heavy.words((most,))} by what is known. A long, wet, slippery board hurts at any weight, "
        "and so does the hundredth lift of a light one."
    )


def _guides() -> tuple[Guide, ...]:
    rows = [constants("reclaimed")[name] for name in GUIDES]
    return tuple(Guide(heavy.words((one.value,)), one.source, one.status) for one in rows)


# --- what of this yard belongs to the others -------------------------------------------------------


def here_now(situation: Situation) -> dict[str, tuple[str, ...]]:
    """Return what of this yard belongs to each hazard, by its place on the page; those without are absent."""
    found = {
        "gas": tuple(_smelt(situation, reclaimed.SOUR)),
        "kiln": tuple(_kilns(situation)),
        "mould": _named(
            "mould found on it, or air in which it grows:", [one.fact.name for one in tasks.mouldy(situation)]
        ),
        "grit": _named("nobody entered that it was searched for metal:", _unsearched(situation)),
        "tar": tuple(_smelt(situation, reclaimed.TAR)),
        "rags": tuple(_oily(situation)),
    }
    return {key: some for key, some in found.items() if some}


def _smelt(situation: Situation, smell: str) -> Iterator[str]:
    for one in situation.boards:
        if one.lifted is not None and one.lifted.smell == smell:
            when = display.day(one.lifted.true_at_ms, situation.now_ms)
            yield f"{one.fact.name} smelt {smell} when it was lifted, {when}."


def _kilns(situation: Situation) -> Iterator[str]:
    for place in situation.open_places:
        if place.fact.kind is not PlaceKind.KILN:
            continue
        if place.air is None or not place.air.good:
            yield f"{place.fact.name}: how hot it is can't be said."
            continue
        told, age = display.with_unit(place.air.temperature_c, "°C"), display.age(place.air.at_ms, situation.now_ms)
        yield f"{place.fact.name}: {told}, {age}; nothing here knows whether it is locked off."


def _unsearched(situation: Situation) -> list[str]:
    return [
        one.fact.name
        for one in situation.boards
        if one.fact.origin is Origin.RECLAIMED and (one.lifted is None or not one.lifted.metal_searched)
    ]


def _named(told: str, names: Sequence[str]) -> tuple[str, ...]:
    if not names:
        return ()
    return (f"{capital(told)} {display.first_few(names)}.",)


def _oily(situation: Situation) -> Iterator[str]:
    with situation.store.reading() as connection:
        shelf = [one.fact for one in finish_now.finishes(connection)]
    for one in shelf:
        if one.self_heating:
            yield f"{one.name} is a drying oil: its rags heat themselves."
        elif one.self_heating is None:
            yield f"{one.name}: nobody entered whether its rags heat themselves."
