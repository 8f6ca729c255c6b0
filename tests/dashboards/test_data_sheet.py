"""What a data sheet says, as people type it: a drying time with its unit, solids under their own names."""

from __future__ import annotations

import pytest

from dashboards import data_sheet
from dashboards.ingredients import parse_ingredients
from shared.errors import BadInput


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [
        ("45 min", 2700.0),
        ("90min", 5400.0),
        ("0.75", 2700.0),
        ("0,5 h", 1800.0),
        ("2 hours", 7200.0),
        ("24 h", 86_400.0),
        (30.0, 108_000.0),
        ("", None),
        (None, None),
    ],
)
def test_a_drying_time_is_read_with_its_unit(typed, seconds):
    assert data_sheet.dry_after_s(typed) == seconds


@pytest.mark.parametrize("typed", ["45", "24", "12.5"])
def test_a_bare_number_that_may_be_minutes_is_asked_back(typed):
    with pytest.raises(BadInput, match=f"such as {typed} min or {typed} h"):
        data_sheet.dry_after_s(typed)


@pytest.mark.parametrize("typed", ["4 min", "0.05 h", "800 h", "min", "soon"])
def test_what_is_no_drying_time_is_refused(typed):
    with pytest.raises(BadInput, match="dry to handle"):
        data_sheet.dry_after_s(typed)


@pytest.mark.parametrize("seconds", [300.0, 1800.0, 2700.0, 7200.0, 45_000.0, 86_400.0])
def test_what_is_told_of_it_is_read_back_as_the_same(seconds):
    assert data_sheet.dry_after_s(data_sheet.dry_after_told(seconds)) == pytest.approx(seconds)


def test_what_is_said_to_be_solid_is_reckoned_as_solids_each_under_its_own_name():
    found = parse_ingredients("nitrocellulose (solids) 15-25\nalkyd resin (Solids) 5\nsolids 3")
    assert [one.name for one in found] == ["nitrocellulose (solids)", "alkyd resin (Solids)", "solids"]
    assert {one.substance.name for one in found} == {"Solids"}


@pytest.mark.parametrize("name", ["toluene (solids)", "xylene (solid)", "108-88-3 (solids)"])
def test_what_evaporates_does_not_become_solid_by_being_called_so(name):
    (one,) = parse_ingredients(f"{name} 20")
    assert one.substance is None or one.substance.gives_vapour
