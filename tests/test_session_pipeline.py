"""Sessions from files: sheets that were written before, and clips that are split by a stand-in."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
import sheet_examples as ex
from clip_factory import make_clip
from session_examples import HEAD, bout, reps

from motioncheck.checks.corrected import apply_corrections
from motioncheck.cli.session import name_clips, point_at_athletes
from motioncheck.errors import (
    InputError,
    NoRepsError,
    NotMeasurableError,
    OutputError,
    StandardError,
    UsageError,
    VideoOpenError,
)
from motioncheck.pipeline import session as module
from motioncheck.pipeline.plan_fit import load_fitting_plan
from motioncheck.pipeline.session import (
    ClipInput,
    SessionRequest,
    bout_of,
    default_session_folder,
    find_movements,
    link_to,
    run_session,
    split_clip,
)
from motioncheck.records.history import Correction
from motioncheck.sheet import sheet_to_json
from motioncheck.sheet.session_json import session_from_json
from motioncheck.standards import load_standards

PLAN = (
    '[[block]]\nkind = "sets"\nmovement = "air-squat"\nsets = 1\nreps = 8\n'
    '[[block]]\nkind = "sets"\nmovement = "jumping-jacks"\nsets = 1\nreps = 10\n'
)


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "week 3.toml"
    path.write_text(HEAD + PLAN, encoding="utf-8")
    return path


def write_sheet(folder, sheet):
    folder.mkdir(parents=True)
    (folder / "sheet.json").write_text(sheet_to_json(sheet), encoding="utf-8")
    (folder / "sheet.html").write_text("<!doctype html>", encoding="utf-8")
    return folder / "sheet.json"


def squats(reps=8):
    sheet = ex.squat_sheet(reps, pictures=False).sheet
    return replace(sheet, clip=replace(sheet.clip, name="squats.mp4", sha256="a" * 64))


def jacks():
    sheet = ex.jack_sheet().sheet
    return replace(sheet, clip=replace(sheet.clip, sha256="b" * 64))


def test_sheets_of_earlier_checks_make_a_session(tmp_path, plan):
    clips = (
        ClipInput(write_sheet(tmp_path / "squats #1.check", squats())),
        ClipInput(write_sheet(tmp_path / "jacks.check", jacks())),
    )
    folder = tmp_path / "out"
    sheet = run_session(SessionRequest(plan, clips, folder, person="seat 3"))
    assert [(b.sets[0].movement, b.sets[0].done, b.sets[0].status) for b in sheet.blocks] == [
        ("air-squat", 8, "as planned"), ("jumping-jacks", 10, "as planned"),
    ]  # fmt: skip
    assert sheet.clips[0].sheet == "../squats%20%231.check/sheet.html"
    assert sheet.clips[0].movements == ("Air squat",)
    assert sheet.plan_file == "week 3.toml"
    assert any("doctor" in caution for caution in sheet.cautions)
    assert session_from_json((folder / "session.json").read_bytes()) == sheet
    page = (folder / "session.html").read_text(encoding="utf-8")
    assert 'href="../squats%20%231.check/sheet.html"' in page
    assert "seat 3" in page
    # Once more, with one set less: the same session may be written again.
    again = run_session(SessionRequest(plan, clips[:1], folder))
    assert again.blocks[1].sets[0].status == "missing"


def test_the_same_clip_twice_is_refused(tmp_path, plan):
    path = write_sheet(tmp_path / "a.check", squats())
    with pytest.raises(
        UsageError, match=r"every clip once, found sheet\.json with air-squat twice"
    ):
        run_session(SessionRequest(plan, (ClipInput(path), ClipInput(path)), tmp_path / "out"))
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("content", "match"),
    [("{}", "Expected a sheet of schema"), ('{"schema": "motioncheck/sheet/1"}', "damaged at")],
)
def test_something_else_than_a_sheet_is_refused_before_any_work(tmp_path, plan, content, match):
    path = tmp_path / "x.json"
    path.write_text(content)
    with pytest.raises(InputError, match=match):
        run_session(SessionRequest(plan, (ClipInput(path),), tmp_path / "out"))
    with pytest.raises(InputError, match=r"Expected the sheet\.json of a check at"):
        run_session(SessionRequest(plan, (ClipInput(tmp_path / "n.json"),), tmp_path / "out"))
    with pytest.raises(VideoOpenError):
        run_session(SessionRequest(plan, (ClipInput(tmp_path / "n.mp4"),), tmp_path / "out"))
    assert not (tmp_path / "out").exists()


def test_an_invalid_plan_names_the_movements_there_are(tmp_path, plan):
    plan.write_text(HEAD + PLAN.replace("air-squat", "hair-squat"), encoding="utf-8")
    path = write_sheet(tmp_path / "a.check", squats())
    with pytest.raises(StandardError, match="expected one of the movements air-squat") as caught:
        run_session(SessionRequest(plan, (ClipInput(path),), tmp_path / "out"))
    assert caught.value.exit_code == 4


def test_the_folder_of_another_session_is_refused_before_any_work(tmp_path, plan):
    first = ClipInput(write_sheet(tmp_path / "a.check", squats()))
    second = ClipInput(write_sheet(tmp_path / "b.check", jacks()))
    run_session(SessionRequest(plan, (first,), tmp_path / "out"))
    with pytest.raises(OutputError, match="found that of other clips"):
        run_session(SessionRequest(plan, (second,), tmp_path / "out"))
    run_session(SessionRequest(plan, (second,), tmp_path / "out", replace=True))


class FakeSplit:
    """Gives each clip the bouts of its name; writes a sheet of its own for each of them."""

    def __init__(self, by_name):
        self.by_name = by_name
        self.asked = []

    def __call__(self, path, movements, options, on_progress):
        self.asked.append((path.name, tuple(movements)))
        found = self.by_name[path.name]
        if isinstance(found, Exception):
            raise found
        results = [SimpleNamespace(sheet=replace(squats(), cautions=("Mind.",))) for _ in found]
        return found, results, ["Air squat from 1.0 to 2.0 s: too dark."] if not found else []


@pytest.fixture
def written(monkeypatch):
    places = []

    def remember(result, place, **options):
        places.append(place)

    monkeypatch.setattr(module, "write_results", remember)
    return places


def test_bouts_of_a_clip_get_their_sheets_and_their_place_in_time(tmp_path, plan, written):
    clip = make_clip(tmp_path / "all in one.mp4")
    split = FakeSplit({clip.name: [
        bout("air-squat", reps(8, 0), clip.name), bout("jumping-jacks", reps(10, 30), clip.name),
    ]})  # fmt: skip
    request = SessionRequest(plan, (ClipInput(clip, begins_s=100.0),), tmp_path / "out")
    sheet = run_session(request, split=split)
    assert split.asked == [("all in one.mp4", ("air-squat", "jumping-jacks"))]
    assert [p.name for p in written] == [
        "all in one.01-air-squat.check", "all in one.02-air-squat.check",
    ]  # fmt: skip
    pieces = [block.sets[0].pieces[0] for block in sheet.blocks]
    assert [p.sheet for p in pieces] == [
        "all%20in%20one.01-air-squat.check/sheet.html",
        "all%20in%20one.02-air-squat.check/sheet.html",
    ]
    assert sheet.clips[0].starts_at == 100.0
    assert sheet.blocks[1].sets[0].rest_before_s == 14.0
    assert sheet.cautions[0] == "Mind."


def test_a_clip_of_which_nothing_could_be_measured_is_named(tmp_path, plan, written):
    dark, light = make_clip(tmp_path / "dark.mp4"), make_clip(tmp_path / "light.mp4", count=20)
    split = FakeSplit({
        "dark.mp4": NoRepsError("Expected a rep, found none."),
        "light.mp4": [bout("air-squat", reps(8, 0), "light.mp4")],
    })  # fmt: skip
    request = SessionRequest(plan, (ClipInput(dark), ClipInput(light)), tmp_path / "out")
    sheet = run_session(request, split=split)
    assert sheet.clips[0].note == "Nothing could be measured: Expected a rep, found none."
    assert sheet.blocks[0].sets[0].done == 8
    split.by_name["light.mp4"] = []
    with pytest.raises(NoRepsError, match="Expected a rep, found none"):
        run_session(request, split=split)
    split.by_name["dark.mp4"] = []
    with pytest.raises(
        NotMeasurableError, match=r"Expected movements of the plan \(air-squat, jum"
    ):
        run_session(request, split=split)


def test_clips_of_the_same_name_get_folders_of_their_own(tmp_path, plan, written):
    for name in "ab":
        (tmp_path / name).mkdir()
    first = make_clip(tmp_path / "a" / "air-squat.mp4")
    second = make_clip(tmp_path / "b" / "Air-Squat.mp4", count=20)
    split = FakeSplit({
        p.name: [bout("air-squat", reps(4, 0), p.name)] for p in (first, second)
    })  # fmt: skip
    run_session(
        SessionRequest(plan, (ClipInput(first), ClipInput(second)), tmp_path / "out"), split=split
    )
    assert [p.name for p in written] == ["air-squat.check", "Air-Squat-2.check"]
    assert split.asked[0] == ("air-squat.mp4", ("air-squat",))


@pytest.mark.parametrize(
    ("name", "said", "planned", "found"),
    [
        ("x.mp4", ("high-knees",), ("air-squat",), ("high-knees",)),
        ("seat3_Air Squat_2.mp4", (), ("air-squat", "high-knees"), ("air-squat",)),
        ("air_squat and high knees.mp4", (), ("air-squat", "high-knees"), ("high-knees",)),
        ("seat3.mp4", (), ("air-squat",), ("air-squat",)),
        ("seat3.mp4", (), ("air-squat", "high-knees"), ("air-squat", "high-knees")),
    ],
)
def test_what_a_clip_shows_is_said_named_or_any_of_the_plan(name, said, planned, found):
    assert find_movements(ClipInput(Path(name), said), planned, load_standards()) == found


def test_a_movement_that_does_not_exist_is_told():
    with pytest.raises(StandardError, match=r"Expected one of the movements .*'pull'"):
        find_movements(ClipInput(Path("x.mp4"), ("pull",)), ("air-squat",), load_standards())


def test_a_single_movement_is_looked_for_and_several_are_told_apart(monkeypatch, tmp_path):
    calls = []

    def check(path, movement, **options):
        calls.append(movement)
        return SimpleNamespace(sheet=squats())

    def tell(path, **options):
        calls.append(options["allowed"])
        return SimpleNamespace(bouts=(), results=(), notes=("x",))

    monkeypatch.setattr(module, "check_clip", check)
    monkeypatch.setattr(module, "split_session_clip", tell)
    options = module.CheckOptions()
    bouts, results, notes = split_clip(tmp_path, ["air-squat"], options)
    assert (len(bouts), len(results), notes) == (1, 1, [])
    assert split_clip(tmp_path, ["air-squat", "high-knees"], options) == ((), (), ("x",))
    assert calls == ["air-squat", ["air-squat", "high-knees"]]


def test_a_checked_clip_is_one_bout_of_all_its_events():
    sheet = squats()
    one = bout_of(sheet, link="x", begins_s=3.0)
    assert one.events == sheet.events
    assert (one.start_s, one.starts_at, one.sheet) == (sheet.events[0].start_s, 3.0, "x")
    assert bout_of(replace(sheet, events=())).events == ()


def test_links_are_relative_and_quoted(tmp_path):
    assert link_to(tmp_path / "a b.check" / "sheet.html", tmp_path) == "a%20b.check/sheet.html"
    assert link_to(tmp_path / "javascript:x" / "s.html", tmp_path) == "javascript%3Ax/s.html"
    assert link_to(tmp_path / "x.html", tmp_path / "out") == "../x.html"


def test_results_go_beside_the_first_clip():
    plan = Path("plans/week 3.toml")
    assert default_session_folder(plan, Path("d/a.mp4")) == Path("d/week 3.session")
    assert default_session_folder(plan, Path("d/a.check/sheet.json")) == Path("d/week 3.session")


def test_options_of_single_clips_are_put_to_their_clips():
    paths = (Path("d/a.mp4"), Path("d/b=1.mp4"))
    first, second = name_clips(
        paths,
        ("a.mp4=air-squat", "d/a.mp4=high-knees", "a.mp4=air-squat", "b=1.mp4=jumping-jacks"),
        ("b=1.mp4=12.5",),
    )
    assert first.movements == ("air-squat", "high-knees")
    assert second.movements == ("jumping-jacks",)
    assert (first.begins_s, second.begins_s) == (None, 12.5)


def test_an_athlete_is_pointed_at_in_one_clip_only():
    clips = name_clips((Path("d/a.mp4"), Path("d/b.mp4")), (), ())
    first, second = point_at_athletes(clips, ("b.mp4=310,640",))
    assert first.athlete_px is None
    assert second.athlete_px == (310.0, 640.0)


@pytest.mark.parametrize(
    ("movements", "begins", "match"),
    [
        (("air-squat",), (), r"Expected --movement CLIP=ID, found 'air-squat'"),
        (("=air-squat",), (), r"Expected --movement CLIP=ID"),
        (("c.mp4=air-squat",), (), "to name one of the clips, found none called 'c.mp4'"),
        (("a.mp4=air-squat",), ("a.mp4=soon",), r"Expected --begins CLIP=SECONDS, found 'a"),
        ((), ("a.mp4=nan",), r"Expected --begins CLIP=SECONDS"),
        ((), ("a.mp4=inf",), r"Expected --begins CLIP=SECONDS"),
        ((), ("x.mp4=1",), "found more than one called 'x.mp4'"),
    ],
)
def test_options_that_fit_no_clip_are_told(movements, begins, match):
    paths = (Path("d/a.mp4"), Path("d/x.mp4"), Path("e/x.mp4"))
    with pytest.raises(UsageError, match=match):
        name_clips(paths, movements, begins)


def test_json_of_a_sheet_with_stages_keeps_stage_group_and_name():
    sheet = squats(2)
    events = tuple(replace(e, kind="stage", stage=2, group=1, name="x") for e in sheet.events)
    text = sheet_to_json(replace(sheet, events=events))
    assert json.loads(text)["events"][0]["stage"] == 2
    assert module.sheet_from_json(text).events == events


@pytest.mark.parametrize(
    ("block", "told"),
    [
        (
            'kind = "sets"\nmovement = "low-lunge-rotation"\nsets = 1\nreps = 5\n',
            r"block 1 \(sets\): expected hold_s, because low-lunge-rotation is held; found reps",
        ),
        (
            'kind = "superset"\nrounds = 2\nitem = [{movement = "air-squat", reps = 5}, '
            '{movement = "jumping-jacks", hold_s = 30}]\n',
            r"block 1 \(superset\), item 2: expected reps, because jumping-jacks is not held",
        ),
        (
            'kind = "circuit"\nrounds = 2\nitem = [{movement = "air-squat", reps = 5}]\n'
            'every_minute = {movement = "half-kneeling-hamstring", reps = 2}\n',
            r"block 1 \(circuit\), every_minute: expected hold_s",
        ),
        (
            'kind = "ladder"\nmovement = "air-squat"\nrungs = 3\n',
            r"block 1 \(ladder\): expected a movement in stages for a ladder, found 'air-squat'",
        ),
        (
            'kind = "ladder"\nmovement = "get-up"\nfrom = 9\nto = 2\n',
            r"block 1 \(ladder\): expected rungs up to 7, the stages of get-up; found 9",
        ),
    ],
)
def test_what_can_never_be_counted_of_a_movement_is_a_fault_of_the_plan(tmp_path, block, told):
    path = tmp_path / "week.toml"
    path.write_text(f"{HEAD}[[block]]\n{block}", encoding="utf-8")
    with pytest.raises(StandardError, match=r"week\.toml is not a valid plan: " + told):
        load_fitting_plan(path, load_standards())


def test_a_plan_with_a_byte_order_mark_is_read(tmp_path):
    path = tmp_path / "week.toml"
    path.write_bytes((HEAD + PLAN).encode("utf-8-sig"))
    assert len(load_fitting_plan(path, load_standards()).plan.block) == 2


def test_clips_that_begin_in_another_order_than_they_are_given_are_refused():
    paths = (Path("a.mp4"), Path("b.mp4"), Path("c.mp4"))
    name_clips(paths, (), ("a.mp4=0", "c.mp4=90"))
    with pytest.raises(UsageError, match=r"c\.mp4 begins at 30 s, before a\.mp4 at 60 s"):
        name_clips(paths, (), ("a.mp4=60", "c.mp4=30"))


def test_a_count_that_was_corrected_by_hand_says_so(tmp_path, plan):
    measured = squats()
    third = measured.events[2]
    whose = ("strike", measured.clip.sha256, measured.movement.id, "coach")
    strike = Correction(*whose, "2026-03-01T10:00:00+00:00", at_s=third.turn_s)
    corrected = apply_corrections(measured, [strike], load_standards()["air-squat"].standard)
    clips = (ClipInput(write_sheet(tmp_path / "squats.check", corrected)),)
    sheet = run_session(SessionRequest(plan, clips, tmp_path / "out"))
    assert sheet.blocks[0].sets[0].done == 7
    assert "1 correction by hand counts; see the feedback sheet." in sheet.clips[0].note
    untouched = (ClipInput(write_sheet(tmp_path / "raw.check", measured)),)
    assert run_session(SessionRequest(plan, untouched, tmp_path / "raw")).clips[0].note == ""
