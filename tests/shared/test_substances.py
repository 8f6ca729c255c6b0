"""Ingredients of finishes: found by their own names alone, held to the lowest limit, refused where air is no answer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import tables
from shared.errors import BadInput
from shared.tables import Average, Region, loading
from shared.tables.no_dilution import _patterns
from shared.tables.substances import _by_cas, _by_name, _limits, published_substances

ALL = tables.substances()
SOLVENTS = [one for one in ALL if one.gives_vapour]
GASES = ("Hydrogen sulphide", "Carbon monoxide")  # of rot and of stoves: no liquid, and in no finish
CACHES = (published_substances, _by_cas, _by_name, _limits, _patterns)
HEAD = (
    "name,cas,other_names,molar_mass_g_mol,density_kg_m3,flash_point_c,lel_vol_pct,uel_vol_pct,gives_vapour,"
    "identity_source,identity_status,fire_source,fire_status,lel_source,lel_status,"
    "skin,skin_source,skin_status,molar_mass_most_g_mol\n"
)
LIMIT_HEAD = "substance,cas,region,body,average,ppm,mg_m3,year,legal,source,status\n"
ETHANOL = (
    "Ethanol,64-17-5,,46.07,789,12.7,3.3,19,yes,A book,published,A book,published,A book,published,"
    "no,A book,published,\n"
)
ETHANOL_LIMIT = "Ethanol,64-17-5,US,A body,8-hour mean,{},{},2020,{},A book,published\n"


@pytest.fixture
def other_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Tables read from an empty folder, for rows that the project must not have."""
    monkeypatch.setattr(loading.resources, "files", lambda _package: tmp_path)
    for cached in CACHES:
        cached.cache_clear()
    yield tmp_path
    for cached in CACHES:
        cached.cache_clear()


def test_every_substance_is_found_by_its_name_and_by_its_number() -> None:
    assert len(ALL) > 50
    for one in ALL:
        assert tables.find_substance(one.name) == one
        assert tables.find_substance(one.name.upper()) == one
        if one.cas:
            assert tables.find_substance(one.cas) == one
            assert tables.find_substance(f"{one.name} (CAS {one.cas})") == one


def test_a_name_means_one_substance_or_is_told_as_ambiguous() -> None:
    for one in ALL:
        for name in one.other_names:
            found = tables.find_substance(name)
            assert found == one or (found is None and one in tables.ambiguous(name)), name


@pytest.mark.parametrize(
    "text", ["n butyl-acetate", "N-BUTYL ACETATE", "n‑butyl acetate", " butyl  acetate ", "123–86–4"]
)
def test_capitals_hyphens_and_spaces_are_forgiven(text: str) -> None:
    found = tables.find_substance(text)
    assert found is not None
    assert found.cas == "123-86-4"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "acet",
        "butyl",
        "butyl acetate and more",
        "isobutyl",
        "resin",
        "alkyd resin",
        "123-86-4 or 64-17-5",  # two substances
        "123-86-5",  # no such number
        "1123-86-4",
    ],
)
def test_a_part_of_a_name_or_another_number_finds_nothing(text: str) -> None:
    assert tables.find_substance(text) is None
    assert tables.ambiguous(text) == ()


@pytest.mark.parametrize("text", ["naphtha", "alcohol", "petroleum distillates", "lacquer thinner", "amyl acetate"])
def test_a_name_of_several_is_asked_back(text: str) -> None:
    assert tables.find_substance(text) is None
    assert len(tables.ambiguous(text)) > 1


def test_isomers_sold_mixed_stand_in_one_row() -> None:
    xylene = tables.find_substance("xylene")
    assert xylene is not None
    for number in ("1330-20-7", "95-47-6", "108-38-3", "106-42-3"):
        assert tables.find_substance(number) == xylene
        assert tables.exposure_limits(number) == tables.exposure_limits(xylene.cas)


def test_only_water_and_solids_give_no_vapour() -> None:
    assert {one.name for one in ALL if not one.gives_vapour} == {"Water", "Solids"}
    for one in SOLVENTS:
        assert one.molar_mass_kg_mol
        assert one.density_kg_m3 or one.name in GASES


def test_explosive_limits_lie_in_order() -> None:
    both = [one for one in SOLVENTS if one.lel_vol_fraction and one.uel_vol_fraction]
    assert len(both) > 45
    for one in both:
        assert one.lel_vol_fraction is not None
        assert one.uel_vol_fraction is not None
        assert 0 < one.lel_vol_fraction < one.uel_vol_fraction < 1, one.name


def test_a_lower_limit_has_its_source_and_nothing_else_has_one() -> None:
    for one in ALL:
        assert bool(one.lel_vol_fraction) == bool(one.lel_source) == (one.lel_status != "none"), one.name


