"""Planing and sawing: no water is lost, and what is left of a board goes on drying as such a board does."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from kiln import cutting, diffusion
from shared.errors import BadInput

BOTH = diffusion.NODES_WITH_TWO_FACES
moistures = st.floats(0.0, 2.5)
odd = st.integers(2, 40).map(lambda half: 2 * half + 1)
whole_boards = odd.flatmap(lambda nodes: arrays(float, nodes, elements=moistures))


def mean(profiles):
    return diffusion.mean_of(np.asarray(profiles), two_faces=True)


def water_between(profile, near, far):
    """Water of a stretch of a whole board, taking each cell as flat."""
    edges = diffusion.cell_edges(profile.size, two_faces=True)
    return float(profile @ np.clip(np.minimum(edges[1:], far) - np.maximum(edges[:-1], near), 0.0, None))


# --- slices ------------------------------------------------------------------------------------------


@given(whole=whole_boards, cuts=st.lists(st.floats(0.001, 0.999), min_size=1, max_size=6, unique=True))
def test_all_slices_of_a_board_together_have_its_water_and_stay_within_it(whole, cuts):
    ends = [0.0, *sorted(cuts), 1.0]
    ends = [ends[0], *(b for a, b in pairwise(ends) if b - a > 1e-6)]
    ends[-1] = 1.0
    shares = np.diff(ends)
    slices = [cutting.slice_of(whole, near, far) for near, far in pairwise(ends)]
    assert sum(share * mean(one) for share, one in zip(shares, slices, strict=True)) == pytest.approx(
        float(mean(whole)), rel=1e-11, abs=1e-12
    )
    for one, share in zip(slices, shares, strict=True):
        rounding = 1e-13 / (share * np.diff(diffusion.cell_edges(whole.size, two_faces=True)).min())
        assert whole.min() - rounding <= one.min() and one.max() <= whole.max() + rounding


@given(whole=whole_boards, at=st.tuples(moistures.map(lambda m: m / 2.5), st.floats(0.01, 1.0)))
def test_a_slice_has_the_water_of_its_part_to_what_the_cells_at_its_ends_may_hold(whole, at):
    near = 0.99 * at[0]
    far = near + (1.0 - near) * at[1]
    held, flat = (far - near) * float(mean(cutting.slice_of(whole, near, far))), water_between(whole, near, far)
    widest = np.diff(diffusion.cell_edges(whole.size, two_faces=True)).max()
    assert abs(held - flat) <= 0.25 * widest * np.ptp(whole) + 1e-12


@pytest.mark.parametrize(("near", "far"), [(0.0, 1.0), (0.0, 0.3), (0.21, 0.77), (0.5, 1.0), (0.999, 1.0)])
def test_slices_of_a_uniform_board_are_uniform(near, far):
    assert cutting.slice_of(np.full((3, BOTH), 0.37), near, far) == pytest.approx(0.37, abs=1e-10)


def test_the_whole_board_is_a_slice_of_itself():
    whole = np.random.default_rng(3).uniform(0.05, 1.4, (4, BOTH))
    assert cutting.slice_of(whole, 0.0, 1.0) == pytest.approx(whole, abs=1e-12)


def test_a_straight_profile_stays_straight_in_a_slice():
    """Moisture is the average of a cell; that of a straight line over a cell is its value in the cell's middle."""
    edges = diffusion.cell_edges(BOTH, two_faces=True)
    middles = (edges[1:] + edges[:-1]) / 2.0
    part = cutting.slice_of(0.2 + 0.5 * middles, 0.3, 0.8)
    assert part == pytest.approx(0.2 + 0.5 * (0.3 + 0.5 * middles), abs=1e-12)


def test_a_front_stays_a_front():
    """A step from wet to dry, cut through anywhere: at most the cells beside it hold something between."""
    whole = np.where(np.arange(BOTH) < 15, 1.2, 0.12)
    for near, far in ((0.0, 0.5), (0.1, 0.6), (0.2, 1.0)):
        part = cutting.slice_of(whole, near, far)
        between = (part > 0.12 + 1e-9) & (part < 1.2 - 1e-9)
        assert between.sum() <= 1
        assert np.all(np.diff(part) <= 1e-9)


