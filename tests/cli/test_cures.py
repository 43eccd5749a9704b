"""What people are told to type can be typed: every command and option that a message names exists."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import loomproof
from loomproof.cli.cures import COMMANDS, how
from loomproof.cli.main import cli
from loomproof.errors import Do, Todo

ROOT = Path(loomproof.__file__).parent
NO_COMMAND = {
    "a",
    "data",
    "knows",
    "key:",
    "method",
    "record",
    "results",
    "simulated",
    "station",
    "that",
    "wrote",
}
"""Words after the program's name in sentences that tell nobody to type anything."""


def texts() -> Iterator[tuple[str, str]]:
    """Every text of the program, with its file."""
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield path.name, node.value


def command(words: list[str]) -> click.Command | None:
    """The command of these words, as far as they go; ``None`` where the first is none."""
    found: click.Command = cli
    for word in words:
        if not isinstance(found, click.Group):
            break
        inner = found.get_command(click.Context(found), word)
        if inner is None:
            return None
        found = inner
    return found


@pytest.mark.parametrize("todo", Todo)
def test_each_thing_to_do_has_its_command(todo: Todo) -> None:
    assert todo in COMMANDS
    assert "{" not in how(Do(todo))
    if "{on:" in COMMANDS[todo]:
        assert "20310504-x" in how(Do(todo, "20310504-x"))


def test_every_command_that_a_message_names_exists() -> None:
    named, missing = 0, []
    for file, text in texts():
        for words in re.findall(r"\bloomproof ((?:[a-z]+)(?: [a-z]+)?)(?=[ .:;,)`]|$)", text):
            first, *_ = said = words.split()
            if first in NO_COMMAND:
                continue
            named += 1
            found = command(said[:1])
            if found is None or (isinstance(found, click.Group) and command(said) is None):
                missing.append(f"{file}: loomproof {words}")
    assert not missing
    assert named > 40


def test_every_option_of_a_cure_exists() -> None:
    known = {
        option
        for name in cli.list_commands(click.Context(cli))
        for each in [command([name])]
        for inner in (each.commands.values() if isinstance(each, click.Group) else [each])
        if inner is not None
        for parameter in inner.params
        for option in parameter.opts
    }
    for sentence in COMMANDS.values():
        assert set(re.findall(r"--[a-z][a-z-]*", sentence)) <= known, sentence
