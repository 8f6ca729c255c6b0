"""The store's history, one step a file; Alembic runs them."""
