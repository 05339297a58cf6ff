"""`motioncheck batch` on the command line: what is asked for, what is said, exit codes."""

from __future__ import annotations

import dataclasses
import re
import subprocess
import sys
from pathlib import Path

import pytest
from batch_fakes import InlineRunner, make_sheet, write_clip
from group_examples import squats
from typer.main import get_command

from motioncheck.batch import run as batch_run
from motioncheck.batch.items import BatchItem, Outcome
from motioncheck.batch.settings import BatchReport, Step
from motioncheck.cli import batch_run as cli
from motioncheck.cli import main
from motioncheck.cli.main import app
from motioncheck.sheet.words import DOUBT

PAGE = Path(__file__).parents[1] / "docs" / "batch.md"
SHEET = make_sheet(0)
CALM = make_sheet(0)
CALM["summary"]["verdicts"] = {"meets": 3}


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run the command in this process, with the made-up check; returns code, output, errors."""
    original = batch_run.run_batch
    monkeypatch.setattr(cli, "run_batch", lambda r, **k: original(r, runner=InlineRunner(), **k))
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        monkeypatch.setattr(sys, "argv", ["motioncheck", "batch", *map(str, arguments)])
        with pytest.raises(SystemExit) as end:
            main.run()
        return end.value.code or 0, *capsys.readouterr()

    return call


@pytest.fixture
def crew(tmp_path):
    folder = tmp_path / "crew"
    write_clip(folder / "seat1" / "a.mp4", SHEET, note=1)
    write_clip(folder / "seat2" / "a.mp4", SHEET, note=2)
    return folder


def test_results_go_beside_the_folder_and_are_summed_up(run, crew):
    code, out, err = run("crew")
    assert code == 0
    assert "Checked: 2, without a result: 0." in out
    assert "crew.batch/group.html" in out
    assert (crew.parent / "crew.batch" / "group.html").is_file()
    assert "[1/2] seat" in err
    assert "Air squat." in err


def test_the_second_run_says_what_was_done_before(run, crew):
    run("crew")
    code, out, err = run("crew")
    assert (code, err) == (0, "")
    assert "2 of them were done before." in out


def test_clips_without_a_result_do_not_fail_the_batch_unless_strict(run, crew):
    write_clip(crew / "seat3" / "a.mp4", SHEET, fails="Nothing there.")
    code, out, err = run("crew")
    assert code == 0
    assert "without a result: 1" in out
    assert "seat3/a.mp4: failed. Nothing there." in err
    assert run("crew", "--strict")[0] == 9, "a miss comes first"


def test_strict_tells_a_missing_result_where_nothing_is_missed(run, tmp_path):
    write_clip(tmp_path / "crew" / "seat1" / "a.mp4", CALM)
    assert run("crew", "--strict")[0] == 0
    write_clip(tmp_path / "crew" / "seat2" / "b.mp4", CALM, fails="Nothing there.")
    assert run("crew")[0] == 0
    assert run("crew", "--strict")[0] == 6


def test_nothing_that_could_be_checked_has_a_code_of_its_own(run, tmp_path):
    write_clip(tmp_path / "crew" / "a.mp4", SHEET, fails="Nothing there.")
    assert run("crew")[0] == 6


@pytest.mark.parametrize(
    ("words", "code", "part"),
    [
        ((), 2, "Expected a folder, clips or a manifest"),
        (("nowhere",), 3, "found none"),
        (("crew", "--person", "Anna B"), 2, "--person"),
        (("crew", "--day", "today"), 2, "--day"),
        (("crew", "--idle-exit", "3"), 2, "--watch"),
        (("crew/seat1/a.mp4", "--watch"), 2, "Expected a folder to watch"),
        (("crew", "-m", "flying"), 4, "'flying'. Run `motioncheck movements`"),
        (("crew", "--out", "crew"), 2, "another folder than that of the clips"),
        (("--manifest", "none.csv"), 2, "manifest"),
        (("crew", "--out", "crew/seat1/a.mp4/x"), 8, "found a file"),
    ],
)
def test_what_does_not_fit_together_is_said_before_any_work(run, crew, words, code, part):
    found, _, err = run(*words)
    assert found == code
    assert part in err
    assert not (crew.parent / "crew.batch").exists()


def test_a_manifest_alone_is_a_batch(run, crew):
    (crew / "who.csv").write_text(
        "clip,person,session\nseat1/a.mp4,seat8,week 1\n", encoding="utf-8"
    )
    code, out, _ = run("--manifest", "crew/who.csv")
    assert code == 0
    assert "Checked: 1," in out
    assert (crew / "who.batch" / "group.html").is_file()


def test_history_is_written_only_when_asked_for(run, crew, tmp_path, monkeypatch):
    monkeypatch.setenv("MOTIONCHECK_HISTORY", str(tmp_path / "own.db"))
    run("crew")
    assert not (tmp_path / "own.db").exists()
    _, out, _ = run("crew", "--record")
    assert "In the history: 2." in out
    assert (tmp_path / "own.db").exists()
    _, out, _ = run("crew", "--history", tmp_path / "other.db", "--person", "seat7")
    assert "In the history: 2." in out


def test_a_watched_folder_ends_when_idle(run, crew):
    code, out, _ = run("crew", "--watch", "--idle-exit", "0")
    assert code == 0
    assert "Checked:" in out


def test_ctrl_c_says_how_to_go_on(run, crew, monkeypatch):
    def stop(runner, task):
        raise KeyboardInterrupt

    monkeypatch.setattr(InlineRunner, "submit", stop)
    code, out, err = run("crew")
    assert code == 130
    assert "Stopped; 0 clips are done, 2 are left. The same command goes on from there." in err
    assert "nothing was written" not in err
    assert "Group sheet:" in out


def make_step(**changes):
    outcome = Outcome(BatchItem(Path("a.mp4"), "seat1/a.mp4"), "failed", "Why.")
    step = Step(outcome, True, 1, 4, 10, 10, 40)
    return dataclasses.replace(step, **changes)


def test_the_estimate_goes_by_the_sizes_of_files_that_were_checked_now():
    # 10 of 40 bytes took 6 s: the other 30 take 18 s.
    assert cli.describe_left(make_step(), 0, 6.0) == "about 18 s left"
    # 10 bytes were done before, so 6 s went into 10 of the other 30: 20 are left.
    assert cli.describe_left(make_step(done_bytes=20), 10, 6.0) == "about 12 s left"
    assert cli.describe_left(make_step(), 10, 6.0) == "", "nothing was checked yet"
    assert cli.describe_left(make_step(), 0, 1.0) == "", "too early to say"
    assert cli.describe_left(make_step(done_bytes=40), 0, 60.0) == ""


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.2, "1 s"), (89.0, "89 s"), (150.0, "2 min"), (3600.0, "60 min"), (7200.0, "2.0 h")],
)
def test_times_are_said_as_people_do(seconds, words):
    assert cli.describe_time(seconds) == words


def test_control_characters_of_a_name_do_not_reach_the_terminal():
    item = BatchItem(Path("a.mp4"), "seat1/\x1b[31m\n.mp4")
    assert cli.describe_outcome(Outcome(item, "failed", "Why.")) == "seat1/?[31m?.mp4: failed. Why."


def test_following_a_folder_says_so_and_notes_stand_on_lines_of_their_own(run, crew):
    code, _, err = run("crew", "--watch", "--idle-exit", "0")
    assert code == 0
    assert "motioncheck: Following crew." in err.splitlines()


def test_one_clip_is_not_called_clips(run, crew, monkeypatch):
    run("crew")
    write_clip(crew / "seat2" / "a.mp4", SHEET, note=3)
    assert "1 of them was done before." in run("crew")[1]
    write_clip(crew / "seat2" / "a.mp4", SHEET, note=4)

    def stop(runner, task):
        raise KeyboardInterrupt

    monkeypatch.setattr(InlineRunner, "submit", stop)
    assert "Stopped; 1 clip is done, 1 is left." in run("crew")[2]


def test_the_codes_follow_what_came_of_it(tmp_path):
    report = BatchReport(1, 0, 0, 0, 1, False, 0, 0, (), False, tmp_path)
    assert cli.choose_code(report, strict=True) == 0
    assert cli.choose_code(dataclasses.replace(report, checked=0), strict=False) == 0
    assert cli.choose_code(dataclasses.replace(report, misses=True), strict=False) == 0


def test_every_option_is_on_the_page_of_docs():
    page = PAGE.read_text(encoding="utf-8")
    command = get_command(app).commands["batch"]
    names = {name for option in command.params for name in option.opts if name.startswith("--")}
    assert {name for name in names if f"`{name}" not in page} == set()
    mentioned = set(re.findall(r"`(--[a-z-]+)", page))
    assert mentioned <= names


def test_help_is_quick_and_loads_nothing_heavy():
    code = (
        "import sys\nfrom motioncheck.cli import main\n"
        "sys.argv = ['motioncheck', 'batch', '--help']\n"
        "try:\n    main.run()\nexcept SystemExit:\n    pass\n"
        "assert not {'numpy', 'pebble', 'sqlalchemy', 'motioncheck.batch.run'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "--manifest" in done.stdout


def test_what_looks_like_another_movement_is_said_before_the_counts(tmp_path):
    sheet = squats()
    doubt = f"{DOUBT}get-up (93 % sure)."
    summary = dataclasses.replace(sheet.summary, notes=(doubt,))
    doubted = dataclasses.replace(sheet, summary=summary)
    item = BatchItem(tmp_path / "a.mp4", "seat1/a.mp4")
    line = cli.describe_outcome(Outcome(item, "checked", "", sheet=doubted))
    assert line == f"seat1/a.mp4: {sheet.movement.title}. {doubt} {sheet.summary.headline}"
