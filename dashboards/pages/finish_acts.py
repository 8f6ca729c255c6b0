"""What the sent forms of finishes and finish rooms do: which entry they make from what was typed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import entries, fields
from dashboards.acknowledging import FIELD as ACKNOWLEDGED
from dashboards.entries import Entered

Typed = Mapping[str, str]
SHEET_FIELDS = (
    *("name", "basis", "ingredients", "density_kg_l", "flash_point_c", "isocyanate", "formaldehyde", "self_heating"),
    *("dry_after_h", "dew_gap_c", "rh_max_pct", "surface_min_c", "sheet", "note"),
)


def _some(typed: Typed, *names: str) -> dict[str, Any]:
    return {name: typed.get(name, "") for name in names}


def _when(typed: Typed) -> int | None:
    return fields.moment_ms("time", typed.get("true_at", ""))


def _add(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.add_finish(connection, code, **_some(typed, *SHEET_FIELDS), **who)


def _change(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    looked_at = int(fields.number("entry that was opened", typed.get("supersedes"), 1, 2**53, ""))
    return entries.change_finish(connection, code, **_some(typed, *SHEET_FIELDS, "sure"), supersedes=looked_at, **who)


def _close(connection: Any, code: str, _typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.close_finish(connection, code, **who)


def _reopen(connection: Any, code: str, _typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.reopen_finish(connection, code, **who)


def _room(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "volume", "extraction", "extraction_known", "mixing_factor", "sure")
    return entries.say_finish_room(connection, code, **given, true_at_ms=_when(typed), **who)


def _sprayed(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "finish", "litres", "minutes", "extraction_on", "sure")
    return entries.add_sprayed(connection, code, **given, true_at_ms=_when(typed), **who)


def _surface(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    given = _some(typed, "surface_c", "what", "air_c", "rh_pct", "sure")
    return entries.add_surface_reading(connection, code, **given, true_at_ms=_when(typed), **who)


def _acknowledge(connection: Any, code: str, typed: Typed, who: dict[str, Any]) -> Entered:
    return entries.acknowledge(connection, code, acknowledged=typed.get(ACKNOWLEDGED), **who)


ACTS = {
    ("add", "finish"): _add,
    ("finish", "change"): _change,
    ("finish", "close"): _close,
    ("finish", "reopen"): _reopen,
    ("place", "finish-room"): _room,
    ("place", "sprayed"): _sprayed,
    ("place", "surface"): _surface,
    ("place", "acknowledge"): _acknowledge,
}

OF_ROOM = frozenset(one for one in ACTS if one[0] == "place")  # sent from the page of a finish room
KINDS_OF_ROOM = frozenset({"finish-room", "spraying", "surface", "acknowledgement"})  # as undo knows them
