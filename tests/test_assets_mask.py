"""The networks carried, without the mask, give the landmarks of the published ones to the bit."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

import motioncheck.landmarks.model as model_module
from motioncheck.assets import read_asset
from motioncheck.assets.networks import leave_out_mask
from motioncheck.assets.rebuild_bundle import BUNDLES, read_bundle
from motioncheck.landmarks import PoseModel
from motioncheck.landmarks.model import MODELS
from motioncheck.pipeline.extract import MODEL_HEIGHT_PX
from motioncheck.video import ClipReader, Frame

PUBLISHED = Path(__file__).parent / "published_models"
SAMPLES = Path(__file__).parents[1] / "sample_clips_synthetic"


def read_frames(name: str, count: int | None = None) -> Iterator[Frame]:
    with ClipReader(SAMPLES / f"{name}.mp4", max_height_px=MODEL_HEIGHT_PX) as reader:
        yield from islice(reader, count)


def find_landmarks(
    model: str, frames: Iterator[Frame], *, single_pictures: bool = False
) -> list[np.ndarray]:
    """Return what the model says about each frame: (people, 33, 6)."""
    found = []
    with PoseModel(
        model, width_px=540, height_px=960, single_pictures=single_pictures
    ) as pose_model:
        for frame in frames:
            poses = pose_model.detect(frame.rgb, frame.time_s)
            numbers = [np.column_stack([p.image_px, p.visibility, p.world_m]) for p in poses]
            found.append(np.array(numbers).reshape(-1, 33, 6))
    return found


def load_published(name: str) -> bytes:
    return (PUBLISHED / f"pose_{name}.task").read_bytes()


def assert_same_landmarks(
    monkeypatch: pytest.MonkeyPatch, clip: str, model: str, count: int | None, **options: bool
) -> None:
    carried = find_landmarks(model, read_frames(clip, count), **options)
    with monkeypatch.context() as patched:
        patched.setattr(model_module, "load_bundle", load_published)
        published = find_landmarks(model, read_frames(clip, count), **options)
    assert len(carried) == len(published)
    assert sum(len(people) for people in carried) > 0.9 * len(carried)
    for number, (ours, theirs) in enumerate(zip(carried, published, strict=True)):
        assert np.array_equal(ours, theirs), f"picture {number}"


@pytest.mark.parametrize("single_pictures", [False, True], ids=["clip", "single pictures"])
@pytest.mark.parametrize("model", MODELS)
def test_landmarks_are_the_published_ones_to_the_bit(
    model: str, single_pictures: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert_same_landmarks(
        monkeypatch, "squat_side_clean", model, 45, single_pictures=single_pictures
    )


@pytest.mark.slow
@pytest.mark.parametrize("clip", ["jacks_front", "get_up_full", "burpee_clean"])
def test_landmarks_of_whole_clips_are_the_published_ones_to_the_bit(
    clip: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert_same_landmarks(monkeypatch, clip, "full", None)


def test_the_comparison_would_notice_another_network(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(
        globals(), "load_published", lambda _: (PUBLISHED / "pose_lite.task").read_bytes()
    )
    with pytest.raises(AssertionError, match="picture"):
        assert_same_landmarks(monkeypatch, "squat_side_clean", "full", 5)


@pytest.mark.parametrize("name", BUNDLES)
def test_only_the_operators_of_the_mask_are_gone(name: str) -> None:
    from mediapipe.tasks.metadata import schema_py_generated as schema

    def unpack(bundle: bytes):
        content = schema.ModelT.InitFromObj(schema.Model.GetRootAs(read_bundle(bundle)[1], 0))
        return content.subgraphs[0], content

    graph, content = unpack(read_asset(name))
    before, whole = unpack((PUBLISHED / name).read_bytes())
    made = {int(index) for step in graph.operators for index in step.outputs}
    gone = [s for s in before.operators if int(s.outputs[0]) not in made]
    assert 0 < len(gone) == len(before.operators) - len(graph.operators)
    # Nothing that stays reads what is not computed any more.
    not_made = {int(index) for step in gone for index in step.outputs}
    assert not not_made & {int(index) for step in graph.operators for index in step.inputs}
    # What is gone ended in one picture as large as the input; all else that is put out stays.
    old, new = list(map(int, before.outputs)), list(map(int, graph.outputs))
    assert [list(before.tensors[a].shape) for a, b in zip(old, new, strict=True) if a != b] == [
        [1, 256, 256, 1]
    ]
    for ours, theirs in zip(content.buffers[:-1], whole.buffers[:-1], strict=True):
        assert (ours.data is None) == (theirs.data is None)
        assert ours.data is None or bytes(ours.data) == bytes(theirs.data)


def test_leaving_out_the_mask_twice_is_leaving_it_out_once() -> None:
    _, network = read_bundle(read_asset("pose_lite.task"))
    assert leave_out_mask(network) == network


def test_another_network_is_refused() -> None:
    detector, _ = read_bundle(read_asset("pose_lite.task"))
    with pytest.raises(ValueError, match="Not the outputs of a landmark network"):
        leave_out_mask(detector)
