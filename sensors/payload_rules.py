"""A yard's own payload rules, out of a TOML file; what the words mean is said in ``sensors.shapes``.

[[rule]]
topic = "plant/{probe}/raw"
path = "channels.AI3"
quantity = "mass_kg"
unit = "lb"
time = "when"
time_unit = "s"
"""

from __future__ import annotations

import tomllib
from dataclasses import fields
from typing import Any

from sensors.names import Named, fits
from sensors.payload_times import PER_MS
from sensors.shapes import Rule
from shared.errors import BadInput
from shared.store.records import Quantity


def rules_from(text: str) -> tuple[Rule, ...]:
    """Return a yard's own rules from TOML, a table ``[[rule]]`` each; raises BadInput naming what is wrong."""
    try:
        content = tomllib.loads(text)
    except ValueError as error:
        raise BadInput("the file of payload rules", str(error), "TOML with tables [[rule]]") from error
    tables = content.pop("rule", [])
    if content or not isinstance(tables, list) or not all(isinstance(one, dict) for one in tables):
        raise BadInput("the file of payload rules", ", ".join(content), "tables [[rule]] and nothing else")
    return tuple(_rule(number, one) for number, one in enumerate(tables, 1))


def _rule(number: int, table: dict[str, Any]) -> Rule:
    words = [entry.name for entry in fields(Rule)]
    for key, value in table.items():
        if key not in words or not isinstance(value, str):
            raise BadInput(f"{key} of payload rule {number}", value, "text for one of " + ", ".join(words))
    rule = Rule(**{"name": f"rule {number}", **table})
    if rule.quantity and rule.quantity not in list(Quantity):
        raise BadInput(f"quantity of payload rule {number}", rule.quantity, "one of " + ", ".join(Quantity))
    if not rule.quantity and "{quantity}" not in rule.topic + rule.path:
        raise BadInput(f"quantity of payload rule {number}", "", "a quantity, or {quantity} in its topic or its path")
    if rule.quantity and not fits(Named((Quantity(rule.quantity),)), rule.unit):
        raise BadInput(f"unit of payload rule {number}", rule.unit, f"a unit of {rule.quantity}")
    if rule.time_unit not in ("", *PER_MS):
        raise BadInput(f"time_unit of payload rule {number}", rule.time_unit, "s, ms, us or ns")
    levels = rule.topic.split("/")
    if any(levels.count(word) > 1 for word in ("{probe}", "{quantity}")) or "" in levels or "#" in levels:
        raise BadInput(f"topic of payload rule {number}", rule.topic, "levels with {probe} and {quantity} once at most")
    return rule
