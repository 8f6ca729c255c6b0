"""How the weight of a board that was never weighed is told from what is projected of it, and a stack with unknowns."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from dashboards import heavy, heavy_drawings
from kiln import sawing
from kiln.control import Control
from shared.store.records import Origin
from shared.tables import held_species

OAK = "Quercus rubra"
NOW_MS = 1_795_600_800_000
VOLUME_M3 = 0.05 * 0.3 * 2.0


def projection(mc_pct=(18.0, 20.0, 22.0), measured=(), dry_kg=(16.0, 17.0, 18.0)):
    """What a projection holds that a weight is told from, of one moment."""
    low, middle, high = (np.array([one]) for one in mc_pct)
    return SimpleNamespace(
        at_ms=np.array([NOW_MS]),
        known_until_ms=NOW_MS,
        mean=SimpleNamespace(p10=low, p50=middle, p90=high),
        measured=tuple(SimpleNamespace(kind=kind, at_ms=NOW_MS, misfit=0.0) for kind in measured),
        oven_dry_mass_kg=dry_kg,
    )


def board(made=None, origin=Origin.RECLAIMED, species=OAK, **more):
    fact = SimpleNamespace(species=species, origin=origin, volume_m3=VOLUME_M3, true_at_ms=0, name="B1")
    return SimpleNamespace(fact=fact, projection=made, **{"weigh_ins": [], "oven_dry": [], **more})


def weighed(kg, at_ms=NOW_MS):
    return SimpleNamespace(mass_kg=kg, scale_error_kg=0.1, true_at_ms=at_ms)


def test_a_projected_board_out_of_the_water_that_was_never_weighed_may_still_be_soaked():
    """A reckoned dryness that no scale has ever touched does not lower what it may weigh."""
    found = heavy.of_board(board(projection()), NOW_MS)
    soaked = sawing.mass(VOLUME_M3, held_species(OAK))
    assert found.soaked
    assert found.most_kg == soaked.kg[2]
    assert found.kg[2] < found.most_kg
    assert "if it is still soaked" in found.how


@pytest.mark.parametrize(
    "more",
    [{"oven_dry": ["a section"]}, {"origin": Origin.FRESH}],
    ids=["a section was dried", "it never lay in water"],
)
def test_what_tells_its_moisture_ends_that(more):
    found = heavy.of_board(board(projection(), **more), NOW_MS)
    assert not found.soaked
    assert found.most_kg == found.kg[2]
    # 30 l of red oak, basic gravity 0.56 (Wood Handbook FPL-GTR-282, 2021, Table 5-3a), at 20 %: some 20 kg, give or
    # take its scatter
    assert 17.0 < found.kg[1] < 23.0


def test_a_load_cell_weighs_too():
    found = heavy.of_board(board(projection(measured=("load cell",))), NOW_MS)
    assert not found.soaked
    assert found.kg[1] == pytest.approx(17.0 * 1.2)
    assert "load cell" in found.how


def test_without_a_projection_it_is_as_wet_as_it_came():
    assert heavy.of_board(board(), NOW_MS).soaked
    fresh = heavy.of_board(board(origin=Origin.FRESH), NOW_MS)
    assert "as wet as it grows" in fresh.how
    assert fresh.kg[1] > heavy.of_board(board(projection(), origin=Origin.FRESH), NOW_MS).kg[1]


def test_a_wood_of_no_table_can_be_told_only_by_its_weight():
    unknown = board(species="Nulla arbor")
    found = heavy.of_board(unknown, NOW_MS)
    assert found.control is Control.CANT_SAY
    assert heavy.headline(found) == "CAN'T SAY"
    assert heavy.band(found) == ""
    assert heavy.in_short(found) == "Its weight can't be said. Gear first."
    assert heavy.of_board(board(species="Nulla arbor", weigh_ins=[weighed(30.0)]), NOW_MS).control is Control.OVER


def stack(*boards, in_all=None):
    return SimpleNamespace(boards=list(boards), fact=SimpleNamespace(boards_in_all=in_all))


def test_a_stack_with_a_board_of_unknown_weight_is_never_told_as_light():
    light = board(weigh_ins=[weighed(4.0)])
    alone = heavy.of_stack(stack(light), NOW_MS)
    assert alone.mass.control is Control.NOT_SHOWN
    found = heavy.of_stack(stack(light, board(species="Nulla arbor")), NOW_MS)
    assert found.mass.control is Control.CANT_SAY
    assert found.mass.kg[1] == pytest.approx(8.0)  # the other is taken like it
    assert "of 1 of its boards it can't be said" in found.mass.doubt
    nothing = heavy.of_stack(stack(board(species="Nulla arbor")), NOW_MS)
    assert nothing.mass.control is Control.CANT_SAY
    assert nothing.heaviest is None


def test_more_boards_never_lighten_a_stack():
    some = [board(weigh_ins=[weighed(kg)]) for kg in (4.0, 9.0, 30.0)]
    masses = [heavy.of_stack(stack(*some[:count]), NOW_MS).mass.most_kg for count in (1, 2, 3)]
    assert masses == sorted(masses)
    words = [heavy.of_stack(stack(*some[:count]), NOW_MS).mass.control for count in (1, 2, 3)]
    assert words == [Control.NOT_SHOWN, Control.NOT_SHOWN, Control.OVER]


def test_a_stack_says_on_its_page_what_it_weighs_as_a_whole():
    some = stack(board(weigh_ins=[weighed(9.0)]), board(weigh_ins=[weighed(30.0)]))
    assert heavy.stack_words(some, NOW_MS) == (
        "As a whole up to 39 kg, for floor, bearers and gear; stickers, roof and weights on top."
    )
    assert "if still soaked, for floor" in heavy.stack_words(stack(board(projection())), NOW_MS)
    assert heavy.stack_words(stack(board(weigh_ins=[weighed(4.0)])), NOW_MS).startswith("As a whole up to 4.1 kg")
    assert heavy.stack_words(stack(board(species="Nulla arbor")), NOW_MS).startswith("What it weighs can't be said")
    assert heavy.stack_words(stack(), NOW_MS) == ""


def test_the_drawing_says_in_words_what_it_draws_and_leaves_out_what_has_no_figure():
    drawn = heavy_drawings.scale(
        [("A <b>long</b> name of a board that nobody would write out", heavy.of_board(board(projection()), NOW_MS))]
    )
    assert "&lt;b&gt;" in drawn
    assert "<b>" not in drawn
    assert "stroke-dasharray" in drawn  # its soaked end
    assert "Published figures lie between 16 and 25 kg" in drawn
    assert heavy_drawings.scale([("B2", heavy.of_board(board(species="Nulla arbor"), NOW_MS))]) == ""
