"""Whether an air and a moisture content that are both wanted can hold at once, and the figures in the sentence."""

from __future__ import annotations

import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kiln import sorption, targets
from kiln.errors import OutOfRange
from shared.errors import BadInput

SENTENCE = re.compile(
    r"(?P<rh>[\d.]+) %RH at (?P<t>-?[\d.]+) °C is (?P<mc>[\d.]+) %MC; (?P<low>[\d.]+)–(?P<high>[\d.]+) %MC "
    r"would need (?P<dry>[\d.]+)–(?P<damp>[\d.]+) %RH\. Both cannot hold: choose one\."
)


def test_the_sentence_names_both_figures() -> None:
    told = targets.disagreement(45.0, 20.0, 6.0, 8.0)
    assert told == "45 %RH at 20 °C is 8.5 %MC; 6–8 %MC would need 29–42 %RH. Both cannot hold: choose one."


# Cells of Wood Handbook Table 4-2 for 70 °F (21.1 °C), from memory; printed to 0.1 %MC.
@pytest.mark.parametrize(("rh_pct", "mc_pct"), [(30.0, 6.2), (50.0, 9.2), (65.0, 12.0), (80.0, 16.0)])
def test_a_band_about_the_handbooks_figure_agrees_and_one_beside_it_does_not(rh_pct: float, mc_pct: float) -> None:
    assert targets.disagreement(rh_pct, 21.1, mc_pct - 0.15, mc_pct + 0.15) == ""
    for low, high in ((mc_pct + 0.15, mc_pct + 2.0), (mc_pct - 2.0, mc_pct - 0.15)):
        assert SENTENCE.fullmatch(targets.disagreement(rh_pct, 21.1, low, high))


@given(
    st.floats(5.0, 95.0), st.floats(0.0, 45.0), st.floats(3.0, 25.0), st.floats(0.1, 10.0)
)  # the ranges that a plan accepts
def test_the_sentence_never_contradicts_itself_and_is_right(rh: float, t_c: float, low: float, width: float) -> None:
    rh, t_c, low, high = round(rh, 1), round(t_c, 1), round(low, 1), round(low + width, 1)
    rest = float(sorption.emc_pct(t_c, rh))
    assume(high > low)
    told = targets.disagreement(rh, t_c, low, high)
    if low <= rest <= high:
        assert told == ""
        return
    found = SENTENCE.fullmatch(told)
    if found is None:
        assert "is more than any air at that temperature gives" in told
        assert low >= float(sorption.emc_pct(t_c, 100.0))
        return
    said = {name: float(figure) for name, figure in found.groupdict().items()}
    assert (said["rh"], said["t"], said["low"], said["high"]) == (rh, t_c, low, high)
    assert said["mc"] == pytest.approx(rest, abs=0.05)
    assert not said["low"] <= said["mc"] <= said["high"]
    assert not said["dry"] <= said["rh"] <= said["damp"]
    most = float(sorption.emc_pct(t_c, 100.0))
    assert float(sorption.emc_pct(t_c, said["dry"])) == pytest.approx(low, abs=0.5)
    assert float(sorption.emc_pct(t_c, said["damp"])) == pytest.approx(min(high, most), abs=0.9)  # steep near 100 %RH


def test_what_cannot_be_a_band_or_an_air_is_refused() -> None:
    with pytest.raises(BadInput, match="wanted moisture is 8 to 6 %MC; accepted: two figures above 0, the lower one"):
        targets.disagreement(45.0, 20.0, 8.0, 6.0)
    with pytest.raises(BadInput):
        targets.disagreement(45.0, 20.0, 0.0, 6.0)
    with pytest.raises(OutOfRange):
        targets.disagreement(145.0, 20.0, 6.0, 8.0)