def test_every_limit_says_where_it_stands_and_of_which_year() -> None:
    for one in ALL:
        for limit in tables.exposure_limits(one.cas):
            assert limit.year
            assert limit.legal
            assert limit.source
            assert limit.status in tables.STATUSES
            assert limit.region in tuple(Region)


def test_the_table_of_limits_names_the_substance_as_the_other_table_does() -> None:
    for row in tables.rows("exposure_limits"):
        found = tables.find_substance(row["cas"])
        assert found is not None
        assert row["substance"] == found.name


def test_no_limit_is_listed_twice() -> None:
    keys = [
        (row["cas"], row["body"], row["average"], row["year"], row["source"]) for row in tables.rows("exposure_limits")
    ]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize("average", list(Average))
@pytest.mark.parametrize("region", list(Region))
def test_the_lowest_limit_is_below_every_other_that_stands(average: Average, region: Region) -> None:
    for one in SOLVENTS:
        lowest = tables.lowest_limit(one.cas, average, region)
        listed = [limit for limit in tables.exposure_limits(one.cas) if limit.average is average]
        rivals = [limit for limit in listed if limit.stands and region in (Region.LOWEST, limit.region)]
        for rival in rivals:
            assert lowest is not None
            assert tables.limit_mg_m3(lowest) <= tables.limit_mg_m3(rival), (one.name, rival.body)


def test_no_region_has_a_limit_below_the_lowest_of_all() -> None:
    for one in SOLVENTS:
        for average in Average:
            lowest = tables.lowest_limit(one.cas, average, Region.LOWEST)
            for region in Region:
                own = tables.lowest_limit(one.cas, average, region)
                if own is not None and own.stands:
                    assert lowest is not None
                    assert tables.limit_mg_m3(lowest) <= tables.limit_mg_m3(own)


def test_limits_in_different_units_are_compared_in_one() -> None:
    """20 ppm of n-butanol are 61 mg/m³, below 150 mg/m³ of another body: by the bare number it would be the same."""
    lowest = tables.lowest_limit("71-36-3", Average.TWA, Region.LOWEST)
    assert lowest is not None
    assert (lowest.body, lowest.ppm, lowest.mg_m3) == ("ACGIH TLV", 20.0, None)
    assert tables.limit_mg_m3(lowest) == pytest.approx(60.6, abs=0.1)


def test_a_region_is_looked_at_alone() -> None:
    found = tables.lowest_limit("108-88-3", Average.TWA, Region.GB)
    assert found is not None
    assert (found.region, found.body, found.mg_m3) == ("GB", "EH40 WEL", 191.0)
    assert tables.lowest_limit("8032-32-4", Average.TWA, Region.EU) is None


def test_a_withdrawn_limit_counts_only_where_it_stands_alone(other_folder: Path) -> None:
    (other_folder / "substances.csv").write_text(HEAD + ETHANOL, encoding="utf-8")
    gone, standing = ETHANOL_LIMIT.format(10, "", "withdrawn 2009"), ETHANOL_LIMIT.format(1000, 1900, "law")
    (other_folder / "exposure_limits.csv").write_text(LIMIT_HEAD + gone, encoding="utf-8")
    alone = tables.lowest_limit("64-17-5", Average.TWA, Region.LOWEST)
    assert alone is not None
    assert alone.ppm == 10
    assert not alone.stands
    (other_folder / "exposure_limits.csv").write_text(LIMIT_HEAD + gone + standing, encoding="utf-8")
    _limits.cache_clear()
    both = tables.lowest_limit("64-17-5", Average.TWA, Region.LOWEST)
    assert both is not None
    assert both.ppm == 1000


def test_the_1989_rule_that_a_court_remanded_stands_no_more() -> None:
    gone = [one for one in tables.exposure_limits("8052-41-3") if one.body == "OSHA 1989 rule"]
    assert gone
    assert not any(one.stands for one in gone)


@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        (ETHANOL.replace("64-17-5", "64-17-6"), r"row 2 cas is 64-17-6; accepted: a CAS number whose last digit"),
        (ETHANOL.replace("published,no,", "published,maybe,"), r"row 2 skin is maybe; accepted: yes, no, or empty"),
        (ETHANOL.replace(",yes,", ",perhaps,"), r"row 2 gives_vapour is perhaps; accepted: yes or no"),
        (ETHANOL.replace("46.07", ""), r"row 2 molar_mass_g_mol is empty; accepted: a molar mass"),
        (ETHANOL.replace("3.3,19", "33,19"), r"row 2 lel_vol_pct is 33; accepted: 0.3 to 20"),
        (ETHANOL.replace("789", "0.789"), r"row 2 density_kg_m3 is 0.789; accepted: 500 to 2000"),
        (ETHANOL.replace("12.7,", "550,"), r"row 2 flash_point_c is 550; accepted: -90 to 250"),
    ],
)
def test_a_bad_substance_is_refused_by_row_and_column(other_folder: Path, row: str, complaint: str) -> None:
    (other_folder / "substances.csv").write_text(HEAD + row, encoding="utf-8")
    with pytest.raises(BadInput, match=complaint):
        tables.substances()


