"""Everything measured on a board's wood, over its life, as the refit takes it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from dashboards import calibrations, cells, lives
from dashboards.lives import Part
from dashboards.yard_entries import Entries
from kiln import bag, estimation, meters, observations, wood
from shared.store import Connection
from shared.store.records import BagTest, BoardFact, PinReading
from shared.tables import held_species


def data(connection: Connection, entries: Entries, life: list[Part], now_ms: int) -> tuple[estimation.Datum, ...]:
    """Return everything measured on the wood of a board, before and after it was cut, in order of time.

    A weight of before a cut is that of a larger board.
    """
    found = [one for k in range(len(life)) for one in _of_part(connection, entries, life[: k + 1], life[-1], now_ms)]
    return tuple(sorted(found, key=lambda one: one.at_ms))


def _of_part(
    connection: Connection, entries: Entries, so_far: list[Part], last: Part, now_ms: int
) -> Iterator[estimation.Datum]:
    part = so_far[-1]
    volume_m3 = lives.sizes_at(entries, last.board_id, now_ms).volume_m3
    board = entries.boards[part.board_id]

    def sizes(at_ms: int) -> BoardFact:
        return lives.sizes_at(entries, part.board_id, at_ms)

    found = [observations.weigh_in(w.true_at_ms, w.mass_kg, w.scale_error_kg) for w in board.weigh_ins]
    found += cells.data_of(connection, entries.cells, entries.where, entries.as_weighed(), part.board_id, now_ms)
    found += [_pin(entries, sizes(p.true_at_ms), p) for p in board.pins]
    found += [observations.section(o.true_at_ms, o.wet_mass_kg, o.dry_mass_kg) for o in board.oven_dry]
    found += [_bag_test(entries, sizes(b.true_at_ms), b) for b in board.bags]
    for one in found:
        if not part.begin_ms <= one.at_ms or not (part is last or one.at_ms < part.end_ms):
            continue
        if one.weighed:
            share = sizes(one.at_ms).volume_m3 / volume_m3
            yield replace(one, cut_dry_kg=_cut_dry_kg(entries, so_far, one.at_ms), mass_share=share)
        else:
            yield one


def _pin(entries: Entries, fact: BoardFact, read: PinReading) -> estimation.Datum:
    meter = entries.meters.get(read.meter_id) if read.meter_id is not None else None
    scale_c = meter.fact.calibration_temperature_c if meter else None
    lot = meter.lot if meter and meter.fact.species == fact.species else None  # one board was corrected since, say
    of_this_water = meter is not None and meter.fact.origin is fact.origin
    seen = meters.Pin(read.mc_pct, read.wood_temperature_c, scale_c, fact.thickness_m, str(fact.origin))
    return observations.pin(read.true_at_ms, read.depth_m, seen, lot, minerals_known=of_this_water)


def _bag_test(entries: Entries, fact: BoardFact, test: BagTest) -> estimation.Datum:
    rh_pct, error = calibrations.bag_air(entries.checks, test)
    timber = held_species(fact.species)
    faces_m2 = 2.0 * fact.width_m * fact.length_m
    dry_kg = wood.oven_dry_mass_kg(timber.basic_specific_gravity, fact.volume_m3)
    piece = bag.Bag(dry_kg, fact.thickness_m, faces_m2, test.air_volume_m3, test.temperature_c, rh_pct)
    told = bag.mc_from_bag(rh_pct, test.temperature_c, error, str(test.last_moved), timber.fsp_pct)
    wait = bag.wait_hours(piece, timber, max(told.mc_pct, 1.0))
    return observations.bag_test(
        test.true_at_ms, rh_pct, test.temperature_c, error, str(test.last_moved), test.waited_s, wait
    )


def _cut_dry_kg(entries: Entries, so_far: list[Part], at_ms: int) -> float:
    """Oven-dry mass of the sections cut between a board's first weigh-in and a moment: it is lighter by them.

    What was planed or sawn off since was lighter by its part of them. A board that was cut to length since is as long
    as it was measured or reckoned then: they lie behind the end of it.
    """
    boards = [(part, entries.boards[part.board_id]) for part in so_far]
    weighed = [
        w.true_at_ms for part, board in boards for w in board.weigh_ins if part.begin_ms <= w.true_at_ms <= part.end_ms
    ]
    first_ms = min(weighed, default=so_far[0].begin_ms)
    now = lives.sizes_at(entries, so_far[-1].board_id, at_ms)
    return sum(
        section.dry_mass_kg * _share_left(lives.sizes_at(entries, part.board_id, section.true_at_ms), now)
        for part, board in boards
        for section in board.oven_dry
        if first_ms < section.true_at_ms < min(at_ms, part.end_ms)
    )


def _share_left(then: BoardFact, now: BoardFact) -> float:
    if then.length_m != now.length_m:
        return 0.0
    return now.thickness_m * now.width_m / (then.thickness_m * then.width_m)
