"""What a wood is prone to: yes, no, or not known; and nothing else in the table."""

from __future__ import annotations

import pytest

from shared import tables
from shared.errors import BadInput
from shared.tables import harms, loading


def test_an_empty_cell_is_not_known() -> None:
    sycamore = harms.degrade("platanus occidentalis")
    assert sycamore.stain_prone_sapwood is True
    assert sycamore.collapse_prone is None


def test_a_cell_that_is_neither_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    wrong = [{**tables.rows("degrade")[0], "collapse_prone": "maybe"}]
    monkeypatch.setattr(harms, "rows", lambda _name: wrong)
    with pytest.raises(BadInput, match="collapse_prone is maybe; accepted: yes, no, or empty"):
        harms._degrade.__wrapped__()


def test_a_plus_where_the_critical_humidity_has_a_minus_is_refused() -> None:
    row = next(one for one in tables.rows("mould_growth") if one["name"] == "critical_linear")
    with pytest.raises(BadInput, match=r"row 4 value is 3\.13"):
        loading.check_constant("mould_growth", "mould_growth.csv row 4", {**row, "value": "3.13"})


def test_a_mould_class_with_an_unbelievable_constant_is_refused() -> None:
    with pytest.raises(BadInput, match="mould_b is 70"):
        loading.check_row("mould.csv row 2", {**tables.rows("mould")[0], "mould_b": "70"})
