"""Room: landmarks."""
