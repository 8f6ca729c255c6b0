"""What a finish is made of, as section 3 of its data sheet prints it: ranges, by mass or by volume.

A sheet leaves much open. Each hazard is reckoned at the worst composition that its ranges allow, by itself: the true
one is no worse. What is not named, not listed or without a figure never counts as nought: it makes the answer "can't
say", and takes no room from what is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from kiln.errors import OutOfRange
from shared.errors import BadInput
from shared.tables.no_dilution import NoDilution, no_dilution_group
from shared.tables.substances import Substance

LIGHTEST_KG_M3, HEAVIEST_KG_M3 = 600.0, 2500.0  # no liquid sold as a finish or thinner lies outside (common practice)
_ROUNDING = 1e-9  # of sums of percentages
COUNTS_FROM = 0.01  # of a finish: what is left unnamed below a hundredth may be rounding of the sheet
ISOCYANATE_UNREAD = (
    "Nobody has said whether it holds isocyanate, and it may: air-fed breathing protection until sections 2 and 3 of "
    "the data sheet are read."
)
MAY_BE_ISOCYANATE = (
    "What is not listed or not named may be an isocyanate: air-fed breathing protection until the sheet, or its maker, "
    "says that it is none."
)
NOTHING_EVAPORATES = "Nothing is entered that evaporates: read section 3 of the sheet."
_DRY_WORDS = ("solid", "resin", "pigment", "filler", "binder", "polymer")  # of what may well not evaporate
WRITE_SOLIDS = " Write solids for resin and pigment that the sheet says do not evaporate."


class Basis(StrEnum):
    """What the percentages of a sheet are parts of."""

    MASS = "by mass"
    VOLUME = "by volume"


@dataclass(frozen=True)
class Ingredient:
    """One line of the sheet: a name, its least and greatest share (0 to 1), and what the tables know of it."""

    name: str
    low: float
    high: float
    substance: Substance | None  # None: not in the tables

    def __post_init__(self) -> None:
        """Refuse shares that are none."""
        if not 0.0 <= self.low <= self.high <= 1.0:
            raise BadInput(f"share of {self.name}", f"{self.low:.4g} to {self.high:.4g}", "a range from 0 to 1")


@dataclass(frozen=True)
class Mixture:
    """A finish as it is sprayed, thinner included."""

    ingredients: tuple[Ingredient, ...]
    basis: Basis
    density_kg_m3: float | None  # section 9 of the sheet; None: not printed
    isocyanate: bool | None  # None: nobody has looked it up
    formaldehyde: bool | None
    flash_point_c: float | None = None  # section 9 of the sheet
    name: str = ""  # of the product, which may tell what section 3 leaves out

    def __post_init__(self) -> None:
        """Refuse no ingredients, shares that are more than the whole, and a density that no liquid has."""
        if not self.ingredients:
            raise BadInput("ingredients", "", "at least one line from section 3 of the data sheet")
        total = sum(one.low for one in self.ingredients)
        if total > 1.0 + _ROUNDING:
            raise BadInput("ingredients", f"{100 * total:.4g} % at least, all together", "100 % at most")
        density = self.density_kg_m3
        if density is not None and not LIGHTEST_KG_M3 <= density <= HEAVIEST_KG_M3:
            raise OutOfRange("density_kg_m3", density, LIGHTEST_KG_M3, HEAVIEST_KG_M3, "kg/m³")
        if self.flash_point_c is not None and not isfinite(self.flash_point_c):
            raise BadInput("flash_point_c", self.flash_point_c, "a temperature in °C, or empty")

    def refusal(self) -> NoDilution | None:
        """Return why no amount of air is worked out: its own group, an ingredient's, or what the sheet says of it."""
        listed = [text for one in self.ingredients if one.substance for text in (one.substance.name, one.substance.cas)]
        for name in (self.name, *(one.name for one in self.ingredients), *listed):
            if group := no_dilution_group(name):
                return group
        flags = {"isocyanate": self.isocyanate, "formaldehyde": self.formaldehyde}
        return next((_group(name) for name, flag in flags.items() if flag), None)

    def unread(self) -> tuple[str, ...]:
        """Return what nobody has looked up in the sheet yet, a sentence each."""
        formaldehyde = (
            "Nobody has said whether it holds formaldehyde: look it up in sections 2 and 3 of the data sheet."
        )
        flags = ((self.isocyanate, ISOCYANATE_UNREAD), (self.formaldehyde, formaldehyde))
        return tuple(sentence for flag, sentence in flags if flag is None)

    def evaporates(self) -> bool:
        """Return whether anything in it may evaporate: what is not listed may."""
        return any(one.high > 0.0 and (one.substance is None or one.substance.gives_vapour) for one in self.ingredients)

    def unknowns(self) -> tuple[str, ...]:
        """Return what keeps any amount of vapour from being worked out, a sentence each; empty: nothing does."""
        found = [_unlisted(one.name) for one in self.unlisted()]
        found += [lacking for one in self.ingredients if (lacking := self._lacking(one))]
        rest = 1.0 - sum(one.high for one in self.ingredients)
        if self.unlisted() or rest >= COUNTS_FROM:
            found.append(MAY_BE_ISOCYANATE)
        if not self.evaporates():
            found.append(NOTHING_EVAPORATES)
        if rest > _ROUNDING:
            found.append(
                f"{100 * rest:.3g} % of it is not named: it may be anything. Solids and water count once named."
            )
        return (*self.unread(), *found, *self._weightless())

    def lacking_of(self, substance: Substance) -> tuple[str, ...]:
        """Return what keeps the amount of one substance from being worked out, a sentence each."""
        mine = [one for one in self.ingredients if one.substance == substance]
        lacking = [text for one in mine if (text := self._lacking(one))]
        return (*lacking, *self._weightless()) if mine else ()

    def unlisted(self) -> tuple[Ingredient, ...]:
        """Return the ingredients that the tables do not know."""
        return tuple(one for one in self.ingredients if one.substance is None)

    def _weightless(self) -> tuple[str, ...]:
        if self.basis is Basis.VOLUME or self.density_kg_m3 is not None:
            return ()
        return ("The density is not given: what a litre weighs is not known. It stands in section 9 of the sheet.",)

    def _lacking(self, one: Ingredient) -> str:
        """What is missing to tell how much vapour an ingredient gives, in a sentence; empty: nothing."""
        substance = one.substance
        if substance is None or not substance.gives_vapour:
            return ""
        if substance.molar_mass_kg_mol is None:
            return f"{one.name}: no molar mass is listed, so the amount of its vapour is not known."
        if self.basis is Basis.VOLUME and substance.density_kg_m3 is None:
            return f"{one.name}: no density is listed, so what its volume weighs is not known."
        return ""

    def mass_per_share_kg_m3(self, one: Ingredient) -> float | None:
        """Mass of an ingredient in a cubic metre of liquid for a whole share of it [kg/m³]; None: it gives no vapour.

        Where a density is missing it is that of the lightest liquid, so that what is found is never too much; the
        missing figure stands among ``unknowns``.
        """
        substance = one.substance
        if substance is None or not substance.gives_vapour or substance.molar_mass_kg_mol is None:
            return None
        density = self.density_kg_m3 if self.basis is Basis.MASS else substance.density_kg_m3
        return LIGHTEST_KG_M3 if density is None else density

    def worst(self, weights: Sequence[float | None]) -> float:
        """Return the greatest Σ xᵢ wᵢ that the sheet's ranges allow; ``weights``: one an ingredient, at least 0.

        xᵢ lies between low and high, and all together they are at most 1 (a fractional knapsack: exact). A weight of
        None is unknown: it adds nothing, and takes no room from those that are known. Raises BadInput for weights
        that do not fit.
        """
        if len(weights) != len(self.ingredients):
            raise BadInput("weights", len(weights), f"{len(self.ingredients)}, one an ingredient")
        known = [(weight, one) for weight, one in zip(weights, self.ingredients, strict=True) if weight is not None]
        if any(weight < 0.0 or not isfinite(weight) for weight, _ in known):
            raise BadInput("weights", min(weight for weight, _ in known), "numbers of at least 0")
        total = sum(weight * one.low for weight, one in known)
        room = max(0.0, 1.0 - sum(one.low for _, one in known))
        for weight, one in sorted(known, key=lambda pair: pair[0], reverse=True):
            more = min(one.high - one.low, room)
            total += weight * more
            room -= more
        return total


def _unlisted(name: str) -> str:
    dry = any(word in name.casefold() for word in _DRY_WORDS)
    return f"{name} is not in the tables: what it gives off is not known.{WRITE_SOLIDS if dry else ''}"


def _group(name: str) -> NoDilution:
    found = no_dilution_group(name)
    if found is None:  # the table has lost the group: no answer rather than one that leaves it out
        raise BadInput("no_dilution.csv", "", f"a row that catches {name}")
    return found
