"""Against the bodies that set limits for breathed air: every limit told as read, beside the line that prints it.

NIOSH, Documentation for Immediately Dangerous to Life or Health Concentrations, May 1994 (cdc.gov/niosh/idlh), prints
its own limits, those of OSHA and the ACGIH's of 1993-1994; NIOSH, 1988 OSHA PEL project documentation
(cdc.gov/niosh/pel88); OSHA, Chemical Sampling Information (osha.gov); Commission Directive (EU) 2019/1831, annex
(legislation.gov.uk). The strings stand as printed.
"""

import re

import pytest

from shared import tables
from shared.tables import Average

PAGES = {  # NIOSH REL; current OSHA PEL; 1989 OSHA PEL; 1993-1994 ACGIH TLV
    "64-17-5": (
        "1000 ppm (1,900 mg/m3) TWA",
        "1000 ppm (1,900 mg/m3) TWA",
        "Same as current PEL",
        "1000 ppm (1,880 mg/m3) TWA",
    ),
    "67-63-0": (
        "400 ppm (980 mg/m3) TWA, 500 ppm (1,225 mg/m3) STEL",
        "400 ppm (980 mg/m3) TWA",
        "400 ppm (980 mg/m3) TWA, 500 ppm (1,225 mg/m3) STEL",
        "400 ppm (983 mg/m3) TWA, 500 ppm (1,230 mg/m3) STEL",
    ),
    "108-88-3": (
        "100 ppm (375 mg/m3) TWA, 150 ppm (560 mg/m3) STEL",
        "200 ppm TWA, 300 ppm CEILING, 500 ppm 10-minute MAXIMUM PEAK",
        "100 ppm (375 mg/m3) TWA, 150 ppm (560 mg/m3) STEL",
        "50 ppm (188 mg/m3) TWA [skin]",
    ),
    "123-86-4": (
        "150 ppm (710 mg/m3) TWA, 200 ppm (950 mg/m3) STEL",
        "150 ppm (710 mg/m3) TWA",
        "150 ppm (710 mg/m3) TWA, 200 ppm (950 mg/m3) STEL",
        "150 ppm (713 mg/m3) TWA, 200 ppm (950 mg/m3) STEL",
    ),
    "1330-20-7": (
        "100 ppm (435 mg/m3) TWA, 150 ppm (655 mg/m3) STEL",
        "100 ppm (435 mg/m3) TWA",
        "100 ppm (435 mg/m3) TWA, 150 ppm (655 mg/m3) STEL",
        "100 ppm (434 mg/m3) TWA, 150 ppm (651 mg/m3) STEL",
    ),
    "8002-05-9": (
        "350 mg/m3 TWA, 1,800 mg/m3 15-minute CEILING",
        "500 ppm (2,000 mg/m3) TWA",
        "400 ppm (1,600 mg/m3) TWA",
        "400 ppm (1,590 mg/m3) TWA",
    ),
    "8052-41-3": (
        "350 mg/m3 TWA, 1,800 mg/m3 15-minute CEILING",
        "2,900 mg/m3 (500 ppm) TWA",
        "525 mg/m3 (100 ppm) TWA",
        "525 mg/m3 (100 ppm) TWA",
    ),
    "141-78-6": (
        "400 ppm (1,400 mg/m3) TWA",
        "400 ppm (1,400 mg/m3) TWA",
        "Same as current PEL",
        "400 ppm (1,440 mg/m3) TWA",
    ),
    "78-93-3": (
        "200 ppm (590 mg/m3) TWA, 300 ppm (885 mg/m3) STEL",
        "200 ppm (590 mg/m3) TWA",
        "200 ppm (590 mg/m3) TWA, 300 ppm (885 mg/m3) STEL",
        "200 ppm (590 mg/m3) TWA, 300 ppm (885 mg/m3) STEL",
    ),
    "71-36-3": (
        "50 ppm (150 mg/m3) CEILING [skin]",
        "100 ppm (300 mg/m3) TWA",
        "50 ppm (150 mg/m3) CEILING [skin]",
        "50 ppm (152 mg/m3) CEILING [skin]",
    ),
    "67-56-1": (
        "200 ppm (260 mg/m3) TWA, 250 ppm (325 mg/m3) STEL [skin]",
        "200 ppm (260 mg/m3) TWA",
        "200 ppm (260 mg/m3) TWA, 250 ppm (325 mg/m3) STEL [skin]",
        "200 ppm (262 mg/m3) TWA, 250 ppm (328 mg/m3) STEL [skin]",
    ),
    "111-76-2": (
        "5 ppm (24 mg/m3) TWA [skin]",
        "50 ppm (240 mg/m3) TWA [skin]",
        "25 ppm (120 mg/m3) TWA [skin]",
        "25 ppm (121 mg/m3) TWA [skin]",
    ),
    "105-46-4": (
        "200 ppm (950 mg/m3) TWA",
        "200 ppm (950 mg/m3) TWA",
        "Same as current PEL",
        "200 ppm (950 mg/m3) TWA",
    ),
    "109-60-4": (
        "200 ppm (840 mg/m3) TWA, 250 ppm (1,050 mg/m3) STEL",
        "200 ppm (840 mg/m3) TWA",
        "200 ppm (840 mg/m3) TWA, 250 ppm (1,050 mg/m3) STEL",
        "200 ppm (835 mg/m3) TWA, 250 ppm (1,040 mg/m3) STEL",
    ),
    "78-83-1": (
        "50 ppm (150 mg/m3) TWA",
        "100 ppm (300 mg/m3) TWA",
        "50 ppm (150 mg/m3) TWA",
        "50 ppm (152 mg/m3) TWA",
    ),
    "108-10-1": (
        "50 ppm (205 mg/m3) TWA, 75 ppm (300 mg/m3) STEL",
        "100 ppm (410 mg/m3) TWA",
        "50 ppm (205 mg/m3) TWA, 75 ppm (300 mg/m3) STEL",
        "50 ppm (205 mg/m3) TWA, 75 ppm (307 mg/m3) STEL",
    ),
    "110-43-0": (
        "100 ppm (465 mg/m3) TWA",
        "100 ppm (465 mg/m3) TWA",
        "Same as current PEL",
        "50 ppm (233 mg/m3) TWA",
    ),
    "108-94-1": (
        "25 ppm (100 mg/m3) TWA [skin]",
        "50 ppm (200 mg/m3) TWA",
        "25 ppm (100 mg/m3) TWA [skin]",
        "25 ppm (100 mg/m3) TWA [skin]",
    ),
    "100-41-4": (
        "100 ppm (435 mg/m3) TWA, 125 ppm (545 mg/m3) STEL",
        "100 ppm (435 mg/m3) TWA",
        "100 ppm (435 mg/m3) TWA, 125 ppm (545 mg/m3) STEL",
        "100 ppm (434 mg/m3) TWA, 125 ppm (543 mg/m3) STEL",
    ),
    "142-82-5": (
        "85 ppm (350 mg/m3) TWA, 440 ppm (1,800 mg/m3) 15-minute CEILING",
        "500 ppm (2,000 mg/m3) TWA",
        "400 ppm (1600 mg/m3) TWA, 500 ppm (2,000 mg/m3) STEL",
        "400 ppm (1,640 mg/m3) TWA, 500 ppm (2,050 mg/m3) STEL",
    ),
    "8006-64-2": (
        "100 ppm (560 mg/m3) TWA",
        "100 ppm (560 mg/m3) TWA",
        "Same as current PEL",
        "100 ppm (556 mg/m3) TWA",
    ),
}
BODIES = ("NIOSH REL", "OSHA PEL", "OSHA 1989 rule", "ACGIH TLV")
KINDS = {"TWA": Average.TWA, "STEL": Average.SHORT, "CEILING": Average.CEILING}
FIGURES = re.compile(r"([\d,]+) (ppm|mg/m3)(?: \(([\d,]+) (?:ppm|mg/m3)\))? (?:15-minute )?(TWA|STEL|CEILING)")

