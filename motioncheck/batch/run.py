"""The batch itself: plans each clip, hands out what is not done yet, keeps what comes back."""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from motioncheck import __version__
from motioncheck.batch.find import (
    describe_unreadable,
    is_code,
    make_items,
    require_codes,
)
from motioncheck.batch.items import BatchItem, Outcome
from motioncheck.batch.journal import (
    HASHES_NAME,
    Hashes,
    identify,
    name_folder,
    read_entry,
    write_entry,
    write_failure,
)
from motioncheck.batch.keys import Keys
from motioncheck.batch.manifest import Manifest, ManifestLine, apply_manifest
from motioncheck.batch.outputs import read_sheet, write_group
from motioncheck.batch.place import open_place
from motioncheck.batch.pool import LocalRunner, Runner
from motioncheck.batch.sense import describe_search, require_sense
from motioncheck.batch.settings import (
    BatchReport,
    BatchRequest,
    OnNote,
    OnStep,
    Step,
    ignore_note,
    ignore_step,
)
from motioncheck.batch.work import Answer, Task, Work, check_one
from motioncheck.errors import InputError
from motioncheck.records.group import ClipState

if TYPE_CHECKING:
    from motioncheck.batch.recording import Recorder

# How long the main program waits for a worker before it looks around.
LOOK_S: Final = 0.5


@dataclass(slots=True)
class Clip:
    """A clip of the batch and how far it is."""

    item: BatchItem
    size: int = 0
    state: ClipState = "waiting"
    reason: str = ""
    identity: str = ""
    folder: str = ""
    sha256: str = ""
    key: dict[str, Any] = field(default_factory=dict)
    check_id: int | None = None


def run_batch(
    request: BatchRequest,
    *,
    work: Work = check_one,
    on_step: OnStep = ignore_step,
    on_note: OnNote = ignore_note,
    runner: Runner | None = None,
) -> BatchReport:
    """Check many clips and write their sheets and the group sheet.

    Parameters
    ----------
    request : BatchRequest
    work : callable, optional
        What a worker does with a clip; a function of a module.
    on_step : callable, optional
        Called when a clip is done.
    on_note : callable, optional
        Told what the person should know meanwhile, such as that a cluster has no workers.
    runner : Runner, optional
        Where the work is done; by default what the request says.

    Returns
    -------
    BatchReport
        Also after Ctrl-C: what was done until then stays, and the same request goes on from there.

    Raises
    ------
    MotionCheckError
        When nothing can be started, or the results cannot be written; never because of one clip.
    """
    keys = Keys(request.options)
    require_sense(request, keys.standards)
    manifest = Manifest(request.manifest, keys.standards, on_note)
    clips = find_items(request, keys, manifest.lines)
    require_codes([item.person for item in clips])
    if not clips and request.watching is None:
        raise InputError("Expected clips, found none.", hint=describe_search(request))
    with contextlib.ExitStack() as stack:
        staging = stack.enter_context(open_place(request.out, replace=request.replace))
        recorder = stack.enter_context(_open_recorder(request))
        batch = Batch(request, keys, recorder, on_step)
        try:
            with runner or _make_runner(request, work, staging, on_note) as workers:
                if request.watching is None:
                    batch.check(clips, workers)
                else:
                    from motioncheck.batch.watch import watch

                    def find() -> list[BatchItem]:
                        return find_items(request, keys, manifest.follow())

                    watch(batch, workers, find, request.watching)
        except KeyboardInterrupt:
            batch.stopped = True
        finally:
            batch.hashes.save()
        return batch.report(batch.write_group())


def find_items(
    request: BatchRequest, keys: Keys, lines: tuple[ManifestLine, ...]
) -> list[BatchItem]:
    """Return the clips that are there now, with all that is said about them.

    Raises
    ------
    InputError
        If a place does not exist.
    """
    given = request.given
    items = make_items(request.places, given, keys.standards, leave_out=request.out)
    if not lines:
        return items
    return apply_manifest(items, lines, given, add=request.watching is None)


@contextlib.contextmanager
def _open_recorder(request: BatchRequest) -> Iterator[Recorder | None]:
    if request.recording is None:
        yield None
        return
    from motioncheck.batch.recording import open_recorder

    with open_recorder(request.recording) as recorder:
        yield recorder


