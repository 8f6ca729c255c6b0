"""Every limit by which verdicts are reached: what is in force, what the tables say, and who has set it otherwise."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from dashboards import limits_now, region_entries
from dashboards.limits_now import LimitNow, OwnLimits
from dashboards.pages import verdict_forms
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import EntryLine, Link
from dashboards.region_entries import RegionNow
from shared import tables

FOR_ALL = "For every use"
FIXED = "The same for every yard"
FIXED_SOURCE = "Part of how readings are worked out, not of a verdict: shown, not set."


@dataclass(frozen=True)
class LimitView:
    """One limit."""

    name: str = field(metadata={"help": "What it is called in the tables and in the terminal"})
    changed: tuple[EntryLine, ...] = field(metadata={"help": "Who has set it, when and why; none: nobody"})
    form: Form | None = field(metadata={"help": "What is in force, and setting it; None: the same for all yards"})
    told: str = field(metadata={"help": "What is in force"})
    by_the_table: str = field(metadata={"help": "What it is called, and what the table says of it"})


@dataclass(frozen=True)
class LimitGroup:
    """The limits of one use, or those that hold for every use."""

    title: str = field(metadata={"help": "The use"})
    anchor: str = field(metadata={"help": "Where it stands on the page"})
    source: str = field(metadata={"help": "Whose word all of the use's figures are; empty where each has its own"})
    limits: tuple[LimitView, ...] = field(metadata={"help": "Its limits, in the order of the table"})


@dataclass(frozen=True)
class RegionView:
    """Whose limits for breathed air count."""

    told: str = field(metadata={"help": "Whose limits count now"})
    form: Form = field(metadata={"help": "Chooses others"})
    changed: tuple[EntryLine, ...] = field(metadata={"help": "Who has chosen, when and why; none: nobody"})


@dataclass(frozen=True)
class LimitsPage:
    """Everything that limits.html may use."""

    region: RegionView = field(metadata={"help": "Whose limits for breathed air count"})
    changed: tuple[Link, ...] = field(metadata={"help": "The limits that this yard has set otherwise"})
    groups: tuple[LimitGroup, ...] = field(metadata={"help": "Every limit, use by use, then those of every use"})


def limits_page(own: OwnLimits, region: RegionNow, by: str, attempt: Attempt | None) -> LimitsPage:
    """Fill the page of limits."""
    every = limits_now.every(own)

    def group(title: str, anchor: str, source: str, some: Iterable[LimitNow]) -> LimitGroup:
        return LimitGroup(title, anchor, source, tuple(_view(one, by, attempt) for one in some))

    rows = [one for one in every if not one.group]
    groups = [
        group(use.label, use.name, _known(use.source, use.status), (one for one in every if one.group == use.name))
        for use in tables.uses().values()
    ]
    groups.append(group(FOR_ALL, "every-use", "", (one for one in rows if one.settable)))
    groups.append(group(FIXED, "every-yard", FIXED_SOURCE, (one for one in rows if not one.settable)))
    return LimitsPage(
        region=_region(region, by, attempt),
        changed=tuple(Link(_called(one), f"#{one.name}") for one in every if one.own is not None),
        groups=tuple(one for one in groups if one.limits),
    )


def _region(now: RegionNow, by: str, attempt: Attempt | None) -> RegionView:
    line = verdict_forms.region_line(now)
    form = shown_again(verdict_forms.region(now, by), attempt)
    told = f"For breathed air counts {region_entries.said(now.region)}."
    return RegionView(told, form, () if line is None else (line,))


def _called(one: LimitNow) -> str:
    uses = tables.uses()
    return f"{uses[one.group].label}: {one.label}" if one.group in uses else one.label


def _view(one: LimitNow, by: str, attempt: Attempt | None) -> LimitView:
    line = verdict_forms.limit_line(one)
    form = shown_again(verdict_forms.limit(one, by), attempt) if one.settable else None
    told, source = verdict_forms.limit_words(one), verdict_forms.by_the_table(one)
    return LimitView(one.name, () if line is None else (line,), form, told, source)


def _known(source: str, status: str) -> str:
    return source if source.startswith(status) else f"{source} ({status})"
