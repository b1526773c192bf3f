"""Every help fits a screen of 80 columns and 40 lines."""

import argparse

import pytest

from sagglab.cli.parser import parser


def _helps():
    command = parser()
    yield "sagglab", command
    for action in command._subparsers._group_actions:
        if isinstance(action, argparse._SubParsersAction):
            yield from action.choices.items()


@pytest.mark.parametrize(
    ("name", "command"), list(_helps()), ids=lambda part: part if isinstance(part, str) else ""
)
def test_it_fits_a_screen(name, command, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    lines = command.format_help().splitlines()
    assert max(map(len, lines)) <= 80 and len(lines) <= (30 if name == "sagglab" else 40)


def test_every_command_is_told_in_one_line(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    names = [name for name, _ in _helps()][1:]
    listed = parser().format_help().partition("commands:")[2].partition("examples:")[0].split("\n")
    listed = [line for line in listed if line.strip() and line.strip() != "COMMAND"]
    # A name as long as the column stands on a line of its own above its words.
    assert {"check", "study", "plan", "handout", "pace"} <= set(names)
    assert len(listed) <= len(names) + 1
