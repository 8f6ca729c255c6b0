"""Projections worked out earlier: a cache that can be thrown away and made again."""

from __future__ import annotations

from sqlalchemy import Connection, delete, func, select
from sqlalchemy.dialects.sqlite import insert

from shared.store import schema as s
from shared.store.records import CachedProjection


def put_projection(connection: Connection, made: CachedProjection) -> None:
    """Keep a board's projection in place of any earlier one."""
    values = {"input_key": made.input_key, "computed_at_ms": made.computed_at_ms, "body": made.body}
    statement = insert(s.projection).values(board_id=made.board_id, **values)
    connection.execute(statement.on_conflict_do_update(index_elements=["board_id"], set_=values))


def projections(connection: Connection) -> dict[int, CachedProjection]:
    """Return every cached projection by board."""
    return {
        row.board_id: CachedProjection(row.board_id, row.input_key, row.computed_at_ms, row.body)
        for row in connection.execute(select(s.projection))
    }


def projection(connection: Connection, board_id: int) -> CachedProjection | None:
    """Return one board's cached projection."""
    row = connection.execute(select(s.projection).where(s.projection.c.board_id == board_id)).first()
    return None if row is None else CachedProjection(row.board_id, row.input_key, row.computed_at_ms, row.body)


def newest_projection_ms(connection: Connection) -> int:
    """Return when the newest projection was worked out; 0 without any."""
    return int(connection.execute(select(func.coalesce(func.max(s.projection.c.computed_at_ms), 0))).scalar_one())


def drop_projections(connection: Connection) -> None:
    """Throw the cache away."""
    connection.execute(delete(s.projection))
