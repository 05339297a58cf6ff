"""Following a folder that fills."""

from __future__ import annotations

import json
import threading
import time

from batch_fakes import InlineRunner, make_sheet, write_clip

from motioncheck.batch.items import BatchItem
from motioncheck.batch.run import run_batch
from motioncheck.batch.settings import BatchRequest, Watching
from motioncheck.batch.watch import Arrivals

SHEET = make_sheet(0)


def items_in(folder):
    return [BatchItem(p, p.name) for p in sorted(folder.iterdir())]


def look(arrivals, folder, now):
    return [item.name for item in arrivals.look(items_in(folder), now)]


def test_a_file_is_ready_when_nothing_about_it_changed_for_a_while(tmp_path):
    arrivals = Arrivals(settle_s=2.0)
    (tmp_path / "a.mp4").write_bytes(b"1")
    (tmp_path / "empty.mp4").write_bytes(b"")
    assert look(arrivals, tmp_path, 0.0) == []
    assert look(arrivals, tmp_path, 1.9) == []
    (tmp_path / "a.mp4").write_bytes(b"12")
    assert look(arrivals, tmp_path, 2.5) == []
    assert arrivals.growing
    assert look(arrivals, tmp_path, 4.4) == []
    assert look(arrivals, tmp_path, 4.5) == ["a.mp4"]
    assert look(arrivals, tmp_path, 99.0) == []
    assert not arrivals.growing


def test_a_file_that_is_replaced_or_comes_back_is_ready_again(tmp_path):
    arrivals = Arrivals(settle_s=1.0)
    clip = tmp_path / "a.mp4"
    clip.write_bytes(b"1")
    look(arrivals, tmp_path, 0.0)
    assert look(arrivals, tmp_path, 1.0) == ["a.mp4"]
    clip.write_bytes(b"123")
    assert look(arrivals, tmp_path, 2.0) == []
    assert look(arrivals, tmp_path, 3.0) == ["a.mp4"]
    clip.unlink()
    assert look(arrivals, tmp_path, 4.0) == []
    clip.write_bytes(b"123")
    look(arrivals, tmp_path, 5.0)
    assert look(arrivals, tmp_path, 6.0) == ["a.mp4"]


def test_clips_are_checked_as_they_come_and_the_group_sheet_follows(tmp_path):
    folder, out = tmp_path / "crew", tmp_path / "out"
    write_clip(folder / "seat1" / "a.mp4", SHEET, note=1)
    seen = []

    def rows():
        try:
            return len(json.loads((out / "group.json").read_bytes())["rows"])
        except OSError:
            return None

    def fill():
        wait_for(lambda: rows() == 1)
        seen.append(rows())
        write_clip(folder / "seat2" / "b.mp4", SHEET, note=2)
        wait_for(lambda: rows() == 2)
        seen.append(rows())
        # Filmed again under the same name: it takes the place of the old one.
        write_clip(folder / "seat2" / "b.mp4", SHEET, note="longer than before")
        write_clip(folder / "not a code" / "c.mp4", SHEET, note=3)

    filler = threading.Thread(target=fill)
    filler.start()
    report = run_batch(
        BatchRequest((folder,), out, watching=Watching(0.2, 3.0, 0.05)), runner=InlineRunner()
    )
    filler.join()
    assert seen == [1, 2]
    assert (report.checked, report.failed, report.fresh) == (2, 1, 4)
    assert rows() == 2


def wait_for(condition, limit_s=20.0):
    deadline = time.monotonic() + limit_s
    while not condition() and time.monotonic() < deadline:
        time.sleep(0.02)


def test_an_empty_folder_can_be_watched_and_ends_when_idle(tmp_path):
    (tmp_path / "crew").mkdir()
    report = run_batch(
        BatchRequest((tmp_path / "crew",), tmp_path / "out", watching=Watching(0.1, 0.2, 0.05)),
        runner=InlineRunner(),
    )
    assert report.checked == 0
    assert (tmp_path / "out" / "group.html").is_file()


def read_people(out):
    try:
        group = json.loads((out / "group.json").read_bytes())
    except OSError:
        return None
    return sorted((row["person"], row["clip"]) for row in group["rows"])


def watched(tmp_path, act, **request):
    """Follow a folder while ``act`` does things in it; return the report and what was told."""
    notes = []
    actor = threading.Thread(target=act)
    actor.start()
    report = run_batch(
        BatchRequest(
            (tmp_path / "crew",), tmp_path / "out", watching=Watching(0.1, 2.0, 0.05), **request
        ),
        runner=InlineRunner(),
        on_note=notes.append,
    )
    actor.join()
    return report, notes


def test_a_changed_manifest_moves_a_clip_to_another_person(tmp_path):
    folder, out, manifest = tmp_path / "crew", tmp_path / "out", tmp_path / "who.csv"
    for number, name in enumerate("ab"):
        write_clip(folder / f"{name}.mp4", SHEET, note=number)
    manifest.write_text("clip,person\ncrew/a.mp4,seat1\ncrew/b.mp4,seat2\n", encoding="utf-8")
    seen = []

    def act():
        before = [("seat1", "a.mp4"), ("seat2", "b.mp4")]
        wait_for(lambda: read_people(out) == before)
        manifest.write_text("clip,person\ncrew/a.mp4,seat1,too much\n", encoding="utf-8")
        time.sleep(0.3)
        seen.append(read_people(out))
        manifest.write_text("clip,person\ncrew/a.mp4,seat1\ncrew/b.mp4,seat33\n", "utf-8")
        wait_for(lambda: read_people(out) == [("seat1", "a.mp4"), ("seat33", "b.mp4")])
        seen.append(read_people(out))

    report, notes = watched(tmp_path, act, manifest=manifest)
    assert seen == [
        [("seat1", "a.mp4"), ("seat2", "b.mp4")],
        [("seat1", "a.mp4"), ("seat33", "b.mp4")],
    ]
    assert len(notes) == 1
    assert "line 2, column 3" in notes[0]
    # The clip whose line did not change was not checked again.
    assert (report.checked, report.fresh) == (2, 3)


def test_a_clip_that_is_renamed_or_deleted_leaves_the_group_sheet(tmp_path):
    folder, out = tmp_path / "crew", tmp_path / "out"
    for number, name in enumerate("ab"):
        write_clip(folder / f"{name}.mp4", SHEET, note=number)

    def act():
        wait_for(lambda: len(read_people(out) or ()) == 2)
        (folder / "a.mp4").rename(folder / "c.mp4")
        (folder / "b.mp4").unlink()
        wait_for(lambda: read_people(out) == [("", "c.mp4")])

    report, _ = watched(tmp_path, act)
    assert read_people(out) == [("", "c.mp4")]
    assert (report.checked, report.failed, report.skipped) == (1, 0, 0)


def test_a_copy_is_checked_when_the_clip_it_stood_back_for_is_another_now(tmp_path):
    folder, out = tmp_path / "crew", tmp_path / "out"
    for name in "ab":
        write_clip(folder / f"{name}.mp4", SHEET, note="the same")

    def act():
        wait_for(lambda: read_people(out) == [("", "a.mp4")])
        write_clip(folder / "a.mp4", SHEET, note="something else")
        wait_for(lambda: len(read_people(out)) == 2)

    report, _ = watched(tmp_path, act)
    assert (report.checked, report.skipped) == (2, 0)
