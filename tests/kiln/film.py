"""The film's published formula, written out once more for tests: nothing of it comes from the solver.

j = h_c / (rho_a c_p Le R_v T) × (a p_sat - p_a), by the analogy of heat and
mass transfer (Chilton and Colburn, 1934; from memory).
"""

from shared.tables import constants

ZERO_K = 273.15


def per_pa(film_w_m2k, t_c):
    """Flux off a face for each Pa between it and the air [kg/m²s Pa]."""
    table = {name: one.value for name, one in constants("psychrometrics").items()}
    t_k = t_c + ZERO_K
    air_kg_m3 = table["pressure_sea_level"] / (table["gas_constant_air"] * t_k)
    return film_w_m2k / (air_kg_m3 * table["air_heat"] * table["lewis_factor"] * table["gas_constant_vapour"] * t_k)


def evaporation_heat_j_kg():
    """Heat that a kg of water takes up as it leaves [J/kg]."""
    return constants("psychrometrics")["evaporation_heat"].value
