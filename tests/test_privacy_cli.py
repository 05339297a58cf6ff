"""`person export`, `person erase` and `history expire` on the command line."""

from __future__ import annotations

import io
import os
import sys
import zipfile

import pytest
from test_privacy_erase import make_sheet

from motioncheck.cli import main
from motioncheck.history import open_history
from motioncheck.records.history import PersonRecord


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run the command in this process; returns exit code, output, and errors."""

    def call(*words, answer=None):
        monkeypatch.chdir(tmp_path)
        monkeypatch.setattr(sys, "argv", ["motioncheck", *words])
        monkeypatch.setattr(sys, "stdin", io.StringIO(answer or ""))
        if answer is not None:
            monkeypatch.setattr(sys.stdin, "isatty", lambda: True)
        with pytest.raises(SystemExit) as end:
            main.run()
        return end.value.code or 0, *capsys.readouterr()

    return call


@pytest.fixture
def filled(monkeypatch, tmp_path):
    monkeypatch.setenv("MOTIONCHECK_CACHE", str(tmp_path / "cache"))
    with open_history() as history:
        history.add_person(PersonRecord("seat5", name="Ottilie"))
        history.record(make_sheet(), person="seat5", session="old", day="2020-01-01")
        history.record(make_sheet("b.mp4", "bb" * 32), person="seat5", session="new")
    return tmp_path


def sessions() -> list[str]:
    with open_history() as history:
        return [s.name for p in history.list_people() for s in history.list_sessions(p.code)]


def test_an_export_goes_to_a_file_named_after_the_code(filled, run):
    code, out, err = run("person", "export", "seat5")
    assert code == 0, err
    assert "seat5.zip" in out
    with zipfile.ZipFile(filled / "seat5.zip") as archive:
        assert "person.json" in archive.namelist()


def test_an_export_for_sharing_says_to_look_through_it(filled, run):
    code, out, _ = run("person", "export", "seat5", "--for-sharing", "-o", "s.zip")
    assert code == 0
    assert "Look through it" in out
    with zipfile.ZipFile(filled / "s.zip") as archive:
        assert "person.json" not in archive.namelist()


def test_nothing_is_erased_without_a_yes(filled, run):
    code, out, err = run("person", "erase", "seat5", answer="no\n")
    assert code == 2
    assert "Erase seat5 with 2 sessions and 2 checks" in out
    assert "Nothing was erased" in err
    code, _, err = run("person", "erase", "seat5")
    assert code == 2
    assert "Expected --yes" in err
    assert sessions() == ["old", "new"]


def test_a_yes_erases_and_says_what_is_left_to_do(filled, run):
    code, out, _ = run("person", "erase", "seat5", answer="yes\n")
    assert code == 0
    assert "seat5 is erased: 2 sessions, 2 checks" in out
    assert "backups" in out
    with open_history() as history:
        assert history.list_people() == ()


def test_one_session_can_be_erased_alone(filled, run):
    code, out, _ = run("person", "erase", "seat5", "--session", "old", "--yes")
    assert code == 0
    assert "Session old of seat5 is erased: 1 session, 1 check" in out
    assert sessions() == ["new"]
    code, _, err = run("person", "erase", "seat5", "--session", "none", "--yes")
    assert code == 2
    assert "none called 'none'" in err


def test_old_sessions_are_listed_before_they_go(filled, run):
    code, out, _ = run("history", "expire", "--older-than", "365", "--dry-run")
    assert code == 0
    assert out.splitlines() == [
        "seat5  2020-01-01  old", "1 session older than 365 days would be erased.",
    ]  # fmt: skip
    assert sessions() == ["old", "new"]
    assert run("history", "expire", "--older-than", "365", "--yes")[0] == 0
    assert sessions() == ["new"]


def test_how_long_to_keep_is_set_once_and_erases_nothing(filled, run):
    assert "nothing set" in run("history", "expire", "--yes")[2]
    assert run("history", "expire", "--keep-days", "365")[0] == 0
    assert sessions() == ["old", "new"]
    assert run("history", "expire", "--yes")[0] == 0
    assert sessions() == ["new"]


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("person", "erase", "seat9", "--yes"), 2, "nobody called seat9"),
        (("person", "export", "../seat5"), 2, "code"),
        (("person", "export", "seat5", "--pictures"), 2, "Expected --pictures with --for-sharing"),
        (("person", "export", "seat5", "-o", "no/where/x.zip"), 8, "Expected to write"),
        (("history", "expire", "--older-than", "0"), 2, "Expected from 1 to"),
        (("history", "expire", "--keep-days", "9", "--dry-run"), 2, "Expected --keep-days alone"),
    ],
)
def test_errors_are_one_sentence_and_a_documented_code(filled, run, words, code, told):
    found, _, err = run(*words)
    assert found == code
    assert told in err
    assert err.count("\n") == 1


def test_without_a_history_nothing_is_made(run):
    code, _, err = run("person", "erase", "seat5", "--yes")
    assert code == 7
    assert "found none" in err
    assert not os.path.lexists(os.environ["MOTIONCHECK_HISTORY"])
