"""What a check leaves on the disk is what the documentation promises."""

from __future__ import annotations

import csv
import itertools
import json
import math
import os
import re
import shutil

import av
import jsonschema
import numpy as np
import pytest
from e2e_support import ROOT, SAMPLES, edit_clip, iterate, list_names, read_sheet

from motioncheck.landmarks import load_track
from motioncheck.sheet.faces import COVER_RGB, locate_head

pytestmark = pytest.mark.model

ALWAYS = ["angles.csv", "reps.csv", "sheet.html", "sheet.json"]
SIDED = (
    "knee_flexion",
    "hip_flexion",
    "ankle_flexion",
    "thigh_inclination",
    "shank_inclination",
    "shoulder_elevation",
    "elbow_flexion",
    "frontal_plane_knee_angle",
)


@pytest.fixture(scope="module")
def done(squat, tmp_path_factory):
    """A checked clip with everything: its folder, and the landmarks kept."""
    return squat, tmp_path_factory.mktemp("done") / "out", tmp_path_factory.mktemp("kept")


@pytest.fixture
def out(cli, done):
    clip, folder, kept = done
    if not folder.exists():
        words = ("--annotated", "--compare", "--out", folder, "--keep-track", kept / "track.npz")
        assert cli("check", clip, "-m", "air-squat", *words).code == 0
    return folder


def test_results_go_beside_the_clip_unless_told_otherwise(cli, tmp_path, squat):
    clip = shutil.copy(squat, tmp_path / "monday.mp4")
    run = cli("check", clip, "-m", "air-squat")
    assert run.code == 0
    assert list_names(tmp_path) == ["monday.check", "monday.mp4"]
    assert list_names(tmp_path / "monday.check") == ALWAYS
    assert str(tmp_path / "monday.check" / "sheet.html") in run.out


def test_the_folder_holds_the_documented_files_and_no_others(out):
    assert list_names(out) == ["angles.csv", "annotated.mp4", "compare.html", *ALWAYS[1:]]


@pytest.mark.skipif(os.name == "nt", reason="POSIX permissions only")
def test_results_are_for_the_owner_only(out, done):
    assert out.stat().st_mode & 0o777 == 0o700
    assert {p.stat().st_mode & 0o777 for p in out.iterdir()} == {0o600}
    assert (done[2] / "track.npz").stat().st_mode & 0o777 == 0o600


