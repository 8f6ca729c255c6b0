"""A board in its air: what is believed of it before anything was measured, and its march.

The unknowns of a board, as logarithms where only their size is known:
oven-dry mass, moisture content at the start, diffusion at fibre saturation, mobility of free water,
film, the scale of its isotherm, and by how much diffusion falls as it dries. As they are: how much drier its faces
were than its middle at the start, how much too high the humidity of its air was read, and where its air was not
logged how far it was from what was filled in, in standard deviations.
Priors are in ``shared/tables/drying.csv``, by species and origin; diffusion follows from the wood's density.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiln import cutting, diffusion, lying, wetting, wood
from kiln.errors import check_range
from kiln.lying import Spell, Surroundings
from kiln.sorption import CONVENTIONAL_FSP_PCT
from shared.tables import Sourced, Species, constants, limit
from shared.units import S_PER_HOUR, Array

UNKNOWNS = (
    "ln_oven_dry_mass",
    "ln_start_mc",
    "ln_diffusion",
    "ln_free_water_ratio",
    "ln_film",
    "ln_isotherm_scale",
    "ln_moisture_slope",
    "start_gradient",
    "rh_bias_pct",
    "gap_sd",
)
LOGARITHMIC = 7  # the first so many are logarithms
START_GRADIENT, RH_BIAS, GAP = 7, 8, 9
STEEPEST_START = 0.9  # of the mean: beyond, a face would have begun with less than no water
OAKS = ("Quercus",)
DENSE_TROPICAL_BASIC = 0.65  # basic specific gravity from which an imported hardwood is taken as dense


@dataclass(frozen=True)
class Piece:
    """A board as the physics sees it."""

    species: Species
    thickness_m: float
    width_m: float
    length_m: float
    origin: str  # fresh-sawn, part-seasoned, water-reclaimed, re-sawn
    spells: tuple[Spell, ...]  # how it lay and how thick it was, one after the other; the last is how it lies now
    rh_error_pct: float = limit("unchecked_hygrometer")  # one standard error of the humidity of its air [%RH]

    @property
    def volume_m3(self) -> float:
        """Volume at the sizes given [m³]."""
        return self.thickness_m * self.width_m * self.length_m

    @property
    def two_faces(self) -> bool:
        """Whether its faces fare or fared differently, so that all of its thickness must be followed."""
        return any(spell.one_sided for spell in self.spells)

    def face_m(self, spell: Spell) -> tuple[float, float]:
        """Its width and length in one of its spells [m]."""
        return spell.face_m or (self.width_m, self.length_m)

    def surroundings(self, spell: Spell) -> Surroundings:
        """What it meets in one of its spells."""
        return lying.surroundings(spell.lying, *self.face_m(spell))

    @property
    def isotherm_share(self) -> float:
        """How much of the printed isotherm this species holds."""
        return self.species.fsp_pct / CONVENTIONAL_FSP_PCT


def fsp_remembered(species: Species) -> bool:
    """Whether what a species' fibre saturation point stands on is no reading of it: memory, or a convention stretched.

    The conventional 30 % is published for woods at large; dense ones, rich in extractives, hold less (from memory).
    """
    if species.fsp_status == "own measurement":
        return False
    conventional = species.fsp_pct == CONVENTIONAL_FSP_PCT
    return species.fsp_status != "published" or (
        conventional and species.basic_specific_gravity >= DENSE_TROPICAL_BASIC
    )


@dataclass(frozen=True)
class Prior:
    """Normal beliefs about the unknowns, in the order of UNKNOWNS."""

    centre: Array
    covariance: Array

    @property
    def sd(self) -> Array:
        """One standard deviation of each unknown."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def prior(piece: Piece) -> Prior:
    """Return what is believed of a board from its species, sizes, origin and place alone."""
    table = constants("drying")
    start_pct, start_sd = _start(piece, table)
    across, across_sd = _diffusion(piece.species, table)
    mobility = table[_mobility_name(piece)]
    now = piece.surroundings(piece.spells[-1])
    mass = wood.oven_dry_mass_kg(piece.species.basic_specific_gravity, _green_volume_m3(piece, start_pct))
    slope = table[f"moisture_slope_{piece.species.group}"]
    gradient = table[f"start_gradient_{piece.origin.replace('-', '_')}"]
    centre = [mass, start_pct / 100.0, across, mobility.value, now.film_w_m2k, table["emc_scale"].value, slope.value]
    sd = [
        table["oven_dry_mass"].sd_ln,
        start_sd,
        across_sd,
        mobility.sd_ln,
        now.film_sd_ln,
        table["emc_scale_remembered" if fsp_remembered(piece.species) else "emc_scale"].sd_ln,
        slope.sd_ln,
        gradient.sd_ln,
        piece.rh_error_pct,
        1.0,
    ]
    as_they_are = [gradient.value, 0.0, 0.0]
    return Prior(np.append(np.log(np.array(centre)), as_they_are), np.diag(np.array(sd) ** 2))


