"""What the tables are made of: the naming of their constraints, the columns of every entry, lists of months."""

from __future__ import annotations

import json

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    TypeDecorator,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def facts(name: str, *columns: Column[object] | CheckConstraint) -> Table:
    """A table of entries: never changed, never deleted; a correction supersedes, an undo withdraws."""
    return Table(
        name,
        metadata,
        Column("id", Integer, primary_key=True),
        Column("subject_id", Integer, ForeignKey("subject.id"), nullable=False),
        Column("true_at_ms", BigInteger, nullable=False),
        Column("entered_at_ms", BigInteger, nullable=False),
        Column("entered_by", Text, nullable=False),
        # Unique: of two people who correct one entry at once, the second is told of the first.
        Column("supersedes", Integer, ForeignKey(f"{name}.id"), unique=True),
        Column("withdrawn", Boolean, nullable=False),
        *columns,
        Index(None, "subject_id", "true_at_ms"),
    )


class Months(TypeDecorator[tuple[float, ...]]):
    """Twelve numbers, January first, as JSON in a text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: tuple[float, ...] | None, dialect: Dialect) -> str | None:
        """Return the text that is stored."""
        return None if value is None else json.dumps(value, allow_nan=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> tuple[float, ...] | None:
        """Return the numbers that were stored."""
        return None if value is None else tuple(float(one) for one in json.loads(value))


def id_of_subject(name: str) -> Column[object]:
    """A thing that the entry names, if it does."""
    return Column(name, Integer, ForeignKey("subject.id"))


def positive(name: str) -> Column[object]:
    """A number above nothing."""
    return Column(name, Float, CheckConstraint(f"{name} > 0", name=f"{name}_positive"), nullable=False)


def positive_if_any(name: str) -> Column[object]:
    """A number above nothing, or none."""
    return Column(name, Float, CheckConstraint(f"{name} > 0", name=f"{name}_positive"))


def not_negative_if_any(name: str) -> Column[object]:
    """A number from nothing up, or none."""
    return Column(name, Float, CheckConstraint(f"{name} >= 0", name=f"{name}_not_negative"))


def text(name: str) -> Column[object]:
    """Text that may be empty."""
    return Column(name, Text, nullable=False)


def angle(name: str) -> Column[object]:
    """An angle between two lines [degrees]."""
    return Column(name, Float, CheckConstraint(f"{name} BETWEEN 0 AND 90", name=f"{name}_0_to_90"), nullable=False)
