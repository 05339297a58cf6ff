"""Standards: one declarative file a movement, validated when read."""

from motioncheck.standards.loader import (
    LoadedStandard,
    get_standard,
    load_standard_file,
    load_standards,
)
from motioncheck.standards.schema import Camera, Check, Judgement, Split, Standard

__all__ = [
    "Camera",
    "Check",
    "Judgement",
    "LoadedStandard",
    "Split",
    "Standard",
    "get_standard",
    "load_standard_file",
    "load_standards",
]