def _green_volume_m3(piece: Piece, start_pct: float) -> float:
    """The volume that basic density is of: sizes taken below fibre saturation have shrunk already [m³]."""
    shrunk = piece.species.shrinkage_volumetric_pct
    if shrunk is None:
        return piece.volume_m3
    share = float(wood.shrinkage_pct(shrunk, start_pct, piece.species.fsp_pct)) / 100.0
    return piece.volume_m3 / (1.0 - share)


def _start(piece: Piece, table: dict[str, Sourced]) -> tuple[float, float]:
    """Moisture content at the start [%MC] and its spread in logarithms."""
    species = piece.species
    maximum = float(wood.maximum_mc_pct(species.basic_specific_gravity))
    if piece.origin == "water-reclaimed":
        return maximum * table["reclaimed_mc"].value, table["reclaimed_mc"].sd_ln
    if piece.origin == "fresh-sawn":
        known = [mc for mc in (species.green_mc_heart_pct, species.green_mc_sap_pct) if mc is not None]
        green = sum(known) / len(known) if known else 0.6 * maximum
        spread = abs(known[0] - known[-1]) / green / 2.0 if len(known) == 2 else 0.25
        return min(green, maximum), float(np.hypot(table["fresh_mc"].sd_ln, spread))
    name = "part_seasoned_mc_pct" if piece.origin == "part-seasoned" else "resawn_mc_pct"
    return table[name].value, table[name].sd_ln


def diffusion_m2_s(basic_specific_gravity: float | Array) -> Array:
    """Diffusion across the grain at 20 °C and fibre saturation [m²/s] from the basic specific gravity; any shape.

    Northern red oak's figure times f(G) / f(its own G), where f = 1 / ((1 - v) (1 - √v)) and v is the share of hollow
    space that cell wall and bound water leave. Only the form's shape is taken: its own figure for red oak would be
    four times the anchor's. NaN stays NaN. Raises OutOfRange outside 0.2 to 1.0: lighter, the hollows are no longer
    the cells that the form pictures; denser, wall and bound water fill the wood.
    Source: gross wood across the grain by Siau, Transport Processes in Wood, 1984, from memory; anchor: drying.csv.
    """
    gravity, table = np.asarray(basic_specific_gravity, dtype=float), constants("drying")
    low, high = table["diffusion_least_gravity"].value, table["diffusion_most_gravity"].value
    check_range("basic_specific_gravity", gravity, low, high, "")
    anchor = np.asarray(table["diffusion_anchor_gravity"].value)
    return np.asarray(table["diffusion_oak"].value * _over_cell_wall(gravity) / _over_cell_wall(anchor))


def _over_cell_wall(basic_specific_gravity: Array) -> Array:
    """Diffusion across the grain over that of solid cell wall, at fibre saturation (Siau 1984, from memory)."""
    table = constants("drying")
    solid_m3_kg = table["cell_wall_volume"].value + table["bound_water_volume"].value
    hollow = 1.0 - basic_specific_gravity * wood.WATER_KG_M3 * solid_m3_kg
    return np.asarray(1.0 / ((1.0 - hollow) * (1.0 - np.sqrt(hollow))))


