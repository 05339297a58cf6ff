"""Room: splitting."""
