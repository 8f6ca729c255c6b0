"""A board as it comes before the judge: what is entered, heard and projected, put together as one case."""

from __future__ import annotations

from dataclasses import dataclass, replace

from dashboards import airs, use_entries
from dashboards.heard import PlaceNow
from dashboards.projection_json import BEING_MADE
from dashboards.yard_entries import BoardEntries, Entries
from kiln import drying, readiness, sawing
from kiln.evidence import Waiting, now_index
from kiln.reclaimed import Triage
from kiln.records import Projection
from kiln.stress import LossLimit
from kiln.water_clock import Clock
from shared.settings import Settings
from shared.store import facts
from shared.store.records import Override, WaterKind
from shared.tables import species
from shared.tables.harms import degrade
from shared.units import MS_PER_MINUTE

ADDED = (WaterKind.GLUED, WaterKind.BENT)  # water of a piece of work, which is given its time to leave


@dataclass(frozen=True)
class About:
    """What a case is made from."""

    entries: Entries
    board: BoardEntries
    stays: list[airs.Stay]  # joined
    place: PlaceNow | None
    made: Projection | str  # text: why there is no projection
    pending: bool  # something was entered that the projection does not rest on
    own_loss: LossLimit | None
    triage: Triage | None  # of wood out of the water; None: nothing was entered
    clock: Clock | None = None  # of such wood that was not stacked yet
    entered_ms: int | None = None  # when what is pending was entered; None: not told
    before: str = ""  # the word and number told last before that; empty: none


def case_of(about: About, settings: Settings, now_ms: int) -> readiness.Case:
    """Return the case of a board at a moment."""
    board, place, plan, made = about.board, about.place, about.board.plan, about.made
    use, rh_pct, temperature_c = about.entries.use_of(plan)
    wood = species().get(board.fact.species)
    believed = place.air if place and place.air and place.air.good else None
    heard = place.air.at_ms if place and place.air else None
    low, high = (plan.wanted_mc_low_pct, plan.wanted_mc_high_pct) if plan else (None, None)
    return readiness.Case(
        now_ms=now_ms,
        botanical_name=board.fact.species,
        thickness_m=board.fact.thickness_m,
        origin=str(board.fact.origin),
        use=replace(use, destination_rh_pct=rh_pct, destination_temperature_c=temperature_c),
        use_chosen=plan is not None,
        booked_ms=plan.booked_ms if plan else None,
        projection=made if isinstance(made, Projection) else None,
        missing=made if isinstance(made, str) else "",
        place=place.fact.name if place else "",
        air_at_ms=believed.at_ms if believed else heard,
        air_believed=believed is not None,
        air_limit_ms=settings.silent_after_minutes * MS_PER_MINUTE,
        air_temperature_c=believed.temperature_c if believed else None,
        unchecked=_unchecked(place, now_ms),
        air_checked_since_ms=checked_since_ms(about.entries, about.stays, now_ms),
        fsp_remembered=wood is not None and drying.fsp_remembered(wood),
        being_made=made == BEING_MADE,
        pending=about.pending,
        entered_ms=about.entered_ms,
        before=about.before,
        own_loss=about.own_loss,
        limits=about.entries.limits,
        begun=plan is not None and plan.begun,
        contradiction=use_entries.cannot_hold(rh_pct, temperature_c, low, high),
        watered_ms=_watered_ms(board, now_ms),
        out_of_water=about.triage,
        waiting=_waiting(about),
        refractory=degrade(board.fact.species).refractory_heartwood,
    )


def _waiting(about: About) -> Waiting | None:
    """The clock of wood that came out of the water and was not stacked yet, with what it may weigh."""
    wood = species().get(about.board.fact.species)
    if about.clock is None or about.clock.stopped or wood is None:
        return None
    if isinstance(about.made, Projection) and float(about.made.mean.p50[now_index(about.made)]) < wood.fsp_pct:
        return None  # dried without a stack: what decays wood is behind it
    return Waiting(about.clock, sawing.mass(about.board.fact.volume_m3, wood).kg)


def checked_since_ms(entries: Entries, stays: list[airs.Stay], now_ms: int) -> int | None:
    """Return since when a board has lain where it is, in the air of checked probes only."""
    if not stays or stays[-1].place_id is None:
        return None
    since_ms = airs.checked_since_ms(entries.where, entries.checks, stays[-1].place_id, now_ms)
    return None if since_ms is None else max(since_ms, stays[-1].start_ms)


def _unchecked(place: PlaceNow | None, now_ms: int) -> tuple[str, ...]:
    """The probes of a place that measure its air and are not known by a check, by name."""
    probes = place.probes if place else []
    return tuple(one.fact.name for one in probes if one.rh is not None and not one.checks.stands(now_ms))


def _watered_ms(board: BoardEntries, now_ms: int) -> int | None:
    """Return when a board was last glued, or wetted for bending."""
    return max((one.true_at_ms for one in board.waters if one.kind in ADDED and one.true_at_ms <= now_ms), default=None)


def override_of(entries: Entries, subject_id: int, now_ms: int) -> Override | None:
    """Return who goes ahead with a board or set whatever the verdict, for whatever use, as it was said last."""
    return facts.at(entries.overrides.get(subject_id, []), now_ms)
