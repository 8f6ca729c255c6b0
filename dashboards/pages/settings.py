"""The page of settings: who may do what, read-only links, how clock and store stand, every setting and its source."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from dashboards import display
from dashboards.look_links import LONGEST_NAME, MOST_DAYS, USUAL_DAYS, Link
from dashboards.pages.forms import Attempt, Field, Form, shown_again
from dashboards.roles import ROLES, May, Role
from shared.settings import ENVIRONMENT_PREFIX, FILE_NAME, Source, shown_value

QUOTED = re.compile("`([^`]+)`")
MAY_DO = {
    Role.LOOK: "see every page, chart and export",
    Role.RECORD: "also enter and take back what is found and done at the wood: weigh-ins, moves, cuts, outcomes, uses, "
    "what was sprayed",
    Role.MANAGE: "also change places, probes, meters, checks, limits and finishes, and make read-only links",
}
PHONES_WAIT = "Phones cannot open these pages until a password is set: “benchdry password” on this machine"
FIRST_A_PASSWORD = (
    "Nobody but this machine is answered yet, so a link would open nothing. First set a password: type “benchdry "
    "password” in the terminal of this machine, let the pages listen to the network, and start them anew."
)
GROUPS = (  # what the names of settings begin with; all others come last
    ("Pages and place", ("web_", "temperature_", "length_", "local_", "latitude", "longitude")),
    ("Broker and recorder", ("broker_", "recorder_", "verdict_", "commit_", "payload_", "silent_")),
    ("Store", ("store", "keep_")),
    ("Finish room", ("limits_", "substances_")),
    ("Wood and forecast", ("",)),
)


@dataclass(frozen=True)
class RoleLine:
    """One role."""

    word: str = field(metadata={"help": "Its name, as it is typed"})
    may: str = field(metadata={"help": "What it may do"})
    password: str = field(metadata={"help": "Whether it has a password"})
    command: str = field(metadata={"help": "What sets one"})


@dataclass(frozen=True)
class LinkLine:
    """One read-only link."""

    name: str = field(metadata={"help": "What it was called when it was made"})
    told: str = field(metadata={"help": "Since when, until when, and when it was last used"})
    revoke: Form = field(metadata={"help": "Ends it at once"})


@dataclass(frozen=True)
class FreshLink:
    """A link just made: the only time that its address is told."""

    name: str = field(metadata={"help": "What it is called"})
    address: str = field(metadata={"help": "Opens the yard for looking"})
    wall: str = field(metadata={"help": "The same for a tablet on a nail"})


@dataclass(frozen=True)
class SettingLine:
    """One setting."""

    name: str = field(metadata={"help": "Its name in the file"})
    value: str = field(metadata={"help": "Its value with its unit; of a secret only whether it is set"})
    origin: str = field(metadata={"help": "Where the value comes from"})
    about: str = field(metadata={"help": "What it is"})
    change: str = field(metadata={"help": "The line in the file, or what to change instead"})


@dataclass(frozen=True)
class SettingGroup:
    """Settings that belong together."""

    title: str = field(metadata={"help": "What they are about"})
    anchor: str = field(metadata={"help": "Where they stand on the page"})
    told: str = field(metadata={"help": "How many there are, and which are not as they come"})
    settings: tuple[SettingLine, ...] = field(metadata={"help": "The settings"})


@dataclass(frozen=True)
class Told:
    """A headline and the sentences folded under it."""

    headline: str = field(metadata={"help": "What is read without unfolding"})
    sentences: tuple[str, ...] = field(metadata={"help": "What is read then"})
    wrong: bool = field(default=False, metadata={"help": "Whether something has to be put right"})


@dataclass(frozen=True)
class SettingsPage:
    """Everything that settings.html may use."""

    signed_in: str = field(metadata={"help": "What whoever looks may do, in a sentence"})
    who: str = field(metadata={"help": "Which roles have a password, in a few words"})
    roles: tuple[RoleLine, ...] = field(metadata={"help": "The roles, the least first"})
    links_told: str = field(metadata={"help": "How many links there are"})
    links: tuple[LinkLine, ...] = field(metadata={"help": "The links; none for those who may not make them"})
    make_link: Form | None = field(metadata={"help": "Makes a link; None: not before a password is set"})
    link_first: str = field(metadata={"help": "What to do before a link can be made; empty: nothing"})
    refused: str = field(metadata={"help": "Why the form that was sent was not accepted; empty: none was sent"})
    fresh: FreshLink | None = field(metadata={"help": "The link just made; None: none was"})
    clock: Told = field(metadata={"help": "Time, zone, and whether the clock looks right"})
    store: Told = field(metadata={"help": "How large the store is and what it holds"})
    reach: Told = field(metadata={"help": "From where and how the pages can be opened"})
    groups: tuple[SettingGroup, ...] = field(metadata={"help": "Every setting"})
    file: str = field(metadata={"help": "Name of the file that settings stand in"})
    version: str = field(metadata={"help": "Version of this program"})


@dataclass(frozen=True)
class Found:
    """What the route fetched for the page."""

    may: May
    passwords: frozenset[Role]
    links: Sequence[Link]
    clock: Told
    store: Told
    reach: Told
    sources: Sequence[Source]
    version: str
    now_ms: int


def settings_page(found: Found, attempt: Attempt | None = None, fresh: FreshLink | None = None) -> SettingsPage:
    """Fill the page."""
    links = tuple(_link_line(one, found.now_ms) for one in found.links) if found.may.manage else ()
    return SettingsPage(
        signed_in=_signed_in(found),
        who=_who(found.passwords),
        roles=tuple(_role_line(role, found.passwords) for role in reversed(ROLES)),
        links_told=_links_told(found, links),
        links=links,
        make_link=shown_again(make_link_form(), attempt) if found.passwords else None,
        link_first="" if found.passwords else FIRST_A_PASSWORD,
        refused="" if attempt is None else f"No link was made: {attempt.error}",
        fresh=fresh,
        clock=found.clock,
        store=found.store,
        reach=found.reach,
        groups=tuple(_groups(found.sources)),
        file=FILE_NAME,
        version=found.version,
    )


def make_link_form() -> Form:
    """Return the form that makes a read-only link."""
    named = Field(
        "name",
        "What it is for",
        needed=True,
        spoken="name of the link",
        hint=f"Such as: tablet on the nail. Up to {LONGEST_NAME} characters.",
    )
    days = Field(
        "days", "Holds for", "number", value=str(USUAL_DAYS), unit="days", hint=f"1 to {MOST_DAYS}.", spoken="days"
    )
    intro = "Whoever has its address may look at every page, and enter nothing."
    return Form("link", "Make a link", "/settings/link", "Make it", (named, days), intro=intro)


def _link_line(link: Link, now_ms: int) -> LinkLine:
    used = "never used" if link.used_ms is None else f"last used {display.age(link.used_ms, now_ms)}"
    told = f"made {display.day(link.made_ms, now_ms)}, holds until {display.day(link.until_ms, now_ms)}, {used}"
    hidden = (Field("name", "", "hidden", value=link.name),)
    return LinkLine(link.name, told, Form("revoke", "", "/settings/revoke", "Revoke it", hidden))


def _links_told(found: Found, links: Sequence[LinkLine]) -> str:
    if not found.passwords:
        return "a password comes first"
    return display.listed([one.name for one in links]) if links else "none"


def _signed_in(found: Found) -> str:
    if not found.passwords:
        return f"{PHONES_WAIT}. This machine may do everything."
    return f"You are signed in to {found.may.role}."


def _who(passwords: frozenset[Role]) -> str:
    if not passwords:
        return "no password is set: phones cannot open these pages"
    return f"passwords for {display.listed([role.word for role in reversed(ROLES) if role in passwords])}"


def _role_line(role: Role, passwords: frozenset[Role]) -> RoleLine:
    option = "" if role is Role.MANAGE else f" --role {role.word}"
    known = "has a password" if role in passwords else "has no password"
    return RoleLine(role.word, MAY_DO[role], known, f"benchdry password{option}")


def _groups(sources: Sequence[Source]) -> list[SettingGroup]:
    left = list(sources)
    groups = []
    for title, beginnings in GROUPS:
        of_it = [one for one in left if one.name.startswith(beginnings)]
        left = [one for one in left if one not in of_it]
        own = [one.name for one in of_it if one.origin != "default"]
        told = f"{len(of_it)} settings, " + (
            f"changed from the usual: {display.listed(own)}" if own else "all as usual"
        )
        anchor = f"set-{title.lower().replace(' ', '-')}"
        groups.append(SettingGroup(title, anchor, told, tuple(_setting_line(one) for one in of_it)))
    return groups


def _setting_line(source: Source) -> SettingLine:
    value = shown_value(source.name, source.value)
    value = value.lower() if isinstance(source.value, bool) else value
    change = f"In {FILE_NAME}: {source.name} = {_in_file(source, value)}"
    if source.origin.startswith("environment"):
        change = f"Change {ENVIRONMENT_PREFIX}{source.name.upper()} where the program is started."
    if source.origin == "command line":
        change = "Change the option that the program is started with."
    about = QUOTED.sub(r"“\1”", source.help)
    return SettingLine(source.name, f"{value} {source.unit}".strip(), source.origin, about, change)


def _in_file(source: Source, value: str) -> str:
    """Return a value as it is written in the file; of what is not shown, where it would stand."""
    if not isinstance(source.value, str):
        return value
    return json.dumps(value, ensure_ascii=False) if value == source.value else '"…"'
