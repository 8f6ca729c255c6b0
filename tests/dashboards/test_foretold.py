"""What is foretold of a board, in words and drawings: dates by chance, what limits them, what came of earlier ones."""

import re
from dataclasses import replace

import numpy as np
import plotly.graph_objects as go
import pytest

from dashboards import board_charts, foretold, projection, situation
from dashboards.marks_ahead import WIDTH, date_bar
from kiln.records import Said
from shared.errors import BadInput
from shared.store import cache
from shared.units import MS_PER_DAY

PROJECTED = []
CAME = foretold.Came("3 Mar", "22 % (20–24)", "", "not weighed since", "–", "")


def day_ms(now_ms, days):
    return now_ms + int(days * MS_PER_DAY)


@pytest.fixture
def made(yard):
    """The projection of board A1, worked out once."""
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    board_id = next(one.subject.id for one in now.boards if one.subject.code == "A1")
    if not PROJECTED:
        projection.refresh(yard.store, board_id, yard.now_ms)
        with yard.store.reading() as connection:
            PROJECTED.append(cache.projections(connection)[board_id])
    with yard.store.writing() as connection:
        cache.put_projection(connection, PROJECTED[0])
    now = situation.read(yard.store, yard.now_ms, yard.settings)
    return next(one.projection for one in now.boards if one.subject.code == "A1")


def said(now_ms, told_days, date_days=None, foretold_kg=(4.28, 4.30, 4.33), came_kg=None, next_days=None):
    """One thing said, so many days from now; dates None: not within a year."""
    date = None if date_days is None else day_ms(now_ms, date_days)
    ends = (None if date is None else date - 9 * MS_PER_DAY, date, None if date is None else date + 9 * MS_PER_DAY)
    next_ms = None if next_days is None else day_ms(now_ms, next_days)
    held = foretold_kg if came_kg is not None else None
    return Said(day_ms(now_ms, told_days), ends, (20.0, 22.0, 24.0), next_ms, held, came_kg)


# --- dates -----------------------------------------------------------------------------------------


def test_dates_by_chance_are_those_of_the_projection_and_open_ends_are_said(made, yard):
    known = made.known_until_ms
    told = replace(made, ready_by_ms=(known, day_ms(known, 40), None))
    shown = dict(foretold.dates_by_chance(told, yard.now_ms))
    assert shown["as likely as not"] == "now"
    assert shown["95 in 100"] == "not within a year"
    assert re.fullmatch(r"by \d+ \w{3}( \d{4})?", shown["8 in 10"])


@pytest.mark.parametrize(
    ("days", "words"),
    [
        ((None, None, None), "not within a year"),
        ((200, None, None), r"perhaps fit by \d+ \w{3}.* \(1 in 10\), but likelier not within a year"),
        ((0, None, None), r"perhaps fit that day \(1 in 10\), but likelier not within a year"),
        ((0, 0, 0), "that day"),
        ((0, 0, 50), r"that day \(perhaps not before \d+ \w{3}.*\)"),
        ((0, 0, None), r"that day \(perhaps not within a year\)"),
        ((0, 20, 50), r"\d+ \w{3}.* \(that day – .+\)"),
        ((10, 20, None), r"\d+ \w{3}.* \(.+ – later\)"),
    ],
)
def test_a_date_with_its_band_says_which_end_is_open(yard, days, words):
    dates = tuple(None if one is None else day_ms(yard.now_ms, one) for one in days)
    assert re.fullmatch(words, foretold.date_band(dates, yard.now_ms, yard.now_ms))


def test_what_may_be_fit_already_is_said_to_be_so_now_where_an_option_is_told(yard):
    words = foretold.date_band((yard.now_ms, None, None), yard.now_ms, yard.now_ms, "now")
    assert words == "perhaps fit now (1 in 10), but likelier not within a year"
    assert foretold.fit_words(replace(CAME, date=words)) == words, "not “fit perhaps fit”"


def test_the_measurements_own_share_of_the_band_is_days_until_it_is_nearly_all(made, yard):
    known = made.known_until_ms
    ahead = replace(made, ready_ms=(day_ms(known, 20), day_ms(known, 40), day_ms(known, 60)), date_floor_days=9.0)
    assert any("± 9 days, whatever the air does" in line for line in foretold.limits(ahead, yard.now_ms))
    wider = replace(ahead, date_floor_days=30.0)  # more than the band itself: no number of days beside it
    lines = " ".join(foretold.limits(wider, yard.now_ms))
    assert "Nearly all" in lines and "30 days" not in lines
    fit = replace(ahead, ready_ms=(known, known, known))
    assert not any("measurements" in line for line in foretold.limits(fit, yard.now_ms))


