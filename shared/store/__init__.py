"""All SQL of the project: the schema, its migrations, and queries that return small frozen records."""

from shared.store.engine import Store

__all__ = ["Store"]
