"""Movement as it is drawn and said: bars on one scale, the words beside them."""

import re

import pytest

from dashboards import promise_drawings as drawings
from dashboards.pages.promise import changes_words, headline
from kiln.promise import air_of


def test_a_scale_holds_every_band_and_nought():
    scale = drawings.scale_of([(-0.0151, -0.0098, -0.0049), (-0.011, -0.006, 0.0012)])
    assert scale.low_mm <= -15.1 and scale.high_mm >= 1.2
    flat = drawings.scale_of([(0.0, 0.0, 0.0)])
    assert flat.low_mm <= 0.0 < flat.high_mm  # nothing moves: still a scale
    assert drawings.scale_of([]).low_mm == 0.0


def test_a_bar_reaches_from_nought_to_its_middle():
    scale = drawings.Scale(-10.0, 10.0)
    bar = str(drawings.bar((-0.008, -0.005, -0.002), scale))
    (left, wide) = map(float, re.search(r'<rect x="([\d.]+)" y="12" width="([\d.]+)"', bar).groups())
    assert left + wide == pytest.approx(scale.x(0.0)) and left == pytest.approx(scale.x(-5.0))


def test_which_way_is_said_in_words_and_the_band_beside_it():
    assert changes_words((-0.0111, -0.0091, -0.0075)) == "9.1 mm narrower (7.5 to 11.1 mm)"
    assert changes_words((0.0003, 0.0012, 0.0022)) == "1.2 mm wider (0.3 to 2.2 mm)"
    assert changes_words((-0.0011, 0.00001, 0.001)) == "as wide as now (1.1 mm narrower to 1.0 mm wider)"
    assert changes_words((-0.0005, -0.0003, -0.0001)) == "0.30 mm narrower (0.10 to 0.50 mm)"


def test_the_scale_carries_its_round_figures_and_ticks():
    drawn = str(drawings.axis(drawings.scale_of([(-0.0036, 0.0, 0.0037)])))
    assert "narrower, −4 mm" in drawn and "wider, 4 mm" in drawn
    assert ">−2 mm<" in drawn and ">2 mm<" in drawn and ">0<" in drawn


def test_the_summary_tells_both_ends_the_greater_first():
    winter, week, summer = (air_of(name, 20.0, 50.0) for name in ("a heated house", "its driest week", "a damp house"))
    changes = [(winter, (-0.0021, -0.0011, -0.0002)), (week, (-0.001, 0.0, 0.001)), (summer, (0.0003, 0.0012, 0.0022))]
    assert headline(changes, "it becomes") == (
        "In a damp house it becomes 1.2 mm wider (0.3 to 2.2 mm); in a heated house 1.1 mm narrower (0.2 to 2.1 mm)."
    )
    assert headline(changes[:1], "it becomes") == "In a heated house it becomes 1.1 mm narrower (0.2 to 2.1 mm)."
    assert headline([], "it becomes") == ""
