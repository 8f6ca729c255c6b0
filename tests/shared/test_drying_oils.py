"""Drying oils by name: what is called one is told, in whatever letters; a name that tells nothing stays so."""

from __future__ import annotations

import pytest

from shared import tables
from shared.errors import BadInput
from shared.tables import drying_oils, loading
from shared.tables.drying_oils import drying_oil


@pytest.mark.parametrize(
    "text",
    [  # dry by taking up oxygen, which heats: linseed, tung, walnut, soya and others (common practice, no source)
        "Boiled Linseed Oil 20-30 %",
        "pure tung",
        "TUNG-OIL varnish",
        "Danish  oil",
        "teak-oil",
        "long-oil alkyd resin",
        "Leinöl",
        "linseed oil (8001-26-1)",
        "8001-26-1",
        "hardwax oil",
        "soya fatty acids",
    ],
)
def test_a_drying_oil_is_told_by_its_words(text):
    assert drying_oil(text)


@pytest.mark.parametrize(
    "text", ["", "acetone 30-60", "shellac", "ethanol", "tungsten grey", "nitrocellulose", "water 40"]
)
def test_a_name_that_tells_nothing_of_one_stays_so(text):
    assert not drying_oil(text)


def test_a_row_that_is_none_is_refused(monkeypatch):
    def held(row):
        monkeypatch.setattr(drying_oils, "rows", lambda _name: [row])
        drying_oils._patterns.cache_clear()
        with pytest.raises(BadInput) as caught:
            drying_oil("x")
        return str(caught.value)

    row = {"kind": "part", "pattern": "x", "source": "s", "status": "from memory"}
    assert "kind" in held(row | {"kind": "smell"})
    assert "CAS" in held(row | {"kind": "cas", "pattern": "8001-26-2"})
    assert "something to look for" in held(row | {"pattern": "- -"})
    drying_oils._patterns.cache_clear()
    monkeypatch.undo()
    assert all(row["source"] for row in loading.rows("drying_oils")) and tables.rows is loading.rows
