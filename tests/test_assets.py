"""The pose bundles carried are the published networks without the mask, and nothing else."""

from __future__ import annotations

import hashlib
import os
import zipfile
from io import BytesIO
from pathlib import Path

import pytest

from motioncheck.assets import PUBLISHED_SUFFIX, load_checksums, read_asset
from motioncheck.assets.networks import (
    ALIGNMENT,
    add_metadata,
    compute_weights_digest,
    leave_out_mask,
)
from motioncheck.assets.rebuild_bundle import (
    BUNDLES,
    DETECTOR_FILE,
    DETECTOR_MEMBER,
    build_all,
    build_bundle,
    main,
    read_bundle,
)

# Where a maintainer keeps the published files; only he can compare with them directly.
WEIGHTS = os.environ.get("MOTIONCHECK_WEIGHTS", "")
# The bundles with the landmark networks as published, mask and all.
PUBLISHED = Path(__file__).parent / "published_models"


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("name", BUNDLES)
def test_bundle_is_the_one_in_checksums(name: str) -> None:
    assert sha256(read_asset(name)) == load_checksums()[name]


@pytest.mark.parametrize("name", BUNDLES)
def test_detector_in_bundle_is_the_published_file_byte_for_byte(name: str) -> None:
    detector, _ = read_bundle(read_asset(name))
    assert sha256(detector) == load_checksums()[DETECTOR_FILE]
    # The checksum under which the wheel that carries it is known.
    md5 = hashlib.md5(detector, usedforsecurity=False).hexdigest()
    assert md5 == "a2cecdebad5304f337109f4507b3be3a"


@pytest.mark.parametrize(("name", "published"), BUNDLES.items())
def test_landmark_weights_compared_with_are_the_published_ones(name: str, published: str) -> None:
    bundle = (PUBLISHED / name).read_bytes()
    assert sha256(bundle) == load_checksums()[name + PUBLISHED_SUFFIX]
    _, landmarks = read_bundle(bundle)
    # This digest was computed from the published file; it leaves out only the added metadata and
    # the layout of the file.
    assert compute_weights_digest(landmarks) == load_checksums()[f"{published}:content"]


@pytest.mark.parametrize("name", BUNDLES)
def test_bundle_carried_is_the_published_network_without_its_mask(name: str) -> None:
    detector, landmarks = read_bundle((PUBLISHED / name).read_bytes())
    assert build_bundle(detector, leave_out_mask(landmarks)) == read_asset(name)
    assert compute_weights_digest(leave_out_mask(landmarks)) != compute_weights_digest(landmarks)


def test_weights_digest_notices_one_changed_weight() -> None:
    _, landmarks = read_bundle(read_asset("pose_lite.task"))
    middle = len(landmarks) // 2  # Nine tenths of the file are weights.
    changed = landmarks[:middle] + bytes([landmarks[middle] ^ 1]) + landmarks[middle + 1 :]
    assert compute_weights_digest(changed) != compute_weights_digest(landmarks)


@pytest.mark.parametrize("name", BUNDLES)
def test_bundle_is_built_again_byte_for_byte(name: str) -> None:
    carried = read_asset(name)
    detector, landmarks = read_bundle(carried)
    # Adding the metadata record replaces the one that is there, so that building from the parts
    # of the bundle must give the bundle.
    assert build_bundle(detector, landmarks) == carried


def test_files_in_bundle_are_stored_aligned_and_undated() -> None:
    carried = read_asset("pose_lite.task")
    for member in zipfile.ZipFile(BytesIO(carried)).infolist():
        assert member.compress_type == zipfile.ZIP_STORED
        assert member.date_time == (1980, 1, 1, 0, 0, 0)
        content = zipfile.ZipFile(BytesIO(carried)).read(member.filename)
        assert carried.index(content) % ALIGNMENT == 0, member.filename


def test_metadata_is_added_once_only() -> None:
    _, landmarks = read_bundle(read_asset("pose_lite.task"))
    assert add_metadata(landmarks) == landmarks


def test_build_all_refuses_other_weights(tmp_path: Path) -> None:
    (tmp_path / DETECTOR_FILE).write_bytes(b"something else")
    with pytest.raises(ValueError, match=r"pose_detection\.tflite: expected SHA-256 .*, found"):
        build_all(tmp_path, tmp_path / "out")


def test_command_line_reports_missing_weights(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--weights", str(tmp_path), "--out", str(tmp_path / "out")]) == 1
    assert DETECTOR_FILE in capsys.readouterr().err


@pytest.mark.skipif(not WEIGHTS, reason="MOTIONCHECK_WEIGHTS names no folder of published files")
def test_published_files_give_the_carried_bundles(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--weights", WEIGHTS, "--out", str(tmp_path)]) == 0
    assert "NOT" not in capsys.readouterr().out
    assert (tmp_path / "pose_full.task").read_bytes() == read_asset("pose_full.task")
    assert main(["--weights", WEIGHTS, "--out", str(tmp_path), "--published"]) == 0
    published = (PUBLISHED / "pose_lite.task").read_bytes()
    assert (tmp_path / "pose_lite.task").read_bytes() == published


def test_notice_names_source_licence_and_changes() -> None:
    notice = read_asset("NOTICE").decode("utf-8")
    for words in (
        DETECTOR_MEMBER,
        "Apache License",
        "@mediapipe/pose",
        "0.10.21",
        "changed",
        "mask",
    ):
        assert words in notice
