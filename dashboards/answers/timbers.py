"""Which timber is meant by a name, and what the tables hold of it."""

from __future__ import annotations

from dashboards import display
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, nothing_known
from dashboards.pages.forms import Field
from kiln import wood
from shared.errors import BadInput
from shared.tables import Match, Species, search_species
from shared.units import gpa_from_pa

MOST_SHOWN = 30

FIELDS = (Field("name", "Name", spoken="name", hint="Part of a common, trade or botanical name."),)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput when no timber goes by that name."""
    wanted = asked.text("name")
    found = search_species(wanted)
    if not found:
        raise BadInput("name", wanted, "part of a common, trade or botanical name; add a timber in a file of your own")
    held = [match.species for match in found if match.species is not None]
    if len(found) == 1 and held:
        return _one(held[0], found[0])
    return Answer(
        headline=f"{len(found)} timbers",
        band=f"{len(held)} with values in the tables",
        sentence="A common name can mean several timbers whose numbers differ: enter the botanical name.",
        lines=tuple(_line(match) for match in found[:MOST_SHOWN]),
        flags=(f"{len(found) - MOST_SHOWN} more: type more of the name.",) if len(found) > MOST_SHOWN else (),
        next_step="Choose one, and enter its botanical name.",
        bases=(Basis("names of the trade", "common practice, no source"),),
    )


def _line(match: Match) -> Line:
    names = "; ".join(dict.fromkeys(f"{one.name} ({one.region_or_use})" for one in match.names))
    if match.species is None:
        return Line(match.botanical_name, "no values held", names)
    return Line(match.label, f"basic gravity {match.species.basic_specific_gravity:g}", names)


def _one(one: Species, match: Match) -> Answer:
    names = "; ".join(dict.fromkeys(f"{name.name} ({name.region_or_use})" for name in match.names))
    most, sinks = (float(of(one.basic_specific_gravity)) for of in (wood.maximum_mc_pct, wood.sink_mc_pct))
    return Answer(
        headline=one.botanical_name,
        band=one.common_name,
        sentence=f"Also called: {names}." if names else "No other name of it is in the tables.",
        lines=(
            _value("Basic specific gravity", one.basic_specific_gravity, "", one.basic_source, one.basic_status, 2),
            Line("Full of water at", f"{most:.0f} % MC", "FPL-GTR-282, 2021, Equation 4-3"),
            Line("Sinks at", f"{sinks:.0f} % MC", "FPL-GTR-282, 2021, Equation 4-4"),
            _value("Shrinks radially", one.shrinkage_radial_pct, "%", one.shrinkage_source, one.shrinkage_status),
            _value(
                "Shrinks tangentially", one.shrinkage_tangential_pct, "%", one.shrinkage_source, one.shrinkage_status
            ),
            _value("Shrinks in volume", one.shrinkage_volumetric_pct, "%", one.shrinkage_source, one.shrinkage_status),
            _value("Fibre saturation point", one.fsp_pct, "% MC", one.fsp_source, one.fsp_status, 0),
            _value("Green heartwood", one.green_mc_heart_pct, "% MC", one.green_source, one.green_status, 0),
            _value("Green sapwood", one.green_mc_sap_pct, "% MC", one.green_source, one.green_status, 0),
            _value("Modulus at 12 %", _gpa(one.moe_12_pa), "GPa", one.moe_source, one.moe_status),
            _value("Modulus green", _gpa(one.moe_green_pa), "GPa", one.moe_green_source, one.moe_green_status),
            _value("Side hardness at 12 %", one.side_hardness_12_n, "N", one.hardness_source, one.hardness_status, 0),
        ),
        validity="Means of a species: boards differ, in gravity by about 10 %, in shrinkage by about 15 %.",
    )


def _gpa(modulus_pa: float | None) -> float | None:
    return None if modulus_pa is None else gpa_from_pa(modulus_pa)


def _value(name: str, value: float | None, unit: str, source: str, status: str, decimals: int = 1) -> Line:
    if value is None:
        return Line(name, "not found")
    known = Basis(source, status).shown
    shown = display.with_unit(value, unit, decimals) if unit else display.number(value, decimals)
    return Line(name, shown, known)


QUESTION = Question(
    name="timber",
    title="Which timber",
    lead="What a name means: one common name can be several timbers; and what the tables hold of each.",
    fields=FIELDS,
    answer=answer,
    fill=nothing_known,
    wanted=("name",),
)
