"""The CSV files."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
import sheet_examples as ex

from motioncheck.records import MeasureTable
from motioncheck.sheet import angles_csv, reps_csv
from motioncheck.sheet.tables import ROWS_AT_ONCE, safe_cell


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_reps_csv_has_a_row_an_event_and_columns_of_measures_and_verdicts():
    text = reps_csv(ex.squat_sheet(7, pictures=False).sheet)
    assert "\r" not in text
    assert text.endswith("\n")
    table = rows(text)
    assert len(table) == 7
    assert list(table[0])[:6] == ["kind", "number", "side", "start_s", "turn_s", "end_s"]
    assert table[0]["thigh_inclination_right"] == "-3.000"
    assert table[0]["thigh_inclination_right_uncertainty"] == "5.000"
    assert table[0]["frontal_plane_knee_angle_right"] == ""
    assert table[0]["start_s"] == "1.2000"
    assert table[6]["trunk_verdict"] == "misses"
    assert table[6]["knees_verdict"] == "not visible"
    assert "tempo_verdict" not in table[0]  # a check of the set, not of a rep


def test_reps_csv_splits_a_check_of_both_sides():
    table = rows(reps_csv(ex.jack_sheet().sheet))
    assert table[9]["arms_verdict"] == "misses"
    assert table[9]["arms_left_verdict"] == "meets"
    assert table[9]["arms_right_verdict"] == "misses"
    assert "feet_left_verdict" not in table[0]


def test_reps_csv_without_events_is_a_header():
    assert len(reps_csv(ex.squat_sheet(0, pictures=False).sheet).splitlines()) == 1


def test_cells_that_a_spreadsheet_would_run_are_neutralised():
    text = reps_csv(ex.hostile_sheet().sheet)
    header = next(csv.reader(io.StringIO(text)))
    assert not [cell for cell in header if cell.startswith(("=", "+", "-", "@"))]
    assert "'=1+1" in header
    # Numbers keep their sign.
    assert rows(text)[0]["'=1+1"] == "-3.000"
    assert safe_cell("@x") == "'@x"
    # Behind blanks, in the wide forms of East Asian keyboards, and after a line break as well.
    for text in ("  =1", "\u00a0+1", "\uff1d1", "\uff201", "\n=1", "\t1", " \t-1"):
        assert safe_cell(text) == "'" + text
    assert safe_cell("knee") == "knee"
    assert safe_cell(" knee") == " knee"


def test_angles_csv_is_empty_where_not_measurable():
    time_s = np.array([0.0, 1 / 30, 2 / 30])
    values = {"knee_flexion_left": np.array([1.23456, np.nan, -0.0001])}
    text = angles_csv(MeasureTable(time_s, values, {}))
    assert text == "time_s,knee_flexion_left\n0.0000,1.235\n0.0333,\n0.0667,0.000\n"


def test_angles_csv_reads_back_within_its_rounding():
    table = ex.squat_sheet(3, pictures=False).table
    back = rows(angles_csv(table))
    for name, values in table.values.items():
        read = np.array([float(r[name]) if r[name] else np.nan for r in back])
        assert read == pytest.approx(values, abs=0.00051, nan_ok=True)


@pytest.mark.parametrize("frames", [0, 1, ROWS_AT_ONCE, ROWS_AT_ONCE + 1])
def test_angles_csv_has_every_frame_once_however_it_is_put_together(frames):
    time_s = np.arange(float(frames))
    text = angles_csv(MeasureTable(time_s, {"knee": time_s / 2}, {}))
    assert text.splitlines()[0] == "time_s,knee"
    assert [float(row["time_s"]) for row in rows(text)] == time_s.tolist()
