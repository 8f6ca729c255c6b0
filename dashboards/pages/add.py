"""Adding things: one page, a form for each kind."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards.pages import add_forms
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.situation import Situation
from shared.store.records import SubjectKind

PLACE_FIRST = "Add a place first: a stack stands in one, a board lies in one, a probe measures one."
ORDER = (SubjectKind.BOARD, SubjectKind.STACK, SubjectKind.SET, SubjectKind.PLACE, SubjectKind.PROBE)


@dataclass(frozen=True)
class AddPage:
    """Everything that add.html may use."""

    forms: tuple[Form, ...] = field(metadata={"help": "A form for each kind of thing"})
    waiting: tuple[str, ...] = field(metadata={"help": "Probes that are heard and wait for a place"})
    first: str = field(metadata={"help": "What to add first, when something is missing for the rest"})


def add_page(situation: Situation, by: str, attempt: Attempt | None) -> AddPage:
    """Fill the page that adds things."""
    forms = tuple(shown_again(add_forms.add(kind, situation, by), attempt) for kind in ORDER)
    waiting = tuple(probe.fact.name for probe in situation.probes if probe.state == "unplaced")
    return AddPage(forms=forms, waiting=waiting, first="" if situation.open_places else PLACE_FIRST)