def _diffusion(species: Species, table: dict[str, Sourced]) -> tuple[float, float]:
    """Diffusion across the grain [m²/s] and its spread in logarithms; beyond the form's limits that of the limit."""
    if species.botanical_name.split()[0] in OAKS:
        return table["diffusion_oak"].value, table["diffusion_oak"].sd_ln
    low, high = table["diffusion_least_gravity"].value, table["diffusion_most_gravity"].value
    centre = float(diffusion_m2_s(min(max(species.basic_specific_gravity, low), high)))
    dense = species.basic_specific_gravity >= DENSE_TROPICAL_BASIC
    return centre, table[f"diffusion_{'dense' if dense else species.group}"].sd_ln


def _mobility_name(piece: Piece) -> str:
    if piece.species.botanical_name.split()[0] in OAKS:
        return "free_water_ratio_heartwood"  # tyloses close its vessels, in water too
    return "free_water_ratio_reclaimed" if piece.origin == "water-reclaimed" else "free_water_ratio_fresh"


def members(
    piece: Piece, unknowns: Array, air_row: NDArray[np.int64] | None = None, spell: Spell | None = None
) -> diffusion.Members:
    """Return solver members for rows of unknowns [members, unknowns] in one spell; None: the last.

    The film is that of the last spell; in another it is as many times what one expects there. What is learned of it
    counts for wraps, coats and the air of stacks too: nothing else tells of them. The bias of the air is in
    ``true_rh_pct``.
    """
    table = constants("drying")
    mass, _start_mc, d20, kappa, film, scale, slope = np.exp(unknowns[:, :LOGARITHMIC]).T
    count = len(mass)
    now, spell = piece.surroundings(piece.spells[-1]), spell or piece.spells[-1]
    here = piece.surroundings(spell)
    more = film / now.film_w_m2k  # than one expects
    return diffusion.Members(
        half_thickness_m=np.full(count, spell.thickness_m * (1.0 if piece.two_faces else 0.5)),
        basic_density_kg_m3=mass / piece.volume_m3,
        diffusion_m2_s=d20,
        moisture_slope=slope,
        activation_k=np.full(count, table["activation_temperature"].value),
        free_water_ratio=kappa,
        film_w_m2k=here.film_w_m2k * more,
        longwave_w_m2k=np.full(count, here.longwave_w_m2k),
        isotherm_scale=scale * piece.isotherm_share,
        air_row=np.zeros(count, dtype=np.int64) if air_row is None else np.asarray(air_row, dtype=np.int64),
        coat_pa_m2_s_kg=here.coat_pa_m2_s_kg / more,
        back_coat_pa_m2_s_kg=here.marked_coat_pa_m2_s_kg / more,
        wrap_pa_m2_s_kg=here.wrap_pa_m2_s_kg / more,
        renewal_m_s=here.renewal_m_s * more,
        own_air_m=np.full(count, here.own_air_m),
        sun_share=np.full(count, here.sun_share),
        width_m=np.full(count, here.width_m),
        length_m=np.full(count, here.length_m),
        along_ratio=np.full(count, table["along_ratio"].value),
    )


def follow(
    piece: Piece,
    unknowns: Array,
    air: diffusion.AirSteps,
    record_hours: NDArray[np.int64],
    *,
    nodes: int | None = None,
) -> diffusion.Course:
    """Carry boards [members, unknowns] along their way, spell by spell, and return their course.

    ``air``: one row for all or one for each member, from the beginning of the way on, in steps of whole hours that
    begin at every spell and at every one of ``record_hours``: rising hours of the way at whose beginning the profile
    is kept; one at which a board was cut is that of what was left. ``nodes``: through the half thickness; with two
    faces always as many as usual. Profiles go from mid-thickness to the face, or, where the faces fare differently,
    from the marked face to the other. Raises ValueError where no step begins at such an hour.
    """
    rows = np.arange(len(unknowns), dtype=np.int64) if len(air.temperature_c) > 1 else None
    state = start_profiles(unknowns, two_faces=piece.two_faces, nodes=nodes)
    short = np.zeros((len(unknowns), 3))
    found = np.empty((len(unknowns), len(record_hours), state.shape[1]))
    found_short = np.empty((len(unknowns), len(record_hours), 3))
    starts = np.concatenate([[0.0], np.cumsum(air.dt_s) / S_PER_HOUR])
    hours = int(record_hours[-1]) if len(record_hours) else 0
    begun = [spell for spell in piece.spells if spell.first_hour <= hours] or [piece.spells[0]]
    ends = [*(spell.first_hour for spell in begun[1:]), hours]
    for before, spell, end in zip([begun[0], *begun[:-1]], begun, ends, strict=True):
        begin = 0 if spell is begun[0] else spell.first_hour
        sawn = piece.face_m(before), piece.face_m(spell)
        short = cutting.shortfall_left(short, state, *sawn, two_faces=piece.two_faces)
        state = changed(state, piece, unknowns, spell)
        wanted = np.flatnonzero((record_hours >= begin) & (record_hours <= end))
        first, last = _step_at(starts, begin), _step_at(starts, end)
        steps = np.append([_step_at(starts, int(hour)) - first for hour in record_hours[wanted]], last - first)
        part = diffusion.AirSteps(
            air.temperature_c[:, first:last],
            air.rh_pct[:, first:last],
            air.dt_s[first:last],
            None if air.sun_w_m2 is None else air.sun_w_m2[:, first:last],
        )
        who = members(piece, unknowns, rows, spell)
        recorded = steps.astype(np.int64)
        course = diffusion.march_whole(state, who, part, recorded, short=short, two_faces=piece.two_faces)
        # Of an hour that ends one spell and begins the next, the latter counts.
        found[:, wanted], found_short[:, wanted] = course.profiles[:, :-1], course.short[:, :-1]
        state, short = course.profiles[:, -1], course.short[:, -1]
    return diffusion.Course(found, found_short)


