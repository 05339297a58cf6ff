"""Room: standards."""
