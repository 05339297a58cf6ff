"""Drawing onto pictures, and covering faces for good."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import sheet_figures as fig

from motioncheck.sheet import (
    MeasuredLine,
    annotate_frame,
    cover_face,
    draw_lines,
    draw_still,
    measured_lines,
)
from motioncheck.sheet.drawing import shrink_jpeg
from motioncheck.sheet.faces import COVER_RGB, locate_head
from motioncheck.skeleton import COUNT, FACE, INDEX


def decode(jpeg: bytes) -> np.ndarray:
    return cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)[:, :, ::-1]


def covered(picture: np.ndarray, point: np.ndarray) -> bool:
    x, y = (round(float(v)) for v in point)
    return bool(np.all(picture[y, x] == COVER_RGB))


FIGURES = {
    "side": lambda: fig.side_figure(0.0, 40.0, 30.0),
    "front": lambda: fig.front_figure(160.0, 20.0),
}
# Which facial landmarks the model gave; the head of the drawn figure reaches 34 px from its ears.
PRESENT = {
    "all": tuple(range(11)),
    "nose only": (0,),
    "one ear": (8,),
    "mouth": (9, 10),
    "none": (),
}


@pytest.mark.parametrize("figure", FIGURES)
@pytest.mark.parametrize("present", PRESENT)
def test_head_is_covered_whatever_part_of_it_is_known(figure, present):
    full = FIGURES[figure]()
    points = full.copy()
    points[[i for i in FACE if i not in PRESENT[present]]] = np.nan
    picture = cover_face(fig.photo(full), points)
    for index in FACE:
        assert covered(picture, full[index]), index
    ears = (full[INDEX["left_ear"]] + full[INDEX["right_ear"]]) / 2
    for angle in np.radians(np.arange(0, 360, 20)):
        assert covered(picture, ears + 25.0 * np.array([np.cos(angle), np.sin(angle)]))


def test_cover_keeps_nothing_of_what_was_under_it():
    points = fig.front_figure(20.0, 5.0)
    first, second = fig.photo(points), fig.photo(points)
    head = locate_head(points, first.shape)
    y, x = np.mgrid[: first.shape[0], : first.shape[1]]
    under = np.hypot(x - head.x, y - head.y) < head.radius - 1
    second[under] = 255 - second[under]
    assert np.array_equal(cover_face(first, points), cover_face(second, points))


def test_cover_leaves_the_original_picture_alone():
    points = fig.front_figure(20.0, 5.0)
    picture = fig.photo(points)
    before = picture.copy()
    cover_face(picture, points)
    assert np.array_equal(picture, before)


@pytest.mark.parametrize("known", [(), ("left_knee", "right_ankle")])
def test_picture_is_made_coarse_when_the_head_may_be_anywhere(known):
    full = fig.front_figure(20.0, 5.0)
    points = np.full((COUNT, 2), np.nan)
    for name in known:
        points[INDEX[name]] = full[INDEX[name]]
    picture = cover_face(fig.photo(full), points)
    colours = np.unique(picture.reshape(-1, 3), axis=0)
    assert len(colours) <= 14 * 26
    assert picture.shape == (fig.HEIGHT, fig.WIDTH, 3)


def test_head_far_outside_the_picture_does_not_crash():
    points = np.full((COUNT, 2), 1e7)
    assert cover_face(np.zeros((40, 30, 3), np.uint8), points).shape == (40, 30, 3)


@pytest.mark.parametrize("shape", [(1920, 1080, 3), (90, 160, 3), (24, 24, 3)])
def test_annotated_frame_has_the_same_shape_at_any_size(shape):
    points = fig.front_figure(160.0, 20.0) * (shape[0] / fig.HEIGHT)
    frame = np.full(shape, 180, np.uint8)
    result = annotate_frame(
        frame, points, rep_text="Rep 3 of 7", phase_text="lowering",
        measure_text="Knee flexion, left 112° ± 5°",
    )  # fmt: skip
    assert result.shape == shape
    assert result.dtype == np.uint8
    assert not np.array_equal(result, frame)
    assert frame.min() == 180


@pytest.mark.parametrize("grey", [0, 128, 255])
def test_text_is_readable_on_any_ground(grey):
    frame = np.full((720, 405, 3), grey, np.uint8)
    points = np.full((COUNT, 2), np.nan)
    picture = annotate_frame(frame, points, rep_text="Rep 3", show_face=True)
    corner = picture[:80, :200].reshape(-1, 3)
    assert (corner.min(axis=1) > 240).sum() > 50
    assert (corner.max(axis=1) < 40).sum() > 50


def test_text_wider_than_the_picture_is_made_to_fit():
    frame = np.zeros((200, 120, 3), np.uint8)
    points = np.full((COUNT, 2), np.nan)
    picture = annotate_frame(frame, points, rep_text="Rep 1 " * 12, show_face=True)
    assert picture[:, -4:].max() == 0


def test_frame_without_a_body_is_made_coarse_unless_faces_may_show():
    frame = fig.photo(fig.front_figure(20.0, 5.0))
    nobody = np.full((COUNT, 2), np.nan)
    assert len(np.unique(annotate_frame(frame, nobody).reshape(-1, 3), axis=0)) < 400
    assert np.array_equal(annotate_frame(frame, nobody, show_face=True), frame)


def test_still_is_a_jpeg_with_a_covered_face_and_no_tags():
    points = fig.front_figure(160.0, 20.0)
    jpeg = draw_still(fig.photo(points), points)
    assert jpeg[:2] == b"\xff\xd8"
    assert b"Exif" not in jpeg
    picture = decode(jpeg).astype(int)
    x, y = points[INDEX["nose"]].astype(int)
    assert np.abs(picture[y, x] - COVER_RGB).max() < 12
    shown = decode(draw_still(fig.photo(points), points, show_face=True)).astype(int)
    assert np.abs(shown[y, x] - COVER_RGB).max() > 30


def test_missed_line_is_drawn_in_another_colour():
    points = fig.side_figure(0.0, 40.0, 30.0)
    photo = fig.photo(points)
    lines = measured_lines("thigh_inclination", side="right", text="17°")
    good = decode(draw_still(photo, points, lines=lines, quality=95)).astype(int)
    lines = measured_lines("thigh_inclination", side="right", text="17°", verdict="misses")
    miss = decode(draw_still(photo, points, lines=lines, quality=95)).astype(int)
    x, y = (0.8 * points[INDEX["right_knee"]] + 0.2 * points[INDEX["right_hip"]]).astype(int)
    assert good[y, x, 2] > good[y, x, 0]
    assert miss[y, x, 0] > miss[y, x, 2]


def test_lines_with_a_missing_end_are_left_out():
    points = np.full((COUNT, 2), np.nan)
    points[INDEX["left_hip"]] = (10, 10)
    picture = np.zeros((50, 50, 3), np.uint8)
    draw_lines(picture, points)
    assert picture.max() == 0
    line = MeasuredLine(("left_hip", "left_knee"), "5°")
    draw_still(picture, points, lines=[line])  # no error


def test_pictures_that_are_not_contiguous_are_drawn_right():
    points = fig.front_figure(160.0, 20.0)
    photo = fig.photo(points)
    flipped = np.ascontiguousarray(photo[:, :, ::-1])[:, :, ::-1]
    assert not flipped.flags.c_contiguous
    assert np.array_equal(annotate_frame(flipped, points), annotate_frame(photo, points))


def test_measured_lines_follow_the_side_of_the_measure():
    (line,) = measured_lines("knee_flexion_left")
    assert line.points == ("left_hip", "left_knee", "left_ankle")
    (line,) = measured_lines("wrist_heel_gap_ratio", side="right")
    assert line.points == ("right_wrist", "left_heel")
    first, second = measured_lines("trunk_shank_difference", side="right", text="24°")
    assert (first.text, second.text) == ("24°", "")
    assert measured_lines("rep_time_s") == ()


def test_shrunk_jpeg_is_small_and_keeps_its_shape():
    noise = np.random.default_rng(1).integers(0, 255, (1600, 900, 3), dtype=np.uint8)
    _, data = cv2.imencode(".jpg", noise, [cv2.IMWRITE_JPEG_QUALITY, 95])
    small = shrink_jpeg(data.tobytes(), max_bytes=120_000)
    assert len(small) <= 120_000
    height, width = decode(small).shape[:2]
    assert height / width == pytest.approx(16 / 9, rel=0.02)
