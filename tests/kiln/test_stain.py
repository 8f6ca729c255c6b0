"""Blue stain: hours in the moisture and warmth in which it grows, and the day when a shell leaves them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiln import stain
from shared.units import MS_PER_DAY, MS_PER_HOUR


@pytest.mark.parametrize(
    ("shell_pct", "temperature_c", "grows"),
    [(25, 20, True), (150, 5, True), (24.9, 20, False), (151, 20, False), (80, 4, False), (80, 36, False)],
)
def test_the_window(shell_pct, temperature_c, grows):
    """25 to 150 % MC, 5 to 35 °C: from memory."""
    assert bool(stain.in_window(shell_pct, temperature_c)) is grows


def test_what_is_not_known_does_not_count():
    assert not stain.in_window(np.nan, 20.0)
    assert not stain.in_window(80.0, np.nan)


@given(st.integers(0, 2**32 - 1), st.integers(0, 40))
def test_hours_are_those_that_were_warm_while_the_shell_was_wet(seed, skipped):
    rng = np.random.default_rng(seed)
    t = rng.uniform(-5.0, 40.0, 24 * 12)
    hour_ms = np.arange(len(t), dtype=np.int64) * MS_PER_HOUR
    at_ms = (np.arange(12, dtype=np.int64) * 24 + skipped) * MS_PER_HOUR
    shell = rng.uniform(10.0, 180.0, (3, len(at_ms)))
    found = stain.hours_so_far(at_ms, shell, hour_ms, t)
    for member in range(3):
        counted = 0
        for hour, warmth in zip(hour_ms, t, strict=True):
            day = int(np.searchsorted(at_ms, hour, side="right")) - 1
            if 0 <= day < len(at_ms) - 1:
                counted += bool(stain.in_window(shell[member, day : day + 2].mean(), warmth))
        assert found[member] == counted


def test_it_leaves_when_the_shell_is_first_too_dry():
    at_ms = np.arange(4, dtype=np.int64) * MS_PER_DAY
    shell = np.array([[40.0, 30.0, 24.0, 30.0], [20.0, 20.0, 20.0, 20.0], [60.0, 50.0, 40.0, 30.0]])
    assert stain.leaves_ms(at_ms, shell).tolist() == [2 * MS_PER_DAY, 0.0, np.inf]
