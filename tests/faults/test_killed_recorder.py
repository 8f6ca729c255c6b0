"""The recorder is killed under load: nothing that the broker acknowledged is missing, nothing is doubled."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from harness import Publisher, Yard, check

Yards = Callable[..., Yard]


def kill_under_load(yard: Yard, publisher: Publisher, kills: int) -> None:
    publisher.start()
    for _ in range(kills):
        yard.wait_for(yard.count() + 100)
        yard.kill_recorder()
    yard.wait_for(yard.count() + 100)
    publisher.finish()
    yard.wait_for(len(publisher.acknowledged))


@pytest.mark.parametrize(("kind", "untimed"), [("mosquitto", True), ("embedded", False)])
def test_a_recorder_killed_three_times_under_load_misses_nothing_and_doubles_nothing(
    kind: str, untimed: bool, yards: Yards
) -> None:
    yard = yards(kind)
    publisher = Publisher(yard.broker.port, untimed=untimed)
    kill_under_load(yard, publisher, 3)
    check(yard.store, publisher.acknowledged, said=f"3 kills, {kind}")


@pytest.mark.slow
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("untimed", [False, True])
def test_a_recorder_killed_thirty_times_under_load_misses_nothing_and_doubles_nothing(
    untimed: bool, yards: Yards
) -> None:
    yard = yards()
    publisher = Publisher(yard.broker.port, untimed=untimed, topics=40, per_second=300)
    kill_under_load(yard, publisher, 30)
    check(yard.store, publisher.acknowledged, said="30 kills")


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_a_recorder_that_writes_rarely_loses_nothing_either_when_it_is_killed(yards: Yards) -> None:
    yard = yards("mosquitto", "commit_every_s=2.0")
    publisher = Publisher(yard.broker.port, untimed=True, per_second=100)
    kill_under_load(yard, publisher, 6)
    check(yard.store, publisher.acknowledged, said="6 kills, commits each 2 s")
