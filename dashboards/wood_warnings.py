"""What is said of a wood's dust, in words: on its board, its set, the page of dust and in the terminal.

A wood of which nothing is listed is not harmless, and nothing here ever says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from dashboards import display
from dashboards.bases import Basis
from kiln.sentences import capital, lower
from shared import tables
from shared.tables.dust import DustLimit, HarmKind, WoodHarm

NOT_LISTED = "Nothing is listed here of its dust: not listed is not harmless."
KIND_WORDS = {
    HarmKind.SENSITISER: "sensitiser",
    HarmKind.POISON: "poisonous",
    HarmKind.IRRITANT: "irritant",
    HarmKind.CANCER: "among woods classed as causing cancer",
    HarmKind.NAMED: "implicated in effects on health",
}
PARTS = ("skin", "eyes", "nose", "airways")  # the order in which parts of the body are named
TOLD_BY_PART = (HarmKind.SENSITISER, HarmKind.IRRITANT)
ANY_WOOD = "wood"  # the table's word for every wood
ASTHMA = "asthma"  # whoever has it looks for this word
PUBLISHED, REMEMBERED = "published", "From memory: "


@dataclass(frozen=True)
class SaidOfDust:
    """One thing that a source says of a wood's dust."""

    told: str = field(metadata={"help": "What it says"})
    source: str = field(metadata={"help": "The document with its year, and how it is known"})


@dataclass(frozen=True)
class WoodWarning:
    """What is said of one wood's dust."""

    name: str = field(metadata={"help": "What the wood is called"})
    botanical_name: str = field(metadata={"help": "Its botanical name"})
    listed: bool = field(metadata={"help": "Whether anything is said of this wood or its genus"})
    short: str = field(metadata={"help": "What is said of it, in a line; of an unlisted wood that this says nothing"})
    said: tuple[SaidOfDust, ...] = field(metadata={"help": "What each source says of it"})
    kin: tuple[SaidOfDust, ...] = field(metadata={"help": "What is said of other woods of its genus"})
    of_all: tuple[SaidOfDust, ...] = field(metadata={"help": "What is said of all wood, and of hardwood if it is one"})


def of_wood(botanical_name: str) -> WoodWarning:
    """Return what is said of a wood's dust; of one whose kind is not known, also what is said of hardwood."""
    known = tables.species().get(botanical_name)
    harms = tables.dust_harms(botanical_name, known.group if known else "")
    return WoodWarning(
        name=known.common_name if known else _called(botanical_name),
        botanical_name=botanical_name,
        listed=bool(harms.listed),
        short=_short(harms),
        said=tuple(_said(one, botanical_name) for one in harms.listed),
        kin=_said_of_kin(harms.kin),
        of_all=tuple(SaidOfDust(one.told, shown_source(one)) for one in harms.of_all),
    )


def any_wood() -> SaidOfDust:
    """Return what is said of the dust of any wood, so that one of which no more is said does not look free of it."""
    harms = tables.dust_harms("", "").of_all
    one = next(one for one in harms if one.kind is HarmKind.CANCER and one.wood == ANY_WOOD)
    return SaidOfDust(f"{capital(one.told)}.", shown_source(one))


def _called(botanical_name: str) -> str:
    """Return a name in the trade of a wood without values; its botanical name where none is known."""
    names = [one.name for one in tables.other_names() if one.botanical_name == botanical_name]
    return capital(names[0]) if names else botanical_name


def line_of(botanical_name: str) -> str:
    """Return the caution that stands on a board: what is said of its wood, by name."""
    one = of_wood(botanical_name)
    between = ", " if one.short.startswith(REMEMBERED) else ": "
    return f"{one.name}{between}{lower(one.short)}"


def anchor_of(botanical_name: str) -> str:
    """Return where a wood stands on the page of dust."""
    return "-".join("".join(one if one.isalnum() else " " for one in botanical_name).lower().split())


def path_of(botanical_name: str) -> str:
    """Return the path to what is said of a wood of the yard."""
    return f"/dust#{anchor_of(botanical_name)}"


def sensitising(botanical_name: str) -> bool:
    """Whether some source lists a wood, or its genus, as one whose dust can make people react to it for good."""
    return any(one.kind is HarmKind.SENSITISER for one in tables.dust_harms(botanical_name, "").listed)


def grave(botanical_name: str) -> bool:
    """Whether some source lists a wood, its genus or its kin as a sensitiser or a poison."""
    harms = tables.dust_harms(botanical_name, "")
    return any(one.kind in (HarmKind.SENSITISER, HarmKind.POISON) for one in (*harms.listed, *harms.kin))


def shown_source(one: WoodHarm | DustLimit | tables.Sourced) -> str:
    """Return a source with how it is known, where that is not by reading it."""
    return Basis(one.source, one.status).shown


def _said(one: WoodHarm, botanical_name: str) -> SaidOfDust:
    """Say of which wood a source speaks, where it means the whole genus."""
    whose = "" if " " in one.wood or one.wood.casefold() == botanical_name.casefold() else f"All {one.wood}: "
    return SaidOfDust(f"{whose}{one.told}", shown_source(one))


def _said_of_kin(kin: Iterable[WoodHarm]) -> tuple[SaidOfDust, ...]:
    """Say once what the same source says of several woods of a genus."""
    woods: dict[tuple[str, str], list[str]] = {}
    for one in kin:
        woods.setdefault((one.told, shown_source(one)), []).append(one.wood)
    return tuple(SaidOfDust(f"{display.listed(names)}: {told}", source) for (told, source), names in woods.items())


def _short(harms: tables.DustHarms) -> str:
    """Name each kind of harm once, with the parts of the body; apart, what is only remembered."""
    if not harms.listed:
        return _of_kin(sorted({one.wood for one in harms.kin}))
    by_kind = {kind: [one for one in harms.listed if one.kind is kind] for kind in KIND_WORDS}
    if any(found for kind, found in by_kind.items() if kind is not HarmKind.NAMED):
        by_kind[HarmKind.NAMED] = []  # the others say more
    read, remembered = [], []
    for kind, found in by_kind.items():
        if found:
            only_remembered = all(one.status != PUBLISHED for one in found)
            (remembered if only_remembered else read).append(_kind_words(kind, found))
    told = "; ".join(read)
    beside = f"{REMEMBERED}{'; '.join(remembered)}" if remembered else ""
    parts = [f"{capital(part)}." for part in (told, beside) if part]
    return " ".join((*parts, *_graver_kin(harms)))


def _graver_kin(harms: tables.DustHarms) -> Iterable[str]:
    """Name the sensitisers and poisons of the genus that a listing of the whole genus would hide."""
    own = {one.kind for one in harms.listed}
    for kind in (HarmKind.SENSITISER, HarmKind.POISON):
        names = sorted({one.wood for one in harms.kin if one.kind is kind})
        if names and kind not in own:
            yield f"Of its genus, {display.listed(names)}: {KIND_WORDS[kind]}."


def _of_kin(names: list[str]) -> str:
    if not names:
        return NOT_LISTED
    return f"{NOT_LISTED} Of its genus, {display.listed(names)} {'is' if len(names) == 1 else 'are'} listed."


def _kind_words(kind: HarmKind, found: Iterable[WoodHarm]) -> str:
    if kind not in TOLD_BY_PART:
        return KIND_WORDS[kind]
    found = tuple(found)
    words = " ".join(one.part for one in found)
    parts = [part for part in PARTS if part in words]
    told = f"{KIND_WORDS[kind]} of {display.listed(parts)}" if parts else KIND_WORDS[kind]
    return f"{told}, asthma named" if any(ASTHMA in one.told for one in found) else told
