"""What timbers are called: trade and common names, many to many, and the one timber that a name means.

A common name alone can mean several timbers whose numbers differ ("sycamore" is a plane in North America
and a maple in the British Isles), so it is asked back, never guessed.
"""

from __future__ import annotations

import difflib
import unicodedata
from dataclasses import dataclass
from functools import cache

from shared.errors import BadInput
from shared.tables.loading import rows
from shared.tables.timbers import Species, species

TO_THE_LIST = "a common or botanical name of the species table; Work out, Timber lists them all"
MOST_SHOWN = 8  # candidates named in one sentence


@dataclass(frozen=True)
class Name:
    """A name that a timber goes by, where or in which trade, and how that is known."""

    name: str
    botanical_name: str
    region_or_use: str
    source: str
    status: str


@dataclass(frozen=True)
class Match:
    """A timber that a search found: its names, and what the tables hold of it; None where that is nothing."""

    botanical_name: str
    names: tuple[Name, ...]
    species: Species | None

    @property
    def label(self) -> str:
        """Common and botanical name together; the botanical one alone of a timber without values."""
        return self.species.label if self.species else f"{self.botanical_name} (no values held)"


@cache
def other_names() -> tuple[Name, ...]:
    """Return the names beyond the species table's own, of timbers with and without values."""
    return tuple(Name(**row) for row in rows("species_names"))


def find_species(text: str) -> Species:
    """Return the one timber that ``text`` names: its botanical name, full label, or a common name of no other.

    The table's own common name is taken where no other timber with values goes by it.

    Accents, capitals, hyphens and spaces are ignored. Raises BadInput naming every candidate with its region
    when a common name belongs to several timbers, when it belongs only to timbers without values, and, with
    names spelt alike, when it is not known.
    """
    wanted = plain_name(text)
    known = species()
    for one in known.values():
        if wanted in (plain_name(one.botanical_name), plain_name(one.label)):
            return one
    called = [match for match in _every_match() if wanted in _names_of(match)]
    held = [match.species for match in called if match.species]
    if len(called) == 1 and held:
        return held[0]
    if len(held) == 1 and plain_name(held[0].common_name) == wanted:  # the table's own name, offered back as such
        return held[0]
    if held:
        raise BadInput("species", text, _choice(wanted, called))
    if called:
        raise BadInput("species", text, _nothing_held(called))
    raise BadInput("species", text, _like(wanted))


@dataclass(frozen=True)
class Likely:
    """A timber with values that somebody may have meant, and where it goes by the name that they used."""

    species: Species
    where: str


def likely_species(text: str) -> list[Likely]:
    """Return the timbers with values that a text may mean, where it does not name one.

    Those that are so called come first, then those whose names hold the words, or else are spelt alike.
    """
    wanted = plain_name(text)
    near = _near(wanted)
    called = [match for match in near if wanted in _names_of(match)]
    others = [match for match in near if match not in called]
    return [Likely(one.species, _regions(wanted, one)) for one in (*called, *others) if one.species]


def search_species(text: str) -> list[Match]:
    """Return every timber with ``text`` in its botanical name or in any name it goes by; all for an empty text.

    Accents, capitals, hyphens and spaces are ignored. Timbers with values come first, in the order of the table.
    """
    wanted = plain_name(text)
    return [match for match in _every_match() if any(wanted in name for name in _names_of(match))]


def _every_match() -> list[Match]:
    """Return every timber with all its names, those with values first."""
    names: dict[str, list[Name]] = {botanical: [] for botanical in species()}
    for one in other_names():
        names.setdefault(one.botanical_name, []).append(one)
    return [Match(botanical, tuple(own), species().get(botanical)) for botanical, own in names.items()]


def _names_of(match: Match) -> set[str]:
    held = (match.species.common_name, match.species.label) if match.species else ()
    return {plain_name(name) for name in (match.botanical_name, *held, *(one.name for one in match.names))}


def plain_name(text: str) -> str:
    """Return the text without accents, capitals, hyphens, multiplication signs or double spaces."""
    apart = unicodedata.normalize("NFKD", text.replace("×", " ").replace("-", " ").replace("’", "'"))
    letters = "".join(letter for letter in apart if not unicodedata.combining(letter)).casefold()
    return " ".join(word for word in letters.split() if word != "x")


def _choice(wanted: str, called: list[Match]) -> str:
    """Say which timbers a name can mean; only the user knows which, and the numbers differ."""
    meanings = "; ".join(_meaning(wanted, match) for match in called)
    return f"one timber by its botanical name, for the choice changes the numbers: this name can mean {meanings}"


def _meaning(wanted: str, match: Match) -> str:
    regions = _regions(wanted, match)
    common = match.species.common_name if match.species else ""
    if not regions and common:
        regions = f"the table's {common}"
    return f"{match.botanical_name} ({regions}{'' if match.species else '; no values held'})"


def _regions(wanted: str, match: Match) -> str:
    return ", ".join(one.region_or_use for one in match.names if plain_name(one.name) == wanted)


def _nothing_held(called: list[Match]) -> str:
    meant = " or ".join(match.botanical_name for match in called[:MOST_SHOWN])
    return (
        f"a timber whose values the tables hold; this name means {meant}, of which they hold none "
        "(you can add it, with its source, in a file of your own)"
    )


def _like(wanted: str) -> str:
    """Name the timbers whose names hold the words, or are spelt alike; else point to the list."""
    near = _near(wanted)
    if not near:
        return TO_THE_LIST
    more = f" and {len(near) - MOST_SHOWN} more" if len(near) > MOST_SHOWN else ""
    return f"one timber; this could be {'; '.join(match.label for match in near[:MOST_SHOWN])}{more}"


def _near(wanted: str) -> list[Match]:
    matches = _every_match() if wanted else []
    near = [match for match in matches if any(_holds(name, wanted) for name in _names_of(match))]
    return near or _spelt_like(wanted, matches)


def _holds(name: str, wanted: str) -> bool:
    """Tell whether each word wanted begins a word of the name."""
    return all(f" {word}" in f" {name.replace('(', ' ')}" for word in wanted.split())


def _spelt_like(wanted: str, matches: list[Match]) -> list[Match]:
    every = sorted({name for match in matches for name in _names_of(match)})
    close = difflib.get_close_matches(wanted, every, n=3, cutoff=0.8)
    return [match for match in matches if not _names_of(match).isdisjoint(close)]
