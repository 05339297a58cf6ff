"""The registry of measures, filled."""

from __future__ import annotations

from motioncheck.measures.angles import ANGLES
from motioncheck.measures.load_entries import LOAD_ANGLES, LOAD_RATIOS
from motioncheck.measures.ratios import RATIOS, TIMES
from motioncheck.measures.registry import Registry

REGISTRY = Registry((*ANGLES, *LOAD_ANGLES, *RATIOS, *LOAD_RATIOS, *TIMES))
