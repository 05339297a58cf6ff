"""All that the result of a clip depends on: with the same key nothing is done again."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from motioncheck import __version__
from motioncheck.batch.items import BatchItem
from motioncheck.landmarks import bundle_sha256
from motioncheck.measures import load_calibration
from motioncheck.pipeline.fitting import FIT_VERSION
from motioncheck.pipeline.options import CheckOptions
from motioncheck.standards import Person, load_standards


class Keys:
    """Makes the keys of clips.

    Parameters
    ----------
    options : CheckOptions
        The same for all clips, apart from whose clip it is.

    Raises
    ------
    StandardError, MissingPartError
        If a standard, the pose model or the calibration cannot be read.
    """

    def __init__(self, options: CheckOptions) -> None:
        loaded = load_standards(options.standards_folder)
        self.standards: Mapping[str, str] = {name: s.source_hash for name, s in loaded.items()}
        self._all = hashlib.sha256(repr(sorted(self.standards.items())).encode()).hexdigest()
        self._options = {
            "model": options.model,
            "model_sha256": bundle_sha256(options.model),
            "program": __version__,
            "calibration": load_calibration().version,
            "fit": FIT_VERSION,
            "show_face": options.show_face,
        }

    def make(self, item: BatchItem, clip_sha256: str, person: Person) -> dict[str, Any]:
        """Return the key of a clip; it has only what JSON keeps as it is."""
        # Where the program tells the movement itself, any standard may change what it finds.
        standard = self._all if item.movement is None else self.standards.get(item.movement, "")
        return {
            "clip_sha256": clip_sha256,
            "clip": item.clip.name,
            "movement": item.movement,
            "standards": standard,
            "age_years": person.age_years,
            "sex": person.sex,
            **self._options,
        }