def test_many_profiles_are_cut_as_one_by_one():
    whole = np.random.default_rng(4).uniform(0.05, 1.4, (2, 3, BOTH))
    together = cutting.slice_of(whole, 0.2, 0.7)
    assert together.shape == whole.shape
    assert np.array_equal(together[1, 2], cutting.slice_of(whole[1, 2], 0.2, 0.7))


@pytest.mark.parametrize(
    ("near", "far"), [(-0.1, 0.5), (0.5, 1.01), (0.5, 0.5), (0.6, 0.4), (np.nan, 1.0), (0.0, np.nan), (0.0, np.inf)]
)
def test_a_slice_that_is_not_within_the_board_is_refused_in_a_sentence(near, far):
    with pytest.raises(BadInput, match=r"slice.*begins and ends within the board") as refused:
        cutting.slice_of(np.full(BOTH, 0.3), near, far)
    assert str(near) in str(refused.value) and str(far) in str(refused.value)


def test_a_grid_of_two_faces_without_a_middle_is_refused():
    with pytest.raises(ValueError, match="odd"):
        diffusion.cell_edges(40, two_faces=True)


# --- drying on -----------------------------------------------------------------------------------------


def dried(profile, thickness_m, days, **given_):
    values = {
        "half_thickness_m": thickness_m,
        "basic_density_kg_m3": 480.0,
        "diffusion_m2_s": 1e-10,
        "moisture_slope": 1.15,
        "activation_k": 5280.0,
        "free_water_ratio": 1.0,
        "film_w_m2k": 3.0,
        "longwave_w_m2k": 2.0,
        "isotherm_scale": 1.0,
    } | given_
    who = diffusion.Members(**{k: np.array([float(v)]) for k, v in values.items()}, air_row=np.zeros(1, np.int64))
    one = np.ones((1, 24 * days))
    air = diffusion.AirSteps(20.0 * one, 50.0 * one, np.full(24 * days, 3600.0))
    two_faces = np.size(profile) == BOTH
    return diffusion.march(np.asarray(profile)[None], who, air, np.arange(0, 24 * days + 1, 24), two_faces=two_faces)[0]


def begun():
    """A 50 mm board that has dried for a month from 80 %MC: dry faces, a wet core."""
    half = dried(np.full(diffusion.NODES, 0.8), 0.025, 30)[-1]
    return np.concatenate([half[:0:-1], half])


def test_a_resawn_half_with_a_wet_and_a_dry_face_dries_from_both():
    half = cutting.slice_of(begun(), 0.5, 1.0)
    assert half[0] > half[-1] + 0.2  # the sawn face is wet, the old one dry
    path = dried(half, 0.025, 120)
    shut = dried(half, 0.025, 120, coat_pa_m2_s_kg=0.0, back_coat_pa_m2_s_kg=np.inf)
    assert np.all(np.diff(mean(path)) < 0.0)
    assert mean(path)[5] < mean(shut)[5] - 0.01  # the sawn face gives off water that otherwise stays
    assert path[1, 0] < half[0] - 0.05
    wettest = path.argmax(axis=1)
    assert wettest[0] < 5 and 10 < wettest[20] < 30  # the wettest wood ends up inside
    assert path[-1, 0] == pytest.approx(path[-1, -1], abs=2e-3)
    assert np.all(path <= half.max() + 1e-5)


def test_both_halves_of_a_board_that_is_alike_on_both_sides_dry_alike():
    near, far = (cutting.slice_of(begun(), *ends) for ends in ((0.0, 0.5), (0.5, 1.0)))
    assert near[::-1] == pytest.approx(far, abs=1e-9)
    assert dried(near, 0.025, 30)[:, ::-1] == pytest.approx(dried(far, 0.025, 30), abs=1e-4)


