"""Erasing: afterwards nothing about a person is in any file that the program keeps."""

from __future__ import annotations

import datetime as dt
import stat
from dataclasses import replace
from pathlib import Path

import pytest
import sheet_examples as ex
from test_landmarks_store import make_track

from motioncheck.errors import OutputError, UsageError
from motioncheck.history import erase as rows
from motioncheck.history import open_history
from motioncheck.landmarks import TrackCache, TrackKey
from motioncheck.privacy import erase_person, erase_sessions, find_expired
from motioncheck.privacy.expire import get_keep_days, set_keep_days
from motioncheck.records.history import Correction, PersonRecord
from motioncheck.sheet import sheet_to_json
from motioncheck.sheet.remove import RESULT_FILES, remove_results
from motioncheck.sheet.write import write_outputs

# Words that are about one person only; none of them may be left.
NAME, NOTE, SESSION = "Ottilie Wendelstein", "left wrist, see letter", "before the regatta"
CLIP_NAME, PLAN_TEXT = "bowside_quartet.mp4", 'title = "Bowside plan"\n'
WHY, WHO = "stepped off the mark", "coach Umbriel"
CLIP = "a1b2" * 16
TRACES = (NAME, "Ottilie", NOTE, SESSION, CLIP_NAME, CLIP, "Bowside", WHY, WHO, "seat5")


def make_sheet(name: str = CLIP_NAME, sha256: str = CLIP, reps: int = 6):
    sheet = ex.squat_sheet(reps, pictures=False).sheet
    return replace(sheet, clip=replace(sheet.clip, name=name, sha256=sha256))


def find_traces(folder: Path, words=TRACES) -> list[str]:
    """Return every word that is in the name or in the bytes of any file below a folder."""
    found = []
    for path in folder.rglob("*"):
        content = str(path.relative_to(folder)).encode()
        content += path.read_bytes() if path.is_file() else b""
        found += [f"{word} in {path.name}" for word in words if word.encode() in content]
    return found


@pytest.fixture
def data(tmp_path):
    return tmp_path / "data"


@pytest.fixture
def history(data):
    with open_history(data / "history.db") as opened:
        yield opened


@pytest.fixture
def filled(history, data, tmp_path):
    """A history with somebody to erase and somebody to keep, their results and a cache."""
    history.add_person(PersonRecord("seat5", name=NAME, birth_year=1991, sex="female", notes=NOTE))
    history.add_person(PersonRecord("seat2", name="Kunigunde"))
    clip = tmp_path / "films" / CLIP_NAME
    clip.parent.mkdir()
    clip.write_bytes(b"not really a film " + CLIP_NAME.encode())
    sha256 = __import__("hashlib").sha256(clip.read_bytes()).hexdigest()
    sheet = make_sheet(sha256=sha256)
    folder = data / "results"
    write_outputs(folder, {"sheet.json": sheet_to_json(sheet), "reps.csv": CLIP_NAME})
    history.record(
        sheet, person="seat5", session=SESSION, day="2026-03-01", clip_path=clip, folder=folder,
        plan=("Bowside", PLAN_TEXT), keep_clip=True,
    )  # fmt: skip
    history.record(make_sheet(), person="seat5", session="second", day="2026-04-01")
    history.add_correction(
        Correction(
            kind="strike", clip_sha256=CLIP, movement=sheet.movement.id, by=WHO,
            made_at="2026-04-02T10:00:00+00:00", at_s=sheet.events[1].turn_s, text=WHY,
        )
    )  # fmt: skip
    history.record(make_sheet("other.mp4", "ee" * 32), person="seat2", day="2026-03-01")
    cache = TrackCache(data / "cache")
    for digest in (sha256, CLIP, "ee" * 32):
        cache.put(TrackKey(digest, "full", "m" * 64, "0.1.0"), make_track())
    return sha256


def test_nothing_of_an_erased_person_is_left_in_any_file(history, filled, data):
    assert len(find_traces(data, (*TRACES, filled))) > 5, "the traces have to be there before"
    erased = erase_person(history, "seat5", cache_folder=data / "cache")
    assert find_traces(data, (*TRACES, filled)) == []
    assert (erased.sessions, erased.checks, erased.results, erased.clips) == (2, 2, 1, 1)
    assert erased.cache_files == 2
    assert not (data / "results").exists()


def test_nothing_is_left_after_the_history_was_closed_either(data, filled, history):
    erase_person(history, "seat5", cache_folder=data / "cache")
    history.close()
    assert find_traces(data, (*TRACES, filled)) == []


def test_without_rewriting_the_file_traces_would_be_left(history, filled, data):
    """Guards the tests above: rows alone do not empty the journal."""
    history.database.write(lambda c: rows.delete_person(c, "seat5"))
    assert any("history.db" in trace for trace in find_traces(data))


def test_others_keep_everything(history, filled, data):
    before = history.checks("seat2")
    erase_person(history, "seat5", cache_folder=data / "cache")
    assert [p.code for p in history.list_people()] == ["seat2"]
    assert history.checks("seat2") == before
    assert len(list((data / "cache").iterdir())) == 1


def test_a_copy_that_was_never_recorded_goes_too_and_nothing_else(history, filled, data):
    home = data / "clips" / "seat5"
    (home / f"{'9' * 64}.mp4").write_bytes(b"left by a crash")
    (home / ".copy-x1").write_bytes(b"half")
    (home / "letter.txt").write_text("mine", "utf-8")
    erase_person(history, "seat5", cache_folder=data / "cache")
    assert [p.name for p in home.iterdir()] == ["letter.txt"]