def test_what_the_air_holds_it_at_stands_there_with_its_band(made, yard):
    lines = " ".join(foretold.limits(made, yard.now_ms))
    for low, middle, high in (made.holds_mc_pct, made.floor_mc_pct):
        assert f"{middle:.1f} % ({low:.1f}–{high:.1f})" in lines
    assert "No other board has taught" in lines
    assert "3 other boards" in " ".join(foretold.limits(replace(made, boards_taught=3), yard.now_ms))


# --- what was said, and what came -------------------------------------------------------------------


def test_a_date_that_moved_is_told_with_the_weigh_in_and_its_reason(made, yard):
    now = yard.now_ms
    before = said(now, -40, 20, came_kg=4.38, next_days=-20)
    told = replace(made, history=(before, said(now, -20, 42)), ready_ms=(None, day_ms(now, 42), None))
    (sentence,) = foretold.moves(told, now)
    assert sentence.startswith("The date moved from ") and "it had lost less than foretold: 4380 g" in sentence
    assert sentence.endswith("foretold 4280 to 4330 g).")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (20, 22, None),
        (None, None, None),
        (None, 42, "came within the year"),
        (20, None, "beyond a year"),
        (20, -25, "to that very day"),
        (-50, 42, "It had been thought fit"),
        (-50, -25, None),
        (-30, -20, None),  # foretold for between the two weigh-ins, and so it came
        (-40 + 0.5 / 24, -20 + 0.5 / 24, None),  # fit at the end of the hour of the weigh-in: the first there is
    ],
)
def test_only_what_moved_is_said_to_have_moved(made, yard, old, new, words):
    now = yard.now_ms
    after = said(now, -20, new)
    told = replace(made, history=(said(now, -40, old), after), ready_ms=after.ready_ms, known_until_ms=now)
    found = foretold.moves(told, now)
    if words is None:
        assert found == ()
    else:
        assert words in found[-1] and "None" not in found[-1]


@pytest.mark.parametrize(("days", "told"), [(5, False), (11, True)])
def test_since_the_last_weigh_in_only_what_is_more_than_chance_between_two_draws_is_told(made, yard, days, told):
    """Medians of 32 and 64 draws differ by 0.27 standard deviations (1.253 sd / sqrt(n) each), a band holds 2.56.

    Standard error of a median: any textbook of statistics, for normal draws; so two of them are 0.21 of a band, here
    of 20 days 4.2 days.
    """
    now = yard.now_ms
    today = tuple(day_ms(now, 42 + days + side) for side in (-10, 0, 10))
    ready = tuple(day_ms(now, 42 + side) for side in (-10, 0, 10))
    last = Said(day_ms(now, -2), ready, (20.0, 22.0, 24.0), None, None, None)
    found = foretold.moves(replace(made, history=(last,), ready_ms=today, known_until_ms=now, legs=()), now)
    assert bool(found) is told


@pytest.mark.parametrize(("came", "words"), [(4.27, "lighter"), (4.28, ""), (4.33, ""), (4.34, "heavier")])
def test_a_weight_outside_its_band_is_marked_and_counted(made, yard, came, words):
    now = yard.now_ms
    told = replace(made, history=(said(now, -40, 20, came_kg=came, next_days=-20), said(now, -20, 20)))
    newest, first = foretold.history(told, now)
    assert first.outside == words and newest.foretold == "not weighed since"
    assert foretold.score(told).startswith(f"Of 1 weights {0 if words else 1} came inside")


def test_the_boards_own_history_is_told_by_its_weigh_ins(made, yard):
    """Three weigh-ins stand in this yard, the first before a day of its air was logged or just after it."""
    told = foretold.history(made, yard.now_ms)
    assert len(told) == len(made.history) >= 2
    assert [one.outside for one in told] == [foretold.outside(one) for one in reversed(made.history)]
    assert told[-1].came.startswith("5600 g") and told[0].foretold == "not weighed since"


# --- drawings --------------------------------------------------------------------------------------