OTHERS = {  # what else was read: CAS, body, kind: ppm, mg/m³, and the words of the page
    ("67-64-1", "OSHA PEL", "TWA"): (1000, None, "previous Z-table limit for acetone was 1000 ppm as an 8-hour TWA"),
    ("67-64-1", "NIOSH REL", "TWA"): (250, None, "lower this limit to 250 ppm … from the NIOSH-recommended limit"),
    ("67-64-1", "ACGIH TLV", "TWA"): (750, None, "The ACGIH TLVs for acetone are 750 ppm as an 8-hour TWA"),
    ("67-64-1", "ACGIH TLV", "STEL"): (1000, None, "and 1000 ppm as a 15-minute STEL"),
    ("67-64-1", "OSHA 1989 rule", "TWA"): (750, None, "revise the acetone PEL in the final rule to 750 ppm"),
    ("67-64-1", "OSHA 1989 rule", "STEL"): (1000, None, "and to add a short-term limit of 1000 ppm"),
    ("110-12-3", "NIOSH REL", "TWA"): (50, None, "NIOSH also recommends a 50-ppm TWA limit for MIAK"),
    ("110-12-3", "ACGIH TLV", "TWA"): (50, None, "The ACGIH has established an 8-hour TLV-TWA of 50 ppm"),
    ("110-12-3", "OSHA 1989 rule", "TWA"): (50, None, "establishing an 8-hour TWA limit of 50 ppm for methyl isoamyl"),
    ("8052-41-3", "Cal/OSHA PEL", "TWA"): (100, 525, "CAL/OSHA PEL 100 ppm (525 mg/m3) TWA"),
    ("111-76-2", "ACGIH TLV", "TWA"): (20, 97, "ACGIH TLV (1996) 20 ppm (97 mg/m3) TWA"),
    ("111-76-2", "Cal/OSHA PEL", "TWA"): (20, 97, "CAL/OSHA PELs 20 ppm (97 mg/m3) TWA"),
    ("108-94-1", "ACGIH TLV", "TWA"): (20, 80, "20 ppm, 80 mg/m3 TWA"),
    ("108-94-1", "ACGIH TLV", "STEL"): (50, 200, "50 ppm, 200 mg/m3 STEL; Skin"),
    ("105-46-4", "EU IOELV", "TWA"): (50, 241, "203-300-1 105-46-4 sec-Butyl acetate 241 50 723 150 -"),
    ("105-46-4", "EU IOELV", "STEL"): (150, 723, "203-300-1 105-46-4 sec-Butyl acetate 241 50 723 150 -"),
}

