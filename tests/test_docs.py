"""The pages tell what the program does: generated ones are fresh, links and commands hold."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from typer.main import get_command

from motioncheck import docpages, standards
from motioncheck.cli.main import app
from motioncheck.errors import MotionCheckError
from motioncheck.standards import load_standard_file, load_standards

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
CHECK_COMMAND = (
    "pip install . && motioncheck check sample_clips_synthetic/squat_side_clean.mp4 "
    "--movement air-squat"
)
TEST_COMMAND = "pip install '.[test]' && pytest -n 2"
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "CHANGELOG.md",
    *sorted((ROOT / "docs").glob("*.md")),
]
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
MAX_PICTURE_BYTES = 400_000


def test_generated_pages_are_what_the_program_would_write_now():
    assert docpages.find_stale(ROOT / "docs") == [], "run `python -m motioncheck.docpages`"


def test_generator_names_missing_and_changed_pages(tmp_path, capsys):
    assert docpages.main(["--check", "--folder", str(tmp_path)]) == 1
    docpages.write_pages(tmp_path)
    assert docpages.main(["--check", "--folder", str(tmp_path)]) == 0
    (tmp_path / "errors.md").write_text("old", encoding="utf-8")
    capsys.readouterr()
    assert docpages.main(["--check", "--folder", str(tmp_path)]) == 1
    assert capsys.readouterr().err.startswith("errors.md is stale")


def test_every_measure_check_and_error_has_its_place_in_the_generated_pages():
    measures = docpages.render_measures()
    for spec in docpages.REGISTRY:
        assert all(f"`{column}`" in measures for column in spec.ids())
    thresholds = docpages.render_thresholds()
    for loaded in load_standards().values():
        for check in loaded.standard.check:
            assert check.source in thresholds
            assert check.cue in thresholds
        assert all(caution in thresholds for caution in loaded.standard.cautions)
    errors = docpages.render_errors()
    for error in docpages.list_error_classes():
        assert f"| `{error.__name__}` | {error.exit_code} |" in errors


def test_readme_opens_with_one_paragraph_and_the_two_commands_in_order():
    blocks = README.split("\n\n")
    assert blocks[0] == "# motioncheck"
    assert "\n" not in blocks[1]
    assert not blocks[1].startswith(("#", "-", "`"))
    fenced = re.findall(r"```\n(.*?)```", README, flags=re.DOTALL)
    assert [block.strip() for block in fenced[:2]] == [CHECK_COMMAND, TEST_COMMAND]


def test_readme_commands_name_a_clip_a_movement_and_an_extra_that_exist():
    words = CHECK_COMMAND.split()
    assert (ROOT / words[words.index("check") + 1]).is_file()
    assert words[words.index("--movement") + 1] in load_standards()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert "test" in project["optional-dependencies"]
    assert "motioncheck" in project["scripts"]


def test_readme_lists_every_option_of_check_and_no_other():
    parameters = get_command(app).commands["check"].params
    real = {p.opts[0] for p in parameters if p.opts[0].startswith("--")}
    section = README.split("## Options of `motioncheck check`")[1].split("\n## ")[0]
    listed = set(re.findall(r"`(--[a-z-]+)", section))
    assert listed == real


def test_readme_lists_every_movement():
    for movement in load_standards():
        assert f"`{movement}`" in README


def test_readme_exit_codes_are_those_of_the_program():
    section = README.split("## Exit codes")[1].split("\n## ")[0]
    listed = [int(code) for code in re.findall(r"^\| (\d+) \|", section, flags=re.MULTILINE)]
    real = {family.exit_code for family in docpages.list_families()}
    assert listed == sorted(real | set(docpages.OTHER_CODES))


def test_no_exit_code_is_used_twice():
    codes = [family.exit_code for family in docpages.list_families()]
    codes += list(docpages.OTHER_CODES)
    assert len(codes) == len(set(codes))
    for error in docpages.list_error_classes():
        if error not in docpages.list_families():
            assert error.exit_code == error.__mro__[1].exit_code


def test_every_family_stands_directly_below_the_root():
    for family in docpages.list_families():
        assert family is MotionCheckError or family.__bases__ == (MotionCheckError,)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_of_a_page_point_somewhere(page):
    text = page.read_text(encoding="utf-8")
    for target in LINK.findall(text):
        path, _, anchor = target.partition("#")
        if path.startswith(("http://", "https://")):
            continue
        place = (page.parent / path) if path else page
        assert place.exists(), f"{page.name} links to {target}, which is not there"
        if anchor and place.suffix == ".md":
            assert anchor in _anchors(place.read_text(encoding="utf-8")), target


def _anchors(text: str) -> set[str]:
    return {docpages.make_anchor(t) for t in re.findall(r"^#+ (.+)$", text, flags=re.MULTILINE)}


def test_picture_of_the_sheet_is_small_enough_to_load_quickly():
    assert (ROOT / "docs" / "sheet.png").stat().st_size < MAX_PICTURE_BYTES


def test_example_of_a_standard_is_valid(tmp_path):
    text = (ROOT / "docs" / "standards.md").read_text(encoding="utf-8")
    example = re.search(r"<!-- example.*?-->\n```toml\n(.*?)```", text, flags=re.DOTALL)
    assert example is not None
    file = tmp_path / "example.toml"
    file.write_text(example.group(1), encoding="utf-8")
    assert load_standard_file(file).standard.id == "box-squat"


@pytest.mark.parametrize(
    "model",
    [
        standards.Standard,
        standards.Camera,
        standards.CycleSplit,
        standards.HoldSplit,
        standards.StageSplit,
        standards.Stage,
        standards.Window,
        standards.Feature,
        standards.NamingSignal,
        standards.Check,
        standards.Range,
        standards.Norm,
    ],
    ids=lambda model: model.__name__,
)
def test_format_page_names_every_key_of_a_standard(model):
    text = (ROOT / "docs" / "standards.md").read_text(encoding="utf-8")
    for key in model.model_fields:
        assert re.search(rf"[`\[ ]{key}[`\]]", text), f"docs/standards.md does not explain {key}"


def test_safety_cautions_are_in_the_readme():
    for word in ("sharp or rising pain", "chest", "dizziness", "does not diagnose"):
        assert word in README
