"""A batch from clips to group sheet, with a made-up check: what is done, kept, and done again."""

from __future__ import annotations

import csv
import dataclasses
import json
import os
import stat

import pytest
from batch_fakes import InlineRunner, make_sheet, quick_check, write_clip

from motioncheck.batch.find import Given
from motioncheck.batch.journal import write_entry, write_failure
from motioncheck.batch.pool import LocalRunner
from motioncheck.batch.run import run_batch
from motioncheck.batch.settings import BatchRequest, Recording
from motioncheck.batch.work import Task
from motioncheck.errors import InputError, OutputError, StandardError, UsageError
from motioncheck.history import open_history
from motioncheck.pipeline.options import CheckOptions

SHEETS = [make_sheet(n) for n in range(3)]


@pytest.fixture
def crew(tmp_path):
    """Three clips of three seats; returns their folder."""
    folder = tmp_path / "crew"
    for seat in range(3):
        write_clip(folder / f"seat{seat + 1}" / "squat.mp4", SHEETS[seat], note=seat)
    return folder


def batch(folder, *, workers=0, **changes):
    """Run a batch beside the folder; returns its report and the steps."""
    steps = []
    request = BatchRequest((folder,), folder.parent / "out", jobs=workers)
    request = dataclasses.replace(request, **changes)
    runner = None if workers else InlineRunner()
    return run_batch(request, work=quick_check, on_step=steps.append, runner=runner), steps


def read_rows(out):
    """Return rows and clips without a result of the group sheet."""
    group = json.loads((out / "group.json").read_text(encoding="utf-8"))
    return group["rows"], group["without_result"]


def folders_of(out):
    return sorted(p.name for p in out.iterdir() if p.is_dir())


def test_every_clip_gets_its_sheet_and_a_row(crew):
    report, steps = batch(crew, workers=2)
    assert (report.checked, report.failed, report.fresh) == (3, 0, 3)
    rows, without = read_rows(crew.parent / "out")
    assert {row["person"] for row in rows} == {"seat1", "seat2", "seat3"}
    assert without == []
    for row in rows:
        assert (crew.parent / "out" / row["sheet"]).is_file()
    assert [step.done for step in steps] == [1, 2, 3]
    assert all(step.fresh for step in steps)


def test_the_same_again_checks_nothing_and_gives_the_same_rows(crew):
    batch(crew)
    before = read_rows(crew.parent / "out")
    report, steps = batch(crew)
    assert report.fresh == 0
    assert [step.fresh for step in steps] == [False] * 3
    assert read_rows(crew.parent / "out") == before


def test_only_what_changed_is_checked_again(crew):
    batch(crew)
    write_clip(crew / "seat2" / "squat.mp4", SHEETS[0], note="filmed anew")
    report, _ = batch(crew)
    assert (report.checked, report.fresh) == (3, 1)


def test_a_copy_with_new_times_is_known_by_its_content(crew):
    batch(crew)
    for clip in crew.rglob("*.mp4"):
        os.utime(clip, (1_700_000_000, 1_700_000_000))
    assert batch(crew)[0].fresh == 0


def test_a_changed_option_or_standard_makes_everything_anew(crew, tmp_path):
    batch(crew)
    assert batch(crew, options=CheckOptions(show_face=True))[0].fresh == 3
    assert batch(crew, options=CheckOptions(show_face=True))[0].fresh == 0
    from motioncheck.standards.loader import package_folder

    own = tmp_path / "own"
    own.mkdir()
    text = (package_folder() / "air-squat.toml").read_text(encoding="utf-8")
    (own / "air-squat.toml").write_text(text + "\n# changed\n", encoding="utf-8")
    changed = CheckOptions(show_face=True, standards_folder=own)
    assert batch(crew, options=changed)[0].fresh == 3


def test_a_lost_or_cut_sheet_is_made_again(crew):
    out = crew.parent / "out"
    batch(crew)
    first, second, _ = folders_of(out)
    (out / first / "sheet.html").unlink()
    (out / second / "sheet.json").write_text("{", encoding="utf-8")
    assert batch(crew)[0].fresh == 2
    assert batch(crew)[0].fresh == 0


