"""Counting what decoding met, and saying it in plain sentences."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from motioncheck.records import ClipInfo, DecodeReport

# Intervals are counted in steps of 0.1 ms, so that hours of film need only a few numbers.
_STEP_S = 1e-4
_VARIABLE_RATIO = 0.2
_EARLY_FRAMES = 2
_EARLY_S = 0.5
_REACHED_S = 0.05


@dataclass(slots=True)
class Tally:
    """Running counts of one pass over a clip; memory does not grow with its length."""

    info: ClipInfo
    frames_read: int = 0
    packets_shown: int = 0
    packets_damaged: int = 0
    backwards: int = 0
    guessed: int = 0
    last_time_s: float = 0.0
    last_end_s: float = 0.0
    finished: bool = False
    mirrored: bool = False
    _last_whole: bool = True
    _smeared: int = 0
    _smeared_from_s: float = 0.0
    _smeared_to_s: float = 0.0
    _after_damage: bool = False
    _intervals: Counter[int] = field(default_factory=Counter)

    def add_frame(self, time_s: float, *, whole: bool) -> None:
        """Count a picture that was read."""
        # The hole that damage leaves says nothing about the rate of the camera.
        steady = whole and self._last_whole and not self._after_damage
        if self.frames_read and steady:
            self._intervals[round((time_s - self.last_time_s) / _STEP_S)] += 1
        self._after_damage, self._last_whole = False, whole
        self.frames_read += 1
        self.last_time_s = time_s
        if not whole:
            if not self._smeared:
                self._smeared_from_s = time_s
            self._smeared += 1
            self._smeared_to_s = time_s

    def add_damage(self) -> None:
        """Count a packet that could not be decoded."""
        self.packets_damaged += 1
        self._after_damage = True

    def report(self) -> DecodeReport:
        """Return the counts so far; an early end is only known once the pass has finished."""
        early = self.finished and self._ended_early()
        return DecodeReport(
            frames_read=self.frames_read,
            packets_damaged=self.packets_damaged,
            ended_early=early,
            variable_rate=self._is_variable(),
            notes=tuple(self._write_notes(early)),
        )

    def _ended_early(self) -> bool:
        missing_s = self.info.duration_s - self.last_end_s
        expected = self.info.frames_expected
        if expected is None:
            return missing_s > _EARLY_S  # False for an unknown duration
        # A header may count pictures outside the edit list; then the duration is reached.
        reached = missing_s < _REACHED_S
        return expected - self.packets_shown > _EARLY_FRAMES and not reached

    def _is_variable(self) -> bool:
        count = sum(self._intervals.values())
        if count < 2:
            return False
        steps = sorted(self._intervals)
        seen, median = 0, steps[-1]
        for step in steps:
            seen += self._intervals[step]
            if 2 * seen >= count:
                median = step
                break
        # One step of slack: containers that count milliseconds round 16.7 ms to 16 or 17.
        limit = max(_VARIABLE_RATIO * median, 0.001 / _STEP_S)
        return steps[-1] - median > limit or median - steps[0] > limit

    def _write_notes(self, early: bool) -> list[str]:
        notes = []
        if self.packets_damaged:
            notes.append(self._write_damage())
        if self._smeared:
            notes.append(
                f"{_count(self._smeared, 'picture')} from {self._smeared_from_s:.2f} s to "
                f"{self._smeared_to_s:.2f} s may be smeared, because the clip is damaged there."
            )
        if early:
            notes.append(self._write_early())
        if self.backwards:
            notes.append(
                f"{_count(self.backwards, 'picture')} left out: the time stamps did not move "
                "forwards."
            )
        if self.mirrored:
            notes.append(
                "The clip is stored mirrored or shown mirrored; left and right may be swapped."
            )
        if self.guessed:
            notes.append(
                f"{_count(self.guessed, 'picture')} without a time stamp, placed by the frame rate."
            )
        return notes

    def _write_damage(self) -> str:
        note = f"{_count(self.packets_damaged, 'piece')} of the clip could not be decoded"
        # Some decoders hold back, without a word, what builds on a damaged picture.
        lost = self.packets_shown - self.packets_damaged - self.frames_read - self.backwards
        if self.finished and lost > 0:
            note += f", which cost {_count(lost, 'more picture')}"
        return f"{note}; the clip has a gap there."

    def _write_early(self) -> str:
        there = f"The clip ends early, at {max(self.last_end_s, 0.0):.1f} s"
        if self.info.frames_expected is not None:
            there += f" after {self.packets_shown} of {self.info.frames_expected} pictures"
        return (
            f"{there}; its header promises {self.info.duration_s:.1f} s. "
            "The file was probably cut while it was copied."
        )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
