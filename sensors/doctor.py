"""The doctor: looks at store, machine, recorder and broker, and says what can lose readings and what mends it."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from sensors import broker_config, doctor_broker, doctor_queue, doctor_verdicts
from sensors.findings import Finding, Level, time_words
from shared.errors import BadInput, Refused
from shared.settings import FILE_NAME, Settings
from shared.store import Store, condition, keeping, readings
from shared.store.engine import WAL_KEPT_BYTES
from shared.store.records import RecorderState
from shared.units import MS_PER_DAY, MS_PER_MINUTE, datetime_from_ms

__all__ = ["Finding", "Level", "examine"]

FREE_WRONG_BYTES, FREE_CARE_BYTES = 200_000_000, 1_000_000_000
READING_BYTES = 30  # 22 measured for a reading, and its share of the summaries
LOG_CARE_BYTES = 4 * WAL_KEPT_BYTES
BEAT_QUIET_MS = MS_PER_MINUTE  # it beats every five seconds
STEP_MS = 5 * MS_PER_MINUTE
NOT_BEFORE_MS = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp() * 1000)  # older than this program
STOPPED = "stopped"
STORE_REMEDY = "do what it says; `benchdry check-store` looks deeper, `benchdry restore` brings a backup back"


def examine(
    settings: Settings,
    store: Store,
    now_ms: int,
    folder: Path = Path(),
    broker_configuration: Path | None = None,
) -> list[Finding]:
    """Return everything that was looked at, in the order of the way from store to broker.

    ``now_ms`` is UTC ms; files named in the settings lie in ``folder`` unless absolute;
    ``broker_configuration`` is the broker's mosquitto.conf, if it can be read from here. Nothing raises
    for what is found; a configuration that cannot be read is a finding too.
    """
    found = [*_settings_file(folder), *_machine(now_ms)]
    per_day = None
    try:
        per_day, told = _store(store, settings, now_ms)
        found += told
    except Refused as refused:
        found.append(Finding(Level.WRONG, str(refused), STORE_REMEDY))
    return [*found, *doctor_broker.examine_broker(settings, folder), *_queue(broker_configuration, per_day)]


def _store(store: Store, settings: Settings, now_ms: int) -> tuple[float | None, list[Finding]]:
    """Return the rate of readings a day, and what was found; raises Refused when the store cannot be read."""
    store.require()
    keeping.refuse_newer(store)
    with keeping.told_in_a_sentence(f"The store {store.path} cannot be read"), store.reading() as connection:
        per_day = condition.readings_per_day(connection, now_ms)
        state = readings.recorder_state(connection)
        arrived_ms = condition.newest_arrival_ms(connection)
        ahead = condition.series_ahead(connection, now_ms + STEP_MS)
        waits = doctor_verdicts.oldest_waiting(connection)
    told = [_writable(store), _log(store), _room(store, per_day), *_clocks(arrived_ms, ahead, now_ms)]
    return per_day, [*told, _recorder(state, now_ms), *doctor_verdicts.examine(settings, waits, now_ms)]


def _settings_file(folder: Path) -> Iterator[Finding]:
    """A password in the settings file is for its owner alone."""
    path = folder / FILE_NAME
    try:
        holds = bool(tomllib.loads(path.read_text(encoding="utf-8")).get("broker_password"))
        others = path.stat().st_mode & 0o077
    except (OSError, ValueError):
        return
    if holds and others:
        yield Finding(
            Level.CARE, f"The broker's password stands in {path}, which others can read.", f"chmod 600 {path}"
        )


def _machine(now_ms: int) -> Iterator[Finding]:
    if now_ms < NOT_BEFORE_MS:
        told = f"This machine's clock says {datetime_from_ms(now_ms):%Y-%m-%d}, which is before this program was made."
        yield Finding(
            Level.WRONG, told, "set the clock, and have it set by the network from now on (timedatectl set-ntp true)"
        )


def _writable(store: Store) -> Finding:
    try:
        condition.require_writable(store)
    except Refused as refused:
        return Finding(
            Level.WRONG, str(refused), "make room, or give yourself the right to write there; end what locks it"
        )
    return Finding(
        Level.FINE, f"The store {store.path} can be written ({keeping.megabytes(keeping.size_bytes(store))})."
    )


def _log(store: Store) -> Finding:
    size = condition.log_bytes(store)
    told = f"The store's write-ahead log holds {keeping.megabytes(size)}"
    if size > LOG_CARE_BYTES:
        remedy = "end exports and other programs that hold the store open; the log shrinks by itself then"
        return Finding(Level.CARE, f"{told}: something reads the store without an end.", remedy)
    return Finding(Level.FINE, f"{told}.")


def _room(store: Store, per_day: float | None) -> Finding:
    free = shutil.disk_usage(store.path.parent).free
    lasts = free / (per_day * READING_BYTES) if per_day else None
    told = f"There are {keeping.megabytes(free)} free beside the store"
    if lasts is not None:
        told += f", enough for about {time_words(min(lasts, 36_500))} at {per_day:,.0f} readings a day"
    level = Level.WRONG if free < FREE_WRONG_BYTES else Level.CARE if free < FREE_CARE_BYTES else Level.FINE
    remedy = "make room, or set keep_raw_days and run `benchdry compact`"
    return Finding(level, f"{told}.", "" if level is Level.FINE else remedy)


def _clocks(arrived_ms: int | None, series: tuple[int, int], now_ms: int) -> Iterator[Finding]:
    if arrived_ms is not None and arrived_ms > now_ms + STEP_MS:
        back = time_words((arrived_ms - now_ms) / MS_PER_DAY)
        told = f"This machine's clock stands {back} before the newest reading came in: it has been set back."
        yield Finding(Level.WRONG, told, "set the clock, and have it set by the network (timedatectl set-ntp true)")
        return
    ahead, heard = series
    if ahead and ahead == heard:
        told = "Every probe stamps its readings later than this machine's clock: that is the one that is wrong."
        yield Finding(Level.WRONG, told, "set the clock, and have it set by the network (timedatectl set-ntp true)")
    elif ahead:
        told = (
            f"{ahead} of {heard} series hold readings stamped later than now: their probes' clocks are ahead, or were."
        )
        yield Finding(Level.CARE, told, "set those probes' clocks, or let them send no time: arrival counts then")
    elif heard:
        yield Finding(Level.FINE, "This machine's clock and the probes' agree.")


def _recorder(state: RecorderState | None, now_ms: int) -> Finding:
    start = "start `benchdry run`, or `benchdry record` as a service"
    if state is None:
        return Finding(Level.CARE, "No recorder has written to this store yet.", start)
    age_ms = now_ms - state.beat_ms
    if state.note == STOPPED:
        ago = time_words(max(age_ms, 0) / MS_PER_DAY)
        return Finding(Level.CARE, f"The recorder was ended {ago} ago; the broker holds what comes.", start)
    if age_ms > BEAT_QUIET_MS:
        told = f"The recorder has not been heard for {time_words(age_ms / MS_PER_DAY)}: it fell over or cannot write."
        return Finding(Level.WRONG, told, start)
    if not state.connected:
        told = f"The recorder runs and is not connected: {state.note.rstrip('.')}."
        return Finding(Level.WRONG, told, "mend what is said below of the broker; the recorder comes back by itself")
    kept = "found its session again" if state.session_kept else "began a new session, as at its first start"
    return Finding(
        Level.FINE, f"The recorder runs, is connected to {state.broker} and {kept}; {state.waiting} messages wait."
    )


def _queue(path: Path | None, per_day: float | None) -> list[Finding]:
    if path is None:
        return [doctor_queue.queue_without_file(per_day)]
    try:
        return doctor_queue.examine_config(broker_config.read(path), per_day)
    except BadInput as error:
        return [
            Finding(
                Level.WRONG,
                str(error),
                "name the broker's own configuration, and run the doctor as one who may read it",
            )
        ]
