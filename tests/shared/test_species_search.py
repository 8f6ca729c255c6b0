"""Names of timbers: one timber or a question, never a guess; and timbers that users add themselves."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import pytest

from shared import tables
from shared.errors import BadInput

# Invented values, as the tests' own words say.
LOT = '"Platanus occidentalis, mill-pond lot",pond plane,hardwood,0.52,weighed at our bench,own measurement'
SHORT_HEAD = "botanical_name,common_name,group,basic_specific_gravity,basic_source,basic_status"


@pytest.fixture(autouse=True)
def nothing_added() -> Iterator[None]:
    """Take away what a test added: the timbers hold for the whole process."""
    yield
    tables.use_own_species(None)


@pytest.fixture
def own_file(tmp_path: Path) -> Path:
    """One invented lot in the shortest file that is accepted."""
    path = tmp_path / "timbers.csv"
    path.write_text(f"{SHORT_HEAD}\n{LOT}\n", encoding="utf-8")
    return path


def refusal(text: str) -> str:
    with pytest.raises(BadInput) as caught:
        tables.find_species(text)
    return str(caught.value)


@pytest.mark.parametrize("one", tables.species().values(), ids=lambda one: one.botanical_name)
def test_every_timber_is_found_by_its_botanical_name_and_by_its_label(one: tables.Species) -> None:
    assert tables.find_species(one.botanical_name) is one
    assert tables.find_species(f"  {one.label.upper()} ") is one


# Names beyond the table's own: trade use, common practice, no source; synonyms as botanists print them.
@pytest.mark.parametrize(
    ("text", "botanical_name"),
    [
        ("sycamore maple", "Acer pseudoplatanus"),
        ("European sycamore", "Acer pseudoplatanus"),
        ("harewood", "Acer pseudoplatanus"),
        ("buttonwood", "Platanus occidentalis"),
        ("American sycamore", "Platanus occidentalis"),
        ("Platanus × acerifolia", "Platanus acerifolia"),
        ("platanus x hispanica", "Platanus acerifolia"),
        ("Rock Maple", "Acer saccharum"),
        ("western red-cedar", "Thuja plicata"),
        ("Western Redcedar", "Thuja plicata"),
        ("douglas fir", "Pseudotsuga menziesii"),
        ("Adirondack spruce", "Picea rubens"),
        ("bald cypress", "Taxodium distichum"),
        ("grenadilla", "Dalbergia melanoxylon"),
        ("tulip poplar", "Liriodendron tulipifera"),
        ("jacarandá", "Dalbergia nigra"),
        ("Xanthocyparis nootkatensis", "Chamaecyparis nootkatensis"),
    ],
)
def test_a_name_of_one_timber_finds_it(text: str, botanical_name: str) -> None:
    assert tables.find_species(text).botanical_name == botanical_name


@pytest.mark.parametrize(
    ("text", "meanings"),
    [
        (
            "sycamore",
            ("Platanus occidentalis (North America)", "Acer pseudoplatanus (British Isles)", "Ficus sycomorus"),
        ),
        ("lacewood", ("Platanus acerifolia", "Cardwellia sublimis", "Grevillea robusta", "Roupala montana")),
        ("mahogany", ("Swietenia macrophylla", "Khaya ivorensis", "Swietenia mahagoni")),
        ("cedar", ("Thuja plicata", "Cedrela odorata", "Juniperus virginiana")),
        ("cypress", ("Taxodium distichum", "Cupressus sempervirens", "Chamaecyparis nootkatensis")),
        ("rosewood", ("Dalbergia nigra", "Dalbergia latifolia")),
        ("ebony", ("Diospyros crassiflora", "Diospyros ebenum", "Dalbergia melanoxylon")),
        ("redwood", ("Sequoia sempervirens", "Pinus sylvestris")),
        ("spruce", ("Picea sitchensis", "Picea abies", "Picea rubens", "Picea engelmannii")),
        ("maple", ("Acer saccharum", "Acer rubrum", "Acer pseudoplatanus")),
        ("walnut", ("Juglans nigra", "Juglans regia")),
        ("ash", ("Fraxinus americana", "Fraxinus nigra", "Fraxinus excelsior")),
        ("oak", ("Quercus rubra", "Quercus alba", "Quercus robur")),
        ("pine", ("Pinus palustris", "Pinus strobus", "Pinus sylvestris")),
        ("plane", ("Platanus acerifolia", "Acer pseudoplatanus (Scotland)")),
        ("blackwood", ("Dalbergia melanoxylon", "Acacia melanoxylon")),
    ],
)
def test_a_name_of_several_timbers_is_asked_back_with_every_meaning(text: str, meanings: tuple[str, ...]) -> None:
    said = refusal(text)
    assert said.startswith(f"species is {text}; accepted: one timber by its botanical name")
    assert "the choice changes the numbers" in said
    for meaning in meanings:
        assert meaning in said


def test_a_meaning_without_values_says_so_beside_its_region() -> None:
    assert "Acer nigrum (lumber trade, North America; no values held)" in refusal("hard maple")


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("silky oak", "Cardwellia sublimis or Grevillea robusta"),
        ("pernambuco", "Paubrasilia echinata"),
        ("European walnut", "Juglans regia"),
        ("juglans regia", "Juglans regia"),
    ],
)
def test_a_name_without_values_is_refused_with_the_way_out(text: str, meant: str) -> None:
    said = refusal(text)
    assert meant in said
    assert "they hold none" in said
    assert "a file of your own" in said


@pytest.mark.parametrize(
    ("text", "near"),
    [
        ("sicamore", "Platanus occidentalis"),
        ("platanus ocidentalis", "American sycamore (Platanus occidentalis)"),
        ("picea", "Sitka spruce (Picea sitchensis)"),
        ("black wal", "Black walnut (Juglans nigra)"),
    ],
)
def test_a_name_that_is_not_quite_known_is_answered_with_near_ones(text: str, near: str) -> None:
    said = refusal(text)
    assert "one timber; this could be" in said
    assert near in said


@pytest.mark.parametrize("text", ["", "   ", "unobtainium", "%", "×"])
def test_an_unknown_timber_is_refused_with_the_way_to_the_list(text: str) -> None:
    said = refusal(text)
    assert "Work out, Timber lists them all" in said and "benchdry" not in said  # a page is no terminal


@pytest.mark.parametrize("text", ["White oak", "white-oak", " WHITE  OAK "])
def test_the_name_under_which_the_table_offers_a_timber_is_taken_when_it_is_typed(text: str) -> None:
    assert tables.find_species(text).botanical_name == "Quercus alba"


def test_each_common_name_of_the_table_is_taken_unless_another_timber_with_values_goes_by_it() -> None:
    for one in tables.species().values():
        called = [match for match in tables.search_species(one.common_name) if match.species]
        if len(called) == 1:
            assert tables.find_species(one.common_name) is one


def test_search_finds_text_in_any_name_and_says_what_is_held() -> None:
    found = {match.botanical_name: match for match in tables.search_species("LACEWÓOD")}
    assert found["Platanus acerifolia"].species is tables.species()["Platanus acerifolia"]
    assert found["Cardwellia sublimis"].species is None
    assert found["Cardwellia sublimis"].label == "Cardwellia sublimis (no values held)"
    assert [match.botanical_name for match in tables.search_species("sitch")] == ["Picea sitchensis"]
    assert tables.search_species("unobtainium") == []


def test_an_empty_search_lists_every_timber_those_with_values_first() -> None:
    found = tables.search_species("")
    held = [match.botanical_name for match in found if match.species]
    assert held == list(tables.species())
    assert [match.botanical_name for match in found[: len(held)]] == held


def test_no_name_of_a_timber_is_written_twice_and_each_has_its_region_or_use() -> None:
    pairs = [(one.name.casefold(), one.botanical_name) for one in tables.other_names()]
    assert len(pairs) == len(set(pairs))
    assert all(one.region_or_use for one in tables.other_names())


def test_a_lot_of_ones_own_stands_beside_the_published_timbers(own_file: Path) -> None:
    published = dict(tables.species())
    tables.use_own_species(own_file)
    lot = tables.find_species("pond plane")
    assert (lot.basic_specific_gravity, lot.basic_status) == (0.52, "own measurement")
    assert (lot.shrinkage_tangential_pct, lot.shrinkage_status) == (None, "none")
    assert (lot.fsp_pct, lot.fsp_status) == (30.0, "published")
    assert tables.find_species(lot.label) is lot
    assert tables.find_species("Platanus occidentalis") is published["Platanus occidentalis"]
    assert list(tables.species())[-1] == lot.botanical_name
    tables.use_own_species(None)
    assert tables.species() == published


def test_a_common_name_shared_with_ones_own_lot_is_asked_back(own_file: Path) -> None:
    own_file.write_text(own_file.read_text().replace("pond plane", "American sycamore"))
    tables.use_own_species(own_file)
    assert "Platanus occidentalis, mill-pond lot (the table's American sycamore)" in refusal("american sycamore")


def test_values_for_a_timber_known_by_name_alone_make_its_names_find_it(own_file: Path) -> None:
    own_file.write_text(own_file.read_text().replace('"Platanus occidentalis, mill-pond lot"', "Juglans regia"))
    tables.use_own_species(own_file)
    assert tables.find_species("English walnut").botanical_name == "Juglans regia"


def test_the_published_rows_under_other_names_are_accepted_as_own_rows(tmp_path: Path) -> None:
    path = tmp_path / "copy.csv"
    head = tables.own_species_header().split(",")
    with path.open("w", newline="", encoding="utf-8-sig") as file:
        writer = csv.DictWriter(file, head)
        writer.writeheader()
        for row in tables.rows("species"):
            writer.writerow(row | {"botanical_name": f"{row['botanical_name']}, copy"})
    before = len(tables.species())
    tables.use_own_species(path)
    assert len(tables.species()) == 2 * before
    assert tables.species()["Acer saccharum, copy"].moe_green_pa == tables.species()["Acer saccharum"].moe_green_pa


FSP = f"{SHORT_HEAD},fsp_pct,fsp_source,fsp_status"
SHRINKAGE = f"{SHORT_HEAD},shrinkage_radial_pct,shrinkage_source,shrinkage_status"


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "timbers.csv row 1 is without botanical_name; accepted: a first line with botanical_name, common_name"),
        (SHORT_HEAD.replace(",", ";"), "row 1 is without botanical_name"),
        (f"{SHORT_HEAD},moe_12pa", "row 1 column is moe_12pa; accepted: moe_12_pa, once"),
        (f"{SHORT_HEAD},group", "row 1 column is group; accepted: group, once"),
        (f"{SHORT_HEAD}\n{LOT},0.5", "timbers.csv row 2 is 7 values long; accepted: 6 values"),
        (f"{SHORT_HEAD}\nA,b,hardwood", "row 2 is 3 values long; accepted: 6 values"),
        (f"{SHORT_HEAD}\n{LOT.replace('0.52', '0,52')}", "row 2 is 7 values long"),
        (f"{SHORT_HEAD}\n{LOT.replace('0.52', '5.2')}", "row 2 basic_specific_gravity is 5.2; accepted: 0.1 to 1.3"),
        (f"{SHORT_HEAD}\n{LOT.replace('0.52', 'heavy')}", "basic_specific_gravity is heavy"),
        (f"{SHORT_HEAD}\n{LOT.replace('0.52', 'nan')}", "basic_specific_gravity is nan"),
        (f"{SHORT_HEAD}\n{LOT.replace('0.52', ' ')}", "basic_specific_gravity is empty; accepted: not left empty"),
        (f"{SHORT_HEAD}\n{LOT.replace('weighed at our bench', '')}", "basic_source is empty"),
        (f"{SHORT_HEAD}\n{LOT.replace('own measurement', 'hearsay')}", "basic_status is hearsay; accepted: one of"),
        (f"{SHORT_HEAD}\n{LOT.replace('hardwood', 'wood')}", "group is wood; accepted: one of hardwood, softwood"),
        (f"{SHORT_HEAD}\n{LOT}\n\n{LOT}", "row 4 botanical_name is .*; accepted: each timber in one row only"),
        (f"{SHORT_HEAD}\n{LOT.replace(', mill-pond lot', '')}", 'as in "Platanus occidentalis, mill-pond lot"'),
        (f"{FSP}\n{LOT},300,our bench,own measurement", "fsp_pct is 300; accepted: 15 to 40"),
        (f"{FSP}\n{LOT},28,,own measurement", "fsp_status is own measurement; .*with its source"),
        (f"{SHRINKAGE}\n{LOT},4.8,our bench,", "shrinkage_status is empty; accepted: one of published"),
        (f"{SHRINKAGE}\n{LOT},4.8,our bench,none", "shrinkage_status is none; accepted: one of published"),
    ],
)
def test_a_bad_file_is_refused_by_row_and_column_and_changes_nothing(own_file: Path, text: str, complaint: str) -> None:
    tables.use_own_species(own_file)
    own_file.write_text(f"{text}\n", encoding="utf-8")
    with pytest.raises(BadInput, match=complaint):
        tables.use_own_species(own_file)
    assert tables.find_species("pond plane").basic_specific_gravity == 0.52


def test_a_file_that_is_not_there_or_not_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"none\.csv; accepted: a CSV file that exists"):
        tables.use_own_species(tmp_path / "none.csv")
    with pytest.raises(BadInput, match="accepted: a CSV file that exists"):
        tables.use_own_species(tmp_path)
    (tmp_path / "sheet.csv").write_bytes(b"\xff\xfe\x00b")
    with pytest.raises(BadInput, match="accepted: text in UTF-8"):
        tables.use_own_species(tmp_path / "sheet.csv")
    (tmp_path / "long.csv").write_text(f"{SHORT_HEAD}\n{'x' * 200_000},\n")
    with pytest.raises(BadInput, match="accepted: rows of comma-separated text"):
        tables.use_own_species(tmp_path / "long.csv")


@pytest.mark.parametrize("word", ["oak", "maple", "sycamore", "walnut", "plane"])
def test_likely_timbers_are_all_that_the_refusal_names_those_so_called_before_others(word):
    found = tables.likely_species(word)
    with pytest.raises(BadInput) as refused:
        tables.find_species(word)
    held = [name for name in tables.species() if f"{name} (" in refused.value.accepted]
    offered = [one.species.botanical_name for one in found]
    assert set(held) <= set(offered) and len(offered) == len(set(offered)) > 1
    so_called = {name.botanical_name for name in tables.other_names() if name.name.casefold() == word}
    called = [name in so_called for name in offered]
    assert called == sorted(called, reverse=True)


def test_a_slip_of_the_pen_offers_what_is_spelt_alike_and_nonsense_offers_nothing():
    assert tables.likely_species("Quercus rubar")[0].species.botanical_name == "Quercus rubra"
    assert tables.likely_species("") == tables.likely_species("qqqq") == []
