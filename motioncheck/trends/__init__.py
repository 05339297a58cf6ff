"""How measures of one person changed between sessions, and what the method can see at all."""

from motioncheck.trends.trend import compute_trends

__all__ = ["compute_trends"]
