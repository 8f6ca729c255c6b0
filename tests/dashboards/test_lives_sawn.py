"""Boards that were ripped, cross-cut or trimmed, from the entries to their projections. The yard is invented."""

from dataclasses import replace

import numpy as np
import pytest

from dashboards import entries, lives, measurements, projection
from dashboards.yard_entries import read_entries
from kiln import drying, likelihood
from kiln.ensemble import hourly
from kiln.estimation import Likelihood
from kiln.records import Projection
from shared.store import facts
from shared.store import records as r
from shared.tables import constants
from shared.units import MS_PER_DAY

THICK = {
    "species": "Fraxinus americana",
    "thickness_mm": 40,
    "width_mm": 240,
    "length_mm": 1000,
    "cut": "quarter-sawn",
    "origin": "fresh-sawn",
}
IN_STACK, FREE = {"stack": "S1"}, {"place": "shed"}


def number(yard, code):
    with yard.store.reading() as connection:
        return facts.subject(connection, r.SubjectKind.BOARD, code).id


def read(yard, code):
    """All entries, and the life of one board."""
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
    return held, lives.parts(held, number(yard, code), yard.now_ms)


def spells_of(yard, code):
    held, life = read(yard, code)
    return lives.spells(held, life, life[0].begin_ms)


def question(yard, code):
    with yard.store.reading() as connection:
        held = read_entries(connection, yard.now_ms)
        return projection.question(connection, held, number(yard, code), yard.now_ms)


def projected(yard, code):
    made = projection.forecast.project(question(yard, code), members=16, days=60)
    assert isinstance(made, Projection)
    return made


def data_of(yard, code):
    held, life = read(yard, code)
    with yard.store.reading() as connection:
        return measurements.data(connection, held, life, yard.now_ms)


def at(made, days_ago, now_ms):
    """Median mean [%MC] so many days ago."""
    return float(np.interp(now_ms - days_ago * MS_PER_DAY, made.at_ms, made.mean.p50))


# --- sizes over a life -------------------------------------------------------------------------------


def test_a_spell_of_before_a_cut_has_the_sizes_of_before_and_the_faces_stay_alike(yard):
    yard.act(entries.add_board, "B1", days_ago=36, **THICK, **IN_STACK)
    yard.act(entries.say_coat, "B1", coat="bare", ends_sealed=True, days_ago=30)
    yard.act(entries.crosscut_board, "B1", kerf_mm=4, piece="B2", days_ago=20)
    yard.act(entries.rip_board, "B2", kerf_mm=4, piece="B3", days_ago=10)
    first, second, third = ((0.24, 1.0), (0.24, 0.498), None)
    assert [one.face_m for one in spells_of(yard, "B1")] == [first, first, None]
    assert [one.face_m for one in spells_of(yard, "B2")] == [first, first, second, third]
    found = spells_of(yard, "B3")
    assert [one.face_m for one in found] == [first, first, second, third]
    assert [one.lying.ends_sealed for one in found] == [False, True, False, False]  # sawn ends are open
    assert all(one.slice_left is None and not one.one_sided and one.thickness_m == 0.04 for one in found)
    piece = question(yard, "B3").piece
    assert (piece.width_m, piece.length_m) == pytest.approx((0.118, 0.498))
    assert [piece.face_m(one)[1] for one in piece.spells] == pytest.approx([1.0, 1.0, 0.498, 0.498])
    assert not piece.two_faces


def test_open_edges_count_by_the_sizes_that_a_board_had_at_the_time(yard):
    yard.act(entries.add_board, "B1", days_ago=36, **THICK, **FREE)
    yard.act(entries.trim_board, "B1", width_mm=60, length_mm=500, days_ago=10)
    piece = question(yard, "B1").piece
    met = [piece.surroundings(one) for one in piece.spells]
    assert [(one.width_m, one.length_m) for one in met] == [(0.24, 1.0), (0.06, 0.5)]


def test_every_cut_across_ends_the_cached_projection_of_all_pieces(yard):
    yard.act(entries.add_board, "B1", days_ago=36, **THICK, **IN_STACK)

    def key(code):
        held, _life = read(yard, code)
        return projection.input_key(held, number(yard, code), yard.now_ms)

    seen = {key("B1")}
    for act, values in (
        (entries.rip_board, {"kerf_mm": 3, "piece": "B2"}),
        (entries.crosscut_board, {"kerf_mm": 3, "piece": "B3"}),
        (entries.trim_board, {"width_mm": 100}),
        (entries.trim_board, {"length_mm": 450}),
    ):
        made = yard.act(act, "B1", days_ago=6 - len(seen), **values)
        undone = yard.act(entries.undo, "cut", made.fact_id)
        assert key("B1") in seen
        yard.act(entries.undo, "cut", undone.fact_id)
        assert key("B1") not in seen
        seen.add(key("B1"))
    assert len({*seen, key("B2"), key("B3")}) == len(seen) + 2


