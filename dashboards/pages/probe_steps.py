"""What to do about a probe that is not heard or not believed: the likeliest and easiest first."""

from __future__ import annotations

from dashboards.heard import ProbeNow
from dashboards.pages.today import oldest_ms

# In which order to look: common practice, no source.
OF_SILENT = (
    "Battery: change or charge it, and wait for its next reading.",
    "Reach: bring it nearer to its receiver; metal, water and wet wood between them swallow radio.",
    "Moved: see that it still hangs where it is said to measure, and is switched on.",
)
OF_STUCK = (
    "Breathe on it: the figure must move within minutes.",
    "If it does not, take its power off for a minute, and look again.",
    "If it stays as it is, hang another in its place; what it says is kept, and not believed.",
)
OF_HALF = ("See that it is set to publish both temperature and humidity, each on its topic.",)


def last_heard_ms(probe: ProbeNow, now_ms: int) -> int | None:
    """Return when a probe that has fallen silent was last heard; None of one that is heard, or half heard."""
    last = oldest_ms(probe)
    silent = probe.state == "silent" and last is not None and now_ms - last > probe.habit.silent_after_ms
    return last if silent else None


def steps(probe: ProbeNow, now_ms: int) -> tuple[str, ...]:
    """Return what to do, in order; nothing where it is heard and believed."""
    if probe.state == "stuck":
        return OF_STUCK
    if probe.state != "silent":
        return ()
    return OF_HALF if last_heard_ms(probe, now_ms) is None else OF_SILENT


def told(probe: ProbeNow, now_ms: int) -> str:
    """Return the steps in a line: of a silent probe what to look at, in order, else the first."""
    found = steps(probe, now_ms)
    if found is OF_SILENT:
        return "Look at 1 battery, 2 reach, 3 whether it was moved."
    return found[0] if found else ""
