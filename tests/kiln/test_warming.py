"""A piece that warms: what must hold for every slab, and what is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiln import warming
from kiln.errors import OutOfRange
from kiln.warming import FACE, MIDDLE, Faces

GRAVITY = st.floats(0.31, 1.0)
MC = st.floats(0.0, 25.0)
THICK_M = st.floats(0.001, 0.2)
COLD_C, WARM_C = st.floats(-20.0, 15.0), st.floats(16.0, 35.0)


@given(GRAVITY, MC, THICK_M, COLD_C, WARM_C, st.floats(10.0, 2e5))
@settings(max_examples=60, deadline=None)
def test_between_start_and_room_and_the_middle_behind_the_face(gravity, mc, thick_m, cold_c, warm_c, t_s):
    slab = warming.slab_of(gravity, mc, thick_m, 8.0, (cold_c + warm_c) / 2.0)
    face, middle = (float(warming.after(slab, cold_c, warm_c, t_s, depth)) for depth in (FACE, MIDDLE))
    slack = 0.01 * (warm_c - cold_c)
    assert cold_c - slack <= middle <= face + slack
    assert face <= warm_c + 1e-9


@given(GRAVITY, MC, THICK_M, COLD_C, WARM_C)
@settings(max_examples=40, deadline=None)
def test_thicker_slower_and_the_band_in_order(gravity, mc, thick_m, cold_c, warm_c):
    mean_c = (cold_c + warm_c) / 2.0
    times = [
        warming.time_until_s(one, cold_c, warm_c, warm_c - 1.0)
        for one in warming.slabs_of(gravity, mc, thick_m, mean_c)
    ]
    assert times[0] >= times[1] >= times[2] >= 0.0
    thicker = warming.slab_of(gravity, mc, 1.5 * thick_m, 8.0, mean_c)
    assert warming.time_until_s(thicker, cold_c, warm_c, warm_c - 1.0) >= times[1]
    there = float(warming.after(warming.slabs_of(gravity, mc, thick_m, mean_c).usual, cold_c, warm_c, times[1]))
    assert times[1] == 0.0 or there == pytest.approx(warm_c - 1.0, abs=1e-6)


@pytest.mark.parametrize("mc", [0.0, 12.0, 25.0])
def test_the_heaviest_woods_warm_too(mc):
    """Lignumvitae, the heaviest in trade: basic specific gravity 1.05 (Wood Handbook, Table 5-5; from memory)."""
    slabs = warming.slabs_of(1.05, mc, 0.03, 15.0)
    assert warming.time_until_s(slabs.slowest, 5.0, 20.0, 19.0) > warming.time_until_s(slabs.fastest, 5.0, 20.0, 19.0)


def test_steps_of_unchanging_air_are_one_step():
    slab = warming.slab_of(0.5, 8.0, 0.03, 8.0, 12.0)
    t_s = 600.0 * np.arange(1, 13)
    for depth in (FACE, MIDDLE):
        found = warming.follow(slab, 5.0, 600.0, np.full(12, 20.0), depth)
        assert found == pytest.approx(warming.after(slab, 5.0, 20.0, t_s, depth), abs=0.06)


def test_lying_on_one_face_is_a_slab_of_twice_the_thickness():
    one = warming.slab_of(0.5, 8.0, 0.02, 8.0, 12.0, Faces.ONE)
    assert one == warming.slab_of(0.5, 8.0, 0.04, 8.0, 12.0, Faces.BOTH)


def test_times_at_the_edges():
    slab = warming.slab_of(0.5, 8.0, 0.03, 8.0, 12.0)
    assert warming.time_until_s(slab, 5.0, 20.0, 4.0) == 0.0  # it is past that already
    assert warming.time_until_s(slab, 5.0, 20.0, 20.5) is None  # the room does not reach it
    assert warming.time_until_s(slab, 20.0, 20.0, 21.0) is None
    assert warming.time_until_s(slab, 20.0, 20.0, 20.0) == 0.0
    assert float(warming.after(slab, 5.0, 20.0, 0.0)) == 5.0


@pytest.mark.parametrize(
    ("field", "words"),
    [
        ("mc_pct", {"mc_pct": 26.0}),
        ("thickness_m", {"thickness_m": 27.0}),
        ("basic_specific_gravity", {"basic_specific_gravity": 1.7}),
    ],
)
def test_what_is_refused(field, words):
    given_ = {"basic_specific_gravity": 0.5, "mc_pct": 8.0, "thickness_m": 0.03} | words
    with pytest.raises(OutOfRange) as told:
        warming.slabs_of(**given_, temperature_c=12.0)
    assert told.value.field == field


def test_air_beyond_what_stands_here_is_refused():
    slab = warming.slab_of(0.5, 8.0, 0.03, 8.0, 12.0)
    with pytest.raises(OutOfRange):
        warming.after(slab, 5.0, 90.0, 60.0)
    with pytest.raises(OutOfRange):
        warming.follow(slab, -60.0, 60.0, np.array([20.0]))
