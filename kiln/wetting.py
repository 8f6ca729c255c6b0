"""Water that a face was given at once: by glue, by steam for bending, by rain."""

from __future__ import annotations

import numpy as np

from kiln import wood
from kiln.diffusion import cell_shares
from shared.units import Array


def wetted(
    profiles: Array,
    basic_density_kg_m3: Array,
    thickness_m: float,
    water_kg_m2: tuple[float, float],
    *,
    two_faces: bool,
) -> Array:
    """Return profiles [members, nodes; kg/kg] after so much water came to the marked and to the other face.

    ``thickness_m``: half the thickness, or with two faces all of it; of half a board both faces got the same. Each
    layer takes water from its face inwards until it is full (FPL-GTR-282, 2021, Equation 4-3); what the whole piece
    cannot take has run off. How it spreads from there is the solver's.
    """
    shares = cell_shares(profiles.shape[1], two_faces=two_faces)
    full = wood.maximum_mc_pct(np.clip(basic_density_kg_m3 / wood.WATER_KG_M3, 0.05, 1.5))[:, None] / 100.0
    # Dry wood that a layer holds per m² of face, and what it can still take.
    dry_kg_m2 = basic_density_kg_m3[:, None] * thickness_m * shares
    state = profiles
    for water, from_marked in zip(
        water_kg_m2 if two_faces else water_kg_m2[1:], (True, False)[not two_faces :], strict=True
    ):
        inwards = slice(None) if from_marked else slice(None, None, -1)
        room = (np.maximum(full - state, 0.0) * dry_kg_m2)[:, inwards]
        before = np.cumsum(room, axis=1) - room
        taken = np.clip(water - before, 0.0, room)[:, inwards]
        state = state + taken / dry_kg_m2
    return np.asarray(state)
