"""Load cells: a board hangs on one, a stack stands on one; what they weigh counts in the projections."""

from dataclasses import replace

import numpy as np
import pytest
from fastapi.testclient import TestClient

from dashboards import cell_entries, cell_story, cells, entries, projection, situation
from dashboards.app import create_app
from dashboards.pages import on_cell
from dashboards.pages import weigh as weigh_page
from dashboards.yard_entries import read_entries
from kiln import observations
from kiln.likelihood import in_common
from kiln.load_cell import Kind
from shared.errors import BadInput, Refused
from shared.store import facts, readings
from shared.store.records import NewReading, ProbeFact, Quality, Quantity, TimeSource
from shared.units import MS_PER_DAY, MS_PER_MINUTE

ZERO_KG, NOISE_KG = 0.312, 0.004
DAYS_KG = ((36.0, 6.99), (20.0, 5.6), (2.0, 4.7), (0.0, 4.62))  # of A1, near its weigh-ins


def true_kg(days_ago):
    days, kg = zip(*reversed(DAYS_KG), strict=True)
    return np.interp(days_ago, days, kg)


def weigh(yard, code, start_days, end_days, kg_of, every_min=10):
    """Store what a load cell says: its zero, the load, and noise."""
    start, end = (yard.now_ms - int(one * MS_PER_DAY) for one in (start_days, end_days))
    times = np.arange(start, end, every_min * MS_PER_MINUTE)
    days_ago = (yard.now_ms - times) / MS_PER_DAY
    said = ZERO_KG + kg_of(days_ago) + np.random.default_rng(5).normal(0.0, NOISE_KG, len(times))
    with yard.store.writing() as connection:
        probe_id = next(one.subject_id for one in facts.standing(connection, ProbeFact) if one.name == code)
        series = readings.series_of(connection, probe_id, Quantity.MASS_KG)
        rows = [
            NewReading(series, int(at), round(float(kg), 4), Quality.GOOD, TimeSource.PAYLOAD)
            for at, kg in zip(times, said, strict=True)
        ]
        readings.append(connection, rows, yard.now_ms)


@pytest.fixture
def hung(yard):
    """A1 hangs on a load cell since it was last weighed but one."""
    yard.act(entries.add_probe, "hook", topic="workshop/shed/hook", days_ago=30)
    weigh(yard, "hook", 21.0, 20.2, lambda days: 0.0 * days)
    weigh(yard, "hook", 20.0, 0.0, true_kg)
    yard.act(cell_entries.tare_cell, "hook", reading_kg=ZERO_KG, days_ago=20.2)
    yard.act(cell_entries.load_cell, "hook", board="A1", cell_error_g=5, days_ago=20.0)
    return yard


def measured(yard, code):
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    one = next(board for board in now.boards if board.subject.code == code)
    projection.refresh(yard.store, one.subject.id, yard.now_ms)
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return next(board for board in now.boards if board.subject.code == code)


def pages(yard):
    app = create_app(yard.store, yard.settings, yard.folder / "secrets", lambda: yard.now_ms)
    return TestClient(app, client=("127.0.0.1", 1), base_url="http://localhost")


def test_a_board_that_hangs_on_a_cell_is_refitted_to_its_daily_weights(hung, yard):
    board = measured(hung, "A1")
    kinds = [one.kind for one in board.projection.measured]
    assert 15 <= kinds.count("load cell") <= 30 and kinds.count("weigh-in") == 3
    newest = board.projection.measured[-1]
    assert newest.kind == "load cell" and hung.now_ms - newest.at_ms < MS_PER_DAY
    assert all(abs(one.misfit) < 4.0 for one in board.projection.measured)
    assert "load cell" in " ".join(board.verdict.evidence)


