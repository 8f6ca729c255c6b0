"""Mould: the index grows and declines by hours, is held where its model ends, and knows its own faces."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from kiln import mould
from kiln.errors import OutOfRange
from shared.errors import BadInput
from shared.tables import harms

PINE = mould.class_of()


def course(t, rh, hours, start=0.0, kind=PINE):
    t, rh, hours = np.broadcast_arrays(*(np.asarray(one, dtype=float) for one in (t, rh, hours)))
    return mould.course(t, rh, hours, kind, start)


def by_hand(t, rh, hours, start):
    """The same, one step after the other, in plain numbers."""
    index, dry_h, found = start, 0.0, []
    for t_c, rh_pct, step_h in zip(t, rh, hours, strict=True):
        critical = float(mould.critical_rh_pct(t_c, PINE))
        valid = 0.0 < t_c < 50.0
        if valid and rh_pct >= critical:
            index += float(mould.growth_per_day(index, t_c, rh_pct, PINE)) * step_h / 24.0
            dry_h = 0.0
        else:
            for hour in np.arange(dry_h, dry_h + step_h, 0.5) if valid else ():
                index -= 0.5 / 24.0 * (0.032 if hour < 6.0 else 0.016 if hour >= 24.0 else 0.0)
            dry_h += step_h
        index = max(index, 0.0)
        found.append(index)
    return np.array(found)


steps = st.integers(1, 60)
airs = steps.flatmap(
    lambda n: st.tuples(
        arrays(float, n, elements=st.floats(-5.0, 55.0)),
        arrays(float, n, elements=st.floats(40.0, 100.0)),
        arrays(float, n, elements=st.sampled_from([0.5, 1.0, 3.0, 6.0, 24.0])),
        st.floats(0.0, 3.0),
    )
)


@given(airs)
def test_it_goes_as_step_by_step_by_hand(air):
    t, rh, hours, start = air
    assert course(t, rh, hours, start) == pytest.approx(by_hand(t, rh, hours, start), abs=1e-9)


@given(airs)
def test_it_stays_between_none_and_six(air):
    found = course(*air)
    assert np.all(found >= 0.0)
    assert np.all(found <= 6.3)


def test_a_dry_day_told_in_one_step_or_in_many_is_the_same():
    dry = [course(20.0, 50.0, np.full(n, 48.0 / n), 2.0)[-1] for n in (1, 8, 16, 96)]
    assert dry == pytest.approx([2.0 - 0.008 - 0.016] * 4, abs=1e-12)  # six hours fast, eighteen none, a day slow


def test_a_damp_hour_begins_the_dry_time_anew():
    days = 20
    rh = np.full(days * 24, 50.0)
    broken = rh.copy()
    broken[11::12] = 80.5  # damp enough to count, too dry for an index of 2 to grow
    assert course(20.0, broken, 1.0, 2.0)[-1] < course(20.0, rh, 1.0, 2.0)[-1]


def test_frost_and_heat_hold_it():
    for t in (-8.0, 0.0, 50.0, 60.0):
        assert course(t, np.full(50, 60.0), 6.0, 1.5)[-1] == 1.5
        assert course(t, np.full(50, 100.0), 6.0, 1.5)[-1] == 1.5
    assert course(20.0, np.full(50, np.nan), 6.0, 1.5)[-1] == 1.5


def test_it_ends_where_the_air_lets_it_and_does_not_fall_there():
    found = course(20.0, np.full(4 * 2000, 85.0), 6.0)
    most = float(mould.most_index(20.0, 85.0, PINE))
    assert found[-1] == pytest.approx(most, abs=0.01)
    assert np.all(course(20.0, np.full(40, 85.0), 6.0, most + 1.0) == most + 1.0)


def test_the_less_sensitive_a_material_the_less_grows_on_it():
    grown = [course(22.0, np.full(4 * 120, 96.0), 6.0, kind=kind)[-1] for kind in harms.mould_classes().values()]
    assert grown == sorted(grown, reverse=True)
    assert grown[0] > 5.0 > 1.0 > grown[-1]


@given(st.floats(0.1, 49.9))
def test_no_critical_humidity_above_saturation(t):
    """It is where a plus for the linear term, as one program prints it, shows."""
    assert 80.0 <= float(mould.critical_rh_pct(t, PINE)) < 100.0


def test_what_no_figure_can_mean_is_refused():
    with pytest.raises(BadInput, match="hours is 0"):
        course(20.0, np.full(3, 90.0), 0.0)
    with pytest.raises(BadInput, match="start is -1"):
        course(20.0, np.full(3, 90.0), 1.0, -1.0)
    with pytest.raises(BadInput, match="mould class is plaster"):
        mould.class_of("plaster")
    with pytest.raises(OutOfRange, match="temperature_c is 60"):
        mould.weeks_to_start(60.0, 90.0)
