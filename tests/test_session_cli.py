"""`motioncheck session` on the command line: exit codes, summary, help, and the page of docs."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import sheet_examples as ex
from session_examples import HEAD
from typer.main import get_command

from motioncheck.cli import main
from motioncheck.cli.main import app
from motioncheck.plans import parse_plan, schema
from motioncheck.sheet import sheet_to_json
from motioncheck.standards import load_standards

PAGE = (Path(__file__).parents[1] / "docs" / "plans.md").read_text(encoding="utf-8")
PLAN = '[[block]]\nkind = "sets"\nmovement = "air-squat"\nsets = 1\nreps = 8\n'


@pytest.fixture
def run(monkeypatch, capsys):
    """Run the command in this process; returns exit code, output, and errors."""

    def call(*arguments, cwd):
        monkeypatch.chdir(cwd)
        monkeypatch.setattr(sys, "argv", ["motioncheck", "session", *map(str, arguments)])
        with pytest.raises(SystemExit) as end:
            main.run()
        return end.value.code or 0, *capsys.readouterr()

    return call


@pytest.fixture
def files(tmp_path):
    (tmp_path / "plan.toml").write_text(HEAD + PLAN, encoding="utf-8")
    sheet = ex.squat_sheet(6, pictures=False).sheet
    sheet = replace(sheet, movement=replace(sheet.movement, title="[bold]Squat"))
    (tmp_path / "a.check").mkdir()
    (tmp_path / "a.check" / "sheet.json").write_text(sheet_to_json(sheet), encoding="utf-8")
    return tmp_path


def test_a_session_is_written_and_summed_up(files, run):
    code, out, err = run("plan.toml", "a.check/sheet.json", cwd=files)
    assert code == 0, err
    assert "0 of 1 set as planned, 1 short." in out
    assert "Sheet: plan.session/session.html" in out
    assert "does not diagnose" in out
    assert (files / "plan.session" / "sets.csv").is_file()


def test_a_miss_ends_with_a_code_of_its_own_only_when_strict(files, run):
    assert run("plan.toml", "a.check/sheet.json", cwd=files)[0] == 0
    code, out, _ = run("plan.toml", "a.check/sheet.json", "--strict", "--replace", cwd=files)
    assert code == 9
    assert "Sheet: plan.session/session.html" in out


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("none.toml", "a.check/sheet.json"), 4, "Expected a plan at none.toml"),
        (("plan.toml", "none.mp4"), 3, "none.mp4"),
        (("plan.toml", "plan.json"), 3, "Expected the sheet.json of a check at plan.json"),
        (("plan.toml",), 2, ""),
        (("plan.toml", "a.check/sheet.json", "--start", "-1"), 2, "Expected --start in seconds"),
        (("plan.toml", "a.check/sheet.json", "--start", "nan"), 2, "Expected --start in seconds"),
        (("plan.toml", "a.check/sheet.json", "-m", "x"), 2, "Expected --movement CLIP=ID"),
        (("plan.toml", "a.check/sheet.json", "-o", "plan.toml"), 8, "Expected a folder at"),
        (("plan.toml", "a.check/sheet.json", "--athlete", "3,4"), 2, "Expected --athlete CLIP=X,Y"),
        (("plan.toml", "a.check/sheet.json", "--athlete", "sheet.json=3"), 2, "Expected --athlete"),
        (("plan.toml", "a.check/sheet.json", "--age", "130"), 2, "Expected --age from 0 to 120"),
    ],
)
def test_errors_are_one_sentence_and_a_documented_code(files, run, arguments, code, told):
    found, _, err = run(*arguments, cwd=files)
    assert found == code
    assert told in err
    assert "Traceback" not in err
    if told:
        assert err.count("\n") == 1


def test_help_loads_nothing_heavy():
    code = (
        "import sys\nfrom motioncheck.cli.main import app\n"
        "try:\n    app(['session', '--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'scipy', 'jinja2', 'av', 'cv2', 'mediapipe'}\n"
        "sys.stderr.write(','.join(sorted(heavy & set(sys.modules))))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr == ""
    assert "--begins" in done.stdout


def test_the_page_lists_every_option_and_no_other():
    parameters = get_command(app).commands["session"].params
    real = {p.opts[0] for p in parameters if p.opts[0].startswith("--")}
    section = PAGE.split("## Which clip is what")[1].split("\n## ")[0]
    assert set(re.findall(r"`(--[a-z-]+)", section)) == real


def test_the_example_of_the_page_is_a_valid_plan_of_real_movements():
    example = re.search(r"<!-- example.*?-->\n```toml\n(.*?)```", PAGE, flags=re.DOTALL)
    plan = parse_plan(example.group(1).encode(), name="page", movements=load_standards())
    assert {block.kind for block in plan.block} == {"sets", "ladder", "superset", "circuit"}


@pytest.mark.parametrize(
    "model", ["Plan", "SetsBlock", "LadderBlock", "SupersetBlock", "CircuitBlock", "EveryMinute"]
)
def test_the_page_names_every_key(model):
    for name, field in getattr(schema, model).model_fields.items():
        key = field.alias or name
        assert re.search(rf"[`\[ ]{key}[`\]]", PAGE), f"docs/plans.md does not explain {key}"