def test_its_weights_narrow_the_loss_a_day_that_the_weigh_ins_alone_leave(yard):
    weighed = measured(yard, "A1").projection
    known = weighed.at_ms <= weighed.known_until_ms

    def believed_kg(days_ago):  # as the model itself has it that it dried
        at_ms = yard.now_ms - days_ago * MS_PER_DAY
        mc_pct = np.interp(at_ms, weighed.at_ms[known], weighed.mean.p50[known])
        return weighed.oven_dry_mass_kg[1] * (1.0 + mc_pct / 100.0)

    at_weigh_ins = np.array([2.0, 20.0])
    through = np.polynomial.Polynomial.fit(at_weigh_ins, [4.7, 5.6] / believed_kg(at_weigh_ins), 1)

    def kg(days_ago):  # and through its weigh-ins, with which the cell agrees; no bend in it where it was weighed
        return believed_kg(days_ago) * through(days_ago)

    yard.act(entries.add_probe, "hook", topic="workshop/shed/hook", days_ago=30)
    weigh(yard, "hook", 20.0, 0.0, kg)
    yard.act(cell_entries.tare_cell, "hook", reading_kg=ZERO_KG, days_ago=20.1)
    yard.act(cell_entries.load_cell, "hook", board="A1", cell_error_g=5, days_ago=20.0)
    followed = measured(yard, "A1").projection
    (low, middle, high), before = followed.loss_pct_per_day, weighed.loss_pct_per_day
    # What weights of one cell share, its zero and the dirt on it, is in none of their changes.
    assert high - low < 0.6 * (before[2] - before[0])
    lost_pct = 100.0 * (kg(1.0) - kg(0.0)) / followed.oven_dry_mass_kg[1]
    # A band of 8 in 10 misses one truth in five: twice as wide, one in a hundred.
    assert middle - 2.0 * (middle - low) < lost_pct < middle + 2.0 * (high - middle)


def cell_data(yard, code):
    """What load cells tell of a board, and its weigh-ins, as the refit takes them."""
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    board_id = next(board.subject.id for board in now.boards if board.subject.code == code)
    with yard.store.reading() as connection:
        told = read_entries(connection, yard.now_ms)
        data = cells.data_of(connection, told.cells, told.where, told.as_weighed(), board_id, yard.now_ms)
        weighed = told.boards[board_id].weigh_ins
        return data, [observations.weigh_in(w.true_at_ms, w.mass_kg, w.scale_error_kg) for w in weighed]


def shared(data):
    """Correlation of what they have in common."""
    covariance = in_common(data)
    return covariance / np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))


def test_weights_by_a_tare_share_its_error_and_none_with_the_weigh_ins(hung):
    told, weighed = cell_data(hung, "A1")
    alike = shared(weighed + told)
    n = len(weighed)
    assert np.array_equal(alike[:n, :n], np.eye(n)) and not alike[:n, n:].any()
    assert alike[n:, n:].min() > 0.5


def test_weights_by_a_weigh_in_share_its_error_with_it(yard):
    yard.act(entries.add_probe, "hook", topic="workshop/shed/hook", days_ago=30)
    weigh(yard, "hook", 20.0, 0.0, true_kg)
    yard.act(cell_entries.load_cell, "hook", board="A1", cell_error_g=5, days_ago=20.0)
    told, weighed = cell_data(yard, "A1")
    both = in_common(weighed + told)
    scale = np.array([one.common_error for one in weighed])
    by = both[: len(weighed), len(weighed) :]
    assert by[1] == pytest.approx(scale[1] ** 2)  # of 20 days ago, when it was hung up
    assert not by[0].any() and not by[2].any(), "the last one counts by itself"


def test_weights_of_two_loads_or_weighings_share_nothing(stacked):
    stacked.act(entries.add_weigh_in, "A2", mass_g=4600, days_ago=2.0)
    stacked.act(entries.move_board, "A1", place="room", days_ago=1)
    stacked.act(cell_entries.tare_cell, "floor", reading_kg=ZERO_KG, days_ago=0.9)
    told, weighed = cell_data(stacked, "A2")
    groups = {one.common_with for one in told}
    assert len(groups) == 3 and len(groups & {one.at_ms for one in weighed}) == 2
    by_group = [[one for one in told if one.common_with == group] for group in groups]
    assert all(one.uneven_error != 0.0 for one in told if one.at_ms < stacked.now_ms - 3 * MS_PER_DAY)
    assert np.count_nonzero(in_common(told)) == sum(len(one) ** 2 for one in by_group)


