"""What section 3 of a data sheet says is in a finish: typed one ingredient a line, read as shares with their bounds.

A sheet prints ranges: ``acetone 30-60 %``, ``xylene <10``, ``67-64-1 >=25 - <50``. What is named and not listed stays
an ingredient without a substance: unknown, never nothing.
"""

from __future__ import annotations

import re

from kiln.mixtures import Ingredient
from shared import tables
from shared.errors import BadInput

FIELD = "ingredients"
NAME_LENGTH = 120
MOST_LINES = 40
WHOLE_PCT = 100.0
NUMBER = r"\d+(?:[.,]\d+)?"
SPAN = re.compile(rf"(?:>=?)?\s*(?P<low>{NUMBER})\s*%?\s*(?:-|to)\s*(?:<=?)?\s*(?P<high>{NUMBER})\s*%?")
ONE = re.compile(rf"(?P<sign>[<>]=?)?\s*(?P<value>{NUMBER})\s*%?")
LINE = re.compile(rf"(?P<name>.*?[^\s,;:])(?:[\s,;:]+|(?=[<>]))(?P<share>{SPAN.pattern}|{ONE.pattern})")
SAID_SOLID = re.compile(r"\(\s*solids?\s*\)\s*$", re.IGNORECASE)  # nitrocellulose (solids): gives off no vapour
SIGNS = {"≤": "<=", "≥": ">=", "–": "-", "—": "-", "−": "-", "‑": "-", "\u00a0": " ", "\t": " "}
ACCEPTED = "a name or CAS number and its share in %, such as acetone 30-60, xylene <10 or solids 25"


def lines_of(text: str) -> tuple[str, ...]:
    """Return the lines of a text that are not empty, their spaces tidied."""
    tidied = (" ".join(line.split()) for line in str(text or "").splitlines())
    found = tuple(line for line in tidied if line)
    if len(found) > MOST_LINES:
        raise BadInput(FIELD, f"{len(found)} lines", f"up to {MOST_LINES} lines, an ingredient each")
    return found


def parse_ingredients(text: str) -> tuple[Ingredient, ...]:
    """Return the ingredients of a text, one a line; raises BadInput naming the line."""
    found = tuple(_ingredient(number, line) for number, line in enumerate(lines_of(text), start=1))
    _refuse_twice(found)
    least = sum(one.low for one in found)
    if least > 1.0 + 1e-9:
        raise BadInput(FIELD, f"{WHOLE_PCT * least:.4g} % at the least, taken together", "100 % or less")
    return found


def _ingredient(number: int, line: str) -> Ingredient:
    where = f"{FIELD} line {number}"
    plain = line
    for sign, written in SIGNS.items():
        plain = plain.replace(sign, written)
    parts = LINE.fullmatch(plain)
    if parts is None or len(line) > NAME_LENGTH or not line.isprintable():
        raise BadInput(where, line[:NAME_LENGTH], ACCEPTED)
    name = parts["name"]
    low_pct, high_pct = _share(where, line, parts["share"])
    return Ingredient(name, low_pct / WHOLE_PCT, high_pct / WHOLE_PCT, _substance(where, name))


def _share(where: str, line: str, typed: str) -> tuple[float, float]:
    """Return the least and the most of it [%]; of a share that is only bounded below the most is all of it."""
    span, one = SPAN.fullmatch(typed), ONE.fullmatch(typed)
    if span is not None:
        low, high = _number(span["low"]), _number(span["high"])
    else:
        assert one is not None  # LINE has matched one of the two
        value, sign = _number(one["value"]), one["sign"] or ""
        low, high = (0.0 if "<" in sign else value), (WHOLE_PCT if ">" in sign else value)
    if not 0.0 <= low <= high <= WHOLE_PCT or high == 0.0:
        raise BadInput(where, line, "a share above 0 and up to 100 %, the lower bound first")
    return low, high


def _number(typed: str) -> float:
    return float(typed.replace(",", "."))


def _substance(where: str, name: str) -> tables.Substance | None:
    """Return what the tables know by this name; refused where a name and a CAS number beside it do not agree."""
    found = tables.find_substance(name)
    several = tables.ambiguous(name)
    if several:
        raise BadInput(
            where, name, "one substance: write the CAS number of " + " or ".join(one.name for one in several)
        )
    numbers = tables.cas_numbers(name)
    if found is None and _said_solid(name):
        return tables.find_substance("solids")
    bare = re.sub(r"\(?\s*(?:CAS\W*)?(?<!\d)\d{2,7}-\d{2}-\d(?!\d)\s*\)?", " ", name, flags=re.IGNORECASE).strip(" ,;:")
    if not numbers or not bare:
        return found
    named = tables.find_substance(bare)
    if named is not None and named != found:
        raise BadInput(where, name, f"one substance: {', '.join(numbers)} is not the number of {named.name}")
    return found


def _said_solid(name: str) -> bool:
    """Whether a name ends in "(solids)" and is none of a substance that evaporates."""
    solid = SAID_SOLID.search(name)
    return solid is not None and tables.find_substance(name[: solid.start()].strip(" ,;:")) is None


def _refuse_twice(found: tuple[Ingredient, ...]) -> None:
    seen: dict[str, int] = {}
    for number, one in enumerate(found, start=1):
        # Many solids may be named apart, each by its own name; of what evaporates each has one line.
        key = one.substance.name if one.substance is not None and one.substance.gives_vapour else one.name.casefold()
        if key in seen:
            raise BadInput(
                f"{FIELD} line {number}", one.name, f"each ingredient once; it stands in line {seen[key]} too"
            )
        seen[key] = number
