"""A real clip on its way into the history: recorded once, as measured; corrected next time."""

from __future__ import annotations

import pytest

from motioncheck.history import open_history
from motioncheck.records.history import Correction, PersonRecord
from motioncheck.sheet import sheet_from_json

pytestmark = pytest.mark.model


def read(folder):
    return sheet_from_json((folder / "sheet.json").read_bytes())


def test_a_clip_is_recorded_once_as_measured_and_corrected_on_the_next_sheet(cli, tmp_path, squat):
    with open_history() as history:
        history.add_person(PersonRecord("seat3", birth_year=1990, sex="female"))
    words = ("check", squat, "-m", "air-squat", "-o", tmp_path / "a", "--person", "seat3")
    first = cli(*words, "--day", "2026-03-01", "--keep-clip")
    assert first.code == 0, first.err
    assert "Recorded: seat3, session 2026-03-01" in first.out
    measured = read(tmp_path / "a")
    assert measured.provenance.options["age_years"] == 36

    again = cli(*words)
    assert "nothing changed" in again.out
    with open_history() as history:
        (check,) = history.checks("seat3", current_only=False)
        assert history.sheet_of(check.id) == measured
        assert (check.events, check.clip, check.clip_kept) == (2, "squat.mp4", True)
        (trial,) = history.trials("seat3", measure="trunk_inclination")
        values = [e.measures["trunk_inclination"].value for e in measured.events]
        assert trial.count == 2
        assert trial.mean == pytest.approx(sum(values) / 2)
        history.add_correction(
            Correction("strike", check.clip_sha256, "air-squat", "coach",
                       "2026-03-01T10:00:00+00:00", at_s=measured.events[1].turn_s)
        )  # fmt: skip

    # Corrections hold for the clip, also when nobody is named.
    assert cli(*words[:6]).code == 0
    corrected = read(tmp_path / "a")
    assert [e.struck for e in corrected.events] == [False, True]
    assert corrected.summary.count == 1
    with open_history() as history:
        assert history.sheet_of(check.id) == measured
        assert history.trials("seat3", measure="trunk_inclination")[0].count == 1
