"""Limits of wood dust, and what is said of woods, held against the pages and rules that print them.

Each line below was copied from the document that it names, not from the tables of the program. Where the document was
read at another address than its publisher's, the table must say "from memory".
"""

from __future__ import annotations

import pytest

from shared import tables
from shared.tables.dust import Fraction, HarmKind, Standing, names_wood

OSHA_PAGE = "OSHA, Wood Dust: Evaluating Exposure"  # osha.gov/SLTC/wooddust/evaluation.html
NIOSH_1988 = "54 FR 2332"  # cdc.gov/niosh/pel88/wooddust.html
HSE_PAGE = "HSE, Wood dust"  # hse.gov.uk/woodworking/wooddust.htm

# document, body, mg/m³, fraction, 8-hour or 15-minute mean, wood: as printed, read at the publisher's own address
PRINTED = [
    # "Particulate Not Otherwise Regulated (PNOR) 15 mg/m3 total 5 mg/m3 Respirable"
    (OSHA_PAGE, "OSHA PEL", 15.0, "total", "8-hour mean", "any"),
    (OSHA_PAGE, "OSHA PEL", 5.0, "respirable", "8-hour mean", "any"),
    # "NIOSH Recommended Exposure Limit 1 mg/m3 total"
    (OSHA_PAGE, "NIOSH REL", 1.0, "total", "8-hour mean", "any"),
    # "ACGIH 2007 Western Red Cedar 0.5 mg/m3 Asthma", "2007 All other species 1 mg/m3"; "Inhalable fraction": OSHA, CSI
    (OSHA_PAGE, "ACGIH TLV", 0.5, "inhalable", "8-hour mean", "redcedar"),
    (OSHA_PAGE, "ACGIH TLV", 1.0, "inhalable", "8-hour mean", "not redcedar"),
    # "a single 8-hour TWA of 5 mg/m3 and a STEL of 10 mg/m3 for all hard wood and soft wood dusts except Western red
    # cedar. For Western red cedar … an 8-hour TWA limit of 2.5 mg/m3"; "the limits are not currently in force"
    (NIOSH_1988, "OSHA rule of 1989", 5.0, "total", "8-hour mean", "not redcedar"),
    (NIOSH_1988, "OSHA rule of 1989", 10.0, "total", "15-minute mean", "not redcedar"),
    (NIOSH_1988, "OSHA rule of 1989", 2.5, "total", "8-hour mean", "redcedar"),
    # "The WEL for hardwood dust is 3mg/m3 (based on an 8-hour time-weighted average)"; softwood 5; mixtures as hardwood
    (HSE_PAGE, "EH40 WEL", 3.0, "inhalable", "8-hour mean", "hardwood"),
    (HSE_PAGE, "EH40 WEL", 5.0, "inhalable", "8-hour mean", "softwood"),
]
# Read elsewhere than at the publisher's, or only known: the value is held, and so is that the table says so.
REMEMBERED = [
    # Directive 2004/37/EC, annex III: "Hardwood dusts 2; limit value 3 mg/m3 until 17 January 2023" (reachlex.eu)
    ("EU binding limit", 2.0, "inhalable", "hardwood", "18 January 2023"),
    ("EU binding limit", 3.0, "inhalable", "hardwood", "17 January 2023"),
    # TRGS 553, section 2: "Der AGW für Hartholzstaub liegt bei 2 mg/m³ in der einatembaren Staubfraktion"
    ("TRGS 553 AGW", 2.0, "inhalable", "hardwood", "December 2022"),
    # Cal/OSHA: "a PEL of 2 mg/m3 for all wood except western red cedar, which has a PEL of 0.5 mg/m3" (a trade body)
    ("Cal/OSHA PEL", 2.0, "total", "not redcedar", "1 July 2017"),
    ("Cal/OSHA PEL", 0.5, "total", "redcedar", "1 July 2017"),
    # Notices of consultants: "due to reduce again to 2 mg/m3 following … EU Directive 2017/2398"
    ("EH40 WEL", 2.0, "inhalable", "hardwood", "2023 by one notice"),
]
# TRGS 906, annex 1, after IARC volume 62, in an insurer's copy: genera of "Harthölzer" that the species table has
TRGS_906 = (
    "Khaya Acer Betula Dalbergia Fagus Diospyros Quercus Alnus Fraxinus Castanea Prunus Tilia Platanus Tectona Ulmus"
)
# TRGS 907, annex 2: Sh skin, Sa airways, Sah both (an insurer's copy)
TRGS_907 = {
    "Dalbergia latifolia": "skin",
    "Dalbergia melanoxylon": "skin",
    "Dalbergia nigra": "skin",
    "Dalbergia retusa": "skin",
    "Tectona grandis": "skin",
    "Thuja plicata": "skin and airways",
}
# House of Commons, written answer of 2 August 1978, column 390W, at api.parliament.uk: timbers "implicated"
HANSARD = {
    "Thuja plicata": "western red cedar",
    "Dalbergia retusa": "cocobolo",
    "Dalbergia latifolia": "rosewood",
    "Tectona grandis": "teak",
    "Fagus sylvatica": "beech",
    "Ulmus americana": "elm",
    "Quercus alba": "oak",
    "Pinus strobus": "pine",
    "Diospyros crassiflora": "ebony",
    "Khaya ivorensis": "African mahogany",
    "Castanea dentata": "chestnut",
    "Pseudotsuga menziesii": "Douglas fir",
    "Liquidambar styraciflua": "satin walnut",
}