def luminance(color):
    """Relative luminance: WCAG 2.2, definition of relative luminance, after IEC 61966-2-1."""
    parts = [int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def lightness(color):
    """L* of CIE 1976 (ISO/CIE 11664-4) for luminances above its linear foot."""
    return 116 * luminance(color) ** (1 / 3) - 16


def test_the_fans_bands_stay_apart_in_grey_and_ink_stands_out_on_the_darkest():
    fills = [fill for _name, _low, _high, fill, _edge in board_charts.FAN]
    steps = np.diff([lightness(one) for one in fills])
    assert (steps < -9).all()  # palest first; ours: well beyond one just noticeable step, which is about 1
    # WCAG 2.2, success criterion 1.4.11: graphics need a contrast of 3 to 1.
    assert (luminance(fills[-1]) + 0.05) / (luminance(board_charts.INK) + 0.05) >= 3


@pytest.mark.parametrize("of", ["mean", "shell", "core"])
def test_the_fan_is_of_what_was_asked_and_nested(made, yard, of):
    figure = board_charts.board_figure(made, yard.now_ms, of)
    go.Figure(data=figure["data"], layout=figure["layout"])  # raises for a property that does not exist
    named = {one["name"]: one for one in figure["data"]}
    half, most, nearly = (named[name]["y"] for name in ("half", "8 in 10", "95 in 100"))
    upper = len(half) // 2
    for inner, outer in ((half, most), (most, nearly)):
        assert all(a <= b for a, b in zip(inner[:upper], outer[:upper], strict=True))
        assert all(a >= b for a, b in zip(inner[upper:], outer[upper:], strict=True))
    assert named[of]["line"]["width"] == max(named[name]["line"]["width"] for name in ("mean", "shell", "core"))
    assert named[of]["y"][0] == pytest.approx(getattr(made, of).p50[0], abs=0.01)


def test_a_beginning_far_above_all_that_came_after_leaves_the_chart_and_says_so(made, yard):
    quiet = replace(made.mean, **{one: np.full_like(made.mean.p50, 8.0) for one in vars(made.mean)})
    spike = np.full_like(made.mean.p50, 9.0)
    spike[0] = 60.0
    flat = dict.fromkeys(("shell", "core", "emc"), quiet)
    plate = replace(made, mean=replace(quiet, p975=spike), wanted_mc_pct=(6.2, 9.5), **flat)
    layout = board_charts.board_figure(plate, yard.now_ms)["layout"]
    low, high = layout["yaxis"]["range"]
    assert low == 0.0 and 9.5 < high < 20.0
    assert any("up to 60 %" in one["text"] for one in layout["annotations"])
    assert "range" not in board_charts.board_figure(replace(plate, mean=quiet), yard.now_ms)["layout"]["yaxis"]


def test_the_chart_holds_the_floor_what_is_wanted_and_the_planned_moves(made, yard):
    plan = ((day_ms(made.known_until_ms, 30), "Bench room"), (day_ms(made.known_until_ms, 300), "Loft"))
    figure = board_charts.board_figure(replace(made, legs=plan), yard.now_ms)
    floor = next(one for one in figure["data"] if one["name"].startswith("floor here"))
    assert f"{made.floor_mc_pct[1]:.1f} %" in floor["name"] and floor["y"] == [round(made.floor_mc_pct[1], 2)] * 2
    wanted = next(one for one in figure["data"] if one["name"].startswith("wanted"))
    assert [wanted["y"][0], wanted["y"][-1]] == [round(one, 2) for one in made.wanted_mc_pct]
    uprights = [one["x0"] for one in figure["layout"]["shapes"] if one["type"] == "line"]
    assert len(uprights) == 3 and uprights == sorted(uprights)
    assert all(one <= figure["data"][0]["x"][len(figure["data"][0]["x"]) // 2 - 1] for one in uprights)
    words = " ".join(one["text"] for one in figure["layout"]["annotations"])
    assert "Bench room" in words and "Loft" in words


def test_a_band_of_something_else_is_refused(made, yard):
    with pytest.raises(BadInput, match="mean, shell, core"):
        board_charts.board_figure(made, yard.now_ms, "bark")


def test_the_table_holds_the_charts_figures(made, yard):
    rows = board_charts.board_table(made, yard.now_ms, "core")
    assert {len(row) for row in rows} == {len(board_charts.table_head("core"))}
    assert (
        rows[0][1] == f"{made.core.p50[0]:.1f} %" and rows[0][4] == f"{made.core.p025[0]:.1f}–{made.core.p975[0]:.1f}"
    )


def test_the_chart_of_dates_has_a_mark_for_each_telling(made, yard):
    now = yard.now_ms
    told = replace(made, history=(said(now, -40, None), said(now, -20, 42)), ready_ms=(now, day_ms(now, 10), None))
    figure = board_charts.dates_figure(told, now)
    go.Figure(data=figure["data"], layout=figure["layout"])
    named = {one["name"]: one for one in figure["data"]}
    assert len(named["as likely as not"]["x"]) == 2 and len(named["not within a year"]["x"]) == 1
    assert board_charts.dates_worth_drawing(told)
    assert not board_charts.dates_worth_drawing(replace(told, history=told.history[:1]))


def marks_of(bar):
    return [float(one) for one in re.findall(r'd="M([\d.]+) 2\.0v', str(bar))]


def test_a_date_half_a_year_ahead_stands_in_the_middle_of_its_bar():
    (middle,) = marks_of(date_bar((day_ms(0, 100), day_ms(0, 182.5), day_ms(0, 300)), 0))
    assert middle == pytest.approx(WIDTH / 2, abs=0.5)
    assert marks_of(date_bar((None, None, None), 0)) == []
    late, later = (str(date_bar((day_ms(0, 100), None, end), 0)) for end in (None, day_ms(0, 300)))
    assert late != later and marks_of(late) == []