def _make_runner(request: BatchRequest, work: Work, staging: Path, on_note: OnNote) -> Runner:
    if request.scheduler:
        from motioncheck.batch.cluster import ClusterRunner

        return ClusterRunner(work, request.scheduler, on_note)
    return LocalRunner(work, request.jobs, staging)


class Batch:
    """Clips of a batch, as far as they are; what is done is on the disk."""

    def __init__(
        self, request: BatchRequest, keys: Keys, recorder: Recorder | None, on_step: OnStep
    ) -> None:
        self.out = request.out
        self.hashes = Hashes(request.out / HASHES_NAME)
        self.stopped = False
        self._title = _make_title(request)
        self._options = request.options
        self._keys = keys
        self._recorder = recorder
        self._on_step = on_step
        # By path: a clip that changes while a folder is watched takes its own place again.
        self._clips: dict[Path, Clip] = {}
        # Identity -> the first clip that has it; others are the same clip again.
        self._owners: dict[str, Path] = {}
        self._number = 0
        self._under_way: dict[int, Clip] = {}
        # Came back and is not written yet.
        self._finished: list[tuple[Task, Answer]] = []
        self._fresh = 0
        self._misses: set[Path] = set()
        self._done_bytes = 0

    def check(self, items: Iterable[BatchItem], runner: Runner) -> None:
        """Check clips, as many at once as the runner takes, and return when all are done."""
        # The longest first: none of them is left to one worker at the end.
        clips = sorted(map(self.add, items), key=lambda clip: clip.size, reverse=True)
        waiting = deque(clips)
        while waiting or runner.busy or self._finished:
            self.advance(waiting, runner, LOOK_S)

    def advance(self, waiting: deque[Clip], runner: Runner, timeout_s: float) -> bool:
        """Hand out clips, then keep what came back before, then wait for more.

        In this order no worker waits while results are written. True when something was done.
        """
        started = bool(waiting) and runner.room > 0
        while waiting and runner.room > 0:
            self.start(waiting.popleft(), runner)
        finished, self._finished = self._finished, []
        for task, answer in finished:
            clip = self._under_way.pop(task.number)
            # A clip that was changed meanwhile has been put on the list anew.
            if self._clips.get(clip.item.clip) is clip:
                self._keep(clip, answer)
        if runner.busy:
            self._finished = runner.collect(0.0 if finished else timeout_s)
        return started or bool(finished)

    @property
    def unwritten(self) -> int:
        """How many clips came back whose results are not written yet."""
        return len(self._finished)

    @property
    def listed(self) -> int:
        """How many clips there are."""
        return len(self._clips)

    def add(self, item: BatchItem) -> Clip:
        """Put a clip on the list, in place of what was there for the same path."""
        size = 0
        with contextlib.suppress(OSError):
            size = item.clip.stat().st_size
        clip = self._clips[item.clip] = Clip(item, size)
        return clip

    def follow(self, ready: Iterable[BatchItem], there: Iterable[BatchItem]) -> list[Clip]:
        """Put what came on the list and take off what is not there any more; return what to do.

        A copy that was left out because of a clip that changed or went away is to be done, too.
        """
        new = {item.clip: item for item in ready}
        left = {item.clip for item in there}
        free = set()
        for path in [path for path in self._clips if path in new or path not in left]:
            identity = self._clips.pop(path).identity
            self._misses.discard(path)
            if self._owners.get(identity) == path:
                del self._owners[identity]
                free.add(identity)
        copies = (c.item for c in self._clips.values() if c.identity in free)
        return [self.add(item) for item in (*new.values(), *tuple(copies))]

    def start(self, clip: Clip, runner: Runner) -> None:
        """Hand out a clip, unless it is settled already what comes of it."""
        item = clip.item
        if self._clips.get(item.clip) is not clip:  # it changed or went away while it waited
            return
        try:
            clip.sha256 = self.hashes.get(item.clip)
        except OSError as error:
            self._settle(clip, "failed", describe_unreadable(item.clip, error), fresh=True)
            return
        if item.person and not is_code(item.person):
            self._settle(clip, "failed", f"{item.person!r} is no code of a person.", fresh=True)
            return
        clip.identity = identify(item, clip.sha256)
        first = self._owners.setdefault(clip.identity, item.clip)
        if first != item.clip:
            name = self._clips[first].item.name
            self._settle(clip, "skipped", f"The same clip as {name}.", fresh=False)
            return
        clip.folder = name_folder(item, clip.identity)
        # Known age and sex choose the usual values that are shown.
        person = self._options.person if self._recorder is None else self._recorder.describe(item)
        clip.key = self._keys.make(item, clip.sha256, person)
        entry = read_entry(self.out / clip.folder)
        if entry is not None and entry.key == clip.key:
            self._settle(clip, entry.state, entry.reason, fresh=False)
            return
        self._number += 1
        self._under_way[self._number] = clip
        options = replace(self._options, person=person)
        runner.submit(Task(self._number, item.clip, clip.sha256, item.movement, options))

    def _keep(self, clip: Clip, answer: Answer) -> None:
        answer = self._require_same(clip, answer)
        folder = self.out / clip.folder
        if answer.error:
            if answer.settled:
                write_failure(folder, clip.key, answer.error)
            self._settle(clip, "failed", answer.error, fresh=True)
            return
        staged = Path(answer.staged) if answer.staged else None
        files = {p.name: p for p in staged.iterdir()} if staged else dict(answer.files)
        write_entry(folder, clip.key, files)
        self._settle(clip, "checked", "", fresh=True)

    def _require_same(self, clip: Clip, answer: Answer) -> Answer:
        """Turn a result that is of another content or program into a failure."""
        if answer.error:
            return answer
        if answer.version != __version__:
            return Answer(
                error=f"A worker has version {answer.version} of the program, here it is "
                f"{__version__}. Install the same everywhere."
            )
        if answer.sha256 != clip.sha256:
            return Answer(error="The clip changed while it was checked. Run the same again.")
        return answer

    def _settle(self, clip: Clip, state: ClipState, reason: str, *, fresh: bool) -> None:
        clip.state, clip.reason = state, reason
        outcome = self._read(clip)
        clip.state, clip.reason = outcome.state, outcome.reason
        if outcome.sheet is not None and self._recorder is not None:
            folder = self.out / clip.folder
            clip.check_id = self._recorder.record(clip.item, outcome.sheet, folder)
            sheet = self._recorder.correct(clip.check_id, outcome.sheet)
            outcome = replace(outcome, sheet=sheet)
        self._misses.discard(clip.item.clip)
        if outcome.sheet is not None and outcome.sheet.summary.verdicts.get("misses", 0) > 0:
            self._misses.add(clip.item.clip)
        self._fresh += fresh
        self._done_bytes += clip.size
        self._on_step(self._make_step(clip, outcome, fresh))

    def _read(self, clip: Clip) -> Outcome:
        """Return what came of a clip, with its sheet."""
        outcome = Outcome(clip.item, clip.state, clip.reason, clip.folder)
        if clip.state != "checked":
            return outcome
        sheet = read_sheet(self.out / clip.folder)
        if sheet is None:
            reason = "The sheet cannot be read. Delete its folder and run the same again."
            return replace(outcome, state="failed", reason=reason)
        if self._recorder is not None:
            sheet = self._recorder.correct(clip.check_id, sheet)
        return replace(outcome, sheet=sheet)

    def _make_step(self, clip: Clip, outcome: Outcome, fresh: bool) -> Step:
        clips = self._clips.values()
        done = sum(c.state != "waiting" for c in clips)
        total_bytes = sum(c.size for c in clips)
        return Step(outcome, fresh, done, len(clips), clip.size, self._done_bytes, total_bytes)

    def write_group(self) -> Path:
        """Write the group sheet of what is done; return its page."""
        outcomes = (self._read(clip) for clip in self._clips.values())
        return write_group(self.out, outcomes, title=self._title)

    def report(self, group: Path) -> BatchReport:
        """Return what came of the batch."""
        states = [clip.state for clip in self._clips.values()]
        recorder = self._recorder
        return BatchReport(
            checked=states.count("checked"),
            failed=states.count("failed"),
            skipped=states.count("skipped"),
            waiting=states.count("waiting"),
            fresh=self._fresh,
            misses=bool(self._misses),
            recorded=recorder.recorded if recorder else 0,
            without_person=recorder.without_person if recorder else 0,
            refused=tuple(recorder.refused) if recorder else (),
            stopped=self.stopped,
            group=group,
        )


def _make_title(request: BatchRequest) -> str:
    if request.given.session:
        return request.given.session
    if len(request.places) == 1 and request.places[0].is_dir():
        return request.places[0].resolve().name
    return request.manifest.stem if request.manifest else request.out.resolve().name
