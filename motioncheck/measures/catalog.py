"""The registry of measures, filled."""

from __future__ import annotations

from motioncheck.measures.angles import ANGLES
from motioncheck.measures.ratios import RATIOS, TIMES
from motioncheck.measures.registry import Registry

REGISTRY = Registry((*ANGLES, *RATIOS, *TIMES))
