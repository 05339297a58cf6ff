"""A clip is followed once; saved landmarks and the cache serve every check after that."""

from __future__ import annotations

import shutil

import pytest
from e2e_support import forbid, read_sheet

from motioncheck.landmarks import load_track
from motioncheck.standards.loader import package_folder

pytestmark = pytest.mark.model

DECODING = (
    "motioncheck.pipeline.extract.extract_track",
    "motioncheck.pipeline.extract.ClipReader",
    "motioncheck.landmarks.model.PoseModel.__init__",
)
FITTING = "motioncheck.pipeline.fitting.fit_track"
PICKING = "motioncheck.pipeline.pictures.pick_pictures"


@pytest.fixture
def own_cache(cli, tmp_path):
    cli.cache = tmp_path / "own cache"
    return cli.cache


def without_provenance(sheet):
    for key in ("provenance", "how_measured"):  # say what was decoded this time
        sheet.pop(key)
    return sheet


def test_a_saved_track_gives_the_same_sheet_without_the_model(cli, tmp_path, squat, monkeypatch):
    track = tmp_path / "squat.npz"
    first = ("check", squat, "-m", "air-squat", "-o", tmp_path / "a", "--keep-track", track)
    assert cli(*first).code == 0
    assert load_track(track).seen_ratio == 1.0
    with forbid(monkeypatch, *DECODING, PICKING, FITTING):
        again = ("check", squat, "-m", "air-squat", "-o", tmp_path / "b", "--track", track)
        assert cli(*again).code == 0
    sheets = [without_provenance(read_sheet(tmp_path / name)) for name in ("a", "b")]
    assert sheets[0] == sheets[1]
    angles = [(tmp_path / name / "angles.csv").read_bytes() for name in ("a", "b")]
    assert angles[0] == angles[1]


def test_a_second_check_with_another_standard_uses_the_cache(cli, tmp_path, squat, monkeypatch):
    assert cli("check", squat, "-m", "air-squat", "-o", tmp_path / "a").code == 0
    own = tmp_path / "own"
    own.mkdir()
    text = (package_folder() / "air-squat.toml").read_text("utf-8")
    changed = text.replace('id = "air-squat"', 'id = "deep-squat"').replace(
        "threshold = 5.0", "threshold = -60.0", 1
    )
    assert changed.count("-60.0") == 1
    changed = changed.replace("clear_miss = 15.0\n", "", 1)
    (own / "deep-squat.toml").write_text(changed, "utf-8")
    with forbid(monkeypatch, *DECODING, PICKING, FITTING):
        words = ("-m", "deep-squat", "--standards", own, "-o", tmp_path / "b")
        run = cli("check", squat, *words)
    assert run.code == 0, run.err
    depth = [
        next(f["verdict"] for f in e["findings"] if f["check"] == "depth")
        for folder in ("a", "b")
        for e in read_sheet(tmp_path / folder)["events"]
    ]
    assert depth == ["meets", "meets", "misses", "misses"]
    stills = [(tmp_path / n / "sheet.html").read_text("utf-8") for n in ("a", "b")]
    assert [s.count("data:image/jpeg") for s in stills] == [2, 2]


@pytest.mark.parametrize("kind", ["track", "body"])
def test_a_damaged_cache_entry_is_replaced(cli, tmp_path, squat, own_cache, kind):
    words = ("check", squat, "-m", "air-squat", "-o", tmp_path / "out")
    assert cli(*words).code == 0
    (entry,) = own_cache.glob(f"*.{kind}.npz")
    whole = entry.read_bytes()
    entry.write_bytes(whole[: len(whole) // 2])
    before = read_sheet(tmp_path / "out")["events"]
    run = cli(*words)
    assert run.code == 0
    assert run.err == ""
    assert entry.read_bytes() == whole
    assert read_sheet(tmp_path / "out")["events"] == before


def test_no_cache_keeps_nothing(cli, tmp_path, squat, own_cache, shared_cache):
    before = sorted(shared_cache.iterdir())
    words = ("check", squat, "-m", "air-squat", "-o", tmp_path / "out", "--no-cache")
    assert cli(*words).code == 0
    assert not own_cache.exists()
    assert sorted(shared_cache.iterdir()) == before


def test_another_name_of_the_same_clip_uses_the_cache(cli, tmp_path, squat, monkeypatch):
    assert cli("check", squat, "-m", "air-squat", "-o", tmp_path / "a").code == 0
    copy = shutil.copy(squat, tmp_path / "renamed.mp4")
    with forbid(monkeypatch, *DECODING):
        assert cli("check", copy, "-m", "air-squat", "-o", tmp_path / "b").code == 0
    assert read_sheet(tmp_path / "b")["clip"]["name"] == "renamed.mp4"


def test_a_cache_that_cannot_be_written_does_not_stop_the_check(cli, tmp_path, squat):
    (tmp_path / "file").touch()
    cli.cache = tmp_path / "file" / "cache"
    words = ("check", squat, "-m", "air-squat", "-o", tmp_path / "out")
    assert cli(*words).code == 0
