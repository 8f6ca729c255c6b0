"""What is said of the vapour of a finish, in words. No sentence clears a room; each stands where it is wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil, floor

from kiln.control import Control
from kiln.finish_records import Against
from kiln.mixtures import ISOCYANATE_UNREAD
from kiln.room_air import Room, Spraying
from kiln.sentences import lower
from shared.tables import FIRE, NoDilution
from shared.units import S_PER_MINUTE, kpa_from_pa

PLUME = "The plume of the gun and the wet surface can pass the explosive limit whatever the mean of the room says."
OPERATOR = "This is not what the person at the gun breathes: the air there holds more than the mean of the room."
MIST = "Spray mist burns below the flash point; mist and solids are not counted here, and harm lungs too."
INSTRUMENT = "What the air holds is told by a calibrated instrument rated for such air, not by this reckoning."
ELSEWHERE = (
    "Solvent vapour is heavier than air: floor, pits and drains hold more. What open cans, rags and cleaning the gun "
    "give off is not counted."
)
DRYING_LEAST = (
    "A film counts as wet for no less than {:.0f} min: dry to the touch is not the end of what it gives off, and this "
    "least time is ours, printed nowhere."
)
FILM = "A film goes on giving off some solvent after it is dry to handle."
NO_TIME_REFUSED = "No time is worked out for this finish: no amount of air is an answer to it."
NO_TIME_UNKNOWN = "No time can be said: not all that it gives off is known."
NO_TIME_DRYING = "No time can be said: the data sheet's time to dry to handle is not entered."
NO_TIME_EXTRACTION = (
    "No time can be said: no extraction is known to run, and nothing else is counted on to carry vapour off."
)
NO_AIR_FIRE = (
    "No air is worked out against fire: what a wet film gives off late passes the limit, whatever is drawn out while "
    "it is sprayed."
)
ACTS = (  # where a limit is passed, and where nobody can say whether it is
    "Stop spraying, lay the gun down. Everybody out, and out of the rooms beside and below.",
    "Flames, pilot lights, heaters, sparks and hot things: none there. Touch no switch or plug, and use no telephone "
    "or tablet: neither on nor off.",
    "Leave the extraction as it runs; if it is off or stops, do not switch it on from inside.",
    "Fire, a spill, or somebody dizzy or lying there: call the fire service from outside, and do not go in after them.",
    "Nobody goes back in before it was tested with a calibrated instrument that is rated for such air.",
)
CHLORINATED = (
    "Chlorinated solvent ({}): its vapour displaces oxygen, stops hearts, and is not smelt in time; at hot surfaces, "
    "flames and cigarettes it becomes phosgene. Most filter masks hold it for minutes."
)
SKIN = "Also through the skin: air alone does not tell ({}). Gloves as section 8 of the data sheet says."
SKIN_UNKNOWN = "Whether it goes through the skin is not known here: take it that it does ({})."
REACHED = 0.99  # of a limit: above this it is shown as 100 %, and what is shown as at the limit is over it
_MANY = 10.0


def headline(control: Control, against: Sequence[Against], unknowns: Sequence[str]) -> str:
    """Return the one line that is read first."""
    if control is Control.OVER:
        over = [one for one in against if one.control is Control.OVER]
        explosive = [one for one in over if one.explosive]
        first = explosive[-1] if explosive else max(over, key=lambda one: one.at_most_share or 0.0)
        return f"Over. {first.sentence}{f' {ISOCYANATE_UNREAD}' if ISOCYANATE_UNREAD in unknowns else ''}"
    if control is Control.CANT_SAY:
        why = unknowns[0] if unknowns else next(one.sentence for one in against if one.control is control)
        return f"Can't say. {why}"
    return (
        f"Not shown to be under control. The mean of the room comes to {_most(against)} at most. The plume, the wet "
        "surface and the air at the gun hold more."
    )


def refusal(refused: NoDilution, passed: Sequence[Against]) -> str:
    """Return the one line of a finish that no amount of air is an answer to."""
    beside = f" {passed[0].sentence}" if passed else ""
    return f"No amount of air is worked out. {refused.sentence}{beside}"


def without_figures(one: Against) -> Against:
    """Return a limit that is passed, without by how much."""
    return replace(one, peak_share=None, at_most_share=None, sentence=f"{one.name}: its solvents alone pass it.")


def sentence(name: str, control: Control, shares: tuple[float, float], lacking: Sequence[str]) -> str:
    """Return what is said of one limit; ``shares``: of it, as sprayed and at most."""
    peak, most = shares
    if control is Control.CANT_SAY:
        return f"{name}: can't say. {lacking[0]}"
    if control is Control.NOT_SHOWN:
        return f"{name}: the mean of the room comes to {share_words(most)} at most; the air at the gun holds more."
    if lacking:  # of the known part alone
        known = f"what is known comes to at least {share_words_down(most)}"
        passed = "passed" if reached(peak) else "may be passed, and counts as passed"
        return f"{name} {passed}: {known}. What is not known comes on top."
    if reached(peak):
        return f"{name} passed: {share_words(peak)} as it is sprayed, {share_words(most)} at most."
    return (
        f"{name} may be passed, and counts as passed: {share_words(peak)} if all evaporates as it is sprayed, "
        f"{share_words(most)} if it comes off late."
    )


def reached(share: float) -> bool:
    """Return whether a share of a limit is told as all of it, or as more."""
    return ceil(round(100.0 * share, 6)) >= 100


def share_words(share: float) -> str:
    """Return a share of a limit, rounded up; never nought, which nobody would take for a reckoning."""
    if share >= _MANY:
        return f"{ceil(share):,} times it"
    if share > 1.0:
        return f"{ceil(10.0 * share) / 10.0:.1f} times it"
    return f"{max(1, ceil(round(100.0 * share, 6)))} % of it"


def share_words_down(share: float) -> str:
    """Return a share of a limit that is at least so much, rounded down."""
    if share >= _MANY:
        return f"{floor(share):,} times it"
    if share >= 1.0:
        return f"{floor(round(10.0 * share, 6)) / 10.0:.1f} times it"
    return f"{floor(round(100.0 * share, 6))} % of it"


def formula(room: Room) -> tuple[str, ...]:
    """Return how the figures come about, with those of the room."""
    extraction = "0 (none is known)" if room.extraction_m3_s is None else f"{room.extraction_m3_s:.3g}"
    air = f"{room.temperature_c:.1f} °C and {kpa_from_pa(room.pressure_pa):.1f} kPa"
    return (
        f"V dC/dt = G − (Q/K) C, with V = {room.volume_m3:.4g} m³, Q = {extraction} m³/s, K = {room.mixing_factor:g}; "
        f"vapour is a perfect gas at {air}.",
        "As it is sprayed: all of it evaporates as it leaves the gun. At most: all of it stays until its drying time "
        "has passed, and is carried off only from then on; a film that is sprayed over while wet stays wet with it.",
        "Each limit is held against the worst composition that the data sheet's ranges allow. Shares of explosive "
        "limits add up (Le Chatelier), and so do shares of limits of breathed air.",
        "A limit of breathed air is held twice, and the greater share counts: in mg/m³, which where only ppm are "
        "printed are those at 25 °C and 101.3 kPa; and in ppm, at the room's own temperature and pressure.",
        f"Air for health: Q = K Σ Gᵢ/Lᵢ, K = {room.mixing_factor:g}, at the greatest rate of spraying.",
        f"Air for fire: Q = K Σ Gᵢ/({FIRE['share_alarm'].value:.2f} LELᵢ B), K = {room.mixing_factor:g}, B = 1 below "
        f"{FIRE['warm_from_c'].value:.0f} °C, at the greatest rate of spraying: ours, a more cautious form of the "
        f"published one, which is Q = Sf Σ Gᵢ/(LELᵢ B) with Sf = {FIRE['safety_factor_high'].value:g} "
        f"({FIRE['safety_factor_high'].source}; {FIRE['safety_factor_high'].status}).",
    )


def beside(room: Room, sprayings: Sequence[Spraying]) -> tuple[str, ...]:
    """Return what stands beside every figure; plume and operator come first."""
    return (
        *(PLUME, OPERATOR, MIST, INSTRUMENT, ELSEWHERE),
        *_of_what_it_holds(sprayings),
        *_of_mixing(room),
        *_of_extraction(room, sprayings),
        *_of_drying(sprayings),
    )


def not_before(room: Room) -> str:
    """Return what stands beside the time before which nobody goes in."""
    measured = "" if room.extraction_measured else " The extraction was not measured: it may well take longer."
    return (
        "Before then vapour may still be over a limit, in the mean of the room and with extraction running without a "
        f"break.{measured} {FILM} Not before then, and then only after a test with a calibrated instrument."
    )


def flash(room: Room, sprayings: Sequence[Spraying]) -> str:
    """Return the line on flash points: it may add a caution, and takes none away."""
    known, unknown = _flash_points(sprayings)
    missing = f" No flash point is known of {', '.join(unknown)}: it counts as below the room." if unknown else ""
    if not known:
        return f"{MIST.split(';')[0]}, whatever the flash point is.{missing}"
    lowest_c, whose = min(known)
    where = f"The lowest flash point, {lowest_c:.1f} °C ({whose}), lies"
    room_c = f"the room's {room.temperature_c:.1f} °C"
    if lowest_c <= room.temperature_c:
        return f"{where} below {room_c}: its vapour can be lit over an open can and a wet surface.{missing}"
    return f"{where} above {room_c}. That takes no caution away: mist burns below its flash point.{missing}"


def _flash_points(sprayings: Sequence[Spraying]) -> tuple[list[tuple[float, str]], list[str]]:
    """Flash points with whose they are, and whose are not known."""
    known: dict[tuple[float, str], None] = {}
    unknown: dict[str, None] = {}
    for one in (spraying.mixture for spraying in sprayings):
        if one.flash_point_c is not None:
            known[(one.flash_point_c, "data sheet")] = None
        for each in one.ingredients:
            if each.substance is None or (each.substance.gives_vapour and each.substance.flash_point_c is None):
                unknown[each.name] = None
            elif each.substance.flash_point_c is not None:
                known[(each.substance.flash_point_c, each.name)] = None
    return list(known), list(unknown)


def _of_extraction(room: Room, sprayings: Sequence[Spraying]) -> tuple[str, ...]:
    if room.extraction_m3_s is None:
        return ("No extraction is known: none is counted.",)
    off = ("It was said to be off for some of the spraying, and counts as off until it was said to be on.",)
    counted = "Extraction is counted as running without a break, until the film is dry and after."
    printed = (
        ()
        if room.extraction_measured
        else ("The extraction was not measured: ducts, filters and a shut door leave less than is printed on a fan.",)
    )
    return (counted, *printed, *(() if all(one.extraction_on for one in sprayings) else off))


def _of_drying(sprayings: Sequence[Spraying]) -> tuple[str, ...]:
    if any(one.dry_after_s is None for one in sprayings):
        return ("No drying time is known: at most, all that was sprayed is counted as still here.",)
    least = FIRE["drying_least"]
    short = any((one.dry_after_s or 0.0) <= least.value for one in sprayings)
    return (FILM, *((DRYING_LEAST.format(least.value / S_PER_MINUTE),) if short else ()))


def _of_mixing(room: Room) -> tuple[str, ...]:
    if room.mixing_said is None or room.mixing_said >= room.mixing_factor:
        return ()
    return (
        f"The mixing factor {room.mixing_said:g} that was entered is not counted on: it is reckoned with "
        f"{room.mixing_factor:g}, the worst that is published.",
    )


def _of_what_it_holds(sprayings: Sequence[Spraying]) -> tuple[str, ...]:
    """What harms beside fire and breath, by what is named: chlorinated solvents, and what goes through the skin."""
    ingredients = {each.name: each for one in sprayings for each in one.mixture.ingredients}
    known = {name: one.substance for name, one in ingredients.items() if one.substance and one.substance.gives_vapour}
    chlorinated = [
        name for name, one in ingredients.items() if "chlor" in f"{name} {one.substance and one.substance.name}".lower()
    ]
    found = []
    if chlorinated:
        found.append(CHLORINATED.format(", ".join(chlorinated)))
    for sentence, said in ((SKIN, True), (SKIN_UNKNOWN, None)):
        names = [name for name, substance in known.items() if substance.through_skin is said]
        if names:
            found.append(sentence.format(", ".join(names)))
    return tuple(found)


def _most(against: Sequence[Against]) -> str:
    """The two figures that are read first: of the explosive limit itself, and of the limits of breathed air."""
    explosive = max((one.at_most_share or 0.0) for one in against if one.explosive)
    breathed = max((one for one in against if not one.explosive), key=lambda one: one.at_most_share or 0.0)
    of_lel = share_words(explosive * FIRE["share_alarm"].value).removesuffix(" it")
    share = share_words(breathed.at_most_share or 0.0).removesuffix(" it")
    return f"{of_lel} the lower explosive limit, and {share} the {lower(breathed.name)},"
