"""Room: landmarks. The pose model, who is the athlete, and keeping tracks.

The doors: `extract_track` follows the athlete through a clip; `save_track`, `load_track` and
`TrackCache` keep the result; `load_bundle`, `bundle_sha256` and `model_sha256` tell about the
model carried. Importing this room does not import the pose library.
"""

from motioncheck.landmarks.cache import TrackCache, TrackKey, name_clip_entries
from motioncheck.landmarks.follow import FollowOptions, extract_track
from motioncheck.landmarks.model import (
    MODELS,
    Pose,
    PoseModel,
    bundle_sha256,
    load_bundle,
    model_sha256,
)
from motioncheck.landmarks.store import load_track, save_track

__all__ = [
    "MODELS",
    "FollowOptions",
    "Pose",
    "PoseModel",
    "TrackCache",
    "TrackKey",
    "bundle_sha256",
    "extract_track",
    "load_bundle",
    "load_track",
    "model_sha256",
    "name_clip_entries",
    "save_track",
]
