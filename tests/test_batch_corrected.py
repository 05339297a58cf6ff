"""A batch that is run again after somebody corrected one of its sheets."""

from __future__ import annotations

from dataclasses import replace

import pytest
from batch_fakes import make_sheet, write_clip
from test_batch_run import batch, read_rows

from motioncheck.batch.journal import read_entry, rewriting
from motioncheck.batch.settings import Recording
from motioncheck.errors import OutputError
from motioncheck.history import open_history
from motioncheck.records.history import Correction
from motioncheck.sheet.json import sheet_from_json, sheet_to_json


@pytest.fixture
def crew(tmp_path):
    """One clip of one seat, in a folder that a batch finds."""
    folder = tmp_path / "crew"
    write_clip(folder / "seat1" / "squat.mp4", make_sheet(0), note=1)
    return folder


def strike_first(store, out):
    """Strike the first event of the only clip, and write its sheet anew as the command does."""
    with open_history(store) as history:
        (check,) = history.checks()
        event = history.sheet_of(check.id).events[0]
        kept = history.add_correction(
            Correction(
                "strike", check.clip_sha256, check.movement, "coach1",
                "2026-03-01T10:00:00+00:00", event_kind=event.kind, at_s=event.turn_s,
            )
        )  # fmt: skip
        sheet = history.corrected_sheet(check.id)
    (folder,) = [p for p in out.iterdir() if p.is_dir()]
    with rewriting(folder):
        (folder / "sheet.json").write_text(sheet_to_json(sheet), encoding="utf-8")
    return folder, sheet, kept


def test_a_corrected_sheet_is_done_and_stays_corrected(crew, tmp_path):
    store, out = tmp_path / "history.db", tmp_path / "out"
    batch(crew, recording=Recording(store))
    before = read_rows(out)[0][0]["events"]
    folder, sheet, _ = strike_first(store, out)
    report, _ = batch(crew, recording=Recording(store))
    assert (report.fresh, report.recorded, report.failed) == (0, 1, 0)
    assert read_rows(out)[0][0]["events"] == before - 1
    assert sheet_from_json((folder / "sheet.json").read_bytes()) == sheet
    with open_history(store) as history:
        (check,) = history.checks(current_only=False)
        assert history.sheet_of(check.id).corrections == ()


def test_a_corrected_sheet_is_not_recorded_as_measured_in_another_history(crew, tmp_path):
    store, out = tmp_path / "history.db", tmp_path / "out"
    batch(crew, recording=Recording(store))
    strike_first(store, out)
    other = tmp_path / "other.db"
    report, _ = batch(crew, recording=Recording(other))
    assert report.recorded == 0
    with open_history(other) as history:
        assert history.checks() == ()


def fail_rewriting(folder):
    with rewriting(folder):
        # Stopped here for good, the clip would count as not done.
        assert read_entry(folder) is None
        raise OutputError("Disk full.")


def test_a_folder_counts_as_done_after_a_rewriting_and_after_one_that_failed(crew, tmp_path):
    store, out = tmp_path / "history.db", tmp_path / "out"
    batch(crew, recording=Recording(store))
    (folder,) = [p for p in out.iterdir() if p.is_dir()]
    first = read_entry(folder)
    with pytest.raises(OutputError, match="Disk full"):
        fail_rewriting(folder)
    assert read_entry(folder) == first
    with rewriting(folder):
        (folder / "sheet.html").write_text("longer", encoding="utf-8")
    again = read_entry(folder)
    assert again == replace(first, files=first.files | {"sheet.html": 6})


def test_a_folder_of_no_batch_gets_no_entry(tmp_path):
    with rewriting(tmp_path):
        pass
    assert list(tmp_path.iterdir()) == []
