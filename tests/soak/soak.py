"""The long one: `make soak`. Recorder and broker are killed at random over a million acknowledged readings.

    python tests/soak/soak.py

Set in the environment: SOAK_READINGS (1,000,000), SOAK_RECORDER_KILLS (200), SOAK_BROKER_KILLS (50),
SOAK_PER_SECOND (800), SOAK_SEED (a number), SOAK_UNTIMED (0; with 1 every second reading comes without a time of
its own, for kills of the recorder alone: a broker that comes back from an older save sends again without saying
so). Prints a line for docs/soak.md.

The broker is killed while the recorder is there and has taken what was sent; what it alone holds (a recorder
that is away) survives a kill only as far as it was saved, and no recorder can change that.
"""

from __future__ import annotations

import os
import platform
import random
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "faults")]

from harness import Publisher, Sum, Yard, check, wait_until  # noqa: E402


def asked(name: str, default: int) -> int:
    """Return a number from the environment."""
    return int(os.environ.get(f"SOAK_{name}", default))


def soak(yard: Yard, publisher: Publisher, readings: int, plan: list[str], chance: random.Random) -> None:
    """Kill as planned, evenly over the readings, each time at another moment of a batch; then let all be stored."""
    yard.save_broker()
    publisher.start()
    each = readings // (len(plan) + 1)
    for number, victim in enumerate(plan, start=1):
        yard.wait_for(each * number)
        if victim == "broker":
            yard.catch_up(publisher)
        time.sleep(chance.uniform(0, 0.2))
        yard.kill_broker() if victim == "broker" else yard.kill_recorder()
        print(f"{number} of {len(plan)} kills ({victim}), {len(publisher.acknowledged):,} acknowledged", flush=True)
    wait_until(lambda: publisher.sent >= readings)
    publisher.finish()
    wait_until(lambda: yard.count() >= len(publisher.acknowledged), yard.is_running)


def report(found: Sum, plan: list[str], took_s: float, seed: int, untimed: bool) -> str:
    """Return the line for docs/soak.md."""
    commit = subprocess.run(["git", "describe", "--always", "--dirty"], cwd=ROOT, capture_output=True, text=True)
    cells = [
        f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC",
        commit.stdout.strip() or "unknown",
        f"{os.cpu_count()} cores, {platform.system()} {platform.machine()}, Python {platform.python_version()}",
        f"{took_s / 60:.1f} min",
        f"{plan.count('recorder')}",
        f"{plan.count('broker')}",
        "half of them" if untimed else "none",
        f"{found.sent:,}",
        f"{found.stored:,}",
        f"{found.duplicates}",
        f"{found.conflicts}",
        f"{found.rejected}",
        f"{seed}",
    ]
    return "| " + " | ".join(cells) + " |"


def main() -> None:
    """Run it once and print the line."""
    untimed, seed = bool(asked("UNTIMED", 0)), asked("SEED", int(time.time()))
    plan = ["recorder"] * asked("RECORDER_KILLS", 200) + ["broker"] * asked("BROKER_KILLS", 50)
    chance = random.Random(seed)
    chance.shuffle(plan)
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="soak-") as folder:
        yard = Yard(Path(folder))
        try:
            publisher = Publisher(yard.broker.port, per_second=asked("PER_SECOND", 800), topics=40, untimed=untimed)
            soak(yard, publisher, asked("READINGS", 1_000_000), plan, chance)
            found = check(yard.store, publisher.acknowledged)
        finally:
            yard.close()
    print(report(found, plan, time.monotonic() - began_s, seed, untimed))


if __name__ == "__main__":
    main()
