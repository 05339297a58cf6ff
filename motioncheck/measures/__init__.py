"""Room: measures."""
