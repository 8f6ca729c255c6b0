"""What a wood is prone to, and what mould grows on: published or remembered; what is not known is None, never no."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from shared.errors import BadInput
from shared.tables.loading import rows

_ANSWERS = {"yes": True, "no": False, "": None}


@dataclass(frozen=True)
class Degrade:
    """What one wood is prone to; None: not known."""

    stain_prone_sapwood: bool | None = None
    refractory_heartwood: bool | None = None  # slow to give off its water, and apt to check
    collapse_prone: bool | None = None
    source: str = ""
    status: str = "none"


@dataclass(frozen=True)
class MouldClass:
    """How fast mould grows on a material, and how far: constants of the published index."""

    name: str
    material: str
    k1_below_1: float
    k1_from_1: float
    a: float
    b: float
    c: float
    least_rh_pct: float
    source: str
    status: str


def degrade(botanical_name: str) -> Degrade:
    """Return what is known of a wood; of a lot of it, named "wood, lot", what is known of the wood.

    A wood in no row is unknown in everything. Raises BadInput for a cell that is neither yes, no nor empty.
    """
    return _degrade().get(botanical_name.split(",")[0].strip().casefold(), Degrade())


@cache
def _degrade() -> dict[str, Degrade]:
    return {
        row["botanical_name"].casefold(): Degrade(
            stain_prone_sapwood=_answer(row, "stain_prone_sapwood"),
            refractory_heartwood=_answer(row, "refractory_heartwood"),
            collapse_prone=_answer(row, "collapse_prone"),
            source=row["source"],
            status=row["status"],
        )
        for row in rows("degrade")
    }


def _answer(row: dict[str, str], column: str) -> bool | None:
    if row[column] not in _ANSWERS:
        raise BadInput(f"degrade.csv {row['botanical_name']} {column}", row[column], "yes, no, or empty: not known")
    return _ANSWERS[row[column]]


@cache
def mould_classes() -> dict[str, MouldClass]:
    """Return the classes of materials by name, the most sensitive first."""
    return {
        row["name"]: MouldClass(
            name=row["name"],
            material=row["material"],
            k1_below_1=float(row["k1_below_1"]),
            k1_from_1=float(row["k1_from_1"]),
            a=float(row["mould_a"]),
            b=float(row["mould_b"]),
            c=float(row["mould_c"]),
            least_rh_pct=float(row["mould_least_rh_pct"]),
            source=row["source"],
            status=row["status"],
        )
        for row in rows("mould")
    }
