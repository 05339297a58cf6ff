"""A planned session from its clips: check them, lay them against the plan, write the sheet."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from urllib.parse import quote

from motioncheck import __version__
from motioncheck.errors import InputError, NotMeasurableError, UsageError
from motioncheck.pipeline.options import CheckOptions, CheckResult, OnProgress, no_progress
from motioncheck.pipeline.outputs import write_results
from motioncheck.pipeline.plan_fit import load_fitting_plan
from motioncheck.pipeline.recipe import check_clip
from motioncheck.pipeline.stretches import split_session_clip
from motioncheck.plans import LoadedPlan, plan_movements
from motioncheck.plans.session import SessionFacts, build_session
from motioncheck.records import Sheet
from motioncheck.records.session import Bout, ClipLink, SessionSheet
from motioncheck.sheet import sheet_from_json
from motioncheck.sheet.session_write import require_own_session, write_session
from motioncheck.sheet.words import describe_corrections
from motioncheck.standards import LoadedStandard, load_standards, require_movement
from motioncheck.video import probe_clip

# What a check writes and a session reads back.
SHEET_SUFFIX = ".json"
MAX_SHEET_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class ClipInput:
    """A clip of the session, or the ``sheet.json`` of a check.

    ``movements`` are those it shows; empty looks at its name and at the plan. ``begins_s`` is
    its place on the clock of the session; ``athlete_px`` where the athlete is in the first frame.
    """

    path: Path
    movements: tuple[str, ...] = ()
    begins_s: float | None = None
    athlete_px: tuple[float, float] | None = None

    @property
    def is_sheet(self) -> bool:
        """Whether it is the result of an earlier check."""
        return self.path.suffix.lower() == SHEET_SUFFIX


@dataclass(frozen=True, slots=True)
class SessionRequest:
    """What makes a session: the plan, its clips in order, and where the results go."""

    plan: Path
    clips: tuple[ClipInput, ...]
    folder: Path
    options: CheckOptions = field(default_factory=CheckOptions)
    start_s: float | None = None
    replace: bool = False
    person: str = ""


# Clip, the movements it may show, options, progress -> its bouts with a check for each of them,
# and what else should be said of the clip.
SplitClip = Callable[
    [Path, Sequence[str], CheckOptions, OnProgress],
    tuple[Sequence[Bout], Sequence[CheckResult], Sequence[str]],
]
# A clip, and where the sheet of each of its bouts was written.
OnWritten = Callable[[Path, Sequence[Path]], None]


def no_place(_clip: Path, _places: Sequence[Path]) -> None:
    """Remember nothing."""


def split_clip(
    path: Path,
    movements: Sequence[str],
    options: CheckOptions,
    on_progress: OnProgress = no_progress,
) -> tuple[Sequence[Bout], Sequence[CheckResult], Sequence[str]]:
    """Split a clip into bouts and check each of them.

    Parameters
    ----------
    path : Path
    movements : sequence of str
        Ids of those it may show: one is looked for in the whole clip, several are told apart.
    options : CheckOptions
    on_progress : callable, optional

    Returns
    -------
    bouts : sequence of Bout
    results : sequence of CheckResult
        One for each bout.
    notes : sequence of str
        Stretches of which nothing could be measured.

    Raises
    ------
    MotionCheckError
        As `check_clip`.
    """
    if len(movements) == 1:
        only = movements[0]
        result = check_clip(path, only, options=options, on_progress=on_progress, by_user=False)
        return [bout_of(result.sheet)], [result], []
    split = split_session_clip(path, options=options, allowed=movements, on_progress=on_progress)
    return split.bouts, split.results, split.notes


def bout_of(sheet: Sheet, *, link: str = "", begins_s: float | None = None) -> Bout:
    """Return a checked clip as one bout from its first event to its last."""
    return Bout(
        clip=sheet.clip.name,
        movement=sheet.movement.id,
        start_s=min((e.start_s for e in sheet.held_events), default=0.0),
        end_s=max((e.end_s for e in sheet.held_events), default=0.0),
        events=sheet.held_events,
        starts_at=begins_s,
        sheet=link,
        clip_sha256=sheet.clip.sha256,
    )


def default_session_folder(plan: Path, first: Path) -> Path:
    """Return the folder beside the first clip that a session goes to unless told otherwise."""
    home = first.parent.parent if first.suffix.lower() == SHEET_SUFFIX else first.parent
    return home / f"{plan.stem}.session"


def run_session(
    request: SessionRequest,
    *,
    split: SplitClip = split_clip,
    on_progress: OnProgress = no_progress,
    on_written: OnWritten = no_place,
) -> SessionSheet:
    """Check the clips of a session and write its sheet.

    Parameters
    ----------
    request : SessionRequest
    split : callable, optional
        What tells which movement is done when in a clip.
    on_progress : callable, optional
        As in `check_clip`.
    on_written : callable, optional
        Called with each clip and the folders of its feedback sheets, in the order of ``split``.

    Returns
    -------
    SessionSheet
        Written already: ``session.html``, ``session.json``, ``sets.csv``, ``minutes.csv``, and a
        folder with the feedback sheet of each clip that was checked.

    Raises
    ------
    StandardError
        If the plan or a standard is not valid.
    NotMeasurableError
        If nothing could be measured in any of the clips. Single clips in which nothing could be
        measured are named on the sheet.
    MotionCheckError
        Others of its subclasses, as `check_clip` and `write_session`.
    """
    standards = load_standards(request.options.standards_folder)
    loaded = load_fitting_plan(request.plan, standards)
    jobs = plan_jobs(request, loaded, standards)
    if not request.replace:
        # A folder with another session is refused before minutes of work, not after them.
        require_own_session(request.folder, tuple(job.sha256 for job in jobs))
    read = [_read_one(job, request, split, on_progress, on_written) for job in jobs]
    bouts = [bout for one in read for bout in one.bouts]
    if not bouts:
        raise next((one.error for one in read if one.error is not None), _nothing(loaded))
    sheet = build_session(loaded.plan, bouts, _facts(request, loaded, standards, read))
    write_session(request.folder, sheet, replace=request.replace, person=request.person)
    return sheet


def _nothing(loaded: LoadedPlan) -> NotMeasurableError:
    names = ", ".join(plan_movements(loaded.plan))
    return NotMeasurableError(
        f"Expected movements of the plan ({names}) in the clips, found none.",
        hint="Give the clips of this plan, or say what one shows with --movement CLIP=ID.",
    )


@dataclass(frozen=True, slots=True)
class Job:
    """One clip with what has to be done: a sheet that was read, or movements to look for.

    ``stem`` is what the folder of its results is called, different for every clip.
    """

    clip: ClipInput
    name: str
    sha256: str
    movements: tuple[str, ...] = ()
    sheet: Sheet | None = None
    stem: str = ""


@dataclass(frozen=True, slots=True)
class _Read:
    """What came of a clip."""

    job: Job
    bouts: tuple[Bout, ...]
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    error: NotMeasurableError | None = None


def plan_jobs(
    request: SessionRequest, loaded: LoadedPlan, standards: Mapping[str, LoadedStandard]
) -> list[Job]:
    """Read the sheets, look at the clips, and settle what each may show, before any work.

    Raises
    ------
    UsageError
        If a clip is given twice, or there is no such movement.
    InputError
        If a clip or a sheet cannot be read.
    """
    jobs: list[Job] = []
    seen: set[tuple[str, str]] = set()
    for clip in request.clips:
        if clip.is_sheet:
            sheet = read_sheet(clip.path)
            job = Job(clip, sheet.clip.name, sheet.clip.sha256, (sheet.movement.id,), sheet)
        else:
            info = probe_clip(clip.path)
            movements = find_movements(clip, plan_movements(loaded.plan), standards)
            stem = _new_name(clip.path.stem, {job.stem for job in jobs})
            job = Job(clip, info.name, info.sha256, movements, stem=stem)
        for movement in job.movements:
            if (job.sha256, movement) in seen:
                raise UsageError(
                    f"Expected every clip once, found {clip.path.name} with {movement} twice.",
                    hint="Give each clip, or its sheet, once.",
                )
            seen.add((job.sha256, movement))
        jobs.append(job)
    return jobs


def _new_name(name: str, taken: set[str]) -> str:
    """Return a name that none of the others has, on any file system."""
    used = {other.casefold() for other in taken}
    names = (name, *(f"{name}-{number}" for number in range(2, len(taken) + 3)))
    return next(new for new in names if new.casefold() not in used)


def read_sheet(path: Path) -> Sheet:
    """Read the ``sheet.json`` of a check.

    Raises
    ------
    InputError
        If it cannot be read or is none.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(MAX_SHEET_BYTES)
    except OSError as error:
        raise InputError(
            f"Expected the sheet.json of a check at {path}, found none that can be read "
            f"({error.strerror}).",
            hint="Give the clip itself, or check it again.",
        ) from error
    return sheet_from_json(content)