def test_a_new_load_or_tare_makes_the_board_due_again(hung):
    before = measured(hung, "A1")
    with hung.store.reading() as connection:
        entries_now = read_entries(connection, hung.now_ms)
        key = projection.input_key(entries_now, before.subject.id, hung.now_ms)
    hung.act(cell_entries.tare_cell, "hook", reading_kg=ZERO_KG + 0.02, days_ago=0.1)
    with hung.store.reading() as connection:
        entries_now = read_entries(connection, hung.now_ms)
        assert projection.input_key(entries_now, before.subject.id, hung.now_ms) != key


def test_what_was_lifted_off_and_hung_back_is_told_and_does_not_count(yard):
    yard.act(entries.add_probe, "hook", topic="workshop/shed/hook", days_ago=30)
    weigh(yard, "hook", 20.0, 0.0, lambda days: np.where((days < 9.0) & (days > 8.9), 0.0, true_kg(days)))
    yard.act(cell_entries.tare_cell, "hook", reading_kg=ZERO_KG, days_ago=20.0)
    yard.act(cell_entries.load_cell, "hook", board="A1", cell_error_g=5, days_ago=20.0)
    with yard.store.reading() as connection:
        (told,) = cell_story.stories(connection, yard.now_ms).values()
    assert {one.kind for one in told.events} & {Kind.UNLOADED, Kind.EXCURSION}
    counted = told.usable & told.absolute
    days_ago = (yard.now_ms - told.at_ms[counted]) / MS_PER_DAY
    assert np.abs(told.mass_kg[counted] - true_kg(days_ago)).max() < 0.05


@pytest.fixture
def stacked(yard):
    """S1 stands on a cell since both its boards were weighed, 20 days ago."""
    yard.act(entries.add_probe, "floor", topic="workshop/shed/floor", days_ago=30)
    yard.act(entries.add_weigh_in, "A2", mass_g=5900, days_ago=19.9)
    both = 5.6 + 5.9
    weigh(yard, "floor", 19.8, 0.0, lambda days: both - 0.13 * (19.9 - days) * (1 + 0.4 * (19.9 - days) / 19.9) / 1.4)
    yard.act(cell_entries.load_cell, "floor", stack="S1", cell_error_g=20, days_ago=19.8)
    return yard


def test_a_stack_on_a_cell_tells_of_a_board_that_was_weighed_once(stacked):
    board = measured(stacked, "A2")
    told = [one for one in board.projection.measured if one.kind == "load cell"]
    assert len(told) >= 10
    assert told[-1].mc_pct < told[0].mc_pct - 10.0  # it lost its part of the 2.6 kg


def test_a_board_of_a_stack_that_was_never_weighed_gets_no_weights(yard):
    yard.act(entries.add_probe, "floor", topic="workshop/shed/floor", days_ago=30)
    weigh(yard, "floor", 19.8, 0.0, lambda days: 11.5 - 0.1 * (19.8 - days))
    yard.act(cell_entries.load_cell, "floor", stack="S1", cell_error_g=20, days_ago=19.8)
    assert not [one for one in measured(yard, "A2").projection.measured if one.kind == "load cell"]
    page = pages(yard)
    assert "needs a tare, or a weigh-in of everything on it" in page.get("/probes").text


