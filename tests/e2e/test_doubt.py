"""The command line with a slip: squats checked as something else."""

from __future__ import annotations

import pytest
from e2e_support import read_sheet

pytestmark = pytest.mark.model


def test_a_slip_in_the_movement_is_pointed_out(cli, tmp_path, squat):
    wrong = cli("check", squat, "-m", "trunk-forward-flexion", "-o", tmp_path / "wrong")
    assert wrong.code == 0
    assert "This looks like another movement: air squat (9" in wrong.out
    assert "check it again with -m air-squat." in wrong.out
    sheet = read_sheet(tmp_path / "wrong")
    assert sheet["summary"]["notes"][0].startswith("This looks like another movement: air squat")
    assert sheet["provenance"]["options"]["looks_like"] == "air-squat"
    assert "This looks like another movement" in (tmp_path / "wrong" / "sheet.html").read_text(
        "utf-8"
    )
    right = cli("check", squat, "-m", "air-squat", "-o", tmp_path / "right")
    assert right.code == 0
    assert "looks like" not in right.out
    assert "looks_like" not in read_sheet(tmp_path / "right")["provenance"]["options"]
