"""Following the athlete: made-up people with exactly known places (analytic truth)."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pytest
from landmarks_fakes import (
    HEIGHT_PX,
    WIDTH_PX,
    Actor,
    FakeModel,
    JumpsToSomeoneElse,
    Scene,
    SeesGhosts,
    damaged,
    present,
    squatting,
    standing,
)

from motioncheck.errors import UsageError
from motioncheck.landmarks import FollowOptions, extract_track, model_sha256
from motioncheck.records import LandmarkTrack

RED, BLUE = (200, 30, 30), (30, 30, 200)


def follow(scene: Scene, **options: Any) -> LandmarkTrack:
    return extract_track(
        scene.frames(),
        width_px=WIDTH_PX,
        height_px=HEIGHT_PX,
        options=FollowOptions(**options),
        open_model=scene.open_model,
    )


def hip_x(track: LandmarkTrack) -> np.ndarray:
    return (track.point("left_hip")[:, 0] + track.point("right_hip")[:, 0]) / 2


def test_one_person_is_followed_in_every_frame() -> None:
    scene = Scene([Actor(squatting(640))])
    track = follow(scene)
    assert track.seen_ratio == 1.0
    assert (track.people, track.jumps_cut, track.notes) == (1, 0, ())
    assert track.time_s == pytest.approx(np.arange(120) / 30)
    # The places are those of the full-size picture, although the frames are a tenth of it.
    assert hip_x(track) == pytest.approx(np.full(120, 640.0))
    assert (track.model, track.model_sha256) == ("full", model_sha256("full"))


def test_one_person_costs_one_model_and_few_looks() -> None:
    scene = Scene([Actor(squatting(640))], seconds=10.0)
    follow(scene)
    tracker, scout = scene.opened
    assert (tracker.name, tracker.looks) == ("full", 300)
    assert scout.name == "lite"
    # Two at the start, then one a second.
    assert scout.looks <= 12


def test_models_are_freed_even_when_frames_fail() -> None:
    scene = Scene([Actor(squatting(640)), Actor(standing(200), colour=BLUE)])

    def break_off() -> Any:
        yield from list(scene.frames())[:40]
        raise OSError("cable pulled")

    with pytest.raises(OSError, match="cable"):
        extract_track(
            break_off(), width_px=WIDTH_PX, height_px=HEIGHT_PX, open_model=scene.open_model
        )
    assert len(scene.opened) == 3
    assert all(model.entered and model.left for model in scene.opened)


def test_nobody_gives_an_empty_track() -> None:
    track = follow(Scene([]))
    assert track.seen_ratio == 0.0
    assert len(track.time_s) == 120
    assert track.notes == ()


def test_no_frames_give_a_track_without_rows() -> None:
    assert len(follow(Scene([], seconds=0.0)).time_s) == 0


def test_furniture_taken_for_a_body_is_left_out_with_advice() -> None:
    track = follow(Scene([], tracker=SeesGhosts))
    assert track.seen_ratio == 0.0
    assert "film from closer" in track.notes[0]


def test_two_people_the_one_who_moves_is_followed() -> None:
    bystander = Actor(standing(200), colour=BLUE)
    # The model notices the bystander first.
    track = follow(Scene([bystander, Actor(squatting(900))]))
    assert hip_x(track) == pytest.approx(np.full(120, 900.0))
    assert track.people == 2
    assert track.jumps_cut == 0
    assert track.notes == (
        "2 people were in the picture; the one who moves most and stays largest was followed "
        "(start position 900, 291 px).",
    )


def test_two_people_moving_alike_the_larger_one_is_followed() -> None:
    far = Actor(squatting(200, depth_px=60), height_px=240, colour=BLUE)
    track = follow(Scene([far, Actor(squatting(900))]))
    assert hip_x(track)[0] == pytest.approx(900.0)


def test_movement_of_the_drill_decides_when_it_is_known() -> None:
    jumper = Actor(squatting(200), colour=BLUE)
    arms = Actor(standing(900), raised=lambda time_s: 0.5 - 0.5 * np.cos(3 * time_s))

    def raises_arms(track: LandmarkTrack) -> float:
        return float(np.ptp(track.point("left_wrist")[:, 1] - track.point("left_hip")[:, 1]))

    track = follow(Scene([jumper, arms]), motion_score=raises_arms)
    assert hip_x(track)[0] == pytest.approx(900.0)
    assert "moves like the drill" in track.notes[0]


def test_movement_score_of_nothing_falls_back_to_amount_of_movement() -> None:
    scene = Scene([Actor(standing(200), colour=BLUE), Actor(squatting(900))])
    assert hip_x(follow(scene, motion_score=lambda _track: 0.0))[0] == pytest.approx(900.0)


def test_person_at_the_given_point_is_followed() -> None:
    scene = Scene([Actor(standing(200), colour=BLUE), Actor(squatting(900))])
    track = follow(scene, athlete_px=(230, 300))
    assert hip_x(track) == pytest.approx(np.full(120, 200.0))
    assert "the one at the given point was followed" in track.notes[0]


def test_point_on_nobody_is_refused_after_a_second_saying_where_people_are() -> None:
    scene = Scene([Actor(standing(200), colour=BLUE), Actor(squatting(900))], seconds=60)
    message = r"Nobody was found at 560, 100 px .* found at 200, 291 px and 900, 291 px"
    with pytest.raises(UsageError, match=message):
        follow(scene, athlete_px=(560, 100))
    assert max(model.looks for model in scene.opened) < 40


def test_point_outside_the_picture_is_refused_before_any_work() -> None:
    scene = Scene([Actor(squatting(640))])
    with pytest.raises(UsageError, match="outside the picture, which is 1280 x 720 px"):
        follow(scene, athlete_px=(5000, 10))
    assert not scene.opened


def test_point_with_nobody_in_the_whole_clip_gives_an_empty_track() -> None:
    assert follow(Scene([]), athlete_px=(10, 10)).seen_ratio == 0.0


def test_jump_to_someone_else_is_cut_and_the_athlete_found_again() -> None:
    passer = Actor(present(standing(200), (1.4, 2.4)), colour=BLUE)
    scene = Scene([Actor(squatting(900)), passer], tracker=JumpsToSomeoneElse)
    track = follow(scene)
    x = hip_x(track)
    assert np.nanmax(np.abs(x - 900.0)) < 1e-3  # Never anything of the other, never a mean.
    assert track.jumps_cut == 1
    assert track.notes[-1].startswith("Once the body found was not the athlete's; ")
    # A second model takes over within a frame or two.
    assert np.isnan(x).sum() <= 3


def test_people_one_after_the_other_are_not_joined() -> None:
    first = Actor(present(squatting(400), (0.0, 4.0)))
    second = Actor(present(standing(450), (4.5, 6.0)), colour=BLUE)
    track = follow(Scene([first, second], seconds=7.0))
    x = hip_x(track)
    assert np.isfinite(x[:120]).all()
    assert np.isnan(x[120:]).all()
    assert track.jumps_cut == 1


def test_person_who_walks_out_and_comes_back_is_kept() -> None:
    athlete = Actor(present(squatting(640), (0.0, 2.0), (4.0, 8.0)))
    track = follow(Scene([athlete], seconds=8.0))
    x = hip_x(track)
    assert np.isfinite(x[:60]).all()
    assert np.isnan(x[60:120]).all()
    assert np.isfinite(x[120:]).all()
    assert track.jumps_cut == 0


def test_person_who_walks_in_later_is_noticed_within_a_second() -> None:
    athlete = Actor(present(squatting(900), (3.0, 12.0)))
    scene = Scene([Actor(standing(200), colour=BLUE), athlete], seconds=12.0)
    x = hip_x(follow(scene))
    assert np.isnan(x[:90]).all()
    assert np.isfinite(x[120:]).all()


def test_damaged_frames_stay_empty() -> None:
    scene = Scene([Actor(squatting(640))])
    track = extract_track(
        damaged(scene.frames(), 1.0, 1.5),
        width_px=WIDTH_PX,
        height_px=HEIGHT_PX,
        open_model=scene.open_model,
    )
    empty = np.isnan(hip_x(track))
    assert np.flatnonzero(empty).tolist() == list(range(30, 45))


# Trunk speeds from real life: a sprint, a box jump (hips rise 1 m at about 4 m/s), a kick that
# throws the trunk back; 400 px are 1.7 m.
METRE_PX = 400 / 1.7


@pytest.mark.parametrize("rate_hz", [10.0, 30.0, 60.0, 240.0])
@pytest.mark.parametrize(
    "place",
    [
        lambda t: (100 + 6.0 * METRE_PX * t % 1100, 350.0),
        lambda t: (640.0, 400.0 - 0.6 * METRE_PX * abs(np.sin(6.0 * t))),
        lambda t: (640.0 + 0.4 * METRE_PX * np.sin(9.0 * t), 350.0),
    ],
    ids=["sprint", "jumps", "kicks"],
)
def test_fast_movement_of_one_person_is_not_a_jump(
    place: Callable[[float], tuple[float, float]], rate_hz: float
) -> None:
    track = follow(Scene([Actor(place)], seconds=0.75, rate_hz=rate_hz))
    assert track.seen_ratio == 1.0
    assert track.jumps_cut == 0


def test_progress_is_told_after_every_frame() -> None:
    scene = Scene([Actor(squatting(640))], seconds=1.0)
    told: list[tuple[str, int, int]] = []
    extract_track(
        scene.frames(),
        width_px=WIDTH_PX,
        height_px=HEIGHT_PX,
        options=FollowOptions(frames_expected=30),
        on_progress=lambda *step: told.append(step),
        open_model=scene.open_model,
    )
    assert told == [("landmarks", i, 30) for i in range(1, 31)]


def test_looking_around_can_be_switched_off() -> None:
    scene = Scene([Actor(squatting(900)), Actor(standing(200), colour=BLUE)])
    track = follow(scene, look_for_others=False)
    assert track.people == 1
    assert len(scene.opened) == 1


def test_crowd_is_followed_up_to_a_limit() -> None:
    crowd = [
        Actor(standing(150 + 200 * i), height_px=300, colour=(10 * i, 200, 100)) for i in range(6)
    ]
    scene = Scene(crowd)
    track = follow(scene)
    assert track.people == 3
    assert len(scene.opened) == 4


def test_fake_model_keeps_to_one_person() -> None:
    scene = Scene([Actor(standing(200)), Actor(standing(900), colour=BLUE)])
    model = partial(FakeModel, scene)(name="full")
    assert all(len(model.detect(frame.rgb, frame.time_s)) == 1 for frame in scene.frames())
