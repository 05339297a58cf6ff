"""The feedback sheet: HTML, JSON, CSV, pictures, and writing them safely."""

from motioncheck.sheet.charts import ChartSpec, Limit
from motioncheck.sheet.drawing import (
    MeasuredLine,
    annotate_frame,
    cover_face,
    draw_lines,
    draw_still,
    measured_lines,
)
from motioncheck.sheet.html import render_html
from motioncheck.sheet.json import json_schema, sheet_from_json, sheet_to_json
from motioncheck.sheet.tables import angles_csv, reps_csv
from motioncheck.sheet.write import write_outputs

__all__ = [
    "ChartSpec",
    "Limit",
    "MeasuredLine",
    "angles_csv",
    "annotate_frame",
    "cover_face",
    "draw_lines",
    "draw_still",
    "json_schema",
    "measured_lines",
    "render_html",
    "reps_csv",
    "sheet_from_json",
    "sheet_to_json",
    "write_outputs",
]
