"""docs/commands.md shows every command and every option."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.main import get_command

from halfsplit.cli import app

PAGE = (Path(__file__).parents[2] / "docs" / "commands.md").read_text(encoding="utf-8")
COMMANDS = dict(get_command(app).commands)


def _section(name):
    """The text from the command's heading to the next heading of its level."""
    parts = [part for part in PAGE.split("\n### ") if f"`halfsplit {name}" in part.split("\n", 1)[0]]
    assert len(parts) == 1, f"'halfsplit {name}' has no heading"
    return parts[0]


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_option_of_a_command_is_shown(name):
    options = {opt for one in COMMANDS[name].params for opt in one.opts if opt.startswith("--")}
    text = _section(name)
    assert not {opt for opt in options - {"--help"} if opt not in text}


def test_the_options_before_a_command_are_shown():
    options = {opt for one in get_command(app).params for opt in one.opts}
    assert not {opt for opt in options if opt not in PAGE}
