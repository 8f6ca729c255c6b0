"""Dust: what to do, what is said of the woods of this yard, limits side by side, when dust burns, particle readings."""

from __future__ import annotations

from dataclasses import dataclass, field
from urllib.parse import quote

from markupsafe import Markup

from dashboards import control_marks, display, particles, safety, tasks, wood_warnings
from dashboards.particles import ParticlesHeard
from dashboards.safety import Caution
from dashboards.situation import BoardNow, Situation
from dashboards.wood_warnings import SaidOfDust, WoodWarning
from kiln.control import Control
from shared import tables
from shared.store.records import QUANTITY_UNITS
from shared.tables.dust import DustLimit, Fraction, Standing
from shared.tables.substances import Average, Region
from shared.units import g_from_kg, mm_from_m

WORD = (
    "Nothing here measures wood dust as a limit asks for it: by a sampler worn at the collar for a whole shift. So "
    "nothing here can tell whether a limit is kept."
)
NO_BOARDS = "No board is entered, so no wood is named here."
NO_SENSOR = "No probe here sends particle readings. One would not tell whether a limit is kept."
FRACTIONS = {
    Fraction.INHALABLE: ("Inhalable", "All that nose and mouth draw in, coarse grains too."),
    Fraction.TOTAL: ("Total", "What an older kind of sampler catches: less than is inhaled."),
    Fraction.RESPIRABLE: ("Respirable", "Only the finest, that reach the deep lung: little of wood dust."),
}
STANDING = {Standing.STANDS: "", Standing.GONE: "Stands no more", Standing.FORETOLD: "Foretold only"}
LETTERS = (
    ("OSHA PEL", "what the law of the United States permits; Cal/OSHA: that of California."),
    ("NIOSH REL", "what the research institute of the same country recommends."),
    ("ACGIH TLV", "what a society of hygienists there recommends."),
    ("EH40 WEL", "the law of Great Britain."),
    ("TRGS 553 AGW", "the technical rule of Germany."),
    ("A1, A2", "of ACGIH: confirmed, or suspected, as causing cancer in people. Group 1 is IARC's word for the first."),
    ("Vacated, remanded", "a court set a rule aside, or sent it back: it is not in force."),
)
WORK, FIRE, SENSOR = "dust-work", "dust-fire", "dust-sensor"
SAME_UG_M3 = 0.05  # readings are shown to a tenth


@dataclass(frozen=True)
class WoodOfYard:
    """One wood that lies in this yard, and what is said of its dust."""

    anchor: str = field(metadata={"help": "Where it stands on the page"})
    warning: WoodWarning = field(metadata={"help": "What is said of its dust"})
    boards: str = field(metadata={"help": "How many boards of it there are"})


@dataclass(frozen=True)
class LimitLine:
    """One limit as printed."""

    figure: str = field(metadata={"help": "The limit with its unit"})
    body: str = field(metadata={"help": "Whose it is"})
    where: str = field(metadata={"help": "In which country or union it counts"})
    dust: str = field(metadata={"help": "For which dust"})
    average: str = field(metadata={"help": "Over which time it is a mean; empty: 8 hours, as said above all"})
    year: str = field(metadata={"help": "Its year or date, as the source has it"})
    legal: str = field(metadata={"help": "Law, recommendation, withdrawn"})
    standing: str = field(metadata={"help": "That it stands no more, or was only foretold; empty: it stands"})
    note: str = field(metadata={"help": "What to bear in mind with it; may be empty"})
    here: bool = field(metadata={"help": "Whether it is of the region that was chosen in the settings"})
    source: str = field(metadata={"help": "The document, and how it is known"})


@dataclass(frozen=True)
class FractionGroup:
    """All limits for one fraction: never put beside figures of another as if they could be compared."""

    key: str = field(metadata={"help": "Which fraction, as an anchor"})
    title: str = field(metadata={"help": "Which fraction"})
    what: str = field(metadata={"help": "What a sampler for it catches"})
    told: str = field(metadata={"help": "From which figure to which they reach, and how many there are"})
    limits: tuple[LimitLine, ...] = field(metadata={"help": "Each that stands or was foretold, as in the table"})
    gone: tuple[LimitLine, ...] = field(metadata={"help": "Those that stand no more, as in the table"})
    gone_told: str = field(metadata={"help": "How many stand no more, and whose; empty for none"})


@dataclass(frozen=True)
class FireFact:
    """One figure about dust that burns."""

    figure: str = field(metadata={"help": "The figure with its unit"})
    told: str = field(metadata={"help": "What it is"})
    source: str = field(metadata={"help": "The document, and how it is known"})