def found(body, value_mg_m3, fraction, wood):
    return [
        one
        for one in tables.dust_limits()
        if (one.body, one.value_mg_m3, one.fraction, one.wood) == (body, value_mg_m3, fraction, wood)
    ]


@pytest.mark.parametrize(("document", "body", "value_mg_m3", "fraction", "average", "wood"), PRINTED)
def test_a_limit_stands_as_its_document_prints_it(document, body, value_mg_m3, fraction, average, wood):
    (one,) = [one for one in found(body, value_mg_m3, fraction, wood) if one.average == average]
    assert document in one.source
    assert one.status == "published"
    assert one.year and one.legal


@pytest.mark.parametrize(("body", "value_mg_m3", "fraction", "wood", "year"), REMEMBERED)
def test_a_limit_that_was_read_elsewhere_says_that_it_is_from_memory(body, value_mg_m3, fraction, wood, year):
    (one,) = found(body, value_mg_m3, fraction, wood)
    assert one.status == "from memory"
    assert year in one.year


def test_no_limit_stands_in_the_table_that_is_not_held_here():
    assert len(tables.dust_limits()) == len(PRINTED) + len(REMEMBERED)


def test_what_stands_no_more_says_so_and_what_was_foretold_is_not_taken_for_law():
    gone = {(one.body, one.value_mg_m3) for one in tables.dust_limits() if one.standing is Standing.GONE}
    assert gone == {*(("OSHA rule of 1989", value) for value in (5.0, 10.0, 2.5)), ("EU binding limit", 3.0)}
    (foretold,) = [one for one in tables.dust_limits() if one.standing is Standing.FORETOLD]
    assert (foretold.region, foretold.value_mg_m3) == ("GB", 2.0) and "Check the current EH40" in foretold.note
    (printed,) = found("EH40 WEL", 3.0, "inhalable", "hardwood")
    assert "Check the current EH40" in printed.note  # the reference has both, in conflict


def test_a_mixture_with_hardwood_falls_under_the_limit_of_hardwood():
    """HSE: "for mixtures of hardwood and softwood dusts the WEL for hardwood dust … applies to all"."""
    for one in tables.dust_limits():
        if one.wood == "hardwood":
            assert "mixtures with it" in one.scope


@pytest.mark.parametrize("genus", TRGS_906.split())
def test_a_genus_that_is_named_among_the_hardwoods_is_named_here(genus):
    woods = [name for name in tables.species() if name.startswith(f"{genus} ")]
    assert woods
    for name in woods:
        cancer = [one for one in tables.dust_harms(name, "hardwood").listed if one.kind is HarmKind.CANCER]
        (one,) = [one for one in cancer if "TRGS 906" in one.source]
        assert (one.wood, one.status) == (genus, "from memory")


@pytest.mark.parametrize(("name", "part"), TRGS_907.items())
def test_a_listed_sensitiser_is_one_here_for_the_same_part_of_the_body(name, part):
    (one,) = [one for one in tables.dust_harms(name, "").listed if "TRGS 907" in one.source]
    assert (one.kind, one.part, one.status) == (HarmKind.SENSITISER, part, "from memory")


@pytest.mark.parametrize(("name", "called"), HANSARD.items())
def test_a_timber_implicated_in_1978_is_named_so(name, called):
    told = [one for one in tables.dust_harms(name, "").listed if "1978" in one.source and called in one.told]
    assert told and all(one.status == "published" for one in told)


@pytest.mark.parametrize(
    ("name", "grade"),  # OSHA, Chemical Sampling Information: "Oak and beech A1 … Birch, mahogany, teak, walnut A2"
    [("Quercus rubra", "A1"), ("Fagus grandifolia", "A1")]
    + [(name, "A2") for name in ("Betula papyrifera", "Swietenia macrophylla", "Tectona grandis", "Juglans nigra")],
)
def test_a_wood_has_the_grade_that_is_printed(name, grade):
    told = [one for one in tables.dust_harms(name, "hardwood").listed if "ACGIH" in one.source]
    assert told and all(f"classed {grade}," in one.told and one.status == "published" for one in told)


def test_layers_and_their_share_of_the_floor_are_those_of_the_memorandum():
    """OSHA memorandum of 21 April 2015: "1/32 inch dust accumulation levels … bulk density of 75 lb/ft3", "greater than
    five percent of the footprint area". The 1/8 inch of an older rule for wood is only known."""
    held = tables.constants("combustible_dust")
    inch_m = 0.0254
    assert held["layer_any_dust"].value == pytest.approx(inch_m / 32, abs=5e-8)
    assert held["layer_any_dust"].status == "published" and held["area_share"].value == 0.05
    assert held["layer_wood"].value == pytest.approx(inch_m / 8, abs=5e-7)
    assert held["layer_wood"].status == held["lowest_cloud_low"].status == "from memory"


def test_of_one_fraction_and_wood_no_body_is_left_out_for_being_stricter():
    """ACGIH 0.5 for redcedar is the lowest inhalable figure printed; NIOSH 1 the lowest federal one of total dust."""
    lowest = {of: min(one.value_mg_m3 for one in tables.dust_limits() if one.fraction is of) for of in Fraction}
    assert lowest == {Fraction.INHALABLE: 0.5, Fraction.TOTAL: 0.5, Fraction.RESPIRABLE: 5.0}
    for wood, group in (("Thuja plicata", "softwood"), ("Quercus rubra", "hardwood")):
        bodies = {one.body for one in tables.dust_limits() if names_wood(one, wood, group)}
        assert {"OSHA PEL", "NIOSH REL", "ACGIH TLV", "EH40 WEL"} <= bodies