# --- masses ------------------------------------------------------------------------------------------


def trimmed_and_whole(yard):
    """Two boards alike whose edges give nothing off; of one a third goes between two weigh-ins, and of its mass."""
    for code in ("T1", "W1"):
        yard.act(entries.add_board, code, days_ago=36, **THICK, **IN_STACK)
        yard.act(entries.say_coat, code, coat="bare", ends_sealed=True, days_ago=36)
        yard.act(entries.add_weigh_in, code, mass_kg=9.3, days_ago=33)
    yard.act(entries.trim_board, "T1", width_mm=160, days_ago=15)
    for days, mass_kg in ((14, 7.8), (2, 7.2)):
        yard.act(entries.add_weigh_in, "W1", mass_kg=mass_kg, days_ago=days)
        yard.act(entries.add_weigh_in, "T1", mass_kg=mass_kg * 2 / 3, days_ago=days)
    return yard


def test_weights_of_a_board_trimmed_by_a_third_tell_the_moisture_that_those_of_a_whole_one_tell(yard):
    """Exact, by construction of the masses: two thirds of the wood have two thirds of the mass at the same moisture."""
    trimmed_and_whole(yard)
    told = {}
    for code in ("T1", "W1"):
        asked = question(yard, code)
        unknowns = drying.prior(asked.piece).centre[None]
        told[code] = Likelihood(asked.piece, list(asked.data)).told(unknowns)[0]
    assert [one.mass_share for one in data_of(yard, "T1")] == pytest.approx([1.5, 1.0, 1.0])
    assert told["T1"] == pytest.approx(told["W1"], rel=1e-9)


def test_a_refit_across_a_trimming_is_that_of_a_whole_board_whose_masses_are_scaled(yard, monkeypatch):
    """Once a mass of before is taken to tell that of after without error: the same, but that steps begin anew."""
    known = {**likelihood.constants("drying")}
    known["size_error"] = replace(known["size_error"], value=0.0)
    monkeypatch.setattr(likelihood, "constants", lambda table: known if table == "drying" else constants(table))
    trimmed_and_whole(yard)
    trimmed, whole = (projected(yard, code) for code in ("T1", "W1"))
    for days in (30, 16, 14, 5, 0.1):
        assert at(trimmed, days, yard.now_ms) == pytest.approx(at(whole, days, yard.now_ms), abs=0.05)
    share = np.array(trimmed.oven_dry_mass_kg) / np.array(whole.oven_dry_mass_kg)
    assert share == pytest.approx(2 / 3, rel=1e-3)


def test_a_refit_goes_on_across_a_trimming(yard):
    """With the error of the sizes: two in a hundred of what was weighed before, at about 60 %MC."""
    trimmed_and_whole(yard)
    trimmed, whole = (projected(yard, code) for code in ("T1", "W1"))
    for days in (30, 16, 14, 5, 0.1):
        assert at(trimmed, days, yard.now_ms) == pytest.approx(at(whole, days, yard.now_ms), abs=2.0)
    share = np.array(trimmed.oven_dry_mass_kg) / np.array(whole.oven_dry_mass_kg)
    assert share == pytest.approx(2 / 3, rel=0.01)
    assert all(abs(one.misfit) < 2.0 and not one.note for one in trimmed.measured)


def test_pieces_of_a_board_have_its_oven_dry_mass_by_their_share_of_the_area(yard):
    """By hand: 40 × 240 mm less a kerf of 4 mm, ripped to 90 and 146 mm; and 1000 mm to 700 and 296 mm."""
    yard.act(entries.add_board, "B1", days_ago=36, **THICK, **IN_STACK)
    yard.act(entries.add_weigh_in, "B1", mass_kg=9.0, days_ago=30)
    whole = projected(yard, "B1").oven_dry_mass_kg[1]
    yard.act(entries.rip_board, "B1", kerf_mm=4, width_mm=90, piece="B2", days_ago=10)
    yard.act(entries.crosscut_board, "B2", kerf_mm=4, length_mm=700, piece="B3", days_ago=5)
    masses = {code: projected(yard, code).oven_dry_mass_kg[1] for code in ("B1", "B2", "B3")}
    shares = {"B1": 90 / 240, "B2": 146 / 240 * 0.7, "B3": 146 / 240 * 0.296}
    for code, share in shares.items():
        assert masses[code] == pytest.approx(whole * share, rel=0.01)
    dust = 4 / 240 + 146 / 240 * 0.004
    assert sum(masses.values()) == pytest.approx(whole * (1.0 - dust), rel=0.01)


