"""A projection as text, for the cache, and back; text of another model's making is no projection of today's."""

from __future__ import annotations

import json
import zlib
from dataclasses import fields, is_dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from kiln.plateau import Plateau
from kiln.records import Band, Measured, Option, Projection, Said, Tells
from kiln.standing import Curve, Danger, Dangers, Standing

PHYSICS = "25"  # raise it when the physics changes
# Part of every key; a projection kept with other fields is of another model too, and is made again.
MODEL = f"{PHYSICS}.{zlib.crc32(' '.join(field.name for field in fields(Projection)).encode()):x}"
BEING_MADE = "its projection is being worked out"
DIGITS = 3
FLOATS = ("depth_fraction", "chance_fit", "member_mc_pct")


def missing(why: str) -> str:
    """Write the reason why there is no projection."""
    return json.dumps({"model": MODEL, "missing": why})


def to_json(projection: Projection) -> str:
    """Write a projection as text for the cache."""
    values = {field.name: _plain(getattr(projection, field.name)) for field in fields(projection)}
    return json.dumps({"model": MODEL, **values})


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return value.tolist() if value.dtype in (np.int64, np.bool_) else np.round(value, DIGITS).tolist()
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if is_dataclass(value) and not isinstance(value, type):
        return [_plain(getattr(value, field.name)) for field in fields(value)]
    return value


def _dangers(content: list[Any]) -> Dangers:
    dangers, checking, mould, stops, balance, notes = content
    found = tuple(Danger(one[0], Standing(one[1]), *one[2:]) for one in dangers)
    return Dangers(found, _curve(checking), _curve(mould), tuple(stops), balance, tuple(notes))


def _curve(content: list[Any]) -> Curve:
    at_ms, *bands = content
    return Curve(np.array(at_ms, dtype=np.int64), *(np.array(band, dtype=float) for band in bands))


def _tuples(items: list[Any]) -> list[Any]:
    return [tuple(one) if isinstance(one, list) else one for one in items]


@lru_cache(maxsize=512)
def from_json(body: str) -> Projection | str:
    """Read a cached projection; text is the reason why there is none."""
    content = json.loads(body)
    if content.pop("model", "") != MODEL:  # made by another version of the physics: it will be made again
        return BEING_MADE
    if "missing" in content:
        return str(content["missing"])
    bands = ("mean", "shell", "core", "emc", "profiles")
    made: dict[str, Any] = dict(content)
    made |= {name: Band(*(np.array(part, dtype=float) for part in content[name])) for name in bands}
    made |= {name: np.array(content[name], dtype=np.int64) for name in ("at_ms", "profile_ms", "member_ms")}
    made |= {name: np.array(content[name], dtype=float) for name in FLOATS}
    made["fit_members"] = np.array(content["fit_members"], dtype=bool)
    for name in ("rest_mc_pct", "room_mc_pct"):
        made[name] = None if content[name] is None else tuple(content[name])
    made |= {
        name: tuple(content[name])
        for name in (
            "loss_pct_per_day",
            "off_target_mc_pct",
            "off_target_together_mc_pct",
            "ready_ms",
            "ready_by_ms",
            "holds_mc_pct",
            "floor_mc_pct",
            "oven_dry_mass_kg",
            "notes",
            "wanted_mc_pct",
        )
    }
    for name in ("move", "refuge"):
        made[name] = None if content[name] is None else Option(*_tuples(content[name]))
    made["tells"] = tuple(Tells(*one) for one in content["tells"])
    plateau = content["plateau"]
    made["plateau"] = None if plateau is None else Plateau(*plateau)
    made["dangers"] = None if content["dangers"] is None else _dangers(content["dangers"])
    made["history"] = tuple(Said(*_tuples(one)) for one in content["history"])
    made["legs"] = tuple((int(ms), str(name)) for ms, name in content["legs"])
    made["measured"] = tuple(Measured(*item) for item in content["measured"])
    return Projection(**made)