@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        (
            ETHANOL_LIMIT.format(1, 2, "law").replace("64-17-5", "67-63-0"),
            r"row 2 cas is 67-63-0; accepted: the number",
        ),
        (ETHANOL_LIMIT.format("", "", "law"), r"row 2 mg_m3 is empty; accepted: a figure in mg/m³"),
        (ETHANOL_LIMIT.format(1, 2, "law").replace("8-hour mean", "8 h"), r"row 2 average is 8 h; accepted: one of"),
        (ETHANOL_LIMIT.format(1, 2, "law").replace(",US,", ",lowest,"), r"row 2 region is lowest; accepted: a region"),
        (ETHANOL_LIMIT.format(1, 2, "law").replace(",US,", ",MARS,"), r"row 2 region is MARS; accepted: a region"),
    ],
)
def test_a_bad_limit_is_refused_by_row_and_column(other_folder: Path, row: str, complaint: str) -> None:
    (other_folder / "substances.csv").write_text(HEAD + ETHANOL, encoding="utf-8")
    (other_folder / "exposure_limits.csv").write_text(LIMIT_HEAD + row, encoding="utf-8")
    with pytest.raises(BadInput, match=complaint):
        tables.exposure_limits("64-17-5")


def test_the_check_digit_of_a_number_is_reckoned() -> None:
    """Water, 7732-18-5: (8·1 + 1·2 + 2·3 + 3·4 + 7·5 + 7·6) mod 10 = 5; CAS, check digit verification, from memory."""
    assert tables.is_cas_number("7732-18-5")
    assert not any(tables.is_cas_number(f"7732-18-{digit}") for digit in "012346789")
    assert not tables.is_cas_number("7732185")


@pytest.mark.parametrize(
    "text",
    [
        "Hexamethylene diisocyanate",
        "HEXAMETHYLENE-1,6-DI-ISOCYANATE",
        "Aliphatic polyisocyanate",
        "Poly iso cyanate",
        "polyisocyanates",
        "Isocyanic acid, polymethylenepolyphenylene ester; polymeric MDI",
        "HDI-trimer",
        "HDI trimer",
        "HDI oligomers",
        "4,4'-MDI",
        "2,4-TDI",
        "IPDI homopolymer",
        "H12MDI",
        "H12-MDI",
        "biuret of HDI",
        "hardener for polyurethane",
        "Two-pack polyurethane hardener",
        "Isocianato alifático",
        "aliphatisches Polyisocyanat",
        "alifatisch polyisocyanaat",
        "Isocyanic acid, hexamethylene ester",
        "tris(isocyanurate) of HDI",
        "blocked isocyanate",
        "3-isocyanatomethyl-3,5,5-trimethylcyclohexyl isocyanate",
        "28182-81-2",
        "CAS 4098–71–9",
        "822-06-0 (0.1-0.5 %)",
        "polyurethane prepolymer",
        "hexamethylene trimer",
        "toluene diisocynate",
        "isophorone di-isocyante",
        "polyisoyanate",
    ],
)
def test_isocyanates_are_caught_however_they_are_written(text: str) -> None:
    found = tables.no_dilution_group(text)
    assert found is not None
    assert found.group == "isocyanates"
    assert "air-fed" in found.sentence
    assert found.source


@pytest.mark.parametrize(
    "text",
    [
        "Formaldehyde",
        "formaldehyde, polymer with urea",
        "Urea–formaldehyde resin",
        "Melamine resin, butylated",
        "hexamethoxymethylmelamine",
        "Hexa(methoxymethyl)melamine",
        "HMMM",
        "amino resins",
        "Amino-resin",
        "acid-catalysed lacquer",
        "acid catalyzed varnish",
        "Acid-cured",
        "Conversion varnish",
        "pre-catalysed lacquer",
        "Pre-cat lacquer",
        "precatalyzed",
        "UF resin",
        "paraformaldehyde",
        "Hexamethylenetetramine",
        "p-Toluenesulphonic acid",  # what acid-curing lacquers cure with
        "104-15-4",
        "Harnstoffharz",
        "säurehärtender Lack",
        "50-00-0",
        "9003-08-1",
    ],
)
def test_what_gives_off_formaldehyde_is_caught_however_it_is_written(text: str) -> None:
    found = tables.no_dilution_group(text)
    assert found is not None
    assert found.group == "formaldehyde"
    assert "air-fed" in found.sentence


