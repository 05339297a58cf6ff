"""Room: cleaning."""
