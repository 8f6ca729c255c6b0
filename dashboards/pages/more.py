"""The menu: what stands in the bar of a phone, and the page of everything that does not fit there."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Entry:
    """One page of the menu."""

    key: str = field(metadata={"help": "Which section it lights up in"})
    path: str = field(metadata={"help": "Its path"})
    text: str = field(metadata={"help": "Its name"})
    about: str = field(metadata={"help": "What is found there, in a line"})
    near: bool = field(default=False, metadata={"help": "Whether it stands in the bar of a phone, under the thumb"})


MENU = (
    Entry("yard", "/", "Yard", "Every stack, set and loose board, and what to do today", near=True),
    Entry("weigh", "/weigh", "Weigh", "Weigh-ins one after the other, also where there is no signal", near=True),
    Entry("air", "/air", "Air", "Temperature, humidity, EMC and dew point of every place", near=True),
    Entry("finish", "/finish", "Finish", "Before sanding and before spraying", near=True),
    Entry("dust", "/dust", "Dust", "Harmful woods, limits in breathed air, dust that burns"),
    Entry("hurt", "/hurt", "Lifting, heat, mould, gas", "The other ways to get hurt in a yard"),
    Entry("add", "/add", "Add", "A place, a stack, a board, a set"),
    Entry("probes", "/probes", "Probes", "Who measures what, hygrometer checks, refused messages"),
    Entry("work out", "/work-out", "Work out", "EMC, movement, density, bag test and other questions"),
    Entry("meters", "/meters", "Meters", "Pin meters and their calibration pairs"),
    Entry("records", "/records", "Records", "All that was entered, by whom and when; exports"),
    Entry("limits", "/limits", "Limits", "What this yard asks for, in place of the usual figures"),
    Entry("settings", "/settings", "Settings", "Units, who may do what, every setting and where it came from"),
    Entry("how", "/how", "How", "How each number comes about, with its source"),
)
UNFOLDED = ("yard", "weigh", "air", "finish", "probes", "work out", "records", "add", "settings", "how")


@dataclass(frozen=True)
class MorePage:
    """Everything that more.html may use."""

    entries: tuple[Entry, ...] = field(metadata={"help": "All pages of the menu that a phone's bar has no room for"})


def more_page() -> MorePage:
    """Fill the page of what a phone's bar has no room for."""
    return MorePage(tuple(entry for entry in MENU if not entry.near))


def is_far(section: str) -> bool:
    """Return whether a section is reached by way of this page on a phone."""
    return section == "more" or any(entry.key == section and not entry.near for entry in MENU)


def in_bar() -> tuple[Entry, ...]:
    """Return what stands in the menu of every page; on a phone only what is near does."""
    by_key = {entry.key: entry for entry in MENU}
    return tuple(by_key[key] for key in UNFOLDED)
