"""What people meet: pages, terminal, notifications; and the watch that keeps projections fresh."""