def test_one_bad_clip_stops_no_other_and_says_why(crew):
    write_clip(crew / "seat4" / "still.mp4", SHEETS[0], fails="Expected a rep, found none.")
    write_clip(crew / "seat5" / "odd.mp4", SHEETS[0], breaks="on purpose")
    report, _ = batch(crew)
    assert (report.checked, report.failed) == (3, 2)
    reasons = {row["person"]: row["reason"] for row in read_rows(crew.parent / "out")[1]}
    assert reasons["seat4"].startswith("Expected a rep, found none.")
    assert "ZeroDivisionError" in reasons["seat5"]


def test_what_is_wrong_with_a_clip_is_settled_but_a_surprise_is_tried_again(crew, tmp_path):
    log = tmp_path / "log.txt"
    write_clip(crew / "seat4" / "still.mp4", SHEETS[0], fails="Nothing there.", log=str(log))
    write_clip(crew / "seat5" / "odd.mp4", SHEETS[0], breaks="on purpose", log=str(log))
    batch(crew)
    report, _ = batch(crew)
    assert (report.checked, report.failed, report.fresh) == (3, 2, 1)
    tried = [line.split()[0] for line in log.read_text(encoding="utf-8").splitlines()]
    assert sorted(tried) == ["odd.mp4", "odd.mp4", "still.mp4"]


def test_a_worker_killed_once_costs_only_a_second_try(crew, tmp_path):
    once = tmp_path / "died"
    write_clip(crew / "seat4" / "squat.mp4", SHEETS[1], dies_while=str(once))
    report, _ = batch(crew, workers=2)
    assert once.exists()
    assert (report.checked, report.failed) == (4, 0)


def test_a_clip_that_kills_its_worker_twice_is_reported(crew):
    write_clip(crew / "seat4" / "squat.mp4", SHEETS[1], dies=True)
    report, _ = batch(crew, workers=1)
    assert (report.checked, report.failed) == (3, 1)
    [row] = read_rows(crew.parent / "out")[1]
    assert "SIGKILL, 2 times" in row["reason"]


def test_a_clip_of_the_same_name_has_a_folder_of_its_own(crew):
    out = crew.parent / "out"
    batch(crew)
    names = folders_of(out)
    assert len(names) == 3
    assert all(name.startswith("squat-") for name in names)
    assert not any("seat" in name for name in names)


def test_the_same_content_of_one_person_is_checked_once_of_two_people_twice(crew):
    content = (crew / "seat1" / "squat.mp4").read_bytes()
    (crew / "seat1" / "squat (1).mp4").write_bytes(content)
    (crew / "seat9").mkdir()
    (crew / "seat9" / "squat.mp4").write_bytes(content)
    report, _ = batch(crew)
    assert (report.checked, report.skipped) == (4, 1)
    [row] = read_rows(crew.parent / "out")[1]
    assert row["reason"] == "The same clip as seat1/squat (1).mp4."


