"""What a recorder says of what it recovered, when it starts, once it has caught up and when it stops."""

from __future__ import annotations

import logging
from typing import Any

import pytest

from sensors import recovery
from sensors.client import Arrived
from sensors.recovery import Counts

Bench = Any  # in conftest.py


def reading(mid: int, at_ms: int) -> Arrived:
    payload = f'{{"humidity": 71, "ts": {at_ms}}}'.encode()
    return Arrived("workshop/shed", payload, retained=False, repeated=False, mid=mid, qos=1, life=1)


def told(caplog: pytest.LogCaptureFixture) -> list[str]:
    said = [record.getMessage() for record in caplog.records]
    caplog.clear()
    return said


def test_the_story_of_a_recorder_that_is_killed_and_one_that_is_stopped(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "benchdry.recorder")
    bench.start()
    assert "the first recorder on this store" in told(caplog)
    bench.give(reading(1, bench.ms), reading(2, bench.ms + 1))
    bench.commit()
    assert any("came in 0 s: 2 readings stored" in one for one in told(caplog))
    bench.start()  # after a kill: the first two come again, with a third and one that is nothing
    (before, *_others) = told(caplog)
    assert before.startswith("the recorder before ended without a word; its last sign of life is of 20")
    bench.give(reading(1, bench.ms - 1800), reading(2, bench.ms - 1799), reading(3, bench.ms))
    bench.give(Arrived("workshop/shed", b"?", retained=False, repeated=False, mid=4, qos=1, life=1))
    bench.commit()
    (caught_up,) = [one for one in told(caplog) if one.startswith("connected")]
    assert "1 reading stored, 2 were stored already, 1 message refused" in caught_up
    bench.recorder.run(lambda: True)
    assert told(caplog)[-1] == (
        "stopped: 1 reading stored, 2 came again, 0 contradicted what was stored, 1 message refused; "
        "nothing is left waiting"
    )
    bench.start()
    assert any(one.startswith("the recorder before stopped in order at 20") for one in told(caplog))


def test_a_store_that_cannot_be_written_is_told_at_the_end(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, "benchdry.recorder")
    bench.start()
    bench.store.failures_before = 100
    bench.give(reading(1, bench.ms))
    bench.recorder.run(lambda: True)
    assert "1 message could not be stored (cannot write to the store" in told(caplog)[-1]
    assert bench.client.acknowledged == []


def test_nothing_that_waited_and_a_session_that_was_not_kept_are_told_apart() -> None:
    nothing = Counts(0, 0, 0, 0, 0)
    assert recovery.caught_up(nothing, nothing, 0.0, session_kept=True).endswith("nothing had waited at the broker")
    assert recovery.caught_up(nothing, nothing, 0.0, session_kept=False).endswith("had kept nothing for us")
    late = recovery.caught_up(nothing, Counts(5, 0, 0, 0, 3), 12.4, session_kept=True)
    assert late.endswith("in 12 s: 5 readings stored, 3 without a time of their own flagged as late")
