"""What `motioncheck session` has to do with the history: every stretch it checks is recorded."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from motioncheck.cli.recording import NOTHING_RECORDED, RecordRequest, add_corrections
from motioncheck.errors import UsageError
from motioncheck.history import open_history, validate_code
from motioncheck.pipeline import CheckOptions, CheckResult
from motioncheck.pipeline.options import OnProgress, no_progress
from motioncheck.pipeline.session import ClipInput, read_sheet, split_clip
from motioncheck.records import Sheet
from motioncheck.records.session import Bout
from motioncheck.wording import join_words


def request_for(
    person: str,
    session: str | None,
    day: str | None,
    history: str | None,
    *,
    keep_clip: bool = False,
) -> RecordRequest:
    """Return what is to be recorded: nothing where the person is no code.

    Raises
    ------
    UsageError
        If a session or day is given, or clips are to be kept, with a person that is no code.
    """
    try:
        return replace(
            NOTHING_RECORDED,
            person=validate_code(person) if person else None,
            session=session,
            day=day,
            history=history,
            keep_clip=keep_clip,
        )
    except UsageError:
        if session is not None or day is not None or keep_clip:
            raise
        return replace(NOTHING_RECORDED, history=history)


def is_given(path: Path) -> bool:
    """Whether a check was given instead of a clip."""
    return ClipInput(path).is_sheet


@dataclass(frozen=True, slots=True)
class Measured:
    """One check to record: its clip, the sheet as measured, its part, and where it was written."""

    clip: Path
    sheet: Sheet
    part: int = 0
    folder: Path | None = None


@dataclass
class SessionRecorder:
    """Remembers what was measured in each clip while a session is checked.

    ``split`` and ``place`` go to `run_session`: corrections on record are laid over what the one
    returns, the other learns where the sheets of a clip are.
    """

    request: RecordRequest
    standards: Path | None
    measured: list[Measured] = field(default_factory=list)

    def split(
        self,
        path: Path,
        movements: Sequence[str],
        options: CheckOptions,
        on_progress: OnProgress = no_progress,
    ) -> tuple[Sequence[Bout], Sequence[CheckResult], Sequence[str]]:
        """Split a clip as `split_clip` does."""
        bouts, results, notes = split_clip(path, movements, options, on_progress)
        counts = Counter(result.sheet.movement.id for result in results)
        seen: Counter[str] = Counter()
        shown, kept = [], []
        for bout, result in zip(bouts, results, strict=True):
            movement = result.sheet.movement.id
            seen[movement] += 1
            alone = counts[movement] == 1
            self.measured.append(Measured(path, result.sheet, 0 if alone else seen[movement]))
            # A correction names the clip and the movement, not the stretch of it.
            new = add_corrections(result, self.request, self.standards) if alone else result
            kept.append(new)
            shown.append(bout if new is result else replace(bout, events=new.sheet.held_events))
        return shown, kept, notes

    def place(self, path: Path, places: Sequence[Path]) -> None:
        """Note where the checks of a clip were written, in the order in which they were split."""
        own = [i for i, one in enumerate(self.measured) if one.clip == path]
        for i, folder in zip(own, places, strict=True):
            self.measured[i] = replace(self.measured[i], folder=folder)

    def record(self, clips: Sequence[ClipInput], *, plan: Path) -> tuple[str, ...]:
        """Record every stretch with the plan; return what to say about it."""
        if self.request.person is None:
            return ()
        text = plan.read_text(encoding="utf-8")
        skipped = []
        for clip in clips:
            if clip.is_sheet:
                sheet = read_sheet(clip.path)
                if sheet.corrections:
                    skipped.append(sheet.clip.name)
                else:
                    self.measured.append(Measured(clip.path, sheet, folder=clip.path.parent))
        with open_history(self.request.history) as history:
            done = [
                history.record(
                    one.sheet,
                    person=self.request.person,
                    session=self.request.session,
                    day=self.request.day,
                    # Where the clip of a given sheet is, nobody said.
                    clip_path=None if is_given(one.clip) else one.clip,
                    folder=one.folder,
                    plan=(plan.name, text),
                    part=one.part,
                    keep_clip=self.request.keep_clip and not is_given(one.clip),
                )
                for one in self.measured
            ]
        lines = []
        if done:
            fresh = sum(one.status != "known" for one in done)
            names = join_words(sorted({one.session for one in done}))
            known = f", {len(done) - fresh} known before" if fresh < len(done) else ""
            lines.append(f"Recorded: {self.request.person}, session {names}: {fresh} new{known}.")
        if skipped:
            names = join_words(skipped)
            lines.append(f"Not recorded, because their sheets were corrected by hand: {names}.")
        return tuple(lines)
