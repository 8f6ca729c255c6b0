"""How the store stands: whether it takes a commit, what waits in its log, how fast it fills, whose clock is off."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, func, select, text

from shared.store import facts
from shared.store import schema as s
from shared.store.engine import Store
from shared.store.keeping import told_in_a_sentence
from shared.store.readings import all_series
from shared.units import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE


def require_writable(store: Store) -> None:
    """Make one real commit that changes nothing; raises Refused when the store cannot be written."""
    with told_in_a_sentence(f"The store {store.path} cannot be written"), store.writing() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = version_num"))


def log_bytes(store: Store) -> int:
    """Return how large the write-ahead log beside the store is; 0 without one."""
    log = Path(f"{store.path}-wal")
    return log.stat().st_size if log.exists() else 0


def readings_per_day(connection: Connection, now_ms: int) -> float | None:
    """Return at which rate readings came on the store's last day; None while there are none.

    The last day is the 24 h before the newest reading that is not later than ``now_ms`` (UTC ms), by the
    probes' clocks, to ten minutes; of a store younger than a day, what there is, but at least an hour.
    """
    tier = s.tier_10min
    series = [one.id for one in all_series(connection)]
    newest = [_edge(connection, func.max(tier.c.bucket_ms), one, now_ms) for one in series]
    end_ms = max((at for at in newest if at is not None), default=None)
    if end_ms is None:
        return None
    begin_ms, count, first_ms = end_ms - MS_PER_DAY, 0, end_ms
    for one in series:
        inside = (tier.c.series_id == one) & (tier.c.bucket_ms > begin_ms) & (tier.c.bucket_ms <= end_ms)
        found = select(func.coalesce(func.sum(tier.c.n + tier.c.bad), 0), func.min(tier.c.bucket_ms)).where(inside)
        held, first = connection.execute(found).one()
        count += held
        first_ms = min(first_ms, end_ms if first is None else first)
    span_ms = max(end_ms + 10 * MS_PER_MINUTE - first_ms, MS_PER_HOUR)
    return count * MS_PER_DAY / span_ms


def _edge(connection: Connection, edge, series_id: int, now_ms: int) -> int | None:  # type: ignore[no-untyped-def]
    inside = (s.tier_10min.c.series_id == series_id) & (s.tier_10min.c.bucket_ms <= now_ms)
    found = connection.execute(select(edge).where(inside)).scalar()
    return None if found is None else int(found)


def newest_arrival_ms(connection: Connection) -> int | None:
    """Return when, by this machine's clock, the newest batch arrived; None when none has."""
    found = connection.execute(select(s.batch.c.arrived_ms).order_by(s.batch.c.id.desc()).limit(1)).scalar()
    return None if found is None else int(found)


def entries(connection: Connection) -> int:
    """Return how many entries people have made, those that were taken back or corrected too."""
    counted = [select(func.count()).select_from(table) for table in facts.TABLES.values()]
    return sum(int(connection.execute(one).scalar_one()) for one in counted)


def series_ahead(connection: Connection, now_ms: int) -> tuple[int, int]:
    """Return how many series have a reading stamped later than ``now_ms`` (UTC ms), and how many have any."""
    ahead = heard = 0
    for one in all_series(connection):
        newest = connection.execute(select(func.max(s.reading.c.at_ms)).where(s.reading.c.series_id == one.id)).scalar()
        heard += newest is not None
        ahead += newest is not None and newest > now_ms
    return ahead, heard
