"""Every word of the help is printed: nothing in it is taken for a style and swallowed."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
import typer
from typer.testing import CliRunner

from motioncheck.cli.main import app


def list_commands(command, path=()) -> Iterator[tuple[tuple[str, ...], object]]:
    yield path, command
    for name, below in getattr(command, "commands", {}).items():
        yield from list_commands(below, (*path, name))


COMMANDS = dict(list_commands(typer.main.get_command(app)))


def letters(text: str) -> str:
    """Return a text without what the frame and the line breaks of the help put into it."""
    return re.sub(r"[\s│]+", "", text)


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_the_help_of_a_command_shows_what_each_option_means(path):
    shown = CliRunner().invoke(app, [*path, "--help"], env={"COLUMNS": "400"})
    assert shown.exit_code == 0
    told = letters(shown.output)
    for parameter in COMMANDS[path].params:
        wanted = getattr(parameter, "help", None)
        if wanted:
            assert letters(wanted) in told, f"{parameter.name}: {wanted}"


def test_where_results_go_by_default_is_in_the_help_of_a_check():
    shown = CliRunner().invoke(app, ["check", "--help"], env={"COLUMNS": "400"})
    assert "(default: CLIPNAME.check)" in shown.output
    assert "(default: today)" in shown.output
