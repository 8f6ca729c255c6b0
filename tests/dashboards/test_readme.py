"""The commands of the README do what it says, in its order, in a new yard."""

import contextlib
import io
import os
import re
import shlex
import sys
from datetime import UTC, datetime
from pathlib import Path
from unittest import mock

import pytest

from dashboards.terminal import home, main
from shared.store import Store, facts, readings
from shared.store.records import NewReading, Quality, Quantity, SubjectKind, TimeSource
from shared.units import MS_PER_HOUR

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
RUN_FOR_EVER = ("benchdry run", "benchdry password")


def commands() -> list[str]:
    """Return the README's commands of a yard, without the comments behind them; its days ahead are next year's."""
    ahead = README.replace("2027-", f"{datetime.now(UTC).year + 1}-")
    lines = [line.strip().partition("  #")[0] for line in ahead.splitlines() if line.startswith("    benchdry ")]
    return [line for line in lines if not line.startswith(RUN_FOR_EVER)]


def run(line: str, folder: Path) -> tuple[int, str]:
    said, left = io.StringIO(), 0
    with (
        mock.patch.dict(os.environ, {"COLUMNS": "200", "BENCHDRY_FOLDER": str(folder), "HOME": str(folder)}),
        mock.patch.object(sys, "argv", [word.replace("~", str(folder)) for word in shlex.split(line)]),
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(said),
    ):
        try:
            main()
        except SystemExit as ended:
            left = ended.code or 0
    return left, said.getvalue()


def hear(folder: Path) -> None:
    """Let the probes of the README be heard, as the recorder would, and let there be its log file."""
    (folder / "logs").mkdir()
    months = [f"{month},{3 * month},75" for month in range(1, 13)]
    (folder / "shed-months.csv").write_text("\n".join(["month,temperature_c,rh_pct", *months]))
    (folder / "logs" / "shed-2025.csv").write_text("time,temperature_c,rh_pct\n2025-04-01T06:00:00Z,11.5,68\n")
    store = Store(home.find(folder).store_path)
    now_ms = home.now_ms()
    with store.writing() as connection:
        rows = []
        for probe, quantity, value in (
            ("shed-north", Quantity.TEMPERATURE_C, 18.4),
            ("shed-north", Quantity.RH_PCT, 71.0),
            ("hook", Quantity.MASS_KG, 5.52),
        ):
            one = facts.subject(connection, SubjectKind.PROBE, probe)
            series = readings.series_of(connection, one.id, quantity)
            for hour in range(48):
                at_ms = now_ms - hour * MS_PER_HOUR
                rows.append(NewReading(series, at_ms, value + 0.01 * hour, Quality.GOOD, TimeSource.PAYLOAD))
        readings.append(connection, rows, now_ms)
    store.close()


def test_the_readmes_commands_work_one_after_the_other(tmp_path):
    assert commands()[0].startswith("benchdry init")
    for line in commands():
        code, said = run(line, tmp_path)
        no_broker = line == "benchdry doctor" and code == 1 and "There is no broker at" in said
        assert code == 0 or no_broker, f"{line}\n{said}"
        if line.startswith("benchdry place add shed"):  # the probe has been heard by now
            for probe in ("shed-north", "hook"):
                assert run(f"benchdry probe add {probe} --topic workshop/{probe}", tmp_path)[0] == 0
            hear(tmp_path)


@pytest.mark.parametrize("spoken", re.findall(r"`benchdry ([a-z-]+(?: [a-z-]+)?)", README))
def test_every_command_that_the_readme_speaks_of_is_there(spoken, tmp_path):
    code, said = run(f"benchdry {spoken} --help", tmp_path)
    assert code == 0, said