def test_a_board_planed_alike_on_both_sides_is_a_thin_board_begun_with_what_lay_inside():
    """As whole board between two faces, and as half a board from mid-thickness, on a grid of its own."""
    whole, off = begun(), 0.15
    planed = cutting.slice_of(whole, off, 1.0 - off)
    left_m = 0.05 * (1.0 - 2.0 * off)
    x = diffusion.node_positions_m(left_m / 2.0)
    inner = np.interp(0.025 + x, diffusion.node_positions_m(0.05, BOTH, two_faces=True), whole)
    inner *= mean(planed) / diffusion.mean_of(inner)
    both, half = dried(planed, left_m, 40), dried(inner, left_m / 2.0, 40)
    assert mean(both) == pytest.approx(diffusion.mean_of(half), abs=1e-3)
    assert both[1:, [0, BOTH // 2, -1]] == pytest.approx(half[1:][:, [-1, 0, -1]], abs=2e-3)
    assert mean(planed) > mean(whole) + 0.02  # the dry faces are gone


# --- across the width or length ------------------------------------------------------------------------

spans = st.floats(0.02, 0.98)
lacking = st.floats(-0.3, 0.3).map(lambda apart: apart or 0.1)


def lacks(apart, share):
    """A board that has dried (or, with a negative figure, wetted) at faces and edges, and what its edges lack."""
    profile = np.full((1, diffusion.NODES), 0.5)
    profile[0, -1] -= apart
    away = 0.5 - diffusion.mean_of(profile)[0]
    short = share * (apart - away)
    return profile, np.array([[short, 0.0, short]])


def left(short, profile, before_m, after_m):
    """The shortfalls of a piece that was ripped off a board a metre long."""
    return cutting.shortfall_left(short, profile, (before_m, 1.0), (after_m, 1.0))


@given(apart=lacking, share=st.floats(0.0, 0.8), at=spans, kerf=st.floats(0.0, 0.015))
def test_two_pieces_and_the_dust_between_lack_the_water_that_the_board_lacked(apart, share, at, kerf):
    profile, short = lacks(apart, share)
    one, other = at * (1.0 - kerf), (1.0 - at) * (1.0 - kerf)

    def lack(part):
        return part * left(short, profile, 1.0, part)[0, 0]

    assert lack(one) + lack(1.0 - one) == pytest.approx(short[0, 0], abs=1e-12)
    dust = (short[0, 0] - lack(one) - lack(other)) * np.sign(apart)
    assert -1e-12 <= dust <= 1.1 * kerf * abs(apart) + 1e-12  # it lacks no more than the driest wood does


@given(apart=st.floats(0.02, 0.4), share=st.floats(0.01, 0.8), at=spans)
def test_a_piece_is_not_drier_than_the_driest_wood_that_it_was_sawn_from(apart, share, at):
    """But for a tenth where two borders meet: they are not quite two half-spaces then."""
    profile, short = lacks(apart, share)
    whole = diffusion.mean_of(profile)[0] - left(short, profile, 0.2, at * 0.2)[0, 2]
    assert profile.min() - 0.1 * apart <= whole <= diffusion.mean_of(profile)[0]


def test_a_half_of_a_board_with_thin_dry_edges_lacks_as_large_a_share_as_the_board_did():
    profile, short = lacks(0.3, 0.05)
    assert left(short, profile, 0.2, 0.1)[0] == pytest.approx(short[0], rel=1e-6)
    # of a third that was trimmed off, one border went, and the other counts for more of what is left
    assert left(short, profile, 0.3, 0.2)[0, 0] == pytest.approx(short[0, 0] * 0.3 / 2 / 0.2, rel=1e-6)


def test_a_hair_trimmed_off_takes_only_the_driest_wood_with_it():
    """By hand: 1 mm of 200 mm, as dry as the face, from a board that lacks 0.02 on average."""
    profile, _short = lacks(0.3, 0.1)
    short = np.array([[0.02, 0.0, 0.02]])
    driest = diffusion.mean_of(profile)[0] - profile.min()
    by_hand = (0.02 * 0.2 - driest * 0.001) / 0.199
    assert left(short, profile, 0.2, 0.199)[0, 0] == pytest.approx(by_hand, rel=0.02)


def test_width_and_length_are_told_apart_and_what_stays_keeps_its_shortfall():
    profile, _short = lacks(0.3, 0.1)
    short, sizes = np.array([[0.02, 0.01, 0.028]]), (0.2, 0.12)
    across = cutting.shortfall_left(short, profile, sizes, (0.1, 0.12))
    along = cutting.shortfall_left(short, profile, sizes, (0.2, 0.09))
    assert across[0, 1] == 0.01 and across[0, 2] == across[0, 0] + 0.01
    assert along[0, 0] == 0.02 and along[0, 1] < 0.01
    assert np.array_equal(cutting.shortfall_left(short, profile, sizes, sizes), short)
    assert np.array_equal(cutting.shortfall_left(short, profile, sizes, (0.3, 0.2)), short)
    none = cutting.shortfall_left(np.zeros((1, 3)), profile, sizes, (0.01, 0.01))
    assert np.array_equal(none, np.zeros((1, 3)))
