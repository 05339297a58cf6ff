"""The real pose model on bodies that lie and on bodies that are upside down.

Truth: the rendered joints. Standing people of the sample clips, turned by quarter turns, stand in
for lying and inverted ones; `position_stills.py` shows real positions on the floor.
"""

from __future__ import annotations

import numpy as np
import pytest
from positions import CLIPS, load_truth, measure_clip, read_shots, see_following

pytestmark = [pytest.mark.slow, pytest.mark.model]


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
@pytest.mark.parametrize("name", ["squat_side_clean", "jacks_front"])
def test_a_body_is_found_from_nothing_however_it_is_turned(name, turn):
    seen, _ = measure_clip(CLIPS / f"{name}.mp4", turn=turn, every=40, follow=False)
    assert seen.found == 1.0
    # Measured: 1.4 to 1.7 and 0.7 to 0.8 per cent of stature, in every turn.
    assert np.nanmedian(seen.error) < 2.5
    assert np.nanmean(seen.swapped) == 0.0


def test_a_lying_body_is_followed_through_a_clip():
    clip = CLIPS / "squat_side_clean.mp4"
    shots = list(read_shots(clip, turn=1))[:120]
    _, _, stature_px = load_truth(clip)
    scale = shots[0].rgb.shape[0] / 540.0  # The clip is 540 pixels wide.
    seen = see_following(shots, stature_px * scale)
    assert seen.found == 1.0
    assert np.nanmedian(seen.error) < 2.5
