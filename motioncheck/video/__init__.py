"""Room: video."""
