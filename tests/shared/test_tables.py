"""The published tables: sourced, plausible, and refused when a row is not."""

from __future__ import annotations

from pathlib import Path

import pytest

from shared import tables
from shared.errors import BadInput
from shared.tables import loading, timbers

FOLDER = Path(tables.__file__).parent
NAMES = sorted(path.stem for path in FOLDER.glob("*.csv"))


@pytest.fixture
def other_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Tables read from an empty folder, for rows that the project must not have."""
    monkeypatch.setattr(loading.resources, "files", lambda _package: tmp_path)
    return tmp_path


def test_the_tables_that_the_program_reads_are_there() -> None:
    assert {"species", "species_names", "strength", "wood", "sorption", "drying", "safe_daily_loss"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_every_row_names_its_source_and_status(name: str) -> None:
    found = tables.rows(name)
    assert found
    for row in found:
        for key in (key for key in row if key.endswith("status")):
            assert row[key] in tables.STATUSES
            assert bool(row[key.replace("status", "source")]) == (row[key] != "none")


@pytest.mark.parametrize("name", NAMES)
def test_no_row_is_longer_or_shorter_than_the_head(name: str) -> None:
    for row in tables.rows(name):
        assert None not in row
        assert None not in row.values()


def test_a_number_without_a_source_is_not_in_the_species_table_nor_a_source_without_a_number() -> None:
    for row in tables.rows("species"):
        for prefix, columns in timbers.VALUES.items():
            held = any(row[column] for column in columns)
            assert held == (row[f"{prefix}_status"] != "none"), (row["botanical_name"], prefix)


def test_wood_shrinks_more_along_the_rings_than_across_them() -> None:
    for one in tables.species().values():
        if one.shrinkage_radial_pct and one.shrinkage_tangential_pct:
            assert one.shrinkage_radial_pct < one.shrinkage_tangential_pct, one.botanical_name


def test_timber_is_stiffer_dry_than_green() -> None:
    pairs = [(one.moe_12_pa, one.moe_green_pa) for one in tables.species().values() if one.moe_green_pa]
    assert len(pairs) > 30
    for dry, green in pairs:
        assert dry is not None
        assert 1.0 < dry / green < 1.6


def test_printed_coefficients_are_larger_along_the_rings_than_across_them() -> None:
    for one in tables.species().values():
        if one.coefficient_radial_per_pct and one.coefficient_tangential_per_pct:
            assert one.coefficient_radial_per_pct < one.coefficient_tangential_per_pct, one.botanical_name


def test_the_species_table_has_the_columns_of_a_file_of_ones_own() -> None:
    assert set(tables.rows("species")[0]) == set(tables.own_species_header().split(","))


def test_thick_boards_may_lose_less_in_a_day_than_thin_ones() -> None:
    by_species: dict[str, list[tuple[float, float]]] = {}
    for one in tables.safe_losses():
        by_species.setdefault(one.botanical_name, []).append((one.thickness_m, one.loss_pct_per_day))
    for name, pairs in by_species.items():
        losses = [loss for _, loss in sorted(pairs)]
        assert losses == sorted(losses, reverse=True), name


def test_botanical_names_are_unique() -> None:
    names = [row["botanical_name"] for row in tables.rows("species")]
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("name,fsp_pct,source,status\nx,300,A book,published\n", r"bad.csv row 2 fsp_pct is 300; accepted: 15 to 40"),
        ("name,fsp_pct,source,status\nx,nan,A book,published\n", r"fsp_pct is nan; accepted: 15 to 40"),
        ("name,fsp_pct,source,status\nx,thirty,A book,published\n", r"fsp_pct is thirty; accepted: 15 to 40"),
        ("name,fsp_pct,source,status\nx,30,,published\n", r"bad.csv row 2 status is published; .*with its source"),
        ("name,fsp_pct,source,status\nx,30,A book,hearsay\n", r"row 2 status is hearsay; accepted: one of published"),
        ("name,fsp_pct,source\nx,30,A book\n", r"row 2 is without a status column"),
        ("name,fsp_pct,source,status\nok,30,A book,published\nx,30,A book\n", r"row 3 status is empty"),
    ],
)
def test_a_bad_row_is_refused_by_file_row_and_column(other_folder: Path, text: str, complaint: str) -> None:
    (other_folder / "bad.csv").write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=complaint):
        tables.rows("bad")


def test_constants_carry_their_unit_and_source() -> None:
    for name in ("sorption", "drying", "wood", "strength"):
        for key, one in tables.constants(name).items():
            assert one.unit, key
            assert one.source, key
            assert one.status in tables.STATUSES, key