def test_hostile_names_of_clips_stay_text(tmp_path):
    folder = tmp_path / "crew"
    names = ["=cmd|'calc'!A1.mp4", "<script>alert(1)<b>.mp4", "%2e%2e.mp4", "-rf \n.mp4"]
    for number, name in enumerate(names):
        write_clip(folder / "seat1" / name, SHEETS[0], note=number)
    report, _ = batch(folder)
    out = tmp_path / "out"
    assert report.checked == 4
    assert all(set(name) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-")
               and name[0] not in ".-" for name in folders_of(out))  # fmt: skip
    assert "<script>alert" not in (out / "group.html").read_text(encoding="utf-8")
    with (out / "group.csv").open(encoding="utf-8-sig", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not any(cell.startswith(("=", "@", "\t", "\r")) for cell in cells)
    assert any(cell.startswith("'=cmd") or "seat1/=cmd" in cell for cell in cells)


def test_results_are_for_their_owner_only(crew):
    batch(crew)
    for path in [crew.parent / "out", *(crew.parent / "out").rglob("*")]:
        assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path


def test_nothing_half_done_is_left_in_the_folder(crew):
    batch(crew)
    hidden = [p.name for p in (crew.parent / "out").rglob(".*")]
    assert hidden in ([], [".hashes.json"])


def test_a_folder_with_other_files_is_not_touched_unless_allowed(crew):
    out = crew.parent / "out"
    out.mkdir()
    (out / "diary.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="found other files"):
        batch(crew)
    assert batch(crew, replace=True)[0].checked == 3
    assert (out / "diary.txt").read_text(encoding="utf-8") == "mine"


def test_two_batches_do_not_work_in_one_folder(crew):
    from motioncheck.batch.place import open_place

    with (
        open_place(crew.parent / "out"),
        pytest.raises(OutputError, match="another batch at work"),
    ):
        batch(crew)


def test_nothing_to_check_is_an_error(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="Expected clips, found none"):
        batch(tmp_path / "empty")


def test_a_folder_whose_name_is_no_code_is_refused_before_anything_is_checked(crew):
    write_clip(crew / "Anna B." / "squat.mp4", SHEETS[0])
    write_clip(crew / "-x" / "squat.mp4", SHEETS[0])
    with pytest.raises(UsageError, match=r"'-x', 'Anna B\.'"):
        batch(crew)
    assert not (crew.parent / "out").exists()


def test_an_unknown_movement_is_refused_before_anything_is_checked(crew):
    with pytest.raises(StandardError, match="'flying'"):
        batch(crew, given=Given(movement="flying"))


def read_history(place):
    """Return what is recorded, without numbers and instants."""
    with open_history(place) as history:
        checks = [
            dataclasses.replace(c, id=0, recorded_at="", folder="", clip_number=0)
            for c in history.checks()
        ]
        people = [p.code for p in history.list_people()]
        trials = [
            dataclasses.replace(t, check_id=0, recorded_at="", clip_number=0)
            for code in people
            for t in history.trials(code)
        ]
    return sorted(checks, key=repr), sorted(trials, key=repr)


def test_checks_of_known_people_are_recorded_once(crew, tmp_path):
    write_clip(crew / "nobody.mp4", SHEETS[0], note="whose?")
    store = tmp_path / "history.db"
    report, _ = batch(crew, recording=Recording(store))
    assert (report.recorded, report.without_person) == (3, 1)
    first = read_history(store)
    assert {c.person for c in first[0]} == {"seat1", "seat2", "seat3"}
    assert first[1]
    batch(crew, recording=Recording(store))
    assert read_history(store) == first


def test_a_batch_can_be_recorded_later(crew, tmp_path):
    batch(crew)
    report, _ = batch(crew, recording=Recording(tmp_path / "history.db"))
    assert (report.fresh, report.recorded) == (0, 3)


def test_the_day_is_that_of_the_file_so_that_resuming_tomorrow_changes_nothing(crew, tmp_path):
    for clip in crew.rglob("*.mp4"):
        os.utime(clip, (1_700_000_000, 1_700_000_000))
    store = tmp_path / "history.db"
    batch(crew, recording=Recording(store))
    assert {c.day for c in read_history(store)[0]} <= {"2023-11-14", "2023-11-15"}


def test_a_session_on_another_day_costs_only_its_record(crew, tmp_path):
    store = tmp_path / "history.db"
    given = Given(session="week 1", day="2026-03-01")
    batch(crew, given=given, recording=Recording(store))
    write_clip(crew / "seat1" / "more.mp4", SHEETS[1], note="later")
    later = Given(session="week 1", day="2026-03-08")
    report, _ = batch(crew, given=later, recording=Recording(store))
    assert report.checked == 4
    assert any("more.mp4" in sentence for sentence in report.refused)


def test_a_disk_on_which_nothing_can_be_written_ends_the_batch_as_output(crew, tmp_path):
    """Not as a fault of the program, and not clip by clip."""
    clip = next(crew.rglob("*.mp4"))
    task = Task(1, clip, "", None, CheckOptions())
    with LocalRunner(quick_check, 1, tmp_path / "gone" / ".work") as runner:
        runner.submit(task)
        with pytest.raises(OutputError, match="Expected to write into"):
            runner.collect(60.0)


def test_a_folder_of_a_clip_that_cannot_be_written_is_an_error_of_output(tmp_path):
    (tmp_path / "a-1").write_text("a file where the folder should be", encoding="utf-8")
    with pytest.raises(OutputError, match="a-1"):
        write_failure(tmp_path / "a-1", {}, "Nobody was found.")
    with pytest.raises(OutputError, match="a-1"):
        write_entry(tmp_path / "a-1", {}, {"sheet.json": b"{}"})


def test_results_among_the_clips_are_refused_with_a_reason(crew):
    with pytest.raises(UsageError, match="another folder than that of the clips"):
        run_batch(BatchRequest((crew,), crew), runner=InlineRunner())
    assert not (crew / "batch.json").exists()
