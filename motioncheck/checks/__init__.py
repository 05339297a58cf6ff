"""Room: checks."""
