"""The two small drawings of a stack's page: a loss a day against what the wood survives, and a week of air."""

import re

import numpy as np
import pytest

from dashboards import stack_drawings
from dashboards.pages import stack_pace
from kiln import stress
from kiln.pace import Pace
from kiln.records import Standing
from shared.units import MS_PER_DAY, MS_PER_HOUR

LIMIT = stress.LossLimit(2.0, "a book", "published")


def pace_at(loss, *, counts=True, limit=LIMIT, standing=Standing.UNDER):
    return Pace(loss, limit, 25.0, counts, standing if counts and limit else None)


def test_a_bar_is_as_long_as_the_loss_and_its_notch_stands_at_the_limit():
    one = pace_at((0.8, 1.0, 1.3))
    drawn = stack_drawings.loss_bar(one, 4.0, "a")
    (bar,) = re.findall(r'class="lost" d="M2 14H([\d.]+)V28', drawn)
    (notch,) = re.findall(r'class="notch" d="M[\d.]+ 2h16L([\d.]+) 13Z"', drawn)
    low, high = re.findall(r'class="band" d="M([\d.]+) 16v10M[\d.]+ 21H([\d.]+)M', drawn)[0]
    whole = stack_drawings.WIDTH - 2 * stack_drawings.LEFT
    shares = [(float(x) - stack_drawings.LEFT) / whole for x in (bar, notch, low, high)]
    assert shares == pytest.approx([1.0 / 4, 2.0 / 4, 0.8 / 4, 1.3 / 4], abs=0.001)
    assert "survives 2.0 % a day" in drawn


def test_without_a_limit_there_is_no_notch_and_it_is_said_why():
    none, dry = pace_at((0.8, 1.0, 1.3), limit=None), pace_at((0.8, 1.0, 1.3), counts=False)
    assert "notch" not in stack_drawings.loss_bar(none, 4.0, "a")
    assert "nothing says how fast is too fast" in stack_pace.said(none)
    assert "notch" not in stack_drawings.loss_bar(dry, 4.0, "a") and stack_pace.said(dry).startswith("Below 25 %")


@pytest.mark.parametrize(
    ("standing", "begin"), [(Standing.OVER, "Over"), (Standing.NEAR, "Perhaps over"), (Standing.UNDER, "Under")]
)
def test_how_a_loss_stands_to_its_limit_is_said(standing, begin):
    told = stack_pace.said(pace_at((1.0, 2.0, 3.0), standing=standing))
    assert told == f"{begin} what this wood survives at this thickness, 2.0 % a day."


def test_a_gap_in_the_air_stays_a_gap_in_its_line():
    hours = np.arange(0, 7 * MS_PER_DAY, MS_PER_HOUR)
    emc = np.where((hours > 2 * MS_PER_DAY) & (hours < 3 * MS_PER_DAY), np.nan, 14.0)
    drawn = stack_drawings.week_line(hours, emc, 7 * MS_PER_DAY)
    (line,) = re.findall(r'<path d="(M[^"]*)" fill="none" stroke="#5b3f8c"', drawn)
    assert line.count("M") == 2
    assert stack_drawings.week_line(hours, np.full(len(hours), np.nan), 7 * MS_PER_DAY) == ""