def _step_at(starts: Array, hour: int) -> int:
    step = int(np.searchsorted(starts, hour - 1e-6))
    if step == len(starts) or abs(starts[step] - hour) > 1e-6:
        raise ValueError(f"no step of the air begins at hour {hour}")
    return step


def changed(state: Array, piece: Piece, unknowns: Array, spell: Spell) -> Array:
    """Return profiles [members, nodes] as a spell begins: of what was cut, what is left; and the water it was given.

    ``state``: through half the thickness, or, of a piece with two faces, through all of it.
    """
    if spell.slice_left is not None:
        state = cutting.slice_of(state, *spell.slice_left)
    if spell.wetted_kg_m2 is None:
        return state
    density = np.exp(unknowns[:, 0]) / piece.volume_m3
    half_m = spell.thickness_m * (1.0 if piece.two_faces else 0.5)
    return wetting.wetted(state, density, half_m, spell.wetted_kg_m2, two_faces=piece.two_faces)


def true_rh_pct(unknowns: Array, rh_pct: Array, gap_rh_pct: Array | None = None) -> Array:
    """Return the humidity [%RH; members, hours] that each member takes as true, from what was read [1 or members].

    ``gap_rh_pct``: one standard deviation of what was filled in [hours], nought where it was read.
    """
    guessed = 0.0 if gap_rh_pct is None else unknowns[:, GAP, None] * gap_rh_pct
    return np.asarray(np.clip(rh_pct - unknowns[:, RH_BIAS, None] + guessed, 1.0, 100.0))


def start_profiles(unknowns: Array, *, two_faces: bool = False, nodes: int | None = None) -> Array:
    """Return the profiles [members, nodes] at the start [kg/kg]: parabolas, by as much drier at a face as is believed.

    A gradient g makes the face 1 - g times the mean, and the middle 1 + g / 2 times.
    """
    count = diffusion.NODES_WITH_TWO_FACES if two_faces else nodes or diffusion.NODES
    x = diffusion.node_positions_m(1.0, count, two_faces=two_faces)
    from_middle = np.abs(2.0 * x - 1.0) if two_faces else x
    shape = (1.0 - 3.0 * from_middle**2) / 2.0
    shape -= diffusion.mean_of(shape, two_faces=two_faces)  # the nodes' own average must not shift the mean
    gradient = np.clip(unknowns[:, START_GRADIENT, None], -STEEPEST_START, STEEPEST_START)
    return np.asarray(np.exp(unknowns[:, 1:2]) * (1.0 + gradient * shape))


def one_spell(thickness_m: float, place_kind: str, *, in_stack: bool) -> tuple[Spell, ...]:
    """A board that has always lain in one way, of which no more is known than its place."""
    return (Spell(0, thickness_m, lying.Lying(place_kind, lying.STACK if in_stack else lying.FREE)),)
