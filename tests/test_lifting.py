"""What the lifting network is shown, and how it is run."""

from __future__ import annotations

import numpy as np
import pytest

from motioncheck.errors import MissingPartError
from motioncheck.lifting import BONES, features, lift_track, network
from motioncheck.lifting.features import collect_features
from motioncheck.records import CleanTrack
from motioncheck.skeleton import COUNT, INDEX, MIRROR

FRAMES = 40


def make_track(*, shift_px: float = 0.0, scale: float = 1.0) -> CleanTrack:
    """Points that move to the right by 60 px a second, all at the same speed."""
    rng = np.random.default_rng(4)
    time_s = np.arange(FRAMES) / 20.0
    rest = rng.uniform(100, 400, (COUNT, 2))
    image = rest + (60.0 * time_s)[:, None, None] * np.array([1.0, 0.0])
    world = np.broadcast_to(rng.uniform(-1, 1, (COUNT, 3)), (FRAMES, COUNT, 3))
    return CleanTrack(
        time_s,
        scale * image + shift_px,
        np.full((FRAMES, COUNT), 0.9),
        world,
        540,
        960,
        20.0,
        6.0,
    )


def show(track: CleanTrack, rows: list[int], *, picture_px: float = 300.0) -> np.ndarray:
    shown = collect_features(track, np.array(rows), picture_px=picture_px, world_m=1.6)
    assert shown.shape == (len(rows), features.COUNT)
    return shown


def points_of(shown: np.ndarray) -> np.ndarray:
    moving = shown[:, : -features.PLACE_NUMBERS]
    return moving.reshape(
        len(shown), len(features.OFFSETS_S), len(features.POINTS), features.NUMBERS_A_POINT
    )


def test_a_person_elsewhere_in_the_picture_looks_the_same() -> None:
    here, there = show(make_track(), [15, 20]), show(make_track(shift_px=50.0), [15, 20])
    np.testing.assert_allclose(points_of(here), points_of(there), atol=1e-5)
    np.testing.assert_allclose(there[:, -3:-1] - here[:, -3:-1], 50.0 / 960.0, atol=1e-6)


def test_a_person_twice_as_large_looks_the_same() -> None:
    near = show(make_track(scale=2.0), [15], picture_px=600.0)
    far = show(make_track(), [15])
    np.testing.assert_allclose(points_of(near), points_of(far), atol=1e-5)
    assert near[0, -1] == pytest.approx(2.0 * far[0, -1])


def test_instants_between_frames_lie_on_the_path() -> None:
    nose = points_of(show(make_track(), [15]))[0, :, 0, 0]
    expected = nose[3] + 60.0 / 300.0 * np.array(features.OFFSETS_S)
    np.testing.assert_allclose(nose, expected, atol=1e-5)


def test_what_is_missing_counts_as_unseen() -> None:
    track = make_track()
    image = np.array(track.image_px)
    image[10:20, INDEX["left_knee"]] = np.nan
    gone = CleanTrack(track.time_s, image, track.visibility, track.world_m, 540, 960, 20.0, 6.0)
    shown = points_of(show(gone, [15]))
    assert np.isfinite(shown).all()
    knee = features.POINTS.index("left_knee")
    assert shown[0, 3, knee].tolist() == [0.0] * 6
    assert shown[0, 3, knee + 1, 2] == pytest.approx(0.9)


def test_a_mirrored_person_gets_the_mirrored_answer() -> None:
    track = make_track()
    image = np.array(track.image_px)[:, MIRROR] * [-1.0, 1.0] + [540.0, 0.0]
    world = np.array(track.world_m)[:, MIRROR] * [-1.0, 1.0, 1.0]
    mirrored = CleanTrack(
        track.time_s, image, track.visibility[:, MIRROR], world, 540, 960, 20.0, 6.0
    )
    here = lift_track(track, picture_px=300.0, world_m=1.6)
    there = lift_track(mirrored, picture_px=300.0, world_m=1.6)
    left, right = (BONES.index((f"{s}_hip", f"{s}_knee")) for s in ("left", "right"))
    turned = there.direction[:, left] * [-1.0, 1.0, 1.0]
    np.testing.assert_allclose(here.direction[:, right], turned, atol=1e-5)
    across = BONES.index(("left_hip", "right_hip"))
    turned = there.direction[:, across] * [1.0, -1.0, -1.0]
    np.testing.assert_allclose(here.direction[:, across], turned, atol=1e-5)
    np.testing.assert_allclose(here.up, there.up * [-1.0, 1.0, 1.0], atol=1e-5)
    np.testing.assert_allclose(here.direction_sd[:, right], there.direction_sd[:, left], atol=1e-5)


def test_network_adds_its_middle_layers_to_what_comes_in() -> None:
    eye, zero = np.eye(2, dtype=np.float32), np.zeros(2, dtype=np.float32)
    small = network.Network(
        mean=np.array([1.0, 0.0], dtype=np.float32),
        scale=np.array([2.0, 1.0], dtype=np.float32),
        layers=((eye, zero), (-eye, np.array([3.0, 0.0], dtype=np.float32)), (eye, zero + 10)),
        version="hand",
    )
    # (5 - 1) / 2 = 2; 2 + max(0, 3 - 2) = 3; + 10. And -4: cut off at 0; 0 + 0 + 10.
    out = small.run(np.array([[5.0, -4.0]], dtype=np.float32))
    assert out.tolist() == [[13.0, 10.0]]


@pytest.mark.parametrize("content", [b"", b"no archive", b"PK\x03\x04 cut", None])
def test_missing_or_damaged_weights_are_named(
    content: bytes | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def read(name: str) -> bytes:
        if content is None:
            raise FileNotFoundError(name)
        return content

    network.load_network.cache_clear()
    monkeypatch.setattr(network, "read_asset", read)
    with pytest.raises(MissingPartError, match=r"lifting\.npz"):
        network.load_network()
    network.load_network.cache_clear()


def test_nobody_found_gives_no_rows() -> None:
    track = make_track()
    empty = CleanTrack(
        track.time_s,
        np.full_like(track.image_px, np.nan),
        np.zeros_like(track.visibility),
        np.full_like(track.world_m, np.nan),
        540,
        960,
        20.0,
        6.0,
    )
    lift = lift_track(empty, picture_px=300.0, world_m=1.6)
    assert len(lift.rows) == 0
    assert lift.direction.shape == (0, len(BONES), 3)