@pytest.mark.parametrize(
    ("text", "group"),
    [
        ("hardener", "hardeners that may be isocyanates"),
        ("Hardener 30 %", "hardeners that may be isocyanates"),
        ("activator", "hardeners that may be isocyanates"),
        ("part B", "hardeners that may be isocyanates"),
        ("Part-B of the set", "hardeners that may be isocyanates"),
        ("clear coat 2K", "hardeners that may be isocyanates"),
        ("two-component lacquer", "hardeners that may be isocyanates"),
        ("methyl ethyl ketone peroxide", "peroxides"),
        ("MEKP", "peroxides"),
    ],
)
def test_a_second_part_is_refused_until_its_sheet_is_read(text: str, group: str) -> None:
    found = tables.no_dilution_group(text)
    assert found is not None
    assert found.group == group
    assert "data sheet" in found.sentence


@given(st.sampled_from(["isocyanate", "diisocyanate", "formaldehyde"]), st.data())
def test_two_wrong_letters_do_not_let_it_pass(name: str, data: st.DataObject) -> None:
    """A letter left out, put in or mistyped, twice, is what a gloved thumb does to a long word."""
    letters = list(name)
    for where in data.draw(st.lists(st.integers(0, len(letters) - 1), min_size=2, max_size=2, unique=True)):
        letters[where] = data.draw(st.sampled_from(["", "x", letters[where] * 2, letters[where] + "z"]))
    assert tables.no_dilution_group("".join(letters)) is not None


@pytest.mark.parametrize("text", ["part butyl acetate", "isooctane", "acetaldehyde", "isobutanoic acid", "linseed oil"])
def test_what_only_looks_a_little_like_it_is_not_refused(text: str) -> None:
    assert tables.no_dilution_group(text) is None


def test_no_solvent_of_the_table_is_refused() -> None:
    for one in ALL:
        for name in (one.name, one.cas, *one.other_names):
            assert tables.no_dilution_group(name) is None, name


@pytest.mark.parametrize(
    "text", ["nitrocellulose", "alkyd resin", "shellac", "tung oil", "urethane alkyd", "buffing wax", ""]
)
def test_common_solids_are_not_refused(text: str) -> None:
    assert tables.no_dilution_group(text) is None


@given(st.sampled_from([row["pattern"] for row in tables.rows("no_dilution")]), st.data())
def test_writing_it_otherwise_never_lets_it_pass(pattern: str, data: st.DataObject) -> None:
    """Capitals and what stands before and after change nothing; hyphens and spaces change nothing in a longer name."""
    turned = "".join(data.draw(st.sampled_from([letter.lower(), letter.upper()])) for letter in pattern)
    if not re.search(r"\d", turned) and len(turned) > 6:
        turned = "".join(letter + data.draw(st.sampled_from(["", "", "-", " "])) for letter in turned)
    before, after = (
        data.draw(st.sampled_from(["", "contains ", "aliphatic, "])),
        data.draw(st.sampled_from(["", " 10 %"])),
    )
    assert tables.no_dilution_group(before + turned + after) is not None


@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        ("x,part,!!,Do not.,A book,published\n", r"row 2 pattern is !!; accepted: something to look for"),
        ("x,piece,abc,Do not.,A book,published\n", r"row 2 kind is piece; accepted: one of part, start, word, near"),
        ("x,cas,50-00-1,Do not.,A book,published\n", r"row 2 pattern is 50-00-1; accepted: a CAS number"),
        ("x,part,abc,,A book,published\n", r"row 2 group is x; accepted: a group with its sentence"),
    ],
)
def test_a_bad_pattern_is_refused_by_row_and_column(other_folder: Path, row: str, complaint: str) -> None:
    (other_folder / "no_dilution.csv").write_text("group,kind,pattern,sentence,source,status\n" + row, encoding="utf-8")
    with pytest.raises(BadInput, match=complaint):
        tables.no_dilution_group("anything")


def test_what_vapour_is_reckoned_with_errs_to_the_near_side() -> None:
    fire = tables.FIRE
    assert fire["share_alarm"].value == 0.10
    assert fire["share_spray_area"].value == 0.25
    assert fire["mixing_factor_low"].value < fire["mixing_factor_high"].value
    assert fire["safety_factor_low"].value * fire["share_spray_area"].value == 1.0
