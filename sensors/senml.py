"""SenML packs (RFC 8428, 2018, section 4): records resolved, and parted by the device that each names.

A record's full name is base name and name. Where its last part (after ``:`` or ``/``) names a quantity, the rest
is the device; otherwise the whole name is. A device that the topic itself names goes by the topic.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from sensors.messages import NAME_LENGTH, BadPayload, Gathering, below, number, short
from sensors.names import Named, fits, named
from sensors.payload_times import Clock, plausible
from shared.store.records import Quantity
from shared.units import MS_PER_S

RELATIVE_BELOW_S = 2**28  # section 4.5.3: smaller times are relative to now
VERSION = 10  # section 4.4
CACHED = 300  # longer names are worked out each time: what a stranger sends must not fill the memory
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")  # section 4.5.1
MOST_RATIO = 3.0  # green wood may hold more water than wood; nothing here has a ratio beyond this
FIELDS = frozenset({"n", "u", "v", "vs", "vb", "vd", "s", "t", "bn", "bt", "bu", "bv", "bs", "bver"})
RATIO = {"/": "fraction", "%": "fraction", "/100": "pct"}  # section 12.1, note 2: "%" is a ratio too, not a percentage
# Units that are used for one thing only (section 12.1); mV, mm, ug/m3 and /100 are in RFC 8798 (2020), from memory.
BY_UNIT = {
    "Cel": Named((Quantity.TEMPERATURE_C,)),
    "K": Named((Quantity.TEMPERATURE_C,)),
    "%RH": Named((Quantity.RH_PCT,)),
    "kg": Named((Quantity.MASS_KG,)),
    "g": Named((Quantity.MASS_KG,)),
    "%EL": Named((Quantity.BATTERY_PCT,)),
}
SHORT_NAMES = frozenset({"t", "h"})  # beside Cel and %RH they are names of quantities; elsewhere of nothing


def looks_like(content: list[Any]) -> bool:
    """Tell whether a list could be a SenML pack: objects, with one of its labels in the first."""
    return bool(content) and all(isinstance(one, dict) for one in content) and not FIELDS.isdisjoint(content[0])


def gather(topic: str, records: list[dict[str, Any]], clock: Clock, gathering: Gathering) -> None:
    """Resolve a pack: base fields hold until they are given again; raises BadPayload for what is none."""
    base: dict[str, Any] = {"bn": "", "bt": 0.0, "bu": "", "bv": 0.0}
    for record in records:
        _check(record)
        base.update({key: record[key] for key in base if key in record})
        base_s, base_value = number("bt", base["bt"]), number("bv", base["bv"])
        name = _text("bn", base["bn"]) + _text("n", record.get("n", ""))
        unit = _text("u", record.get("u", base["bu"]))
        if "v" not in record:
            continue
        placed = _placed if len(topic) + len(name) + len(unit) <= CACHED else _placed.__wrapped__
        meant, probe = placed(topic, name, unit)
        if meant is None:
            continue
        figure = _figure(record, base_value, unit)
        at_ms = _ms(base_s + number("t", record.get("t", 0)), clock.now_ms)
        gathering.add(probe, name or "v", meant, figure, RATIO.get(unit, unit) or None, at_ms)


@lru_cache(maxsize=1024)
def _placed(topic: str, name: str, unit: str) -> tuple[Named | None, str]:
    """Return what a record measures (None: nothing of ours) and by which topic its probe goes."""
    last = re.split("[:/]", name)[-1]
    meant = _meaning(last, unit)
    return meant, topic if meant is None else _probe(topic, name, last)


def _check(record: dict[str, Any]) -> None:
    for name in record:
        if name.endswith("_"):
            raise BadPayload(f"SenML field {short(name)} must be understood and is not")
    if "bver" in record and number("bver", record["bver"]) > VERSION:
        raise BadPayload(f"SenML of a version after {VERSION}")


def _text(label: str, said: Any) -> str:
    if not isinstance(said, str):
        raise BadPayload(f"SenML field {label} is {short(said)}, which is not text")
    return said


def _meaning(last: str, unit: str) -> Named | None:
    """Return what a record measures, told by the last part of its name and else by its unit; None: nothing of ours."""
    meant = named(last)
    if meant is None:
        return BY_UNIT.get(unit)
    return meant if unit == "" or fits(meant, RATIO.get(unit, unit)) else None


def _figure(record: dict[str, Any], base_value: float, unit: str) -> float | None:
    if record["v"] is None:
        return None
    figure = base_value + number("v", record["v"])
    if unit in ("/", "%") and abs(figure) > MOST_RATIO:
        raise BadPayload(f"v is {figure:g} in {unit!r}, which is a ratio from 0 to 1 in SenML and no percentage")
    return figure


def _probe(topic: str, name: str, last: str) -> str:
    device = name
    if named(last) is not None or last in SHORT_NAMES:
        device = name[: len(name) - len(last)]
    device = device.rstrip(":/")
    if not device:
        return topic
    if len(device) > NAME_LENGTH or not NAME.fullmatch(device):
        raise BadPayload(f"SenML name {short(name)}, which has characters that no name may have")
    if re.split("[:/]", device)[-1] == topic.rpartition("/")[2]:
        return topic
    return below(topic, device.replace("/", "-"))


def _ms(time_s: float, now_ms: int) -> int | None:
    if time_s == 0:
        return None
    if time_s < RELATIVE_BELOW_S:
        return plausible(now_ms + round(time_s * MS_PER_S))
    return plausible(round(time_s * MS_PER_S))
