"""What the other three packages stand on: units, settings, published tables, and the store."""
