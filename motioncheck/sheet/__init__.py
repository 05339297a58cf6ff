"""Room: sheet."""