@dataclass(frozen=True)
class ParticleLine:
    """What one particle sensor last said."""

    probe: str = field(metadata={"help": "What the probe is called"})
    link: str = field(metadata={"help": "Path to the probe"})
    place: str = field(metadata={"help": "Where it hangs; empty when nobody said"})
    figure: str = field(metadata={"help": "The reading with its unit"})
    age: str = field(metadata={"help": "How old it is, and that the sensor is silent since where it is"})
    change: str = field(metadata={"help": "Whether it was more, less or the same an hour before, as a fact"})


@dataclass(frozen=True)
class DustPage:
    """Everything that dust.html may use."""

    first_line: str = field(metadata={"help": "Who decides, said first"})
    last_line: str = field(metadata={"help": "What this page does not show, said last"})
    key: str = field(metadata={"help": "Style of the word"})
    mark: Markup = field(metadata={"help": "Mark of the word"})
    word: str = field(metadata={"help": "What can be said of dust here; there is no better word"})
    why: str = field(metadata={"help": "Why no more can be said"})
    before: tuple[Caution, ...] = field(metadata={"help": "What to do before dust is made, by what the yard holds"})
    after: tuple[Caution, ...] = field(metadata={"help": "What to do while it is made, and after"})
    woods: tuple[WoodOfYard, ...] = field(metadata={"help": "Every wood in the yard, sensitisers first"})
    worst_woods: int = field(metadata={"help": "How many of them are never folded: sensitisers and poisonous ones"})
    more_woods: str = field(metadata={"help": "How many are folded, by name; empty: none"})
    no_woods: str = field(metadata={"help": "Said in place of woods when no board is entered; else empty"})
    any_wood: SaidOfDust = field(metadata={"help": "What is said of the dust of any wood, above all woods"})
    of_all: tuple[SaidOfDust, ...] = field(metadata={"help": "What is said of all wood, and of all hardwood"})
    region: str = field(metadata={"help": "Which region's limits are marked, and that none is hidden"})
    fractions: tuple[FractionGroup, ...] = field(metadata={"help": "Limits by fraction"})
    letters: tuple[tuple[str, str], ...] = field(metadata={"help": "What the names of limits stand for"})
    layers: tuple[FireFact, ...] = field(metadata={"help": "Figures about dust that burns"})
    fire: tuple[Caution, ...] = field(metadata={"help": "What to do about dust that burns"})
    particles: tuple[ParticleLine, ...] = field(metadata={"help": "What particle sensors last said"})
    no_sensor: str = field(metadata={"help": "Said where no probe sends particle readings; else empty"})
    of_sensors: tuple[Caution, ...] = field(metadata={"help": "What such readings cannot tell"})


def dust_page(situation: Situation, region: Region) -> DustPage:
    """Fill the page of dust; ``region``: whose limits are marked."""
    woods, heard = _woods(situation), particles.read(situation)
    others = [one for one in woods if not wood_warnings.grave(one.warning.botanical_name)]
    return DustPage(
        first_line=safety.FIRST_LINE,
        last_line=safety.LAST_LINE,
        key=control_marks.KEYS[Control.NOT_SHOWN],
        mark=control_marks.drawn(Control.NOT_SHOWN),
        word=control_marks.WORDS[Control.NOT_SHOWN],
        why=WORD,
        before=tasks.before_sanding(tasks.of_boards(situation)),
        after=safety.on_topic(WORK),
        woods=woods,
        worst_woods=len(woods) - len(others),
        more_woods=_more_woods(others),
        no_woods="" if woods else NO_BOARDS,
        any_wood=wood_warnings.any_wood(),
        of_all=wood_warnings.of_wood("").of_all,
        region=_region_words(region),
        fractions=tuple(_group(fraction, region) for fraction in FRACTIONS),
        letters=LETTERS,
        layers=_layers(),
        fire=safety.on_topic(FIRE),
        particles=tuple(_particle_line(situation, one) for one in heard),
        no_sensor="" if heard else NO_SENSOR,
        of_sensors=safety.on_topic(SENSOR),
    )


def limit_line(limit: DustLimit, region: Region) -> LimitLine:
    """Return a limit in words; ``region``: whose limits are marked."""
    return LimitLine(
        figure=f"{limit.value_mg_m3:g} mg/m³",
        body=limit.body,
        where=limit.region.label,
        dust=limit.scope,
        average="" if limit.average is Average.TWA else limit.average.value,
        year=limit.year,
        legal=limit.legal,
        standing=STANDING[limit.standing],
        note=limit.note,
        here=limit.region is region,
        source=wood_warnings.shown_source(limit),
    )


