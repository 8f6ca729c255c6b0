"""What this yard has learned from its finished and harmed boards."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import display, learned
from dashboards.learned import AllLearned, Learned, Teacher

SETTING = "learn_from_finished"


@dataclass(frozen=True)
class TeacherLine:
    """An outcome by which a board teaches, with the button that takes it back."""

    name: str = field(metadata={"help": "What the board is called"})
    link: str = field(metadata={"help": "Path of its page"})
    number: int = field(metadata={"help": "Number of the outcome, as undo knows it"})
    told: str = field(metadata={"help": "What became of it, and what that teaches"})
    when: str = field(metadata={"help": "When, and who entered it"})


@dataclass(frozen=True)
class WoodView:
    """One wood with what its boards taught."""

    name: str = field(metadata={"help": "The wood, and as what it came"})
    botanical_name: str = field(metadata={"help": "Its botanical name"})
    sentences: tuple[str, ...] = field(metadata={"help": "What was learned"})
    teachers: tuple[TeacherLine, ...] = field(metadata={"help": "By which outcomes"})


@dataclass(frozen=True)
class LearnedPage:
    """Everything that learned.html may use."""

    on: bool = field(metadata={"help": "Whether the setting is on"})
    setting: str = field(metadata={"help": "The setting that switches it off"})
    woods: tuple[WoodView, ...] = field(metadata={"help": "Every wood with finished or harmed boards"})


def learned_page(found: AllLearned) -> LearnedPage:
    """Fill the page of what was learned."""
    return LearnedPage(found.on, SETTING, tuple(_view(wood) for wood in found.woods))


def _view(wood: Learned) -> WoodView:
    said = learned.sentences(wood) or ("Nothing yet: none of these boards was measured in air that is on record.",)
    lines = tuple(_line(one) for one in wood.teachers)
    return WoodView(f"{wood.label}, {wood.origin}", wood.botanical_name, said, lines)


def _line(one: Teacher) -> TeacherLine:
    when = f"{display.moment(one.at_ms)} · {one.entered_by}"
    return TeacherLine(one.name, f"/board/{one.subject.code}", one.outcome_id, f"{one.outcome}: {one.taught}", when)
