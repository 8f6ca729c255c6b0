"""The tables of what is derived: projections, what was judged of each thing, and what is to be told outside."""

from __future__ import annotations

from sqlalchemy import BigInteger, Boolean, Column, Float, ForeignKey, Index, Integer, Table

from shared.store.columns import metadata, text

# A cache that can be thrown away.
projection = Table(
    "projection",
    metadata,
    Column("board_id", Integer, ForeignKey("subject.id"), primary_key=True),
    text("input_key"),
    Column("computed_at_ms", BigInteger, nullable=False),
    text("body"),
)

# A row for every change of what is said of a board or a set: the journal of verdicts, never altered.
verdict = Table(
    "verdict",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("subject_id", Integer, ForeignKey("subject.id"), nullable=False),
    Column("at_ms", BigInteger, nullable=False),
    text("word"),
    text("number"),
    text("reason"),
    text("next_step"),
    Column("probability", Float),
    Column("known_entry", BigInteger, nullable=False),
    Column("known_until_ms", BigInteger),
    text("body"),
    Index(None, "subject_id", "at_ms"),
)

# Messages on their way out; a row that was sent stays until it is pruned.
outbox = Table(
    "outbox",
    metadata,
    Column("id", Integer, primary_key=True),
    text("topic"),
    text("payload"),
    Column("retain", Boolean, nullable=False),
    Column("made_ms", BigInteger, nullable=False),
    Column("sent_ms", BigInteger),
    Column("tries", Integer, nullable=False),
    Column("next_try_ms", BigInteger, nullable=False),
    text("note"),
    Index(None, "sent_ms", "topic"),
)
