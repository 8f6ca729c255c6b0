"""`python -m dashboards.terminal`: the same as `benchdry`."""

from dashboards.terminal import main

main()