def test_a_clip_outside_is_never_deleted(history, filled, tmp_path, data):
    own = tmp_path / "films" / "mine.mp4"
    own.write_bytes(b"film")
    history.record(make_sheet("mine.mp4", "dd" * 32), person="seat5", clip_path=own)
    erased = erase_person(history, "seat5", cache_folder=data / "cache")
    assert own.read_bytes() == b"film"
    assert any("mine.mp4" in line for line in erased.left)


def test_a_folder_that_now_belongs_to_another_clip_is_left_alone(history, filled, data):
    folder = data / "results"
    write_outputs(folder, {"sheet.json": sheet_to_json(make_sheet("x.mp4", "cc" * 32))},
                  replace=True)  # fmt: skip
    erased = erase_person(history, "seat5", cache_folder=data / "cache")
    assert (folder / "sheet.json").is_file()
    assert any("about another clip" in line for line in erased.left)


def test_files_of_others_in_the_folder_stay(history, filled, data):
    (data / "results" / "letter.txt").write_text("mine", "utf-8")
    erased = erase_person(history, "seat5", cache_folder=data / "cache")
    assert [p.name for p in (data / "results").iterdir()] == ["letter.txt"]
    assert any("other files" in line for line in erased.left)


def test_a_clip_that_two_people_share_stays_for_the_other(history, data):
    for code in ("seat5", "seat2"):
        history.record(make_sheet(), person=code, day="2026-03-01")
    key = TrackKey(CLIP, "full", "m" * 64, "0.1.0")
    TrackCache(data / "cache").put(key, make_track())
    erased = erase_person(history, "seat5", cache_folder=data / "cache")
    assert TrackCache(data / "cache").get(key) is not None
    assert any("other sessions" in line for line in erased.left)
    assert len(history.checks("seat2")) == 1


def test_what_cannot_be_removed_keeps_the_rows_for_another_attempt(
    history, filled, data, monkeypatch
):
    def refuse(self, missing_ok=False):
        raise PermissionError(13, "not allowed", str(self))

    with monkeypatch.context() as patched:
        patched.setattr(Path, "unlink", refuse)
        with pytest.raises(OutputError, match="remove all files about seat5"):
            erase_person(history, "seat5", cache_folder=data / "cache")
    assert len(history.checks("seat5")) == 2
    erase_person(history, "seat5", cache_folder=data / "cache")
    assert find_traces(data, (*TRACES, filled)) == []


def test_a_stop_before_the_file_is_rewritten_is_made_up_for(history, filled, data):
    history.database.write(lambda c: rows.delete_person(c, "seat5"))
    assert rows.is_compaction_due(history.database)
    erase_person(history, "seat2")
    assert not rows.is_compaction_due(history.database)
    assert [t for t in find_traces(data) if "history.db" in t] == []


def test_nobody_is_told(history):
    with pytest.raises(UsageError, match="nobody called seat7"):
        erase_person(history, "seat7")


def test_a_session_goes_and_the_person_stays(history, filled, data):
    erase_sessions(history, "seat5", {SESSION}, cache_folder=data / "cache")
    assert [s.name for s in history.list_sessions("seat5")] == ["second"]
    assert find_traces(data, (SESSION, filled, "Bowside")) == []
    assert history.get_person("seat5").name == NAME
    assert len(history.corrections(clip_sha256=CLIP)) == 1


def test_old_sessions_are_found_by_their_day(history, filled):
    today = dt.date(2026, 4, 10)
    names = {s.name for s in find_expired(history, 30, today=today)}
    assert names == {SESSION, "2026-03-01"}
    # 1 March is 40 days before 10 April: kept for 40 days, gone after 39.
    assert find_expired(history, 40, today=today) == ()
    assert len(find_expired(history, 39, today=today)) == 2
    with pytest.raises(UsageError, match="Expected from 1 to"):
        find_expired(history, 0)


def test_how_long_to_keep_is_remembered(history):
    assert get_keep_days(history) is None
    set_keep_days(history, 730)
    assert get_keep_days(history) == 730
    set_keep_days(history, None)
    assert get_keep_days(history) is None


def test_the_list_of_result_files_is_that_of_the_pipeline():
    from motioncheck.batch.journal import ENTRY_NAME
    from motioncheck.pipeline import ANNOTATED, COMPARED, outputs

    source = Path(outputs.__file__).read_text("utf-8")
    written = {name for name in RESULT_FILES if f'"{name}"' in source}
    assert written | {ENTRY_NAME, ANNOTATED, COMPARED} == set(RESULT_FILES)


def test_removing_results_does_not_touch_a_folder_without_any(tmp_path):
    (tmp_path / "reps.csv").touch()
    assert remove_results(tmp_path, CLIP) == 0
    assert remove_results(tmp_path / "none", CLIP) == 0
    assert (tmp_path / "reps.csv").is_file()


def test_the_history_is_for_its_owner_only(history, filled, data):
    history.backup(data / "copy.db")
    for path in [data / "copy.db", *data.glob("history.db*"), *(data / "clips").rglob("*")]:
        assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path


def test_the_names_of_pages_about_many_clips_are_those_that_are_written():
    from motioncheck.batch.journal import HASHES_NAME
    from motioncheck.privacy import erase
    from motioncheck.sheet import group_html as group
    from motioncheck.sheet import session_write as session

    assert set(erase._SUMMARIES) == {
        *(group.GROUP_HTML, group.GROUP_CSV, group.GROUP_JSON, HASHES_NAME),
        *(session.SESSION_HTML, session.SESSION_JSON, session.SETS_CSV, session.MINUTES_CSV),
    }
