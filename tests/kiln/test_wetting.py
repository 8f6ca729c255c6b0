"""Water that a face was given: none is lost or made, it fills from the face inwards, and it is dried back."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import diffusion, drying, wetting
from kiln.lying import Lying, Spell
from shared import tables

DENSITY = np.array([400.0])
THICKNESS_M = 0.02


def water_kg_m2(profiles, *, two_faces):
    half = THICKNESS_M * (1.0 if two_faces else 0.5)
    return diffusion.mean_of(profiles, two_faces=two_faces) * DENSITY * half


def flat(mc, *, two_faces):
    return np.full((1, diffusion.NODES_WITH_TWO_FACES if two_faces else diffusion.NODES), mc)


@given(st.floats(0.0, 0.8), st.floats(0.0, 3.0), st.floats(0.02, 0.5))
def test_the_board_holds_what_it_was_given_as_far_as_it_has_room(near, far, mc):
    before = flat(mc, two_faces=True)
    after = wetting.wetted(before, DENSITY, THICKNESS_M, (near, far), two_faces=True)
    most = (1.54 - 0.4) / (1.54 * 0.4)  # Wood Handbook FPL-GTR-282, 2021, Equation 4-3, with 1.54 for the cell wall
    gained = water_kg_m2(after, two_faces=True) - water_kg_m2(before, two_faces=True)
    room = float((most - mc) * DENSITY[0] * THICKNESS_M)
    assert gained == pytest.approx(min(near + far, room), rel=1e-3)
    assert after.max() <= most * 1.001


def test_each_face_of_half_a_board_gets_what_was_said_of_one():
    before = flat(0.1, two_faces=False)
    after = wetting.wetted(before, DENSITY, THICKNESS_M / 2, (0.05, 0.05), two_faces=False)
    assert water_kg_m2(after, two_faces=False) - water_kg_m2(before, two_faces=False) == pytest.approx(0.05)


def test_it_fills_from_the_face_that_was_wetted_and_leaves_the_other_dry():
    after = wetting.wetted(flat(0.1, two_faces=True), DENSITY, THICKNESS_M, (0.2, 0.0), two_faces=True)[0]
    assert after[0] > 1.0
    assert after[-1] == 0.1
    assert np.all(np.diff(after) <= 1e-12)


def course_of(wetted, hours=24 * 40):
    room = Lying("room")
    spells = [Spell(0, 0.006, room)]
    if wetted is not None:
        spells.append(Spell(24, 0.006, room, wetted_kg_m2=wetted))
    spruce = tables.find_species("Picea abies")
    piece = drying.Piece(spruce, 0.006, 0.2, 0.5, "re-sawn", tuple(spells))
    unknowns = drying.prior(piece).centre[None]
    unknowns[0, 1] = np.log(0.08)
    air = diffusion.AirSteps(np.full((1, hours), 20.0), np.full((1, hours), 45.0), np.full(hours, 3600.0))
    course = drying.follow(piece, unknowns, air, np.arange(0, hours + 1, 24))
    density = float(np.exp(unknowns[0, 0]) / piece.volume_m3)
    return course.means(two_faces=piece.two_faces)[0], density


@pytest.mark.parametrize("wetted", [(0.06, 0.06), (0.12, 0.0)])
def test_glue_water_comes_in_and_goes_out_again_of_a_plate(wetted):
    dry, density = course_of(None)
    wet, _ = course_of(wetted)
    assert wet[1] - dry[1] == pytest.approx(0.12 / (density * 0.006), rel=0.01)
    assert wet[2] < wet[1]
    # In air on which wood that lost water and wood that gained it do not quite agree.
    assert abs(wet[-1] - dry[-1]) < 0.02


def test_wetting_one_face_makes_a_board_that_must_be_followed_through_all_of_its_thickness():
    spell = Spell(0, 0.006, Lying("room"))
    assert not replace(spell, wetted_kg_m2=(0.1, 0.1)).one_sided
    assert replace(spell, wetted_kg_m2=(0.1, 0.0)).one_sided
