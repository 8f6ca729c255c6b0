"""Every limit by which verdicts are reached: what is in force, what the tables say, and who has set it otherwise."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards import limits_now
from dashboards.limits_now import LimitNow, OwnLimits
from dashboards.pages import verdict_forms
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine
from shared import tables

FOR_ALL = "For every use"


@dataclass(frozen=True)
class LimitView:
    """One limit."""

    name: str = field(metadata={"help": "What it is called in the tables and in the terminal"})
    changed: tuple[EntryLine, ...] = field(metadata={"help": "Who has set it, when and why; none: nobody"})
    form: Form = field(metadata={"help": "What is in force, what the table says, and setting it otherwise"})


@dataclass(frozen=True)
class LimitGroup:
    """The limits of one use, or those that hold for every use."""

    title: str = field(metadata={"help": "The use"})
    anchor: str = field(metadata={"help": "Where it stands on the page"})
    source: str = field(metadata={"help": "Whose word all of the use's figures are; empty where each has its own"})
    limits: tuple[LimitView, ...] = field(metadata={"help": "Its limits, in the order of the table"})


@dataclass(frozen=True)
class LimitsPage:
    """Everything that limits.html may use."""

    changed: tuple[str, ...] = field(metadata={"help": "Names of the limits that this yard has set otherwise"})
    groups: tuple[LimitGroup, ...] = field(metadata={"help": "Every limit, use by use, then those of every use"})


def limits_page(own: OwnLimits, by: str, attempt: Attempt | None) -> LimitsPage:
    """Fill the page of limits."""
    every = limits_now.every(own)
    uses = tables.uses().values()
    groups = [_group(use.label, use.name, _known(use.source, use.status), every, by, attempt) for use in uses]
    return LimitsPage(
        changed=tuple(one.name for one in every if one.own is not None),
        groups=(*groups, _group(FOR_ALL, "", "", every, by, attempt)),
    )


def _group(
    title: str, use: str, source: str, every: tuple[LimitNow, ...], by: str, attempt: Attempt | None
) -> LimitGroup:
    views = tuple(_view(one, by, attempt) for one in every if one.group == use)
    return LimitGroup(title, use or "every-use", source, views)


def _view(one: LimitNow, by: str, attempt: Attempt | None) -> LimitView:
    line = verdict_forms.limit_line(one)
    form = shown_again(verdict_forms.limit(one, by), attempt)
    return LimitView(one.name, () if line is None else (line,), form)


def _known(source: str, status: str) -> str:
    return source if source.startswith(status) else f"{source} ({status})"