def _woods(situation: Situation) -> tuple[WoodOfYard, ...]:
    """Every wood once, sensitisers first, then others that are listed, then the unlisted; each by name."""
    by_name: dict[str, list[BoardNow]] = {}
    for board in situation.boards:
        by_name.setdefault(board.fact.species, []).append(board)
    found = [_wood(name, boards) for name, boards in by_name.items()]
    return tuple(sorted(found, key=_pressing))


def _more_woods(others: list[WoodOfYard]) -> str:
    return f"{display.listed([one.warning.name for one in others])}: what is said of them" if others else ""


def _pressing(one: WoodOfYard) -> tuple[bool, bool, bool, str]:
    named = one.warning.botanical_name
    return (
        not wood_warnings.grave(named),
        not wood_warnings.sensitising(named),
        not one.warning.listed,
        one.warning.name,
    )


def _wood(name: str, boards: list[BoardNow]) -> WoodOfYard:
    count = f"{len(boards)} board{'s' if len(boards) > 1 else ''}"
    return WoodOfYard(wood_warnings.anchor_of(name), wood_warnings.of_wood(name), count)


def _region_words(region: Region) -> str:
    if region is Region.LOWEST:
        return "Every limit stands here and none is a default. No region is chosen in the settings, so none is marked."
    return f"Every limit stands here and none is a default. Marked: {region.label}, as chosen in the settings."


def _group(fraction: Fraction, region: Region) -> FractionGroup:
    title, what = FRACTIONS[fraction]
    of_it = [one for one in tables.dust_limits() if one.fraction is fraction]
    gone = [one for one in of_it if one.standing is Standing.GONE]
    values = [one.value_mg_m3 for one in of_it if one not in gone]
    whose = display.listed(list(dict.fromkeys(one.body for one in gone)))
    return FractionGroup(
        key=fraction.value,
        title=title,
        what=what,
        told=_reach(values),
        limits=tuple(limit_line(one, region) for one in of_it if one not in gone),
        gone=tuple(limit_line(one, region) for one in gone),
        gone_told=f"{len(gone)} that stand{'s' if len(gone) == 1 else ''} no more: {whose}" if gone else "",
    )


def _reach(values: list[float]) -> str:
    count = f"{len(values)} limit{'s' if len(values) != 1 else ''}"
    low, high = min(values), max(values)
    return f"{low:g} mg/m³, {count}" if low == high else f"{low:g} to {high:g} mg/m³, {count}"


def _layers() -> tuple[FireFact, ...]:
    held = tables.constants("combustible_dust")
    share = f"{100 * held['area_share'].value:g} % of the floor's area"
    thin, thick, low, high = (
        held[name] for name in ("layer_any_dust", "layer_wood", "lowest_cloud_low", "lowest_cloud_high")
    )
    return (
        FireFact(
            display.with_unit(mm_from_m(thin.value), "mm"),
            f"A layer as thick as a paper clip, over {share}: from here on the room itself can burn explosively.",
            wood_warnings.shown_source(thin),
        ),
        FireFact(
            display.with_unit(mm_from_m(thick.value), "mm"),
            f"The same for light wood dust by an older rule. Ledges, beams and lamps count as floor: {share}.",
            wood_warnings.shown_source(thick),
        ),
        FireFact(
            f"{g_from_kg(low.value):g}–{g_from_kg(high.value):g} g/m³",
            "The thinnest cloud that burns explosively: so thick that nobody sees through it. It stands in hoses, "
            "ducts and collectors, and where dust falls from a ledge.",
            wood_warnings.shown_source(low),
        ),
    )


def _particle_line(situation: Situation, one: ParticlesHeard) -> ParticleLine:
    age = display.age(one.newest.at_ms, situation.now_ms)
    return ParticleLine(
        probe=one.probe.fact.name,
        link=f"/probes#{quote(one.probe.subject.code)}",
        place=situation.place_name(one.probe.place_id),
        figure=f"{one.newest.value:.1f} {QUANTITY_UNITS[one.quantity]}",
        age=f"silent: said {age}, nothing since" if one.silent else age,
        change=_change(one),
    )


def _change(one: ParticlesHeard) -> str:
    """A rise or fall is a fact of this sensor; it is no judgement of the air."""
    if one.before is None:
        return "Nothing of the hour before to set beside it."
    apart = one.newest.value - one.before.value
    word = "the same as" if abs(apart) < SAME_UG_M3 else "more than" if apart > 0 else "less than"
    return f"That was {word} about an hour before ({one.before.value:.1f})."
