"""Oxlip Weir's story, entered as its invented people would have entered it, as far as it has happened."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from dashboards import entries
from dashboards.terminal import demo_cell, demo_finish
from dashboards.terminal.demo_boards import PEOPLE, Board, Lie, Story, moment_ms, story
from dashboards.terminal.demo_truth import SCALE_SHARE, bag_rh_pct, seed_of, truth, weighed_kg
from kiln import diffusion
from sensors import demo_air
from shared.store import Connection, Store, facts
from shared.store.records import HygrometerCheck, SubjectKind, WeighIn
from shared.units import MS_PER_DAY, g_from_kg

ENTERED_AFTER_MS = 4 * 60_000
METER_HIGH_PCT = 1.6  # how much too wet the story's pin meter reads on its maple
BAG_C = 20.0


def enter(store: Store, first_run_ms: int, now_ms: int) -> int:
    """Enter whatever of the story has happened by now and is not in the store yet; return how many entries."""
    told = story(first_run_ms)
    with store.writing() as connection:
        made = sum(1 for _ in _places(connection, first_run_ms))
        made += sum(1 for _ in _stacks(connection, told, first_run_ms))
        made += sum(1 for _ in _checks(connection, told, first_run_ms))
        made += sum(1 for _ in _meters(connection, told, first_run_ms))
        made += sum(1 for _ in _boards(connection, told, first_run_ms))
        made += sum(1 for _ in _sets(connection, told, first_run_ms))
        made += sum(1 for _ in _weigh_ins(connection, told, first_run_ms, now_ms))
        made += sum(1 for _ in demo_finish.enter(connection, first_run_ms, now_ms))
    return made


def _codes(connection: Connection, kind: SubjectKind) -> set[str]:
    return {one.code for one in facts.subjects(connection, kind)}


def _said(at_ms: float, person: int = 0) -> dict[str, Any]:
    moment = int(at_ms) // 60_000 * 60_000
    return {"by": PEOPLE[person], "now_ms": moment + ENTERED_AFTER_MS, "true_at_ms": moment}


def _places(connection: Connection, first_run_ms: int) -> Iterator[str]:
    beginning = first_run_ms - 500 * MS_PER_DAY
    held = _codes(connection, SubjectKind.PLACE)
    for place in demo_air.PLACES:
        if place.code not in held:
            entries.add_place(
                connection,
                place.code,
                name=place.name,
                kind=str(place.kind),
                altitude_m=demo_air.ALTITUDE_M,
                acknowledged=True,  # of the finish room: nothing unrated is in its spray area
                **_said(beginning),
            )
            yield place.code
    held = _codes(connection, SubjectKind.PROBE)
    for probe in demo_air.PROBES:
        if probe.code not in held:
            # The finish room's own hangs at the door, outside the spray area.
            placed = {"place": probe.place, "acknowledged": True}
            entries.add_probe(connection, probe.code, topic=probe.topic, **placed, **_said(beginning))
            yield probe.code
    if demo_cell.CODE not in held:
        entries.add_probe(connection, demo_cell.CODE, topic=demo_cell.TOPIC, **_said(beginning))
        yield demo_cell.CODE


def _stacks(connection: Connection, told: Story, first_run_ms: int) -> Iterator[str]:
    held = _codes(connection, SubjectKind.STACK)
    for code, (name, place) in told.stacks.items():
        if code not in held:
            entries.add_stack(connection, code, name=name, place=place, **_said(first_run_ms - 400 * MS_PER_DAY))
            yield code


def _checks(connection: Connection, told: Story, first_run_ms: int) -> Iterator[str]:
    probes = {one.code: one.id for one in facts.subjects(connection, SubjectKind.PROBE)}
    held = {fact.subject_id for fact in facts.standing(connection, HygrometerCheck)}
    for one in told.checks:
        if probes[one.probe] in held:
            continue
        entries.check_hygrometer(
            connection,
            one.probe,
            temperature_c=one.temperature_c,
            low_salt="MgCl2",
            low_read_rh_pct=one.magnesium_chloride_pct,
            high_salt="NaCl",
            high_read_rh_pct=one.table_salt_pct,
            **_said(moment_ms(first_run_ms, one.days_ago), person=1),
        )
        yield one.probe


def _meters(connection: Connection, told: Story, first_run_ms: int) -> Iterator[str]:
    held = _codes(connection, SubjectKind.METER)
    for one in told.meters:
        if one.code in held:
            continue
        said = _said(moment_ms(first_run_ms, one.days_ago), person=1)
        entries.add_meter(connection, one.code, species=one.species, name=one.name, **said)
        rng = np.random.default_rng(seed_of(one.code, "offcuts"))
        for true_pct in one.offcuts_mc_pct:
            dry_g = round(float(rng.uniform(35.0, 60.0)), 1)
            entries.add_meter_pair(
                connection,
                one.code,
                reading_pct=round(true_pct + METER_HIGH_PCT + rng.normal(0.0, 0.4), 1),
                wet_g=round(dry_g * (1.0 + true_pct / 100.0), 2),
                dry_g=dry_g,
                temperature_c=20,
                **said,
            )
        yield one.code


def _boards(connection: Connection, told: Story, first_run_ms: int) -> Iterator[str]:
    held = _codes(connection, SubjectKind.BOARD)
    for board in told.boards:
        if board.code in held:
            continue
        born = _said(moment_ms(first_run_ms, board.born_days_ago))
        thickness, width, length = board.sizes_mm
        entries.add_board(
            connection,
            board.code,
            name=board.name,
            species=board.species,
            thickness_mm=thickness,
            width_mm=width,
            length_mm=length,
            cut=board.cut,
            origin=board.origin,
            note=board.note,
            **_lies(board.way[0]),
            **born,
        )
        for lie in board.way[1:]:
            entries.move_board(connection, board.code, **_lies(lie), **_said(moment_ms(first_run_ms, lie.days_ago)))
        if board.use:
            entries.plan_use(connection, board.code, use=board.use, **born)
        _seen(connection, board, first_run_ms)
        _measured_otherwise(connection, board, first_run_ms)
        yield board.code


def _seen(connection: Connection, board: Board, first_run_ms: int) -> None:
    """What was seen of a board when its log was lifted, and when somebody last looked for mould."""
    if board.lifted_days_ago is not None:
        said = _said(moment_ms(first_run_ms, board.born_days_ago))
        said["true_at_ms"] = moment_ms(first_run_ms, board.lifted_days_ago)
        marks = {"water": "fresh", "sapwood": "sound", "smell": "none", "shake": False}
        entries.say_lifted(connection, board.code, washed=True, metal_searched=True, **marks, **said)
    if board.looked_days_ago is not None:
        said = _said(moment_ms(first_run_ms, board.looked_days_ago))
        entries.add_outcome(connection, board.code, kind="mould", degree="none", **said)


def _lies(lie: Lie) -> dict[str, str]:
    return {"stack": lie.stack} if lie.stack else {"place": lie.place}


def _sets(connection: Connection, told: Story, first_run_ms: int) -> Iterator[str]:
    held = _codes(connection, SubjectKind.SET)
    for one in told.sets:
        if one.code in held:
            continue
        said = _said(first_run_ms - 5 * MS_PER_DAY, person=1)
        entries.add_set(connection, one.code, name=one.name, **said)
        for piece, role in one.pieces.items():
            entries.put_in_set(connection, piece, set_code=one.code, role=role, **said)
        booked = None if one.booked_in_days is None else first_run_ms + int(one.booked_in_days * MS_PER_DAY)
        entries.plan_use(connection, one.code, use=one.use, kind="set", booked=booked, **said)
        if one.joint_mm:
            a, b = one.pieces
            entries.add_joint(connection, one.code, a=a, b=b, length_mm=one.joint_mm, name="centre joint", **said)
        yield one.code


def _weigh_ins(connection: Connection, told: Story, first_run_ms: int, now_ms: int) -> Iterator[str]:
    for board in told.boards:
        subject = facts.subject(connection, SubjectKind.BOARD, board.code)
        held = {entry.true_at_ms for entry in facts.standing(connection, WeighIn, subject.id)}
        due = [moment_ms(first_run_ms, days) for days in board.weighed_days_ago]
        if board.weighed_again_every_days:
            step = int(board.weighed_again_every_days * MS_PER_DAY)
            due += list(range(first_run_ms + step, now_ms, step))
        due = [int(at) // 60_000 * 60_000 for at in due]
        for at_ms in sorted(set(due) - held):
            mass_kg = weighed_kg(board, first_run_ms, at_ms)
            scale_g = max(g_from_kg(mass_kg) * SCALE_SHARE, 0.05)
            entries.add_weigh_in(
                connection,
                board.code,
                mass_g=round(g_from_kg(mass_kg), 1),
                scale_error_g=scale_g,
                sure=True,
                **_said(at_ms),
            )
            yield board.code


def _measured_otherwise(connection: Connection, board: Board, first_run_ms: int) -> None:
    rng = np.random.default_rng(seed_of(board.code, "pins"))
    bias_pct = METER_HIGH_PCT if board.meter else rng.normal(0.0, 0.8)
    for days in board.pins_days_ago:
        at_ms = moment_ms(first_run_ms, days)
        profile, _mass = truth(board, first_run_ms, at_ms)
        shown = 100.0 * float(diffusion.at_depth(profile, 0.5)) + bias_pct + rng.normal(0.0, 0.6)
        read = {"mc_pct": round(shown, 1), "temperature_c": 21 if board.meter else None, "meter": board.meter}
        entries.add_pin_reading(connection, board.code, **read, **_said(at_ms, person=1))
    for days in board.bags_days_ago:
        at_ms = moment_ms(first_run_ms, days)
        rh_pct = bag_rh_pct(board, first_run_ms, at_ms, BAG_C) + rng.normal(0.0, 0.8)
        entries.add_bag_test(
            connection,
            board.code,
            temperature_c=BAG_C,
            rh_pct=round(rh_pct, 1),
            waited_h=30,
            bag_l=3,
            last_moved="dried",
            rh_error_pct=1.2,
            **_said(at_ms, person=1),
        )
    if board.section_days_ago is not None:
        at_ms = moment_ms(first_run_ms, board.section_days_ago)
        profile, _mass = truth(board, first_run_ms, at_ms)
        dry_g = 61.4
        entries.add_oven_dry(
            connection,
            board.code,
            wet_g=round(dry_g * (1.0 + float(diffusion.mean_of(profile))), 1),
            dry_g=dry_g,
            **_said(at_ms),
        )