def test_a_board_that_leaves_the_stack_begins_a_new_time_on_the_cell(stacked):
    stacked.act(entries.move_board, "A1", place="room", days_ago=5)
    with stacked.store.reading() as connection:
        all_entries = read_entries(connection, stacked.now_ms)
    board = measured(stacked, "A1")
    spans = [(one.start_ms, one.end_ms, len(one.boards)) for one in all_entries.cell_loads(board.subject.id, 2**62)]
    left_ms = stacked.now_ms - 5 * MS_PER_DAY
    assert spans == [(stacked.now_ms - int(19.8 * MS_PER_DAY), left_ms, 2)]
    assert all(one.at_ms < left_ms for one in board.projection.measured if one.kind == "load cell")


def test_the_page_of_probes_shows_load_weight_and_tare_and_takes_both_forms(hung):
    page = pages(hung)
    shown = page.get("/probes").text
    assert "Carries" in shown and "board A1" in shown and "Tared 20 days ago" in shown
    assert "Temperature" in shown  # of the probes that measure air
    assert shown.count("Enter a check over salt") == 2  # none for the cell
    assert 'action="/probe/hook/tare"' in shown and 'action="/probe/hook/carry"' in shown


def test_the_page_of_a_board_says_what_the_cell_under_it_carries_and_whether_that_was_expected(hung):
    board = measured(hung, "A1")
    now = situation.read(hung.store, hung.now_ms, hung.settings)
    kg = f"{true_kg(np.array([0.0]))[0] * 1000:.0f}"
    expected = weigh_page.weighing(now, board, [board.fact])
    assert expected.expected
    link = on_cell.on_cell(now, board, expected)
    assert link.to == "/probes#hook" and link.text.startswith("On hook, which carries ") and " now" in link.text
    shown_g = float(link.text.removeprefix("On hook, which carries ").partition(" g")[0])
    assert shown_g == pytest.approx(float(kg), abs=25.0)
    inside = replace(expected, low_kg=f"{shown_g / 1000 - 0.1:.5f}", high_kg=f"{shown_g / 1000 + 0.1:.5f}")
    assert on_cell.on_cell(now, board, inside).text.endswith(" now.")
    above = replace(expected, low_kg=f"{shown_g / 1000 + 0.1:.5f}", high_kg=f"{shown_g / 1000 + 0.2:.5f}")
    assert on_cell.on_cell(now, board, above).text.endswith(f" now: lighter than the {expected.expected} expected.")
    assert "On hook, which carries" in pages(hung).get("/board/A1").text
    other = next((one for one in now.boards if one.subject.code != "A1"), None)
    assert other is None or on_cell.on_cell(now, other, expected) is None


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"board": "A1", "stack": "S1", "cell_error_g": 5}, "a board or a stack, not both"),
        ({"board": "A1", "cell_error_g": ""}, "error of the cell"),
        ({"board": "A1", "cell_error_g": -1}, "error of the cell"),
        ({}, "what it carries"),
        ({"board": "nobody", "cell_error_g": 5}, "board"),
    ],
)
def test_what_a_cell_cannot_carry_is_refused(values, told, yard):
    yard.act(entries.add_probe, "hook", topic="workshop/shed/hook", days_ago=30)
    weigh(yard, "hook", 1.0, 0.5, true_kg)
    with pytest.raises(BadInput, match=told):
        yard.act(cell_entries.load_cell, "hook", **values)


def test_a_probe_that_weighs_nothing_is_no_load_cell(yard):
    with pytest.raises(Refused, match="No mass has ever come from north"):
        yard.act(cell_entries.tare_cell, "north", reading_kg=0.1)


def test_a_tare_without_a_figure_takes_what_the_cell_says_just_now(yard):
    yard.act(entries.add_probe, "hook", topic="workshop/shed/hook", days_ago=30)
    weigh(yard, "hook", 1.0, 0.0, lambda days: 0.0 * days)
    made = yard.act(cell_entries.tare_cell, "hook")
    assert "it reads 0.3" in made.sentence
    with pytest.raises(BadInput, match="nothing heard in the 30 min before"):
        yard.act(cell_entries.tare_cell, "hook", days_ago=3)
