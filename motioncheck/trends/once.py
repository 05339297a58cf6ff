"""One filming counts once, in whichever sessions it was recorded."""

from __future__ import annotations

from collections.abc import Sequence

from motioncheck.records.history import Trial
from motioncheck.wording import join_words


def count_once(trials: Sequence[Trial]) -> tuple[list[Trial], tuple[str, ...]]:
    """Leave out clips that were recorded before in another session of the same person.

    The same pictures give the same values; two sessions of them would be a change of 0 that nobody
    made, and a scatter smaller than the person's own.

    Parameters
    ----------
    trials : sequence of Trial
        Of one person.

    Returns
    -------
    kept : list of Trial
        Those of the session in which each clip was recorded first; the order stays.
    notes : tuple of str
        What was left out, in one sentence; empty where nothing was.
    """
    first: dict[str, int] = {}
    for trial in trials:
        if trial.clip_sha256:
            number = first.get(trial.clip_sha256, trial.clip_number)
            first[trial.clip_sha256] = min(number, trial.clip_number)
    kept, sessions = [], set()
    for trial in trials:
        if trial.clip_sha256 and trial.clip_number != first[trial.clip_sha256]:
            sessions.add(trial.session)
        else:
            kept.append(trial)
    if not sessions:
        return kept, ()
    word = "session" if len(sessions) == 1 else "sessions"
    return kept, (
        f"Clips of {word} {join_words(sorted(sessions))} that were recorded in another session "
        "before count there only: one filming is one measurement.",
    )
