"""Finishes, rooms and sprayings of ours, invented, that the judgement of vapour is asked about."""

import re
from dataclasses import fields, is_dataclass, replace

from hypothesis import strategies as st

from kiln.control import Control
from kiln.mixtures import Basis, Ingredient, Mixture
from kiln.room_air import Room, Spraying
from shared.tables import Region, find_substance

# Of ours, and invented: what such a finish may hold.
SOLVENTS = ("toluene", "n-butyl acetate", "acetone", "ethanol", "isopropanol", "2-butoxyethanol", "Stoddard solvent")
OTHERS = ("water", "solids")
SEVERITY = (Control.NOT_SHOWN, Control.CANT_SAY, Control.OVER)
FORBIDDEN = re.compile(
    r"\b(safe\w*|ok|okay|fine|pass(es)? the test|clear(ed|ance)?|harmless|good to go)\b", re.IGNORECASE
)
TOLUENE_FLASH_C = find_substance("toluene").flash_point_c
ROOM = Room(60.0, 0.5, 5.0, 20.0, 101_325.0)


def listed(name, low, high):
    return Ingredient(name, low, high, find_substance(name))


def finish(*ingredients, basis=Basis.MASS, density=900.0, isocyanate=False, formaldehyde=False):
    return Mixture(ingredients, basis, density, isocyanate, formaldehyde)


THIN = finish(listed("ethanol", 0.02, 0.03), listed("water", 0.6, 0.9), listed("solids", 0.1, 0.4), density=1000.0)
LACQUER = finish(listed("n-butyl acetate", 0.3, 0.6), listed("toluene", 0.1, 0.3), listed("solids", 0.2, 0.4))


def coat(mixture, start_s=0.0, duration_s=600.0, liquid_m3=5e-4, dry_after_s=1800.0, extraction_on=True):
    return Spraying(start_s, duration_s, liquid_m3, mixture, dry_after_s, extraction_on)


rooms = st.builds(
    Room,
    st.floats(5.0, 2000.0),
    st.one_of(st.none(), st.floats(0.0, 10.0)),
    st.floats(3.0, 10.0),
    st.floats(5.0, 35.0),
    st.floats(70_000.0, 105_000.0),
    st.booleans(),
)


@st.composite
def mixtures(draw):
    """Finishes that are known wholly: ranges for solvents, the rest water or solids."""
    names = draw(st.lists(st.sampled_from(SOLVENTS), min_size=1, max_size=3, unique=True))
    pairs = [sorted((draw(st.floats(0.0, 0.3)), draw(st.floats(1e-4, 0.3)))) for _ in names]
    rest = listed(draw(st.sampled_from(OTHERS)), 0.0, 1.0)
    basis = draw(st.sampled_from(Basis))
    return finish(*(listed(name, *pair) for name, pair in zip(names, pairs, strict=True)), rest, basis=basis)


@st.composite
def works(draw, most=3):
    """A room and some coats of one finish in it."""
    mixture = draw(mixtures())
    coats = st.builds(
        coat,
        st.just(mixture),
        st.floats(0.0, 10_000.0),
        st.floats(60.0, 3600.0),
        st.floats(1e-6, 3e-3),
        st.one_of(st.none(), st.floats(300.0, 20_000.0)),
        st.booleans(),
    )
    return draw(rooms), tuple(draw(st.lists(coats, min_size=1, max_size=most)))


regions = st.sampled_from(Region)


def severity(control):
    return SEVERITY.index(control)


def no_lower(worse, before):
    """Nothing that is said of ``worse`` is milder than what was said before, limit by limit."""
    assert severity(worse.control) >= severity(before.control)
    now = {one.name: one for one in worse.against}
    for one in before.against:
        assert severity(now[one.name].control) >= severity(one.control), one.name
        if one.at_most_share is not None:
            assert now[one.name].peak_share >= one.peak_share * (1.0 - 1e-6), one.name
            assert now[one.name].at_most_share >= one.at_most_share * (1.0 - 1e-6), one.name


def texts(value, *, sources=False):
    """Every text of a record, without the titles of sources."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for each in value:
            yield from texts(each)
    elif is_dataclass(value):
        for one in fields(value):
            if sources or "source" not in one.name:
                yield from texts(getattr(value, one.name))


def each_spraying(work, **changed):
    room, sprayings = work
    return room, tuple(replace(one, **{name: change(one) for name, change in changed.items()}) for one in sprayings)


def mixed(work, change):
    room, sprayings = work
    mixture = change(sprayings[0].mixture)
    return room, tuple(replace(one, mixture=mixture) for one in sprayings)
