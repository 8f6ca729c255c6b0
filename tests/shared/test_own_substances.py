"""A user's own substances: taken from a data sheet, never in place of a published figure, never past a refusal."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from shared import tables
from shared.errors import BadInput
from shared.tables import Average, Region

HEAD = "name,cas,molar_mass_g_mol,source"
SHEET = "invented data sheet of Pond Varnish (March 2026)"
ROW = f"Isophorone,78-59-1,138.2,{SHEET}"
WHOLE = (
    f"{HEAD},other_names,lel_vol_pct,uel_vol_pct,limit_8_h_ppm,limit_15_min_mg_m3\n"
    f'Isophorone,78-59-1,138.2,"{SHEET}",trimethylcyclohexenone; IPHO,0.8,3.8,2,11.4\n'
)


@pytest.fixture
def own_file(tmp_path: Path) -> Iterator[Path]:
    """A file with one substance that the tables do not hold; taken away again at the end."""
    path = tmp_path / "substances.csv"
    path.write_text(WHOLE, encoding="utf-8")
    yield path
    tables.use_own_substances(None)


def test_an_own_substance_stands_beside_the_published_ones(own_file: Path) -> None:
    before = tables.substances()
    assert tables.find_substance("isophorone") is None
    tables.use_own_substances(own_file)
    found = tables.find_substance("IPHO")
    assert found is not None
    assert tables.find_substance("78-59-1") == found
    assert tables.substances() == (*before, found)
    assert (found.molar_mass_kg_mol, found.lel_vol_fraction) == (pytest.approx(0.1382), pytest.approx(0.008))
    assert (found.lel_source, found.lel_status, found.fire_status) == (SHEET, "from memory", "from memory")
    assert found.flash_point_c is None
    tables.use_own_substances(None)
    assert tables.substances() == before
    assert tables.exposure_limits("78-59-1") == ()


@pytest.mark.parametrize("region", list(Region))
def test_its_limits_count_in_every_region(own_file: Path, region: Region) -> None:
    tables.use_own_substances(own_file)
    mean = tables.lowest_limit("78-59-1", Average.TWA, region)
    short = tables.lowest_limit("78-59-1", Average.SHORT, region)
    assert mean is not None
    assert short is not None
    assert (mean.ppm, mean.mg_m3, mean.body, mean.source) == (2.0, None, "data sheet", SHEET)
    assert (short.ppm, short.mg_m3) == (None, 11.4)
    assert tables.lowest_limit("78-59-1", Average.CEILING, region) is None


def test_what_the_sheet_does_not_say_is_not_known(own_file: Path) -> None:
    own_file.write_text(f"{HEAD}\n{ROW}\n", encoding="utf-8")
    tables.use_own_substances(own_file)
    found = tables.find_substance("Isophorone")
    assert found is not None
    assert found.gives_vapour
    assert (found.lel_vol_fraction, found.lel_status, found.density_kg_m3) == (None, "none", None)
    assert tables.exposure_limits(found.cas) == ()


def test_the_header_is_one_that_the_file_may_have(own_file: Path) -> None:
    own_file.write_text(f"{tables.own_substances_header()}\n", encoding="utf-8")
    tables.use_own_substances(own_file)
    assert tables.own_substances_header().startswith(HEAD)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "substances.csv row 1 is without name; accepted: a first line with name, cas"),
        (f"{HEAD},lel\n", "row 1 column is lel; accepted: "),
        (f"{HEAD}\n{ROW},1", "row 2 is 5 values long; accepted: 4 values"),
        (f"{HEAD}\n{ROW.replace('78-59-1', '78-59-2')}", "row 2 cas is 78-59-2; accepted: a CAS number"),
        (f"{HEAD}\n{ROW.replace('138.2', '')}", "row 2 molar_mass_g_mol is empty; accepted: not left empty"),
        (f"{HEAD}\n{ROW.replace('138.2', '0.1382')}", "row 2 molar_mass_g_mol is 0.1382; accepted: 15 to 400"),
        (f"{HEAD}\n{ROW.replace(SHEET, '')}", "row 2 source is empty"),
        (f"{HEAD},lel_vol_pct\n{ROW},0.008", "row 2 lel_vol_pct is 0.008; accepted: 0.3 to 20"),
        (f"{HEAD},lel_vol_pct,uel_vol_pct\n{ROW},3.8,1.2", "uel_vol_pct is 1.2; accepted: above the lower limit, 3.8"),
        (f"{HEAD},limit_8_h_ppm\n{ROW},none", "limit_8_h ppm is none; accepted: 0.001 to 3000"),
        (f"{HEAD}\n{ROW}\n{ROW}", "row 3 cas is 78-59-1; accepted: a substance that is not held yet: Isophorone"),
        (f"{HEAD}\n{ROW.replace('78-59-1', '108-88-3')}", "row 2 cas is 108-88-3; .*: Toluene has it"),
        (f"{HEAD}\n{ROW.replace('Isophorone', 'methyl benzene')}", "row 2 name is methyl benzene; .*: Toluene has it"),
        (f"{HEAD}\n{ROW.replace('Isophorone', 'Isophorone diisocyanate')}", "nothing of the group isocyanates"),
        (f"{HEAD}\n{ROW.replace('78-59-1', '4098-71-9')}", "nothing of the group isocyanates"),
    ],
)
def test_a_bad_file_is_refused_by_row_and_column_and_changes_nothing(own_file: Path, text: str, complaint: str) -> None:
    tables.use_own_substances(own_file)
    own_file.write_text(f"{text}\n", encoding="utf-8")
    with pytest.raises(BadInput, match=complaint):
        tables.use_own_substances(own_file)
    found = tables.find_substance("Isophorone")
    assert found is not None
    assert found.lel_vol_fraction == pytest.approx(0.008)