PRINTED_APART = {  # pairs that their bodies print though they do not agree; the lower of the two counts here
    ("108-21-4", "OSHA PEL"),  # 250 ppm and 950 mg/m³; the ACGIH printed 1,040
    ("138-22-7", "NIOSH REL"),  # 5 ppm and 25 mg/m³; the ACGIH printed 30
    ("96-29-7", "TRGS 900 AGW"),  # 8 times 0.3 ppm and 1 mg/m³, each rounded before
    ("7783-06-4", "NIOSH REL"),  # 10 ppm and 15 mg/m³, of ten minutes
    ("630-08-0", "OSHA PEL"),  # 50 ppm and 55 mg/m³
}


def _number(text):
    return float(text.replace(",", ""))


def _parsed(text):
    """The limits in one line of a page: average, ppm and mg/m³."""
    found = set()
    for first, unit, second, kind in FIGURES.findall(text):
        other = _number(second) if second else None
        pair = (_number(first), other) if unit == "ppm" else (other, _number(first))
        found.add((KINDS[kind], *pair))
    return found


def _of_the_page(cas):
    return [one for one in tables.exposure_limits(cas) if "Immediately Dangerous" in one.source]


@pytest.mark.parametrize(("cas", "lines"), PAGES.items())
def test_limits_are_those_of_the_page_and_no_others(cas, lines):
    for body, line in zip(BODIES, lines, strict=True):
        held = {(one.average, one.ppm, one.mg_m3) for one in _of_the_page(cas) if one.body == body}
        assert held == _parsed(line), (body, line)


@pytest.mark.parametrize(("key", "printed"), OTHERS.items())
def test_limits_of_other_pages_are_as_printed(key, printed):
    cas, body, kind = key
    ppm, mg_m3, words = printed
    held = [
        one
        for one in tables.exposure_limits(cas)
        if (one.body, one.average) == (body, KINDS[kind]) and one.status == "published" and one not in _of_the_page(cas)
    ]
    assert [(one.ppm, one.mg_m3) for one in held] == [(ppm, mg_m3)]
    assert str(ppm) in words


def test_every_limit_told_as_read_is_printed_above():
    read = [
        one
        for substance in tables.substances()
        for one in tables.exposure_limits(substance.cas)
        if one.status == "published"
    ]
    on_pages = sum(len(_parsed(line)) for lines in PAGES.values() for line in lines)
    assert len(read) == on_pages + len(OTHERS)


@pytest.mark.parametrize("cas", [one.cas for one in tables.substances() if one.cas])
def test_ppm_and_milligrams_of_a_row_agree_by_the_gas_law(cas):
    """At 25 °C in the United States (29 CFR 1910.1000, footnote a), at 20 °C in Europe (2000/39/EC, footnote 5).

    Bodies round to one or two figures, older ones more roughly; of a cut of petroleum they take each their own mass.
    """
    substance = tables.find_substance(cas)
    cut = re.search("aphtha|Stoddard|Distillates", substance.name)
    for one in tables.exposure_limits(cas):
        if one.ppm and one.mg_m3 and not cut and (cas, one.body) not in PRINTED_APART:
            kelvin = 298.15 if one.region == "US" else 293.15
            mg_m3 = one.ppm * substance.molar_mass_kg_mol * 101_325 / (8.314462618 * kelvin)
            assert abs(mg_m3 - one.mg_m3) <= max(0.025 * mg_m3, 0.5 * _last_figure(one.mg_m3)), (one.body, one.year)


