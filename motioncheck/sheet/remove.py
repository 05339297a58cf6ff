"""Taking results away again: only what this program wrote, and only of the clip that is meant."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Final

from motioncheck.sheet.write import find_owners

# All that a check, or a check within a batch, ever writes into the folder of a clip.
RESULT_FILES: Final = (
    "sheet.html",
    "sheet.json",
    "reps.csv",
    "angles.csv",
    "annotated.mp4",
    "compare.html",
    "batch-clip.json",
)
# Folders that a stopped program may have left inside.
_LEFT_OVER: Final = ".motioncheck-*"


def holds_results(folder: Path, clip_sha256: str) -> bool:
    """Tell whether a folder holds results about a clip, and about no other one."""
    return bool(clip_sha256) and set(find_owners(folder).values()) == {clip_sha256}


def remove_results(folder: Path, clip_sha256: str) -> int:
    """Remove the results of a clip from a folder, and the folder when nothing else is in it.

    Parameters
    ----------
    folder : Path
    clip_sha256 : str
        Results of another clip are left alone.

    Returns
    -------
    removed : int
        Files that were removed; 0 when the folder is not there or is about something else.

    Raises
    ------
    OSError
        If one of them cannot be removed.
    """
    if not holds_results(folder, clip_sha256):
        return 0
    # The sheets last: as long as one is there, a second attempt still knows whose folder it is.
    names = [name for name in reversed(RESULT_FILES) if (folder / name).is_file()]
    for left in folder.glob(_LEFT_OVER):
        shutil.rmtree(left)
    for name in names:
        (folder / name).unlink()
    if not any(folder.iterdir()):
        folder.rmdir()
    return len(names)
