"""The commands of `benchdry`."""
