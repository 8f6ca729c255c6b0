"""All SQL of the project: the schema, its migrations, and queries that return small frozen records."""

from sqlalchemy import Connection

from shared.store.engine import Store

__all__ = ["Connection", "Store"]
