"""Properties of the isotherm that hold whatever its coefficients."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import sorption
from kiln.errors import OutOfRange

temperatures = st.floats(-1.0, 60.0)


@given(t=temperatures, rh=st.floats(0.0, 99.0), more=st.floats(0.1, 1.0))
def test_emc_rises_with_humidity(t, rh, more):
    assert sorption.emc_pct(t, rh + more) > sorption.emc_pct(t, rh)


@given(t=temperatures, rh=st.floats(0.5, 99.5), fsp=st.floats(18.0, 32.0))
def test_the_inverse_inverts(t, rh, fsp):
    assert sorption.rh_pct_from_emc(t, sorption.emc_pct(t, rh, fsp), fsp) == pytest.approx(rh, abs=1e-6)


def test_dry_air_gives_dry_wood_and_soaked_wood_gives_saturated_air():
    assert sorption.emc_pct(20.0, 0.0) == 0.0
    assert sorption.rh_pct_from_emc(20.0, 80.0) == 100.0


@pytest.mark.parametrize(
    ("t", "rh", "field"), [(20.0, 140.0, "rh_pct"), (20.0, -1.0, "rh_pct"), (-80.0, 50.0, "temperature_c")]
)
def test_outside_its_range_it_says_which_value_and_which_range(t, rh, field):
    with pytest.raises(OutOfRange, match=field) as said:
        sorption.emc_pct(t, rh)
    assert str(said.value).count("accepted") == 1


def test_a_hygrometer_3_percent_out_is_about_half_a_percent_of_emc_in_a_shop_and_far_more_when_damp():
    # 0.16 %MC per %RH at 50 %RH and 0.58 at 90 %RH and 20 °C, computed from Equation 4-5.
    shop = float(sorption.emc_error_mc_pct(20.0, 50.0, 3.0)) ** 2 - 1.0
    damp = float(sorption.emc_error_mc_pct(20.0, 90.0, 3.0)) ** 2 - 1.0
    assert np.sqrt(shop) == pytest.approx(0.48, abs=0.03)
    assert np.sqrt(damp) == pytest.approx(1.8, abs=0.15)


def test_nan_stays_nan_and_arrays_keep_their_shape():
    out = sorption.emc_pct(np.array([[20.0], [np.nan]]), np.array([30.0, 50.0, 70.0]))
    assert out.shape == (2, 3)
    assert np.isnan(out[1]).all()
    assert out[0, 1] == sorption.emc_pct(20.0, 50.0)
