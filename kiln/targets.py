"""Whether an air and a moisture content that are both wanted of a piece can hold at once."""

from __future__ import annotations

from kiln import sorption
from shared.errors import BadInput

MOST_DECIMALS = 6  # to which figures are shown rather than let a rounded one contradict the sentence


def disagreement(rh_pct: float, temperature_c: float, low: float, high: float) -> str:
    """Say that wood in this air cannot keep within the moisture wanted of it; empty when it can.

    ``rh_pct`` [%RH] and ``temperature_c`` [°C] of the air, ``low`` to ``high`` [%MC] of the wood. Wood left in that air
    comes to ``sorption.emc_pct`` (its source and range); where that lies outside the band, one of the two has to give
    way. The curve is good to about ±1 %MC: a band that is missed by less is named too, with the figures.
    Raises OutOfRange outside the curve's range, and BadInput unless 0 < ``low`` < ``high``.
    """
    if not 0.0 < low < high:
        raise BadInput("wanted moisture", f"{low:g} to {high:g} %MC", "two figures above 0, the lower one first")
    rest = float(sorption.emc_pct(temperature_c, rh_pct))
    if low <= rest <= high:
        return ""
    decimals = next(d for d in range(1, MOST_DECIMALS + 1) if d == MOST_DECIMALS or not low <= round(rest, d) <= high)
    held = f"{rh_pct:g} %RH at {temperature_c:g} °C is {rest:.{decimals}f} %MC"
    return f"{held}; {low:g}–{high:g} %MC {_needs(rh_pct, temperature_c, low, high)}. Both cannot hold: choose one."


def _needs(rh_pct: float, temperature_c: float, low: float, high: float) -> str:
    """Return which humidity the wanted moisture would need, as the end of a sentence."""
    most = float(sorption.emc_pct(temperature_c, 100.0))
    if low >= most:
        return "is more than any air at that temperature gives"
    dry, damp = (float(sorption.rh_pct_from_emc(temperature_c, min(wanted, most))) for wanted in (low, high))
    for decimals in range(MOST_DECIMALS + 1):
        ends = round(dry, decimals), round(damp, decimals)
        if ends[0] != ends[1] and not ends[0] <= rh_pct <= ends[1]:
            break
    return f"would need {dry:.{decimals}f}–{damp:.{decimals}f} %RH"
