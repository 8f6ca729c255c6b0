"""What a board weighs that is heavier than sound wood of its sizes can be: said wherever its weight is told."""

from __future__ import annotations

from collections.abc import Sequence

from dashboards import display
from kiln import sawing
from shared.store.records import BoardFact, WeighIn
from shared.tables import species


def remark(fact: BoardFact, weigh_ins: Sequence[WeighIn]) -> str:
    """Say that the last weight in the sizes that it has is more than sound wood holds; empty where it is not."""
    wood = species().get(fact.species)
    last = next((one for one in reversed(weigh_ins) if one.true_at_ms >= fact.true_at_ms), None)
    if wood is None or last is None:
        return ""
    full_kg = sawing.full_of_water_kg(fact.volume_m3, wood)
    if last.mass_kg <= full_kg:
        return ""
    return (
        f"its last weight, {display.number(last.mass_kg)} kg, is more than the {display.number(full_kg)} kg that sound "
        "wood of its sizes weighs with every cavity full of water: mud, bark or metal on it, other sizes, or denser "
        "wood than its kind"
    )
