"""`motioncheck check --person`, `person` and `history` as a user meets them."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field, replace

import pytest
from history_examples import make_sheet

from motioncheck.cli import check as check_command
from motioncheck.cli import main
from motioncheck.history import open_history
from motioncheck.records import Sheet
from motioncheck.records.history import Correction, PersonRecord
from motioncheck.sheet import sheet_to_json


@dataclass(frozen=True)
class Result:
    """The part of a result that recording looks at."""

    sheet: Sheet
    stills: dict = field(default_factory=dict)
    track: None = None


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run a command in this process; returns exit code, output, and errors."""
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        monkeypatch.setattr(sys, "argv", ["motioncheck", *map(str, arguments)])
        with pytest.raises(SystemExit) as end:
            main.run()
        return end.value.code or 0, *capsys.readouterr()

    return call


@pytest.fixture
def checked(monkeypatch, tmp_path):
    """Let `motioncheck check` find a made-up sheet without looking at the clip."""
    seen = []

    def find(request, options, _progress):
        seen.append(options.person)
        return Result(make_sheet(request.clip.stem))

    def write(result, folder, **_options):
        folder.mkdir(exist_ok=True)
        (folder / "sheet.json").write_text(sheet_to_json(result.sheet), encoding="utf-8")
        return ()

    monkeypatch.setattr(check_command, "_check", find)
    monkeypatch.setattr(check_command, "write_results", write)
    (tmp_path / "a.mp4").write_bytes(b"a")
    return seen


def test_a_check_of_a_person_is_recorded_and_shown(run, checked):
    code, out, err = run("check", "a.mp4", "--person", "seat3", "--session", "week 1")
    assert (code, err) == (0, "")
    assert "Recorded: seat3, session week 1" in out
    assert (
        "Recorded before: seat3, session week 1; nothing changed."
        in run("check", "a.mp4", "--person", "seat3")[1]
    )
    assert "seat3" in run("history", "list")[1]
    shown = run("history", "show", "seat3")[1]
    assert "week 1" in shown
    assert "air-squat" in shown


def test_a_new_code_and_a_day_to_come_are_said_for_they_may_be_slips(run, checked):
    out = run("check", "a.mp4", "--person", "seta3", "--day", "2999-01-01")[1]
    assert "Recorded: seta3, session 2999-01-01" in out
    assert "seta3 is new in this history." in out
    assert "2999-01-01 is still to come." in out
    assert "`motioncheck person erase seta3 --session 2999-01-01`" in out
    out = run("check", "a.mp4", "--person", "seta3", "--day", "2026-03-01")[1]
    assert "is new in this history" not in out
    assert "still to come" not in out


def test_a_clip_that_is_recorded_for_another_session_is_pointed_out(run, checked, tmp_path):
    """An old clip taken for the new one would read as no change at all."""
    first = run("check", "a.mp4", "--person", "seat3", "--day", "2026-03-01")[1]
    again = run("check", "a.mp4", "--person", "seat3", "--day", "2026-03-01")[1]
    later = run("check", "a.mp4", "--person", "seat3", "--day", "2026-03-08")[1]
    (tmp_path / "b.mp4").write_bytes(b"b")
    other = run("check", "b.mp4", "--person", "seat3", "--day", "2026-03-15")[1]
    assert "This very clip is recorded in session 2026-03-01 of seat3 as well" in later
    for out in (first, again, other):
        assert "This very clip" not in out


def test_what_is_shown_of_a_corrected_check_are_the_numbers_that_hold(run, checked):
    run("check", "a.mp4", "--person", "seat3")
    with open_history() as history:
        (check,) = history.checks("seat3")
        sheet = history.sheet_of(check.id)
        history.add_correction(
            Correction(
                kind="strike", clip_sha256=check.clip_sha256, movement=check.movement, by="coach",
                made_at="2026-03-02T10:00:00+00:00", at_s=sheet.events[0].turn_s, person="seat3",
            )
        )  # fmt: skip
    row = run("history", "show", "seat3")[1].splitlines()[1].split()
    assert row[-1] == "corrected"
    assert str(len(sheet.events) - 1) in row
    assert str(len(sheet.events)) not in row[-4:]