def test_the_sheet_fits_its_published_schema(out):
    schema = json.loads((ROOT / "docs" / "sheet.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(schema).validate(read_sheet(out))


def test_the_sheet_says_at_least_what_the_contract_lists(out):
    sheet = read_sheet(out)
    assert {"name", "sha256", "duration_s", "frame_rate_hz"} <= set(sheet["clip"])
    assert {"width_px", "height_px", "rotation_deg"} <= set(sheet["clip"])
    assert {"id", "title", "source_hash"} <= set(sheet["movement"])
    assert {"view", "azimuth_deg", "azimuth_uncertainty_deg", "tilt_deg"} <= set(sheet["camera"])
    assert {"model", "frames", "seen_ratio", "swaps_repaired", "gaps_filled_s"} <= set(
        sheet["track"]
    )
    assert {"summary", "cautions", "provenance"} <= set(sheet)
    assert [(e["kind"], e["number"], e["side"]) for e in sheet["events"]] == [
        ("rep", 1, "both"),
        ("rep", 2, "both"),
    ]
    for event in sheet["events"]:
        assert event["start_s"] < event["turn_s"] < event["end_s"]
        for value in event["measures"].values():
            assert {"value", "unit", "uncertainty", "source"} <= set(value)
        for finding in event["findings"]:
            assert finding["verdict"] in {"meets", "misses", "too close to call", "not visible"}
            assert {"check", "value", "threshold", "unit", "uncertainty", "reason", "cue"} <= set(
                finding
            )


@pytest.mark.parametrize(("name", "pictures"), [("sheet.html", 2), ("compare.html", 0)])
def test_the_html_pages_need_nothing_from_elsewhere(out, name, pictures):
    content = (out / name).read_bytes()
    assert len(content) < 3_000_000
    text = content.decode("utf-8")
    assert "<script" not in text
    addresses = re.findall(r"""(?:src|href|url)\s*[=(]\s*["']?([^"')\s>]+)""", text)
    assert addresses
    assert all(a.startswith(("data:", "#")) for a in addresses)
    assert text.count("data:image/jpeg;base64,") >= pictures


def test_the_sheet_says_of_every_value_where_it_is_from_and_shows_the_far_leg_too(out):
    """From the side the far leg is hidden; the fitted body knows it."""
    sheet = read_sheet(out)
    for event in sheet["events"]:
        assert {v["source"] for v in event["measures"].values()} <= {"image", "body", ""}
        assert event["measures"]["rep_time_s"]["source"] == ""
        assert event["measures"]["knee_flexion_right"]["source"] == "body"
        assert {f["source"] for f in event["findings"] if f["value"] is not None} <= {
            "image", "body",
        }  # fmt: skip
    assert sheet["camera"]["pitch_deg"] is not None
    assert {"trunk_inclination", "thigh_inclination"} <= {m["measure"] for m in sheet["measured"]}
    assert sheet["provenance"]["calibration"]
    text = " ".join(sheet["how_measured"])
    assert "on rendered bodies, not on people" in text


def test_the_comparison_shows_the_measures_of_the_checks_from_three_sources(out):
    text = (out / "compare.html").read_text("utf-8")
    assert "<h2" in text
    for css in ("picture-line", "model-line", "body-line", "body-band"):
        assert f'<path class="{css}" d="M' in text


def test_the_angles_have_a_row_a_frame_and_the_documented_columns(out):
    with (out / "angles.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    names = list(rows[0])
    assert names[0] == "time_s"
    expected = {f"{name}_{side}" for name in SIDED for side in ("left", "right")}
    assert expected | {"trunk_inclination"} <= set(names)
    times = [float(row["time_s"]) for row in rows]
    assert len(rows) == read_sheet(out)["track"]["frames"]
    assert all(b > a for a, b in itertools.pairwise(times))
    near = [float(row["knee_flexion_left"]) for row in rows if row["knee_flexion_left"]]
    assert len(near) == len(rows)
    assert max(near) > 100.0 > 15.0 > min(near)
    cells = [cell for row in rows for cell in row.values() if cell]
    assert all(math.isfinite(float(cell)) for cell in cells)


def test_the_reps_have_a_row_an_event_with_measures_and_verdicts(out):
    with (out / "reps.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    events = read_sheet(out)["events"]
    assert [row["number"] for row in rows] == [str(e["number"]) for e in events]
    for row, event in zip(rows, events, strict=True):
        assert float(row["turn_s"]) == pytest.approx(event["turn_s"], abs=1e-4)
        for finding in event["findings"]:
            assert row[f"{finding['check']}_verdict"] == finding["verdict"]
        for name, value in event["measures"].items():
            cell = row[name]
            assert (
                cell == ""
                if value["value"] is None
                else float(cell) == pytest.approx(value["value"], abs=6e-4)
            )


def test_the_annotated_clip_plays_everywhere(out, done):
    with av.open(str(done[0])) as source, av.open(str(out / "annotated.mp4")) as made:
        (stream,) = made.streams  # pictures only: no sound
        original = source.streams.video[0]
        assert stream.type == "video"
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert stream.frames == original.frames
        assert float(stream.duration * stream.time_base) == pytest.approx(
            float(original.duration * original.time_base), abs=0.05
        )
        times = [frame.time for frame in made.decode(stream)]
    assert len(times) == original.frames
    assert times[0] == 0.0


def test_the_face_is_covered_in_the_annotated_clip(out, done):
    track = load_track(done[2] / "track.npz")
    uncovered = []
    for index, (_, picture) in enumerate(iterate(out / "annotated.mp4")):
        scale = picture.shape[0] / track.height_px
        head = locate_head(track.image_px[index] * scale, picture.shape)
        rows, columns = np.ogrid[: picture.shape[0], : picture.shape[1]]
        disc = (columns - head.x) ** 2 + (rows - head.y) ** 2 < (0.7 * head.radius) ** 2
        # The running text may lie over the upper half.
        lower = picture[disc & (rows > head.y)].astype(int)
        off = np.abs(lower - COVER_RGB).max(axis=1) > 16
        uncovered.append(off.mean())
    assert len(uncovered) == len(track.time_s)
    assert max(uncovered) < 0.1  # the stick figure's neck


def test_what_an_earlier_check_made_besides_does_not_stay(cli, tmp_path, squat):
    out = tmp_path / "out"
    words = ("check", squat, "-m", "air-squat", "-o", out)
    assert cli(*words, "--annotated", "--compare").code == 0
    run = cli(*words, "--compare")
    assert run.code == 0
    assert list_names(out) == ["angles.csv", "compare.html", *ALWAYS[1:]]
    assert "The annotated clip of the earlier check was removed" in run.out
    assert "comparison" not in run.out
    run = cli(*words)
    assert list_names(out) == ALWAYS
    assert "The comparison of the earlier check was removed; --compare makes" in run.out


def test_strict_ends_with_code_9_after_a_miss_and_still_writes_the_sheet(cli, tmp_path):
    clip = edit_clip(SAMPLES / "squat_side_faults.mp4", tmp_path / "faults.mp4", until_s=4.5)
    assert cli("check", clip, "-m", "air-squat", "--strict").code == 9
    verdicts = [f for e in read_sheet(tmp_path / "faults.check")["events"] for f in e["findings"]]
    assert any(f["verdict"] == "misses" and f["cue"] for f in verdicts)
    assert cli("check", clip, "-m", "air-squat").code == 0
