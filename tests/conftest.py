"""Makes the builders beside the tests importable from the folders below."""