def test_a_check_without_a_person_records_nothing_and_makes_no_history(run, checked):
    assert run("check", "a.mp4")[0] == 0
    code, out, err = run("history", "list")
    assert (code, out) == (7, "")
    assert "found none" in err


def test_age_and_sex_come_from_the_person_unless_given(run, checked):
    with open_history() as history:
        history.add_person(PersonRecord("seat3", birth_year=1990, sex="female"))
    run("check", "a.mp4", "--person", "seat3", "--day", "2026-03-01")
    run("check", "a.mp4", "--person", "seat3", "--day", "2026-03-01", "--age", 50, "--sex", "male")
    run("check", "a.mp4")
    assert [(p.age_years, p.sex) for p in checked] == [(36, "female"), (50, "male"), (None, None)]


def test_recorded_corrections_are_on_the_next_sheet_and_not_in_the_record(run, checked, tmp_path):
    run("check", "a.mp4", "--person", "seat3")
    sheet = make_sheet("a")
    turn = sheet.events[0].turn_s
    with open_history() as history:
        history.add_correction(
            Correction("strike", sheet.clip.sha256, "air-squat", "coach",
                       "2026-03-01T10:00:00+00:00", at_s=turn)
        )  # fmt: skip
    code, _, err = run("check", "a.mp4", "--replace")
    assert (code, err) == (0, "")
    assert '"struck": true' in (tmp_path / "a.check" / "sheet.json").read_text(encoding="utf-8")
    run("check", "a.mp4", "--person", "seat3", "--replace")
    with open_history() as history:
        assert history.sheet_of(1) == sheet


def test_a_clip_is_kept_when_asked_for(run, checked):
    run("check", "a.mp4", "--person", "seat3", "--keep-clip")
    with open_history() as history:
        assert history.checks("seat3")[0].clip_kept
        assert len(list((history.folder / "seat3").iterdir())) == 1


@pytest.mark.parametrize(
    "options",
    [
        ("--session", "week 1"),
        ("--day", "2026-03-01"),
        ("--keep-clip",),
        ("--person", "../x"),
        ("--person", "seat3", "--day", "yesterday"),
        ("--person", "seat3", "--session", " "),
        ("--person", "SEAT1"),
        ("--person", "seat1", "--session", "camp", "--day", "2026-03-02"),
    ],
)
def test_unusable_options_are_refused_before_any_work(run, checked, options):
    with open_history() as history:
        history.record(make_sheet(), person="seat1", session="camp", day="2026-03-01")
    code, _, err = run("check", "a.mp4", *options)
    assert (code, len(err.splitlines())) == (2, 1)
    assert checked == []


def test_a_history_that_cannot_be_opened_stops_before_any_work_when_it_is_needed(
    run, checked, tmp_path
):
    (tmp_path / "bad.db").write_bytes(b"x" * 5000)
    for options in (("--person", "seat3"), ()):
        code, _, err = run("check", "a.mp4", "--history", tmp_path / "bad.db", *options)
        assert (code, len(err.splitlines())) == (7, 1)
    assert checked == []


def test_a_default_history_that_is_damaged_does_not_stop_a_check_that_needs_none(
    run, checked, tmp_path, monkeypatch
):
    from motioncheck.history import place

    monkeypatch.setenv("MOTIONCHECK_HISTORY", "")
    monkeypatch.setattr(place, "data_folder", lambda: tmp_path)
    (tmp_path / "history.db").write_bytes(b"x" * 5000)
    code, _, err = run("check", "a.mp4")
    assert code == 0
    assert "Corrections were not looked up" in err


def test_people_are_added_changed_and_listed(run):
    assert run("person", "add", "seat3", "--name", "Third", "--birth-year", 1990)[0] == 0
    assert run("person", "set", "seat3", "--sex", "male", "--stature", 1.9, "--name", "")[0] == 0
    with open_history() as history:
        assert history.list_people() == (PersonRecord("seat3", "", 1990, "male", 1.9),)
    out = run("person", "list")[1]
    assert "seat3" in out
    assert "1.9 m" in out
    assert run("person", "set", "seat3", "--birth-year", "")[0] == 0
    with open_history() as history:
        assert history.get_person("seat3").birth_year is None


