"""`motioncheck correct` on the command line: what it records, says, refuses and writes anew."""

from __future__ import annotations

import hashlib
import json
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import sheet_examples as ex

from motioncheck.cli import main
from motioncheck.cli.correct_find import parse_verdict
from motioncheck.errors import UsageError
from motioncheck.history import open_history
from motioncheck.records import VERDICTS
from motioncheck.sheet.json import sheet_from_json

SAMPLE = Path(__file__).parents[1] / "sample_clips_synthetic" / "squat_side_faults.mp4"
CONTENT = b"made-up clip"
BASE = ex.squat_sheet(pictures=False).sheet


def sheet_for(content: bytes, base=BASE, movement=None):
    """Return a made-up sheet of a clip with this content."""
    clip = replace(base.clip, sha256=hashlib.sha256(content).hexdigest(), name="squat.mp4")
    sheet = replace(base, clip=clip)
    return replace(sheet, movement=replace(sheet.movement, id=movement)) if movement else sheet


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run ``motioncheck WORDS`` in this process; returns exit code, output, and errors."""
    monkeypatch.delenv("MOTIONCHECK_AUTHOR", raising=False)
    monkeypatch.setenv("MOTIONCHECK_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)

    def call(*words):
        monkeypatch.setattr(sys, "argv", ["motioncheck", *map(str, words)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as end:
            main.run()
        return end.value.code or 0, *capsys.readouterr()

    return call


@pytest.fixture
def clip(tmp_path):
    """A recorded clip; what is on record is that of the history of this test."""
    path = tmp_path / "squat.mp4"
    path.write_bytes(CONTENT)
    with open_history() as history:
        history.record(sheet_for(CONTENT), person="seat3", day="2026-03-01", clip_path=path)
    return path


def on_record(**options):
    with open_history() as history:
        return history.corrections(**options)


def corrected():
    with open_history() as history:
        return history.corrected_sheet(history.checks()[-1].id)


def test_a_rep_is_struck_by_its_number_and_the_new_count_is_printed(run, clip):
    code, out, err = run("correct", "strike", clip, 2, "--by", "coach1", "--why", "racking")
    assert (code, err) == (0, "")
    assert "Correction 1 is on record." in out
    assert "Correction 1: Rep 2 at 5.4 s struck, by coach1, " in out
    assert "Air squat: 6 reps, 3 to work on: reps 5 to 7." in out
    (kept,) = on_record()
    assert (kept.kind, kept.by, kept.text) == ("strike", "coach1", "racking")
    assert kept.at_s == pytest.approx(5.4)
    assert kept.movement == "air-squat"
    assert kept.made_at.endswith("+00:00")


def test_a_clip_is_named_by_its_path_or_by_the_number_of_its_check(run, clip):
    assert run("correct", "strike", 1, 2, "--by", "coach1")[0] == 0
    clip.rename(clip.with_name("moved.mp4"))
    # Moved, it is still the same content; gone, it is known by the path on record.
    assert run("correct", "strike", "moved.mp4", 3, "--by", "coach1")[0] == 0
    assert run("correct", "strike", "squat.mp4", 4, "--by", "coach1")[0] == 0
    assert [e.number for e in corrected().events if e.struck] == [2, 3, 4]


def test_nobody_named_is_refused_and_the_environment_can_name_who_corrects(run, clip, monkeypatch):
    code, _, err = run("correct", "strike", clip, 2)
    assert code == 2
    assert "Say --by WHO, or set MOTIONCHECK_AUTHOR" in err
    assert run("correct", "strike", clip, 2, "--by", "  ")[0] == 2
    assert on_record() == ()
    monkeypatch.setenv("MOTIONCHECK_AUTHOR", "coach9")
    assert run("correct", "strike", clip, 2)[0] == 0
    assert run("correct", "strike", clip, 3, "--by", "coach1")[0] == 0
    assert [c.by for c in on_record()] == ["coach9", "coach1"]


def test_a_rep_is_added_with_a_span_or_only_its_turn(run, clip):
    assert run("correct", "add", clip, "--at", 0.6, "--from", 0.2, "--to", 0.9, "--by", "c")[0] == 0
    assert run("correct", "add", clip, "--at", 21.5, "--by", "c")[0] == 0
    added = [e for e in corrected().events if e.added]
    assert [(e.number, e.start_s, e.turn_s, e.end_s) for e in added] == [
        (8, 0.2, 0.6, 0.9), (9, 21.5, 21.5, 21.5),
    ]  # fmt: skip
    assert corrected().summary.count == 9


@pytest.mark.parametrize(
    ("times", "said"),
    [
        (["--at", "5.4"], "found rep 2 at 5.4 s"),
        (["--at", "99"], "inside the clip"),
        (["--at", "-1"], "inside the clip"),
        (["--at", "nan"], "inside the clip"),
        (["--at", "inf"], "inside the clip"),
        (["--at", "0.6", "--from", "0.7", "--to", "0.9"], "in this order"),
        (["--at", "0.6", "--from", "0.1"], "--from and --to together"),
        (["--at", "0.6", "--side", "up"], "--side to be left, right or both"),
    ],
)
def test_a_rep_that_cannot_be_added_is_refused(run, clip, times, said):
    code, out, err = run("correct", "add", clip, *times, "--by", "coach1")
    assert (code, out) == (2, "")
    assert said in err
    # A slip of its own kind has a next step of its own.
    assert UsageError.default_hint not in err
    assert on_record() == ()


def test_a_rep_of_a_drill_by_sides_is_added_with_its_side(run, tmp_path):
    path = tmp_path / "sides.mp4"
    path.write_bytes(b"sides")
    with open_history() as history:
        history.record(sheet_for(b"sides", ex.alternating_sheet().sheet), person="seat3")
    code, _, err = run("correct", "add", path, "--at", 0.5, "--by", "coach1")
    assert code == 2
    assert "Expected --side left or right" in err
    assert run("correct", "add", path, "--at", 0.5, "--side", "left", "--by", "coach1")[0] == 0
    assert corrected().summary.count_left == 5


def test_a_stage_cannot_be_added_because_it_would_not_say_which(run, tmp_path):
    path = tmp_path / "stages.mp4"
    path.write_bytes(b"stages")
    sheet = sheet_for(b"stages")
    sheet = replace(sheet, movement=replace(sheet.movement, event_kind="stage"))
    with open_history() as history:
        history.record(sheet, person="seat3")
    code, _, err = run("correct", "add", path, "--at", 0.5, "--by", "coach1")
    assert code == 2
    assert "found one of ordered stages" in err


def test_a_verdict_is_changed_by_id_or_title_of_the_check(run, clip):
    code, out, _ = run("correct", "verdict", clip, 6, "trunk", "meets", "--by", "coach1")
    assert code == 0
    assert "Chest up at the bottom, misses as measured, meets as corrected, by coach1" in out
    title = "chest up at the bottom"
    assert run("correct", "verdict", clip, 7, title, "too-close-to-call", "--by", "c")[0] == 0
    found = {e.number: f for e in corrected().events for f in e.findings if f.check == "trunk"}
    assert [(found[n].verdict, found[n].holds) for n in (5, 6, 7)] == [
        ("misses", "misses"), ("misses", "meets"), ("misses", "too close to call"),
    ]  # fmt: skip


def test_a_verdict_of_the_whole_set_is_changed(run, clip):
    assert run("correct", "verdict", clip, "set", "tempo", "misses", "--by", "coach1")[0] == 0
    (found,) = corrected().summary.set_findings
    assert (found.verdict, found.corrected) == ("meets", "misses")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([6, "trunk", "fine"], "found 'fine'"),
        ([6, "nothing", "meets"], "Those there are: depth (Thighs level at the bottom)"),
        ([6, "tempo", "meets"], "Expected a check of a rep"),
        (["set", "trunk", "meets"], "Expected a check of the set"),
        ([6, "trunk", "misses"], "it is 'misses' already"),
        ([99, "trunk", "meets"], "of this clip (1–7), found 99"),
        (["six", "trunk", "meets"], "found 'six'"),
        ([6, "depth", "meets", "--side", "left"], "no verdict of it on the left"),
    ],
)
def test_a_verdict_that_cannot_be_changed_is_refused(run, clip, words, said):
    code, out, err = run("correct", "verdict", clip, *words, "--by", "coach1")
    assert (code, out) == (2, "")
    assert said in err
    # A slip of its own kind has a next step of its own.
    assert UsageError.default_hint not in err
    assert on_record() == ()


def test_verdicts_are_understood_in_several_spellings():
    assert [parse_verdict(v) for v in VERDICTS] == list(VERDICTS)
    assert parse_verdict("Too-Close-To-Call") == parse_verdict("close") == "too close to call"
    assert parse_verdict(" unseen ") == parse_verdict("not_visible") == "not visible"
    with pytest.raises(UsageError, match="Expected one of the verdicts"):
        parse_verdict("")


def test_a_note_wants_words_and_changes_no_count(run, clip):
    code, _, err = run("correct", "note", clip, "--by", "coach1")
    assert code == 2
    assert "--why TEXT" in err
    assert run("correct", "note", clip, 3, "--by", "coach1", "--why", "slipped")[0] == 0
    assert run("correct", "note", clip, "--by", "coach1", "--why", "shoes off")[0] == 0
    assert [(c.event, c.text) for c in corrected().corrections] == [
        (3, "slipped"), (None, "shoes off"),
    ]  # fmt: skip
    assert corrected().summary.count == 7


def test_a_rep_is_struck_once_and_an_added_one_is_withdrawn_instead(run, clip):
    assert run("correct", "strike", clip, 2, "--by", "coach1")[0] == 0
    code, _, err = run("correct", "strike", clip, 2, "--by", "coach1")
    assert code == 2
    assert "found 2 struck already" in err
    assert run("correct", "add", clip, "--at", 0.5, "--by", "coach1")[0] == 0
    code, _, err = run("correct", "strike", clip, 8, "--by", "coach1")
    assert code == 2
    assert "withdraw" in err


def test_a_withdrawn_correction_no_longer_counts_and_stays_on_record(run, clip):
    run("correct", "strike", clip, 2, "--by", "coach1")
    code, out, _ = run("correct", "withdraw", 1, "--by", "coach2")
    assert code == 0
    assert "Correction 1 is withdrawn; it stays on record." in out
    assert corrected() == sheet_for(CONTENT)
    assert [c.withdrawn_by for c in on_record(withdrawn=True)] == ["coach2"]
    code, out, _ = run("correct", "withdraw", 1, "--by", "coach3")
    assert (code, out) == (0, "Correction 1 was withdrawn already.\n")
    code, _, err = run("correct", "withdraw", 5, "--by", "coach3")
    assert code == 2
    assert "found no correction 5" in err


def test_the_list_shows_what_holds_and_with_all_what_was_withdrawn(run, clip):
    assert run("correct", "list")[1] == "No corrections on record.\n"
    run("correct", "strike", clip, 2, "--by", "coach1", "--why", "racking")
    run("correct", "note", clip, "--by", "coach2", "--why", "shoes off")
    run("correct", "withdraw", 1, "--by", "coach1")
    code, out, _ = run("correct", "list")
    assert code == 0
    assert out.splitlines()[0] == "squat.mp4, air-squat:"
    assert "Correction 2: Note on the set, by coach2" in out
    assert "racking" not in out
    assert run("correct", "list", clip)[1] == out
    every = run("correct", "list", 1, "--all")[1]
    assert "Correction 1: rep at 5.4 s: strike, by coach1" in every
    assert "(withdrawn by coach1, " in every


def test_a_clip_checked_for_two_movements_wants_the_movement(run, clip):
    with open_history() as history:
        history.record(sheet_for(CONTENT, movement="front-squat"), person="seat3")
    code, _, err = run("correct", "strike", clip, 2, "--by", "coach1")
    assert code == 2
    assert "found checks for air-squat and front-squat. Say which with --movement." in err
    assert run("correct", "strike", clip, 2, "-m", "front-squat", "--by", "coach1")[0] == 0
    assert [c.movement for c in on_record()] == ["front-squat"]


@pytest.mark.parametrize("name", ["nowhere.mp4", "77"])
def test_a_clip_that_is_not_on_record_is_refused_with_what_to_do(run, clip, name):
    code, _, err = run("correct", "strike", name, 1, "--by", "coach1")
    assert code == 2
    assert "found none" in err
    assert "--person CODE" in err


def test_an_unknown_clip_file_is_refused(run, clip, tmp_path):
    other = tmp_path / "other.mp4"
    other.write_bytes(b"other")
    code, _, err = run("correct", "strike", other, 1, "--by", "coach1")
    assert code == 2
    assert "Expected a check of other.mp4 on record, found none." in err


def test_hostile_text_is_kept_on_one_line_without_what_steers_a_terminal(run, clip):
    evil = "=1+1\x1b[31m\nnext\u202e"
    code, out, _ = run("correct", "note", clip, "--by", evil, "--why", evil)
    assert code == 0
    assert all(line.isprintable() for line in out.splitlines())
    (kept,) = on_record()
    assert kept.text == kept.by == "=1+1 [31m next"


def test_what_cannot_be_written_anew_says_how_it_can(run, clip, tmp_path):
    _, out, _ = run("correct", "strike", clip, 2, "--by", "coach1")
    how = "`motioncheck check CLIP --movement air-squat --person seat3`"
    assert "there is no sheet where this check wrote one." in out
    assert how in out
    # A sheet is there, but this clip is no video and nothing of it is kept.
    folder = tmp_path / "squat.check"
    folder.mkdir()
    content = json.dumps({"schema": "motioncheck/sheet/1", "movement": {"id": "air-squat"}})
    (folder / "sheet.json").write_text(content, encoding="utf-8")
    moved = sheet_for(b"second")
    clip.write_bytes(b"second")
    with open_history() as history:
        history.record(moved, person="seat3", clip_path=clip, folder=folder)
    code, out, err = run("correct", "strike", clip, 2, "--by", "coach1")
    assert (code, err) == (0, "")
    assert "The sheet was not written anew: " in out
    assert how in out
    assert (folder / "sheet.json").read_text(encoding="utf-8") == content
    # Nor is the sheet of another movement overwritten.
    (folder / "sheet.json").write_text(content.replace("air-squat", "burpee"), encoding="utf-8")
    assert "that of another movement" in run("correct", "note", clip, "--by", "c", "--why", "x")[1]


def test_help_of_every_command_is_there_and_says_who_corrects(run):
    code, out, _ = run("correct", "--help")
    assert code == 0
    for name in ("strike", "add", "verdict", "note", "list", "withdraw"):
        assert name in out
        assert run("correct", name, "--help")[0] == 0


@pytest.mark.model
def test_the_sheet_of_a_real_clip_is_written_anew_and_back_again(run, tmp_path):
    """Check, strike, check again, withdraw: every time the sheet shows what holds."""
    clip = tmp_path / "squat.mp4"
    shutil.copy(SAMPLE, clip)
    folder = tmp_path / "squat.check"
    code, *_ = run("check", clip, "-m", "air-squat", "--person", "seat3", "--day", "2026-03-01")
    assert code == 0

    def read():
        return sheet_from_json((folder / "sheet.json").read_bytes())

    measured = read()
    page = (folder / "sheet.html").read_text(encoding="utf-8")
    code, out, _ = run("correct", "strike", clip, 2, "--by", "coach1", "--why", "<i>racking</i>")
    assert code == 0
    assert f"Sheet: {folder / 'sheet.html'}" in out
    fixed = read()
    assert fixed.summary.count == measured.summary.count - 1
    assert [e.number for e in fixed.events if e.struck] == [2]
    assert fixed.provenance == measured.provenance
    html = (folder / "sheet.html").read_text(encoding="utf-8")
    assert "&lt;i&gt;racking&lt;/i&gt;" in html
    assert html.count("data:image/jpeg") == page.count("data:image/jpeg")
    assert (folder / "reps.csv").read_text(encoding="utf-8").count(",struck,") == 1
    # A new check shows what is on record, and the history still holds what was measured.
    code, out, _ = run("check", clip, "-m", "air-squat", "--person", "seat3")
    assert code == 0
    assert "Correction 1: Rep 2 at" in out
    assert read().events == fixed.events
    with open_history() as history:
        (check,) = history.checks()
        assert history.sheet_of(check.id).events == measured.events
    assert run("correct", "withdraw", 1, "--by", "coach1")[0] == 0
    back = read()
    assert (back.events, back.summary, back.corrections) == (
        measured.events, measured.summary, (),
    )  # fmt: skip
    assert "struck" not in (folder / "sheet.html").read_text(encoding="utf-8").split("</style>")[1]


def test_a_correction_makes_no_history_where_there_is_none(run, tmp_path):
    place = tmp_path / "none.db"
    for words in (("list",), ("strike", 1, 1, "--by", "c"), ("withdraw", 1, "--by", "c")):
        code, _, err = run("correct", *words, "--history", place)
        assert (code, err.count("\n")) == (7, 1)
        assert "found none" in err
    assert not place.exists()


def test_details_of_errors_can_be_asked_for(run, clip):
    code, _, err = run("correct", "strike", clip, 99, "--by", "coach1", "-v")
    assert code == 2
    assert "Traceback" in err
    assert err.splitlines()[-1].startswith("motioncheck: Expected the number of a rep")


def test_a_number_beyond_every_row_is_none(run, clip):
    code, _, err = run("correct", "withdraw", 10**20, "--by", "coach1")
    assert code == 2
    assert "found no correction" in err


def test_a_clip_of_two_people_is_corrected_for_one_of_them(run, clip):
    with open_history() as history:
        history.record(sheet_for(CONTENT), person="seat4", day="2026-03-01", clip_path=clip)
        numbers = {c.person: c.id for c in history.checks()}
    code, _, err = run("correct", "strike", clip, 2, "--by", "coach1")
    assert code == 2
    assert "Expected a clip that was checked once, found it recorded for seat3 and seat4" in err
    assert run("correct", "strike", numbers["seat4"], 2, "--by", "coach1")[0] == 0
    with open_history() as history:
        copy = shutil.copy(clip, clip.with_name("copy.mp4"))
        history.record(sheet_for(CONTENT), person="seat5", day="2026-03-01", clip_path=copy)
    assert "--person seat5" in run("correct", "strike", "copy.mp4", 3, "--by", "coach1")[1]
    with open_history() as history:
        struck = {
            code: [e.number for e in history.corrected_sheet(number).events if e.struck]
            for code, number in numbers.items()
        }
    assert struck == {"seat3": [], "seat4": [2]}
    assert "Rep 2" in run("correct", "list")[1]
    assert "No corrections" in run("correct", "list", numbers["seat3"])[1]
    _, out, _ = run("correct", "withdraw", 1, "--by", "coach1")
    assert "--person seat4" in out


def test_stretches_of_a_clip_are_corrected_one_by_one(run, clip):
    first, second = BASE.events[:3], BASE.events[3:]
    sheet = sheet_for(b"circuit")
    with open_history() as history:
        numbers = [
            history.record(
                replace(sheet, events=events), person="seat3", session="circuit", part=part,
                clip_path=clip.with_name("circuit.mp4"),
            ).check_id
            for part, events in ((1, first), (2, second))
        ]  # fmt: skip
    code, _, err = run("correct", "strike", "circuit.mp4", 2, "--by", "c")
    assert (code, "found several stretches of it checked" in err) == (2, True)
    assert run("correct", "strike", numbers[0], 2, "--by", "c")[0] == 0
    with open_history() as history:
        counts = [history.corrected_sheet(n).summary.count for n in numbers]
    assert counts == [2, 4]
    # What is about no event that is there would be about both stretches.
    for words in (("add", numbers[0], "--at", 21.9), ("verdict", numbers[0], "set", "x", "meets")):
        code, _, err = run("correct", *words, "--by", "c")
        assert (code, "one of several stretches" in err) == (2, True)


@pytest.mark.model
def test_a_stretch_of_a_clip_is_not_written_anew_from_the_whole_clip(run, tmp_path):
    """A session finds stretches by what is around them; the whole clip would give other reps."""
    from motioncheck.pipeline import check_again
    from motioncheck.pipeline.options import default_cache

    clip = tmp_path / "squat.mp4"
    shutil.copy(SAMPLE, clip)
    assert run("check", clip, "-m", "air-squat", "--person", "seat3")[0] == 0
    with open_history() as history:
        whole = history.sheet_of(1)
    stretch = replace(whole, events=whole.events[:3])
    assert check_again(clip, whole, cache_folder=default_cache()).sheet.events == whole.events
    assert check_again(clip, stretch, cache_folder=default_cache()) is None
