"""The setting ``substances_file``: ingredients of one's own are there once a folder's settings have been read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboards.terminal import home
from shared import tables
from shared.errors import BadInput


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A folder whose settings name a file of own substances; what it held is taken away at the end."""
    (tmp_path / "benchdry.toml").write_text('substances_file = "ours.csv"\n', encoding="utf-8")
    yield tmp_path
    tables.use_own_substances(None)


def test_ingredients_of_ones_own_are_read_with_the_settings(folder: Path) -> None:
    row = "Isophorone,78-59-1,138.2,an invented data sheet"
    (folder / "ours.csv").write_text(f"name,cas,molar_mass_g_mol,source\n{row}\n", encoding="utf-8")
    home.find(folder)
    found = tables.find_substance("isophorone")
    assert found is not None
    assert found.identity_source == "an invented data sheet"


def test_a_file_that_is_not_there_is_told(folder: Path) -> None:
    with pytest.raises(BadInput, match=r"file of own substances is .*ours\.csv; accepted: a CSV file that exists"):
        home.find(folder)


def test_a_folder_without_the_setting_holds_none(folder: Path) -> None:
    test_ingredients_of_ones_own_are_read_with_the_settings(folder)
    (folder / "benchdry.toml").write_text("", encoding="utf-8")
    home.find(folder)
    assert tables.find_substance("isophorone") is None
