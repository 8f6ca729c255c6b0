"""The conditions of a use as they are read: the worst first, those that are met in one line; pieces told once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import display, marks
from kiln.records import Gate, PieceSaid, Standing, Word
from kiln.together import GRAVEST_FIRST, WORST_FIRST

GOOD = (Standing.MET, Standing.UNDER)
NAMED_PIECES = 3  # more of one kind are counted
_DIGITS = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True)
class GateLine:
    """One condition of a use, or one piece of what belongs together."""

    key: str = field(metadata={"help": "Its word as a style: ready, wait, stop, unsure"})
    mark: Markup = field(metadata={"help": "Its joint mark"})
    word: str = field(metadata={"help": "Its word"})
    name: str = field(metadata={"help": "What it is about: a condition, or the piece of a set or stack"})
    sentence: str = field(metadata={"help": "The condition and how it stands"})
    chance: str = field(metadata={"help": "Chance that it is met; empty where it is not a matter of chance"})


def open_lines(gates: Sequence[Gate]) -> tuple[GateLine, ...]:
    """Return the conditions that are not met, the worst first."""
    some = [gate for gate in gates if gate.standing not in GOOD]
    return tuple(_line(gate) for gate in sorted(some, key=lambda gate: WORST_FIRST.index(gate.standing)))


def met_lines(gates: Sequence[Gate]) -> tuple[GateLine, ...]:
    """Return the conditions that are met, and what is under its limit, as the judgement ordered them."""
    return tuple(_line(gate) for gate in gates if gate.standing in GOOD)


def met_words(gates: Sequence[Gate]) -> str:
    """Return which conditions are met, in one line: "4 are met: measured, steady, room, hygrometer"."""
    names = [gate.name for gate in gates if gate.standing in GOOD]
    if not names:
        return ""
    every = "All " if 1 < len(names) == len(gates) else ""
    how = "met or under its limit" if any(gate.standing is Standing.UNDER for gate in gates) else "met"
    return f"{every}{len(names)} {'is' if len(names) == 1 else 'are'} {how}: {', '.join(names)}"


def _line(gate: Gate) -> GateLine:
    return GateLine(
        marks.standing_key(gate.standing),
        marks.standing(gate.standing),
        gate.standing.value,
        gate.name,
        gate.sentence,
        display.chance(gate.probability),
    )


def piece_lines(pieces: Sequence[PieceSaid]) -> tuple[GateLine, ...]:
    """Return the verdicts on pieces, the gravest first; those of one word and reason are told once, figures apart."""
    alike: dict[tuple[Word, str], list[PieceSaid]] = {}
    for piece in pieces:
        alike.setdefault((piece.word, _DIGITS.sub("#", piece.reason)), []).append(piece)
    order = sorted(alike.items(), key=lambda one: GRAVEST_FIRST.index(one[0][0]))
    return tuple(_pieces_line(some) for _, some in order)


def _pieces_line(some: Sequence[PieceSaid]) -> GateLine:
    first, names = some[0], [one.name for one in some]
    named = (
        names if len(names) <= NAMED_PIECES else [*names[: NAMED_PIECES - 1], f"{len(names) - NAMED_PIECES + 1} more"]
    )
    same = len({one.reason for one in some}) == 1
    reason = first.reason if same else f"{first.reason} The same of {display.listed(names[1:])}, with other figures."
    if not same and len(names) > NAMED_PIECES:
        reason = f"{first.reason} The same of the others, with other figures."
    chances = {display.chance(one.probability) for one in some}
    chance = chances.pop() if len(chances) == 1 else ""
    return GateLine(
        marks.WORD_KEYS[first.word], marks.joint(first.word), first.word.value, display.listed(named), reason, chance
    )


def pieces_words(pieces: Sequence[PieceSaid]) -> str:
    """Return how many pieces there are of each word, the gravest first: "1 STOP, 2 WAIT"."""
    counted = ((sum(one.word is word for one in pieces), word) for word in GRAVEST_FIRST)
    return ", ".join(f"{count} {word}" for count, word in counted if count)
