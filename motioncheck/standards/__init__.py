"""Standards: one declarative file a movement, validated when read."""

from motioncheck.standards.loader import (
    LoadedStandard,
    find_standard,
    get_standard,
    load_standard_file,
    load_standards,
    require_movement,
)
from motioncheck.standards.parts import Window
from motioncheck.standards.ranges import ANYONE, Norm, Person, Range
from motioncheck.standards.schema import (
    Camera,
    Check,
    Feature,
    Judgement,
    NamingSignal,
    Standard,
)
from motioncheck.standards.splits import CycleSplit, HoldSplit, Split, Stage, StageSplit

__all__ = [
    "ANYONE",
    "Camera",
    "Check",
    "CycleSplit",
    "Feature",
    "HoldSplit",
    "Judgement",
    "LoadedStandard",
    "NamingSignal",
    "Norm",
    "Person",
    "Range",
    "Split",
    "Stage",
    "StageSplit",
    "Standard",
    "Window",
    "find_standard",
    "get_standard",
    "load_standard_file",
    "load_standards",
    "require_movement",
]
