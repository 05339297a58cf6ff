"""`motioncheck trend` on the command line: pages, table, exit codes, help."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta

import pytest
from sheet_examples import squat_sheet

from motioncheck.cli import main
from motioncheck.history import open_history
from motioncheck.records.history import PersonRecord

DAYS = ("2026-03-02", "2026-03-09", "2026-03-16")


def squats(number: int, more: float):
    """Return a check of its own clip in which every measure reads so much more."""
    sheet = squat_sheet(6, pictures=False).sheet

    def shifted(value):
        return value if value.value is None else replace(value, value=value.value + more)

    events = tuple(
        replace(
            event,
            measures={name: shifted(value) for name, value in event.measures.items()},
            findings=tuple(shifted(finding) for finding in event.findings),
        )
        for event in sheet.events
    )
    clip = replace(sheet.clip, name=f"squat_{number}.mp4", sha256=f"{number:064x}")
    return replace(sheet, clip=clip, events=events)


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Return a history of a person with three sessions, one without, and their made-up names."""
    place = tmp_path_factory.mktemp("history") / "history.db"
    with open_history(place) as history:
        history.add_person(PersonRecord("seat3", name="[bold]Made-up <b>Person", notes="=Secret"))
        history.add_person(PersonRecord("seat4"))
        for number, (day, more) in enumerate(zip(DAYS, (0.0, 1.0, 20.0), strict=True)):
            history.record(squats(number, more), person="seat3", day=day)
    return place


@pytest.fixture
def run(monkeypatch, capsys, place, tmp_path):
    """Run the command in this process; returns exit code, output, and errors."""

    def call(*arguments):
        monkeypatch.chdir(tmp_path)
        words = ["motioncheck", "trend", *map(str, arguments), "--history", str(place)]
        monkeypatch.setattr(sys, "argv", words)
        with pytest.raises(SystemExit) as end:
            main.run()
        return end.value.code or 0, *capsys.readouterr()

    return call


def test_the_page_is_written_beside_and_summed_up(run, tmp_path):
    code, out, err = run("seat3")
    assert code == 0, err
    assert out.startswith("seat3, 3 sessions. Changed:")
    assert "Thigh" in out
    assert "Page: seat3.trend/trend.html" in out
    assert "does not diagnose" in out
    names = sorted(p.name for p in (tmp_path / "seat3.trend").iterdir())
    assert names == ["trend.csv", "trend.html", "trend.json"]
    assert run("seat3")[0] == 0  # once more over its own files


def test_the_name_is_left_out_unless_asked_for(run, tmp_path):
    assert run("seat3", "--note")[0] == 0
    files = list((tmp_path / "seat3.trend").iterdir())
    assert len(files) == 4
    assert not any("Made-up" in p.read_text("utf-8") for p in files)
    assert not any("Secret" in p.read_text("utf-8") for p in files)
    assert run("seat3", "--note", "--with-name")[0] == 0
    page = (tmp_path / "seat3.trend" / "trend.html").read_text("utf-8")
    assert "[bold]Made-up &lt;b&gt;Person" in page
    assert "Made-up" in (tmp_path / "seat3.trend" / "note.html").read_text("utf-8")


def test_one_measure_and_a_span_of_days(run, tmp_path):
    code, _, err = run(
        "seat3", "--measure", "thigh_inclination", "--from", DAYS[1], "--out", "other"
    )
    assert code == 0, err
    content = json.loads((tmp_path / "other" / "trend.json").read_text("utf-8"))
    assert {t["measure"] for t in content["trends"]} == {"thigh_inclination"}
    assert content["sessions"] == 2
    (line,) = content["trends"][0]["lines"]
    assert [p["day"] for p in line["points"]] == list(DAYS[1:])
    means = [p["mean"] for p in line["points"]]
    assert means[1] - means[0] == pytest.approx(19.0)


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("nobody",), 2, "found nobody called nobody"),
        (("../x",), 2, "Expected a code of 1 to 40 letters"),
        (("seat4",), 2, "Expected recorded sessions of seat4, found none with a measure"),
        (("seat3", "--measure", "thigh"), 2, "Did you mean thigh_inclination?"),
        (("seat3", "--measure", "foo"), 2, "thigh_inclination and trunk_inclination on record"),
        (("seat3", "--movement", "foo"), 2, "found air-squat on record"),
        (("seat3", "-m", "air-squat", "--measure", "foo"), 2, "'foo' of air-squat, found"),
        (("seat3", "--from", "soon"), 2, "Expected a day as YEAR-MONTH-DAY"),
        (("seat3", "--from", DAYS[1], "--to", DAYS[0]), 2, "Expected --from not to be after --to"),
        (("seat3", "--from", "2030-01-01"), 2, "found them from 2026-03-02 to 2026-03-16 only"),
    ],
)
def test_errors_are_one_sentence_and_a_documented_code(run, tmp_path, arguments, code, told):
    found, out, err = run(*arguments)
    assert found == code
    assert told in err
    assert "Traceback" not in err
    assert err.count("\n") == 1
    assert out == ""
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_somebody_else_is_left_alone(run, tmp_path):
    (tmp_path / "seat3.trend").mkdir()
    (tmp_path / "seat3.trend" / "trend.html").write_text("mine")
    code, _, err = run("seat3")
    assert code == 8
    assert "belongs to no trend" in err
    assert (tmp_path / "seat3.trend" / "trend.html").read_text() == "mine"


def test_a_file_that_is_no_history_is_an_error_of_the_history(monkeypatch, capsys, tmp_path):
    (tmp_path / "x.db").write_text("no database at all, only words" * 40)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["motioncheck", "trend", "seat3", "--history", "x.db"])
    with pytest.raises(SystemExit) as end:
        main.run()
    assert end.value.code == 7
    assert "Traceback" not in capsys.readouterr().err


def test_help_loads_nothing_heavy():
    code = (
        "import sys\nfrom motioncheck.cli.main import app\n"
        "try:\n    app(['trend', '--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'scipy', 'jinja2', 'av', 'cv2', 'mediapipe', 'sqlalchemy', 'alembic'}\n"
        "sys.stderr.write(','.join(sorted(heavy & set(sys.modules))))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr == ""
    assert "--measure" in done.stdout


@pytest.mark.slow
def test_the_page_of_a_thousand_sessions_stays_small(tmp_path, monkeypatch):
    """How long it takes is measured by `tests/benchmarks/bench_history.py`."""
    place = tmp_path / "long.db"
    with open_history(place) as history:
        for number in range(1000):
            day = (date(2020, 1, 1) + timedelta(days=2 * number)).isoformat()
            history.record(squats(number, number % 7), person="seat3", day=day)
    words = ("trend", "seat3", "--note", "--history", str(place), "--out", str(tmp_path / "out"))
    monkeypatch.setattr(sys, "argv", ["motioncheck", *words])
    with pytest.raises(SystemExit) as end:
        main.run()
    assert not end.value.code
    assert (tmp_path / "out" / "trend.html").stat().st_size < 3_000_000


def test_without_a_history_none_is_made(tmp_path, monkeypatch, capsys):
    place = tmp_path / "none.db"
    monkeypatch.setattr(sys, "argv", ["motioncheck", "trend", "seat3", "--history", str(place)])
    with pytest.raises(SystemExit) as end:
        main.run()
    assert end.value.code == 7
    assert "found none" in capsys.readouterr().err
    assert not place.exists()