def find_movements(
    clip: ClipInput, planned: Sequence[str], standards: Mapping[str, LoadedStandard]
) -> tuple[str, ...]:
    """Tell which movements a clip shows.

    Those that were said; else the one of the plan whose id is in the name of the file (the longest
    that fits); else any of the plan.

    Raises
    ------
    StandardError
        If there is no such movement.
    """
    for movement in clip.movements:
        require_movement(movement, standards)
    if clip.movements:
        return clip.movements
    name = "".join(c if c.isalnum() else "-" for c in clip.path.stem.lower())
    fits = sorted((m for m in planned if m in name), key=len, reverse=True)
    if fits and not any(len(m) == len(fits[0]) for m in fits[1:]):
        return (fits[0],)
    return tuple(planned)


def _read_one(
    job: Job,
    request: SessionRequest,
    split: SplitClip,
    on_progress: OnProgress,
    on_written: OnWritten,
) -> _Read:
    clip = job.clip
    if job.sheet is not None:
        beside = clip.path.parent / "sheet.html"
        link = link_to(beside, request.folder) if beside.is_file() else ""
        bout = bout_of(job.sheet, link=link, begins_s=clip.begins_s)
        return _Read(job, (bout,), job.sheet.cautions, describe_corrections((job.sheet,)))
    try:
        options = replace(request.options, athlete_px=clip.athlete_px)
        bouts, results, notes = split(clip.path, job.movements, options, on_progress)
    except NotMeasurableError as error:
        return _Read(job, (), error=error)
    places = _write_checks(job, results, request, on_progress)
    on_written(clip.path, places)
    placed = tuple(
        replace(bout, starts_at=clip.begins_s, sheet=link_to(place / "sheet.html", request.folder))
        for bout, place in zip(bouts, places, strict=True)
    )
    if not bouts and not notes:
        notes = ["None of the movements of the plan was found."]
    cautions = tuple(c for result in results for c in result.sheet.cautions)
    corrected = describe_corrections(result.sheet for result in results)
    return _Read(job, placed, cautions, (*notes, *corrected))