def test_a_piece_goes_on_from_the_water_of_the_board(yard):
    """In a stack, ends sealed, no edge matters: both pieces are as wet as the board, to the error of the sizes."""
    yard.act(entries.add_board, "B1", days_ago=36, **THICK, **IN_STACK)
    yard.act(entries.say_coat, "B1", coat="bare", ends_sealed=True, days_ago=36)
    yard.act(entries.add_weigh_in, "B1", mass_kg=9.0, days_ago=30)
    before = projected(yard, "B1")
    yard.act(entries.rip_board, "B1", kerf_mm=4, piece="B2", days_ago=5)
    for code in ("B1", "B2"):
        made = projected(yard, code)
        for days in (20, 6, 4):
            assert at(made, days, yard.now_ms) == pytest.approx(at(before, days, yard.now_ms), abs=1.2)


def test_a_short_piece_with_open_ends_dries_sooner_than_the_long_board_would_have(yard):
    yard.act(entries.add_board, "B1", days_ago=36, **THICK, **FREE)
    yard.act(entries.add_board, "C1", days_ago=36, **THICK, **FREE)
    yard.act(entries.crosscut_board, "C1", kerf_mm=4, length_mm=150, piece="C2", days_ago=20)
    whole, short = projected(yard, "B1"), projected(yard, "C1")
    assert at(short, 0.1, yard.now_ms) < at(whole, 0.1, yard.now_ms) - 0.5


# --- sections cut ------------------------------------------------------------------------------------


def test_a_section_cut_before_a_ripping_is_missing_from_each_piece_by_its_share(yard):
    """By hand: the section weighed 90 g oven-dry over all of 240 mm; of a piece of 80 mm a third of it is missing."""
    yard.act(entries.add_board, "B1", days_ago=36, **THICK, **IN_STACK)
    yard.act(entries.add_weigh_in, "B1", mass_kg=9.0, days_ago=30)
    yard.act(entries.add_oven_dry, "B1", wet_g=120, dry_g=90, days_ago=25)
    yard.act(entries.rip_board, "B1", kerf_mm=0, width_mm=160, piece="B2", days_ago=20)
    yard.act(entries.add_weigh_in, "B1", mass_kg=5.7, days_ago=10)
    yard.act(entries.add_weigh_in, "B2", mass_kg=2.85, days_ago=10)
    for code, share in (("B1", 2 / 3), ("B2", 1 / 3)):
        weighed = [one for one in data_of(yard, code) if one.kind == "weigh-in"]
        assert [one.cut_dry_kg for one in weighed] == pytest.approx([0.0, 0.090 * share])
        assert [one.mass_share for one in weighed] == pytest.approx([1.0 / share, 1.0])


def test_a_section_cut_before_a_board_is_cut_to_length_is_behind_its_end(yard):
    yard.act(entries.add_board, "B1", days_ago=36, **THICK, **IN_STACK)
    yard.act(entries.add_weigh_in, "B1", mass_kg=9.0, days_ago=30)
    yard.act(entries.add_oven_dry, "B1", wet_g=120, dry_g=90, days_ago=25)
    yard.act(entries.add_weigh_in, "B1", mass_kg=8.6, days_ago=22)
    yard.act(entries.trim_board, "B1", length_mm=900, days_ago=20)
    yard.act(entries.add_weigh_in, "B1", mass_kg=7.6, days_ago=10)
    weighed = [one for one in data_of(yard, "B1") if one.kind == "weigh-in"]
    assert [one.cut_dry_kg for one in weighed] == pytest.approx([0.0, 0.090, 0.0])


def test_the_march_takes_a_board_that_was_trimmed_on_with_the_edges_that_it_keeps(yard):
    """The whole board is drier than its middle by one border more in the hour of the cut than once it is sawn."""
    yard.act(entries.add_board, "B1", days_ago=36, **THICK, **FREE)
    yard.act(entries.trim_board, "B1", width_mm=200, days_ago=10)
    asked = question(yard, "B1")
    cut_hour = asked.piece.spells[-1].first_hour
    whole = replace(asked.piece, spells=(replace(asked.piece.spells[0]),))
    unknowns = drying.prior(asked.piece).centre[None]
    hours = np.array([cut_hour - 12, cut_hour, cut_hour + 12], dtype=np.int64)
    cut, uncut = (drying.follow(piece, unknowns, hourly(asked), hours) for piece in (asked.piece, whole))
    assert cut.profiles[0, 1] == pytest.approx(uncut.profiles[0, 1], abs=1e-12)
    before, after = uncut.short[0, 1, 0], cut.short[0, 1, 0]
    assert cut.short[0, 0] == pytest.approx(uncut.short[0, 0], abs=1e-12)
    # one of two borders went with the 40 mm, over 200 mm of what were 240: thin borders, so the other is whole
    assert after == pytest.approx(before / 2 * 240 / 200, rel=0.05)
    assert cut.short[0, 1, 1] == pytest.approx(uncut.short[0, 1, 1], abs=1e-12)
    assert cut.short[0, 2, 0] > after  # the fresh edge dries
