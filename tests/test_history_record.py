"""Recording checks: once, completely, and read back as they were."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from history_examples import dump, make_range, make_sheet

from motioncheck.errors import InputError, UsageError
from motioncheck.history import open_history
from motioncheck.records.history import PersonRecord


@pytest.fixture
def history(history_place):
    with open_history(history_place) as opened:
        yield opened


def test_a_recorded_sheet_is_read_back_equal_in_every_number(history):
    sheet = make_sheet()
    done = history.record(sheet, person="seat3", session="week 1", day="2026-03-01")
    assert (done.person, done.session, done.status) == ("seat3", "week 1", "new")
    assert history.sheet_of(done.check_id) == sheet
    assert history.corrected_sheet(done.check_id) == sheet


def test_an_unknown_person_is_added_with_the_code_only(history):
    history.record(make_sheet(), person="seat3", day="2026-03-01")
    assert history.list_people() == (PersonRecord("seat3"),)


def test_a_known_person_keeps_what_is_known(history):
    person = history.add_person(PersonRecord("seat3", "Third", 1990, "female", 1.74, "left knee"))
    history.record(make_sheet(), person="seat3")
    assert history.list_people() == (person,)


def test_recording_the_same_clip_twice_changes_nothing_at_all(history, tmp_path):
    first = history.record(make_sheet(), person="seat3", day="2026-03-01", folder=tmp_path)
    before = dump(history)
    again = history.record(make_sheet(), person="seat3", day="2026-03-01", folder=tmp_path / "b")
    assert (again.check_id, again.status) == (first.check_id, "known")
    assert dump(history) == before


def test_a_known_clip_stays_in_its_session_when_no_session_is_named(history):
    history.record(make_sheet(), person="seat3", session="week 1", day="2026-03-01")
    before = dump(history)
    assert history.record(make_sheet(), person="seat3").session == "week 1"
    assert dump(history) == before


@pytest.mark.parametrize(
    "change",
    [{"version": "0.2.0"}, {"standard": "ee" * 32}, {"athlete": "310,640"}],
    ids=lambda c: next(iter(c)),
)
def test_another_check_of_a_clip_takes_the_place_of_the_older_one(history, change):
    old = history.record(make_sheet(), person="seat3", day="2026-03-01")
    new = history.record(make_sheet(**change), person="seat3", day="2026-03-01")
    assert new.status == "newer"
    assert [(c.id, c.current) for c in history.checks("seat3", current_only=False)] == [
        (old.check_id, False),
        (new.check_id, True),
    ]
    assert [c.id for c in history.checks("seat3")] == [new.check_id]
    assert {t.check_id for t in history.trials("seat3")} == {new.check_id}
    assert history.sheet_of(old.check_id) == make_sheet()


def test_trials_tell_which_pictures_they_are_of(history):
    history.record(make_sheet(), person="seat3", session="week 1")
    history.record(make_sheet(), person="seat3", session="week 2")
    trials = history.trials("seat3")
    assert {t.clip_sha256 for t in trials} == {make_sheet().clip.sha256}
    assert {t.session for t in trials} == {"week 1", "week 2"}
    assert len({t.clip_number for t in trials}) == 2


def test_a_check_as_it_was_before_becomes_the_current_one_again(history):
    old = history.record(make_sheet(), person="seat3", day="2026-03-01")
    history.record(make_sheet(version="0.2.0"), person="seat3", day="2026-03-01")
    again = history.record(make_sheet(), person="seat3", day="2026-03-01")
    assert (again.check_id, again.status) == (old.check_id, "newer")
    assert [c.id for c in history.checks("seat3")] == [old.check_id]
    assert len(history.checks(current_only=False)) == 2


def test_parts_of_a_clip_stand_beside_each_other_until_the_whole_takes_their_place(history):
    def record(part, version="1"):
        sheet = make_sheet(version=version)
        return history.record(sheet, person="seat3", day="2026-03-01", part=part).status

    def current():
        return [(c.part, c.program_version) for c in history.checks("seat3")]

    assert [record(1), record(2), record(1)] == ["new", "new", "known"]
    assert record(2, "2") == "newer"
    assert current() == [(1, "1"), (2, "2")]
    assert record(0, "2") == "newer"
    assert current() == [(0, "2")]
    assert record(1, "2") == "newer"
    assert current() == [(1, "2")]


def test_two_movements_in_one_clip_are_both_current(history):
    for movement in ("air-squat", "front-squat"):
        done = history.record(make_sheet(movement=movement), person="seat3", day="2026-03-01")
        assert done.status == "new"
    assert {c.movement for c in history.checks("seat3")} == {"air-squat", "front-squat"}


def test_the_same_clip_of_two_people_is_recorded_for_both(history):
    for code in ("seat1", "seat2"):
        assert history.record(make_sheet(), person=code).status == "new"
    assert [c.person for c in history.checks()] == ["seat1", "seat2"]


def test_the_day_comes_from_the_option_else_from_the_name_of_the_session(history):
    history.record(make_sheet("a"), person="seat3", session="2026-02-03")
    history.record(make_sheet("b"), person="seat3", day="2026-02-04")
    history.record(make_sheet("c"), person="seat3", session="camp", day="2026-02-05")
    history.record(make_sheet("d"), person="seat3", session="camp")
    found = [(s.name, s.day, s.checks) for s in history.list_sessions("seat3")]
    assert found == [
        ("2026-02-03", "2026-02-03", 1),
        ("2026-02-04", "2026-02-04", 1),
        ("camp", "2026-02-05", 2),
    ]


def test_a_session_of_another_day_is_refused_and_nothing_is_written(history):
    history.record(make_sheet("a"), person="seat3", session="camp", day="2026-02-05")
    before = dump(history)
    with pytest.raises(UsageError, match=r"'camp' of seat3 on 2026-02-05, found 2026-02-06"):
        history.record(make_sheet("b"), person="seat3", session="camp", day="2026-02-06")
    assert dump(history) == before


def test_a_code_that_differs_by_capitals_only_is_refused(history):
    history.record(make_sheet("a"), person="seat3")
    with pytest.raises(UsageError, match="Seat3 where there is only seat3"):
        history.record(make_sheet("b"), person="Seat3")


def test_the_plan_of_a_session_is_kept_once(history):
    plan = ("warm-up.toml", 'title = "Warm-up"\n')
    for clip in "ab":
        history.record(make_sheet(clip), person="seat3", session="camp", plan=plan)
    (session,) = history.list_sessions("seat3")
    assert session.plan == plan[1]
    assert len(session.plan_sha256) == 64
    assert len(dump(history)["plan"]) == 1


def test_checks_tell_what_produced_them_and_where_things_are(history, tmp_path):
    clip, folder = tmp_path / "a.mp4", tmp_path / "a.check"
    history.record(make_sheet(), person="seat3", day="2026-03-01", clip_path=clip, folder=folder)
    (check,) = history.checks("seat3", "2026-03-01")
    sheet = make_sheet()
    assert (check.clip, check.clip_sha256) == ("a.mp4", sheet.clip.sha256)
    assert (check.clip_path, check.clip_kept, check.folder) == (str(clip), False, str(folder))
    assert (check.events, check.misses) == (len(sheet.events), sheet.summary.verdicts["misses"])
    assert (check.model, check.view) == (sheet.track.model, sheet.camera.view)
    assert check.standard_hash == sheet.provenance.standard_hash
    assert history.checks(clip_sha256="00" * 32) == ()


def test_events_and_findings_can_be_counted_without_the_sheet(history):
    sheet = make_sheet()
    history.record(sheet, person="seat3")
    rows = dump(history)
    assert len(rows["event"]) == len(sheet.events)
    judged = sum(len(e.findings) for e in sheet.events) + len(sheet.summary.set_findings)
    assert len(rows["finding"]) == judged


def test_a_corrected_sheet_is_not_taken_for_a_measured_one(history):
    from motioncheck.records import AppliedCorrection

    seen = AppliedCorrection(1, "note", "coach", "2026-03-01T10:00:00+00:00", "ok", "rep", 1, 2.0)
    with pytest.raises(ValueError, match="as measured"):
        history.record(replace(make_sheet(), corrections=(seen,)), person="seat3")


def test_hostile_names_and_notes_are_text_like_any_other(history):
    nasty = "Robert'); DROP TABLE person;--"
    person = PersonRecord("seat3", nasty, notes=f'"{nasty}\n=1+1 <script> 😀 % %s :x ?')
    history.add_person(person)
    sheet = make_sheet()
    sheet = replace(sheet, clip=replace(sheet.clip, name=f"{nasty}.mp4"))
    history.record(sheet, person="seat3", session=nasty, plan=(nasty, nasty))
    assert history.get_person("seat3") == person
    assert history.checks("seat3", nasty)[0].clip == f"{nasty}.mp4"
    assert history.list_sessions("seat3")[0].plan == nasty


def test_names_of_files_that_are_no_text_do_not_stop_a_record(history):
    sheet = make_sheet()
    sheet = replace(sheet, clip=replace(sheet.clip, name="\udcff.mp4"))
    done = history.record(sheet, person="seat3", clip_path=Path("\udcff.mp4"))
    assert history.checks("seat3")[0].clip == "?.mp4"
    assert history.sheet_of(done.check_id).clip.name == "?.mp4"


def test_a_kept_clip_is_a_copy_for_the_owner_only(history, tmp_path):
    clip = tmp_path / "seat3 squats.MP4"
    clip.write_bytes(b"a")  # its SHA-256 is that of the sheet, by the builder
    history.record(make_sheet("a"), person="seat3", clip_path=clip, keep_clip=True)
    (check,) = history.checks("seat3")
    assert check.clip_kept
    kept = history.folder / "seat3" / f"{check.clip_sha256}.mp4"
    assert check.clip_path == str(kept)
    assert kept.read_bytes() == b"a"
    assert kept.stat().st_mode & 0o777 == 0o600
    assert kept.parent.stat().st_mode & 0o777 == 0o700
    assert [p.name for p in kept.parent.iterdir()] == [kept.name]


def test_a_clip_can_be_kept_later_and_stays_kept(history, tmp_path):
    clip = tmp_path / "a.mp4"
    clip.write_bytes(b"a")
    history.record(make_sheet("a"), person="seat3", clip_path=clip)
    again = history.record(make_sheet("a"), person="seat3", clip_path=clip, keep_clip=True)
    assert again.status == "known"
    kept = history.checks("seat3")[0].clip_path
    history.record(make_sheet("a", version="2"), person="seat3", clip_path=clip)
    (check,) = history.checks("seat3")
    assert (check.clip_kept, check.clip_path) == (True, kept)


def test_a_clip_that_changed_after_the_check_is_not_kept(history, tmp_path):
    clip = tmp_path / "a.mp4"
    clip.write_bytes(b"another one")
    with pytest.raises(InputError, match="has changed since"):
        history.record(make_sheet("a"), person="seat3", clip_path=clip, keep_clip=True)
    assert history.checks() == ()
    assert list((history.folder / "seat3").iterdir()) == []


def test_a_copy_does_not_outlive_a_record_that_failed(history, tmp_path):
    clip = tmp_path / "a.mp4"
    clip.write_bytes(b"a")
    history.record(make_sheet("b"), person="seat3", session="camp", day="2026-02-05")
    with pytest.raises(UsageError, match="camp"):
        history.record(
            make_sheet("a"), person="seat3", session="camp", day="2026-02-06",
            clip_path=clip, keep_clip=True,
        )  # fmt: skip
    assert list((history.folder / "seat3").iterdir()) == []


def test_lines_of_the_range_of_motion_are_trials(history):
    ranges = (
        make_range("left", (120.0, 124.0, 122.0, 126.0)),
        make_range("left", (4.0, 2.0), moment="end", best_is="lowest"),
    )
    history.record(make_sheet(ranges=ranges), person="seat3", day="2026-03-01")
    bend, straight = history.trials("seat3", measure="hip_flexion")
    assert (bend.moment, straight.moment) == ("range", "range end")
    assert (bend.count, bend.mean, bend.highest, bend.mean_of_first) == (4, 123.0, 126.0, 122.0)
    assert (straight.count, straight.lowest, straight.mean_of_first) == (2, 2.0, None)
    # By hand: deviations -3, 1, -1, 3 from 123; squares 20; sqrt(20 / 3).
    assert bend.sd == pytest.approx(2.5819889)


def test_trials_come_by_day_and_can_be_chosen(history):
    for clip, day in (("b", "2026-03-08"), ("a", "2026-03-01"), ("c", "2026-03-15")):
        history.record(make_sheet(clip), person="seat3", day=day)
    history.record(make_sheet("d"), person="seat4", day="2026-03-02")
    trials = history.trials("seat3", measure="trunk_inclination")
    assert [t.day for t in trials] == ["2026-03-01", "2026-03-08", "2026-03-15"]
    both = history.trials("seat3", measure=("trunk_inclination", "thigh_inclination"))
    assert {t.measure for t in both} == {"trunk_inclination", "thigh_inclination"}
    assert history.trials("seat3", movement="front-squat") == ()
    assert {t.side for t in history.trials("seat3", measure="thigh_inclination")} == {"right"}