@pytest.mark.parametrize(
    ("arguments", "code", "word"),
    [
        (("person", "add", "seat3"), 2, "already"),
        (("person", "add", "a/b"), 2, "Expected a code"),
        (("person", "add", "seat4", "--birth-year", "90"), 2, "1900"),
        (("person", "add", "seat4", "--birth-year", "MCMXC"), 2, "--birth-year as a year"),
        (("person", "add", "seat4", "--stature", "174"), 2, "2.6 m"),
        (("person", "set", "seat3"), 2, "something to change"),
        (("person", "set", "seat9", "--name", "x"), 2, "nobody called seat9"),
        (("history", "show", "seat9"), 2, "nobody called seat9"),
        (("history", "backup", "none/x.db"), 8, "no folder"),
        (("history", "list", "--history", "none.db"), 7, "found none"),
        (("history", "list", "--history", "mysql://x/y"), 2, "mysql"),
        (("history", "list", "-v", "--history", "."), 7, "a folder"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_an_exit_code(run, arguments, code, word):
    run("person", "add", "seat3")
    found, out, err = run(*arguments)
    assert (found, out) == (code, "")
    assert word in err.splitlines()[-1]


def test_names_cannot_move_the_cursor_or_format_the_table(run):
    run("person", "add", "seat3", "--name", "[bold]\x1b[2Jx\ny", "--notes", "\x07\x9b1m")
    for command in (("person", "list"), ("history", "list")):
        out = run(*command)[1]
        assert "[bold]" in out
        assert not set(out) & set("\x1b\x07\x9b")


def test_replaced_checks_are_shown_on_request_only(run):
    with open_history() as history:
        for version in ("1", "2"):
            history.record(make_sheet("a", version=version), person="seat3", day="2026-03-01")
    assert len(run("history", "show", "seat3")[1].splitlines()) == 2
    out = run("history", "show", "seat3", "--all")[1]
    assert "replaced" in out


def test_a_backup_from_the_command_line_can_be_listed(run, tmp_path):
    with open_history() as history:
        history.record(make_sheet("a"), person="seat3", day="2026-03-01")
    assert run("history", "backup", "copy.db")[0] == 0
    code, _, err = run("history", "backup", "copy.db")
    assert (code, "--replace" in err) == (8, True)
    assert run("history", "backup", "copy.db", "--replace")[0] == 0
    assert "2026-03-01" in run("history", "list", "--history", "copy.db")[1]


def test_a_record_of_another_program_version_replaces_the_check(run, checked, monkeypatch):
    run("check", "a.mp4", "--person", "seat3")
    newer = make_sheet("a", version="9")
    monkeypatch.setattr(check_command, "_check", lambda *_: Result(replace(newer)))
    out = run("check", "a.mp4", "--person", "seat3", "--replace")[1]
    assert "in the place of the earlier check" in out


@pytest.fixture
def session_files(tmp_path):
    from session_examples import HEAD

    plan = '[[block]]\nkind = "sets"\nmovement = "air-squat"\nsets = 1\nreps = 7\n'
    (tmp_path / "plan.toml").write_text(HEAD + plan, encoding="utf-8")
    (tmp_path / "a.check").mkdir()
    (tmp_path / "a.check" / "sheet.json").write_text(sheet_to_json(make_sheet("a")))


def test_a_session_is_recorded_with_its_plan(run, session_files):
    command = ("session", "plan.toml", "a.check/sheet.json", "--person", "seat3")
    code, out, err = run(*command, "--session", "camp", "--day", "2026-03-01")
    assert (code, err) == (0, "")
    assert "Recorded: seat3, session camp: 1 new." in out
    assert "0 new, 1 known before." in run(*command, "--replace")[1]
    with open_history() as history:
        (session,) = history.list_sessions("seat3")
        assert (session.name, session.day, session.checks) == ("camp", "2026-03-01", 1)
        assert "reps = 7" in session.plan
        assert history.sheet_of(1) == make_sheet("a")


def test_a_session_of_somebody_without_a_code_is_written_and_not_recorded(run, session_files):
    code, out, _ = run("session", "plan.toml", "a.check/sheet.json", "--person", "Seat 3")
    assert (code, "Recorded" in out) == (0, False)
    assert run("history", "list")[0] == 7
    code, _, err = run(
        "session", "plan.toml", "a.check/sheet.json", "--person", "Seat 3", "--session", "camp"
    )
    assert (code, "Expected a code" in err) == (2, True)


def test_stretches_of_one_movement_in_a_clip_are_recorded_as_its_parts(monkeypatch, tmp_path):
    from motioncheck.cli import session_recording as sessions
    from motioncheck.pipeline import CheckOptions
    from motioncheck.pipeline.session import ClipInput, bout_of

    sheets = [make_sheet("a", movement=m) for m in ("air-squat", "burpee", "air-squat")]
    found = [bout_of(s) for s in sheets], [Result(s) for s in sheets], []
    monkeypatch.setattr(sessions, "split_clip", lambda *_: found)
    (tmp_path / "plan.toml").write_text("title = 1")
    recorder = sessions.SessionRecorder(sessions.request_for("seat3", "camp", None, None), None)
    assert recorder.split(tmp_path / "a.mp4", (), CheckOptions()) == found
    folders = [tmp_path / f"a.0{n}.check" for n in (1, 2, 3)]
    recorder.place(tmp_path / "a.mp4", folders)
    clips = (ClipInput(tmp_path / "a.mp4"),)
    lines = recorder.record(clips, plan=tmp_path / "plan.toml")
    assert lines == ("Recorded: seat3, session camp: 3 new.",)
    with open_history() as history:
        checks = history.checks("seat3")
    parts = sorted((c.movement, c.part) for c in checks)
    assert parts == [("air-squat", 1), ("air-squat", 2), ("burpee", 0)]
    assert [c.folder for c in checks] == [str(folder) for folder in folders]


def test_erasing_finds_the_sheets_that_a_session_wrote(run, session_files, monkeypatch, tmp_path):
    """The sheet of a clip lies in a folder of its own inside that of the session."""
    from motioncheck.cli import session_recording as sessions
    from motioncheck.pipeline import session as pipeline
    from motioncheck.pipeline.session import bout_of

    sheet = make_sheet("squat")
    clip = tmp_path / "squat.mp4"
    clip.write_bytes(b"squat")
    info = replace(sheet.clip, name="squat.mp4")
    monkeypatch.setattr(pipeline, "probe_clip", lambda _: info)
    monkeypatch.setattr(sessions, "split_clip", lambda *_: ([bout_of(sheet)], [Result(sheet)], []))

    def write(result, folder, **_options):
        folder.mkdir(parents=True)
        (folder / "sheet.json").write_text(sheet_to_json(result.sheet), encoding="utf-8")

    monkeypatch.setattr(pipeline, "write_results", write)
    code, _, err = run("session", "plan.toml", "squat.mp4", "--person", "seat3", "-o", "out")
    assert (code, err) == (0, "")
    assert (tmp_path / "out" / "squat.check" / "sheet.json").is_file()
    code, out, err = run("person", "erase", "seat3", "--yes")
    assert (code, err) == (0, "")
    assert not (tmp_path / "out" / "squat.check").exists()
    # What is about the whole session is named: it is about other clips as well.
    pages = "session.html, session.json, sets.csv and minutes.csv"
    assert f"delete or make anew: {pages} in {tmp_path / 'out'}" in out


@pytest.mark.parametrize(
    ("person", "shown"), [(None, []), ("seat3", ["its", "all"]), ("seat4", ["other", "all"])]
)
def test_corrections_of_two_people_in_one_clip_are_kept_apart(run, checked, person, shown):
    """Without a person nobody knows which of the two bodies it is."""
    from motioncheck.cli.recording import RecordRequest, add_corrections

    sheet = make_sheet("a")
    base = Correction("note", sheet.clip.sha256, "air-squat", "coach1", "2026-03-01T10:00:00+00:00")
    with open_history() as history:
        for code in ("seat3", "seat4"):
            history.record(sheet, person=code, day="2026-03-01")
        history.add_correction(replace(base, text="its", person="seat3"))
        history.add_correction(replace(base, text="other", person="seat4"))
        history.add_correction(replace(base, text="all"))
    result = add_corrections(Result(sheet), RecordRequest(person), None)
    assert [c.text for c in result.sheet.corrections] == (shown or ["all"])


def test_an_error_cannot_move_the_cursor(run):
    _, _, err = run("check", "no\x1b[2Jsuch\u202e.mp4", "-m", "air-squat")
    assert "no [2Jsuch .mp4" in err
    assert all(line.isprintable() for line in err.splitlines())
