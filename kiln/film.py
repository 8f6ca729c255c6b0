"""The air at a board's face: how fast heat and vapour pass between them, in the open, in a stack, behind a wrapping.

A face swept by air: the average film of a flat plate, forced and free convection together (``plate_film_w_m2k``).
A face inside a stack: the same film, and behind it the air that passes through the gap (``renewal_m_s``).
A face behind plastic film or a finish: one more resistance to vapour (``wrap_resistance``, ``coat_resistance``).

Constants, usual values and their sources stand in ``shared/tables/film.csv``.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kiln.errors import check_range
from kiln.runs import in_runs
from shared.errors import BadInput
from shared.tables import Sourced, constants
from shared.units import S_PER_HOUR, Array, k_from_c

LOWEST_C, HIGHEST_C = 0.0, 45.0
FASTEST_M_S = 5.0  # beyond any air that wood dries in; a slip of units lies above
ALONG_M = (0.02, 5.0)
STICKER_M = (0.003, 0.1)
FROM_WINDWARD_M = (0.02, 20.0)
DIFFERENCE_K = (0.0, 30.0)
WRAPS = ("wrap_sheet", "wrap_stretch", "wrap_folded")
COATS = ("coat_shellac", "coat_lacquer", "coat_varnish", "coat_oil")


class AirProperties(NamedTuple):
    """Dry air at sea level, each an array of the shape of its temperature."""

    viscosity_m2_s: Array  # kinematic
    conductivity_w_mk: Array
    prandtl: Array


class Resistance(NamedTuple):
    """What a layer sets against vapour, and how well that is known."""

    pa_m2_s_kg: float
    sd_ln: float  # one standard deviation of its logarithm
    source: str
    status: str


def plate_film_w_m2k(
    air_speed_m_s: float | Array,
    along_m: float | Array,
    temperature_c: float | Array,
    difference_k: float | Array | None = None,
) -> Array:
    """Average heat transfer coefficient [W/m²K] of a flat board, without radiation; any shapes that broadcast.

    ``air_speed_m_s``: of the air past it, 0 to 5 m/s. ``along_m``: how far the air sweeps along it, 0.02 to 5 m
    (a board's width in a stack, or its shorter side). ``temperature_c``: of the air, 0 to 45 °C.
    ``difference_k``: how far board and air differ in temperature, 0 to 30 K; the table's usual value where None.

    h = (h_forced³ + h_free³)^(1/3), so still air leaves the film of free convection. Smooth plates with a sharp
    edge, in even air: a sawn board's own film strays by about 40 % (``film_plate`` in the table). In the gap of a
    stack the film is hardly less than in the open: the air starts afresh at the edges of each board.
    NaN stays NaN. Raises OutOfRange. Source: Incropera and DeWitt, 6th edition, section 9.9 (from memory).
    """
    power = _value("mixing_power")
    forced = forced_film_w_m2k(air_speed_m_s, along_m, temperature_c)
    free = free_film_w_m2k(along_m, temperature_c, difference_k)
    return np.asarray((forced**power + free**power) ** (1.0 / power))


def forced_film_w_m2k(air_speed_m_s: float | Array, along_m: float | Array, temperature_c: float | Array) -> Array:
    """Average coefficient [W/m²K] of a smooth plate that air sweeps along; arguments as ``plate_film_w_m2k``.

    Nu = 0.664 Re^½ Pr^⅓ up to Re = 5e5, beyond it Nu = (0.037 Re^0.8 - 871) Pr^⅓ (laminar, then turbulent; up to
    Re = 1e8 and for Pr 0.6 to 60). Raises OutOfRange.
    Source: Incropera and DeWitt, 6th edition, Equations 7.30 and 7.38 (numbers from memory); Som, Example 7.2.
    """
    return in_runs(_forced, air_speed_m_s, along_m, temperature_c)


def free_film_w_m2k(
    along_m: float | Array, temperature_c: float | Array, difference_k: float | Array | None = None
) -> Array:
    """Average coefficient [W/m²K] of both faces of a board lying flat in still air; arguments as ``plate_film_w_m2k``.

    The length is area over perimeter, for a long board half its width. The face from which the air gets away
    (under a cold board, over a warm one): Nu = 0.54 Ra^¼ for Ra 1e4 to 1e7, or 0.15 Ra^⅓ above, the greater of
    the two; the other face Nu = 0.27 Ra^¼ for Ra 1e5 to 1e10. Boards narrower than about 0.1 m lie below these
    ranges and are stretched to. A board on edge has nearly the same. Vapour, lighter than air, is left out.
    Raises OutOfRange. Source: McAdams; Incropera and DeWitt, 6th edition, Equations 9.30 to 9.32 (from memory).
    """
    difference = _value("free_difference") if difference_k is None else difference_k
    return in_runs(_free, along_m, temperature_c, difference)


def renewal_m_s(air_speed_m_s: float | Array, sticker_m: float | Array, from_windward_m: float | Array) -> Array:
    """Place's air that passes a board inside a stack, per m² of its face [m³/m²s]; any shapes that broadcast.

    ``air_speed_m_s``: in the gap, 0 to 5 m/s. ``sticker_m``: height of the gap, 3 mm to 0.1 m.
    ``from_windward_m``: how far the board lies behind the edge at which the air comes in, 0.02 to 20 m.

    A stack makes its own air. Between two layers a slice of air of height s moves at speed u and takes up j from
    the faces above and below it: u s dc/dx = 2 j, hence at distance x it holds more vapour than the place's air by

        c(x) - c_place = j / renewal,   renewal = u (s/2) / x

    if the boards before it give off as much as this one. So vapour leaves a face through its film and then through
    the renewal, one behind the other, and heat comes in likewise:

        1/beta + 1/g            with g = renewal / (R_v T)         [Pa m² s/kg]
        1/h + 1/(renewal rho c_p)                                  [m²K/W]

    Boards of equally wet faces, not of equal flux, give less towards the lee: for a board in the middle of its
    stack this is between 1 and 2 times the stack's average, and the better the faster the air. Air that stands
    renews nothing: give a draught that is there. Raises OutOfRange. The balance is ours.
    """
    return in_runs(_renewal, air_speed_m_s, sticker_m, from_windward_m)


def wrap_resistance(name: str) -> Resistance:
    """Resistance to vapour of plastic film around a board, per m² of face, at 23 °C.

    ``name``: one of WRAPS: a taped sheet of 0.15 mm, stretch film, a sheet folded over so that its seams leak.
    Raises BadInput for another. Source: the table's row.
    """
    return _layer("wrap", name, WRAPS)


def coat_resistance(name: str) -> Resistance:
    """Resistance to vapour of a finish on one face, per m², at 23 °C, without that of the wood under it.

    ``name``: one of COATS: three coats of shellac, nitrocellulose lacquer, varnish (alkyd or polyurethane) or oil.
    Finishes of one name differ several times over, and one coat holds back far less than three.
    Raises BadInput for another. Source: the table's row.
    """
    return _layer("coat", name, COATS)


def layer_resistance_pa_m2_s_kg(sd_m: float | Array) -> Array:
    """Resistance [Pa m² s/kg] of a layer whose vapour-diffusion-equivalent air layer is ``sd_m`` [m] thick.

    Any shape; at 23 °C, at which layers are measured. Raises OutOfRange below 0 or above 10 000 m.
    Source: EN ISO 12572 (from memory).
    """
    check_range("sd_m", np.asarray(sd_m, dtype=float), 0.0, 1e4, "m")
    return np.asarray(sd_m / still_air_permeability_kg_m_s_pa(_value("sd_measured_at")))


def still_air_permeability_kg_m_s_pa(temperature_c: float | Array) -> Array:
    """Vapour permeability of still air at sea level [kg/(m s Pa)], at ``temperature_c`` [0 to 45 °C, any shape].

    Schirmer's formula, 0.083 / (R_v T) (T / 273)^1.81 per hour; other authorities have up to a twelfth less.
    Raises OutOfRange. Source: EN ISO 12572 (from memory).
    """
    factor, exponent, reference_k = (_value(f"still_air_{name}") for name in ("factor", "exponent", "reference"))
    vapour = constants("psychrometrics")["gas_constant_vapour"].value

    def work(t_c: Array) -> Array:
        check_range("temperature_c", t_c, LOWEST_C, HIGHEST_C, "°C")
        t = k_from_c(t_c)
        return np.asarray(factor / (vapour * t) * (t / reference_k) ** exponent / S_PER_HOUR)

    return in_runs(work, temperature_c)


def air_properties(temperature_c: float | Array) -> AirProperties:
    """Viscosity [m²/s], conductivity [W/mK] and Prandtl number of dry air, ``temperature_c`` [0 to 45 °C, any shape].

    At sea level. Saturated air of 30 °C makes the same film within 2 %. Raises OutOfRange.
    Source: U.S. Standard Atmosphere, 1976, Equations 51 and 53 (from memory); density and heat as ``psychrometrics``.
    """
    t_c = np.asarray(temperature_c, dtype=float)
    check_range("temperature_c", t_c, LOWEST_C, HIGHEST_C, "°C")
    return _air(t_c)


def _value(name: str) -> float:
    return _table()[name].value


def _table() -> dict[str, Sourced]:
    return constants("film")


def _air(t_c: Array) -> AirProperties:
    moist, t = constants("psychrometrics"), k_from_c(t_c)
    density = moist["pressure_sea_level"].value / (moist["gas_constant_air"].value * t)
    viscosity = _value("viscosity_factor") * t**1.5 / (t + _value("viscosity_temperature"))
    bent = _value("conductivity_temperature") * 10.0 ** (-_value("conductivity_exponent") / t)
    conductivity = _value("conductivity_factor") * t**1.5 / (t + bent)
    return AirProperties(
        np.asarray(viscosity / density),
        np.asarray(conductivity),
        np.asarray(viscosity * moist["air_heat"].value / conductivity),
    )


def _forced(speed: Array, along: Array, t_c: Array) -> Array:
    check_range("air_speed_m_s", speed, 0.0, FASTEST_M_S, "m/s")
    check_range("along_m", along, *ALONG_M, "m")
    air = air_properties(t_c)
    reynolds = speed * along / air.viscosity_m2_s
    laminar = _value("laminar") * reynolds ** _value("laminar_exponent")
    mixed = _value("mixed") * reynolds ** _value("mixed_exponent") - _value("mixed_less")
    nusselt = np.where(reynolds > _value("critical_reynolds"), mixed, laminar) * np.cbrt(air.prandtl)
    return np.asarray(nusselt * air.conductivity_w_mk / along)


def _free(along: Array, t_c: Array, difference: Array) -> Array:
    check_range("along_m", along, *ALONG_M, "m")
    check_range("difference_k", difference, *DIFFERENCE_K, "K")
    air, length = air_properties(t_c), along / 2.0
    diffusivity = air.viscosity_m2_s / air.prandtl
    buoyancy = _value("gravity") * difference / k_from_c(t_c)
    rayleigh = buoyancy * length**3 / (air.viscosity_m2_s * diffusivity)
    quarter = rayleigh**0.25
    away = np.maximum(_value("free_open") * quarter, _value("free_turbulent") * np.cbrt(rayleigh))
    nusselt = (away + _value("free_held") * quarter) / 2.0
    return np.asarray(nusselt * air.conductivity_w_mk / length)


def _renewal(speed: Array, sticker: Array, from_windward: Array) -> Array:
    check_range("air_speed_m_s", speed, 0.0, FASTEST_M_S, "m/s")
    check_range("sticker_m", sticker, *STICKER_M, "m")
    check_range("from_windward_m", from_windward, *FROM_WINDWARD_M, "m")
    return np.asarray(speed * sticker / 2.0 / from_windward)


def _layer(kind: str, name: str, names: tuple[str, ...]) -> Resistance:
    if name not in names:
        raise BadInput(kind, name, ", ".join(names))
    row = _table()[name]
    return Resistance(float(layer_resistance_pa_m2_s_kg(row.value)), row.sd_ln, row.source, row.status)