def _write_checks(
    job: Job, results: Sequence[CheckResult], request: SessionRequest, on_progress: OnProgress
) -> list[Path]:
    """Write the feedback sheet of every bout of a clip; return their folders."""
    places = []
    for number, result in enumerate(results, start=1):
        bout = f".{number:02d}-{result.sheet.movement.id}" if len(results) > 1 else ""
        place = request.folder / f"{job.stem}{bout}.check"
        write_results(
            result,
            place,
            show_face=request.options.show_face,
            replace=request.replace,
            on_progress=on_progress,
        )
        places.append(place)
    return places


def link_to(target: Path, folder: Path) -> str:
    """Return a file as a link relative to a folder, empty where there is no such way."""
    try:
        relative = os.path.relpath(target.absolute(), folder.absolute())
    except ValueError:  # another drive
        return ""
    return quote(Path(relative).as_posix())


def _facts(
    request: SessionRequest,
    loaded: LoadedPlan,
    standards: Mapping[str, LoadedStandard],
    read: Sequence[_Read],
) -> SessionFacts:
    cautions = dict.fromkeys(c for one in read for c in one.cautions)
    for movement in plan_movements(loaded.plan):
        cautions |= dict.fromkeys(standards[movement].standard.cautions)
    return SessionFacts(
        titles={name: one.standard.title for name, one in standards.items()},
        clips=tuple(_link_of(one, standards) for one in read),
        cautions=tuple(cautions),
        plan_file=loaded.path.name,
        plan_sha256=loaded.source_hash,
        version=__version__,
        start_s=request.start_s,
        options={"model": request.options.model},
    )


def _link_of(one: _Read, standards: Mapping[str, LoadedStandard]) -> ClipLink:
    job = one.job
    names = dict.fromkeys(bout.movement for bout in one.bouts)
    titles = tuple(standards[m].standard.title if m in standards else m for m in names)
    notes = [*one.notes]
    if one.error is not None:
        notes.append(f"Nothing could be measured: {one.error.message}")
    links = [bout.sheet for bout in one.bouts if bout.sheet]
    return ClipLink(
        job.name, job.sha256, titles, links[0] if links else "", job.clip.begins_s, " ".join(notes)
    )