def _last_figure(value):
    """The worth of the last figure that is not nought: 1,400 was rounded to hundreds, 97 to ones, 8.4 to tenths."""
    digits = f"{value:.10g}"
    if "." in digits:
        return 10.0 ** -len(digits.split(".")[1])
    return 10.0 ** (len(digits) - len(digits.rstrip("0")))


EXCURSIONS = {  # TRGS 900, Spitzenbegrenzung: ppm of a shift, factor, ppm of 15 minutes; from memory
    "2-butoxyethanol": (10.0, 2.0, 20.0),
    "2-butanone": (200.0, 1.0, 200.0),
    "n-butyl acetate": (62.0, 2.0, 124.0),
    "isopropanol": (200.0, 2.0, 400.0),
    "xylene": (50.0, 2.0, 100.0),
}


@pytest.mark.parametrize(("name", "figures"), EXCURSIONS.items())
def test_short_limits_of_germany_are_the_shift_mean_times_its_factor(name, figures):
    rows = [one for one in tables.exposure_limits(tables.find_substance(name).cas) if one.body == "TRGS 900 AGW"]
    shift, short = (next(one.ppm for one in rows if one.average is kind) for kind in (Average.TWA, Average.SHORT))
    assert (shift, short / shift, short) == figures
    assert tables.lowest_limit(rows[0].cas, Average.SHORT, tables.Region.DE).ppm == short


CALIFORNIA = {  # 8 CCR 5155, Table AC-1: 8 hours, 15 minutes, ceiling, ppm; from memory
    "toluene": (10.0, 150.0, 500.0),
    "acetone": (500.0, 750.0, 3000.0),
    "xylene": (100.0, 150.0, 300.0),
    "VM&P naphtha": (300.0, 400.0, None),
}


@pytest.mark.parametrize(("name", "figures"), CALIFORNIA.items())
def test_limits_of_california_are_held(name, figures):
    rows = {
        one.average: one.ppm
        for one in tables.exposure_limits(tables.find_substance(name).cas)
        if one.body == "Cal/OSHA PEL"
    }
    assert tuple(rows.get(kind) for kind in Average) == figures


def test_a_value_that_its_body_replaced_counts_no_more_and_says_when():
    """ACGIH of 1993-1994, read in NIOSH's pages, against the year of the next value (from memory)."""
    toluene = [one for one in tables.exposure_limits("108-88-3") if one.body == "ACGIH TLV"]
    assert {(one.ppm, one.legal, one.stands) for one in toluene} == {
        (50.0, "replaced in 2007", False),
        (20.0, "recommendation", True),
    }


def test_the_year_of_a_rule_is_not_that_of_the_page_it_was_read_on():
    """The limits of 29 CFR 1910.1000 are those of 1971 (from memory); benzene and dichloromethane have later rules."""
    years = {
        one.year for each in tables.substances() for one in tables.exposure_limits(each.cas) if one.body == "OSHA PEL"
    }
    assert years == {"1971", "1987", "1997"}


def test_what_niosh_recommends_is_a_mean_of_up_to_ten_hours():
    for one in tables.exposure_limits("108-88-3"):
        ten = one.body == "NIOSH REL" and one.average is Average.TWA
        assert ("10 hours" in one.average_words) is ten


SKIN = {cas for cas, lines in PAGES.items() if any("[skin]" in line for line in lines)}


@pytest.mark.parametrize("cas", SKIN)
def test_what_the_pages_mark_for_the_skin_is_held_as_marked(cas):
    found = tables.find_substance(cas)
    assert found.through_skin is True
    assert (found.skin_status, "[skin]" in found.skin_source) == ("published", True)


def test_nothing_else_is_told_as_read_to_go_through_the_skin():
    read = {one.cas for one in tables.substances() if one.skin_status == "published"}
    assert read == SKIN
    assert {one.cas for one in tables.substances() if one.through_skin} > SKIN


def test_what_is_unlisted_stays_unlisted():
    """Dimethyl carbonate and ethyl lactate: no limit of any of these bodies is known, from memory."""
    for cas in ("616-38-6", "97-64-3"):
        assert tables.exposure_limits(cas) == ()
