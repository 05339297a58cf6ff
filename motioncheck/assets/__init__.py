"""Room: assets."""
