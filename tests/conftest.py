"""Makes the builders beside the tests importable from the folders below, and sets up hypothesis.

Examples are the same in every run; `--hypothesis-profile=search` draws new ones.
"""

from __future__ import annotations

from hypothesis import settings

# No time limit for one example: the machine may be busy.
settings.register_profile("default", deadline=None, derandomize=True)
settings.register_profile("search", deadline=None, max_examples=1000)
settings.load_profile("default")
