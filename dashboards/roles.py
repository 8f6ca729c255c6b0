"""Who may do what: three roles, and the one table of what each form asks for.

look     every page, every chart, JSON and export: whatever is asked for by GET
record   what is found and done at the wood: boards, stacks, sets, weigh-ins, moves, cuts, outcomes, what was sprayed,
         taking back
manage   what verdicts, readings and warnings rest on: places, probes, meters, checks, limits, finishes; and who may
         open the pages

Each role may do what those before it may. What stands in none of the tables below asks for *manage*: a form that
somebody forgot to enter here is refused to most rather than open to all, and a test names it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum


class Role(IntEnum):
    """What somebody may do, each more than the one before."""

    NOBODY = 0
    LOOK = 1
    RECORD = 2
    MANAGE = 3

    @property
    def word(self) -> str:
        """Return the role as people type it."""
        return self.name.lower()


ROLES = (Role.MANAGE, Role.RECORD, Role.LOOK)

# What each form enters: kind of thing and act, as `dashboards.pages.acts` names them.
ACTS: dict[tuple[str, str], Role] = {
    ("add", "place"): Role.MANAGE,
    ("add", "probe"): Role.MANAGE,
    ("add", "meter"): Role.MANAGE,
    ("add", "stack"): Role.RECORD,
    ("add", "board"): Role.RECORD,
    ("add", "set"): Role.RECORD,
    ("place", "change"): Role.MANAGE,
    ("place", "close"): Role.MANAGE,
    ("place", "climate"): Role.MANAGE,
    ("probe", "move"): Role.MANAGE,
    ("probe", "check"): Role.MANAGE,
    ("probe", "tare"): Role.MANAGE,
    ("probe", "carry"): Role.RECORD,  # laying a board on a load cell is work at the wood
    ("meter", "pair"): Role.MANAGE,
    ("limit", "set"): Role.MANAGE,
    ("limit", "region"): Role.MANAGE,
    ("add", "finish"): Role.MANAGE,
    ("finish", "change"): Role.MANAGE,
    ("finish", "close"): Role.MANAGE,
    ("finish", "reopen"): Role.MANAGE,
    ("place", "finish-room"): Role.MANAGE,
    ("place", "acknowledge"): Role.MANAGE,
    ("place", "sprayed"): Role.RECORD,
    ("place", "surface"): Role.RECORD,
    ("stack", "move"): Role.RECORD,
    ("stack", "change"): Role.RECORD,
    ("stack", "plan-move"): Role.RECORD,
    ("board", "weigh-in"): Role.RECORD,
    ("board", "pin"): Role.RECORD,
    ("board", "oven-dry"): Role.RECORD,
    ("board", "bag-test"): Role.RECORD,
    ("board", "use"): Role.RECORD,
    ("board", "move"): Role.RECORD,
    ("board", "plan-move"): Role.RECORD,
    ("board", "water"): Role.RECORD,
    ("board", "outcome"): Role.RECORD,
    ("board", "rest"): Role.RECORD,
    ("board", "coat"): Role.RECORD,
    ("board", "plane"): Role.RECORD,
    ("board", "resaw"): Role.RECORD,
    ("board", "rip"): Role.RECORD,
    ("board", "crosscut"): Role.RECORD,
    ("board", "trim"): Role.RECORD,
    ("board", "correct"): Role.RECORD,
    ("board", "set"): Role.RECORD,
    ("board", "lifted"): Role.RECORD,
    ("board", "override"): Role.RECORD,  # it bears a name and a reason, and changes no verdict
    ("set", "put"): Role.RECORD,
    ("set", "use"): Role.RECORD,
    ("set", "joint"): Role.RECORD,
    ("set", "override"): Role.RECORD,
}

# Kinds of entry, as `dashboards.undoing` names them, that take the same role to take back as to enter.
MANAGED_ENTRIES = frozenset(
    {"place", "probe", "probe-move", "climate", "meter", "meter-pair", "hygrometer-check", "tare", "limit", "region"}
    | {"finish", "finish-room", "acknowledgement"}
)
RECORDED_ENTRIES = frozenset(
    {"stack", "stack-move", "set", "board", "board-move", "rest", "coat", "cut", "water", "outcome", "planned-move"}
    | {"set-member", "weigh-in", "pin", "oven-dry", "bag-test", "cell-load", "use", "override", "lifting", "joint"}
    | {"spraying", "surface"}
)

# Every other address that takes a form; the first path that fits decides.
ADDRESSES: tuple[tuple[str, Role], ...] = (
    ("/sign-in", Role.NOBODY),
    ("/sign-out", Role.NOBODY),
    ("/units", Role.LOOK),  # a choice of this browser alone
    ("/undo", Role.RECORD),  # and what it takes back asks again: `to_undo`
    ("/weigh", Role.RECORD),
    ("/settings", Role.MANAGE),
)


def to_undo(kind: str) -> Role:
    """Return what taking back an entry of this kind asks for."""
    return Role.RECORD if kind in RECORDED_ENTRIES else Role.MANAGE


def to_send(path: str) -> Role:
    """Return what sending a form to this path asks for."""
    parts = path.strip("/").split("/")
    for known, role in ADDRESSES:
        if path == known or path.startswith(f"{known}/"):
            return role
    if len(parts) == 2 and parts[0] == "add":
        return ACTS.get(("add", parts[1]), Role.MANAGE)
    return ACTS.get((parts[0], parts[2]), Role.MANAGE) if len(parts) == 3 else Role.MANAGE


@dataclass(frozen=True)
class May:
    """What whoever looks at a page may do, as templates ask it."""

    role: str = field(metadata={"help": "Their role in a word"})
    record: bool = field(metadata={"help": "Whether they may enter what is found and done at the wood"})
    manage: bool = field(metadata={"help": "Whether they may change what verdicts and readings rest on"})

    def send(self, path: str) -> bool:
        """Return whether they may send a form there."""
        return self._has(to_send(path))

    def undo(self, kind: str) -> bool:
        """Return whether they may take back an entry of this kind."""
        return self._has(to_undo(kind))

    def _has(self, needed: Role) -> bool:
        return Role[self.role.upper()] >= needed


def may(role: Role) -> May:
    """Return what a role may do."""
    return May(role.word, role >= Role.RECORD, role >= Role.MANAGE)


def refusal(needed: Role) -> str:
    """Return the sentence for somebody who may not do what they asked."""
    what = "entering things" if needed <= Role.RECORD else "changing places, probes, limits, finishes and settings"
    return f"Your sign-in is not for {what}: sign in with the password for that; nothing was entered."
