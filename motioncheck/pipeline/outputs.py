"""Writing the results of a check: the sheet in three forms, the angles, the annotated clip."""

from __future__ import annotations

import tempfile
from pathlib import Path

from motioncheck.errors import VideoOpenError
from motioncheck.pipeline.annotate import write_annotated
from motioncheck.pipeline.compare import render_compared
from motioncheck.pipeline.memory import give_back_memory
from motioncheck.pipeline.options import CheckResult, OnProgress, no_progress
from motioncheck.sheet import angles_csv, render_html, reps_csv, sheet_to_json, write_outputs

ANNOTATED = "annotated.mp4"
COMPARED = "compare.html"


def default_folder(clip: Path) -> Path:
    """Return the folder beside the clip that results go to unless told otherwise.

    Raises
    ------
    VideoOpenError
        If the path has no name, as that of the present folder or an empty one.
    """
    if not clip.name:
        raise VideoOpenError(
            f"Expected a video file, found the folder '{clip}'.", hint="Name one clip inside it."
        )
    return clip.with_name(clip.stem + ".check")


def render_results(result: CheckResult) -> dict[str, str]:
    """Render the text files of a check: sheet.html, sheet.json, reps.csv, angles.csv."""
    table = result.analysis.table
    return {
        "sheet.html": render_html(result.sheet, table, result.stills),
        "sheet.json": sheet_to_json(result.sheet),
        "reps.csv": reps_csv(result.sheet),
        "angles.csv": angles_csv(table),
    }


def write_results(
    result: CheckResult,
    folder: Path,
    *,
    clip_path: Path | None = None,
    annotated: bool = False,
    compared: bool = False,
    show_face: bool = False,
    replace: bool = False,
    on_progress: OnProgress = no_progress,
) -> tuple[str, ...]:
    """Write everything into a folder, all or nothing.

    Parameters
    ----------
    clip_path : Path, optional
        Needed for the annotated clip.
    annotated : bool
        Also write ``annotated.mp4``.
    compared : bool
        Also write ``compare.html``.
    replace : bool
        Overwrite results of another clip.

    Returns
    -------
    tuple of str
        Files of an earlier check that were removed: what they show may no longer be what the sheet
        says.

    Raises
    ------
    OutputError
        When the folder cannot take the results; what was there before is unchanged.
    """
    give_back_memory()
    files: dict[str, str | bytes | Path] = dict(render_results(result))
    if compared:
        files[COMPARED] = render_compared(result)
    with tempfile.TemporaryDirectory() as scratch:
        if annotated and clip_path:
            target = files[ANNOTATED] = Path(scratch) / ANNOTATED
            write_annotated(clip_path, result, target, show_face=show_face, on_progress=on_progress)
        outdated = [n for n in (ANNOTATED, COMPARED) if n not in files]
        before = [n for n in outdated if (folder / n).is_file()]
        write_outputs(folder, files, replace=replace, outdated=outdated)
    return tuple(n for n in before if not (folder / n).is_file())
