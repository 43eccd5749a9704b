"""What people are told to type can be typed: every command and option that a message names exists."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import loomproof
from loomproof.cli.cures import COMMANDS, how, to_answer
from loomproof.cli.main import cli
from loomproof.errors import Do, Todo
from loomproof.loom.lists.questions import Question

ROOT = Path(loomproof.__file__).parent
PAGES = [ROOT.parents[1] / "README.md", *sorted((ROOT.parents[1] / "docs").rglob("*.md"))]

SAID = re.compile(r"(?<![\w-])--[a-z][a-z-]*")
"""An option as it is typed; a range such as 1--3 and a dash between words are none."""


def texts(path: Path) -> Iterator[str]:
    """Every text of a module, a formatted one in one piece with … for what is filled in; no docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    pieces = {
        id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in ast.walk(node)
    }
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            said = [each.value if isinstance(each, ast.Constant) else "…" for each in node.values]
            yield "".join(map(str, said))
        elif isinstance(node, ast.Constant) and not {id(node)} & (alone | pieces):
            yield node.value if isinstance(node.value, str) else ""


def docstrings(path: Path) -> Iterator[str]:
    """Every docstring of a module: what a command's help page says."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Module):
            yield ast.get_docstring(node) or ""


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


def leaves() -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Every command that does something, by the words that call it."""
    for name in cli.list_commands(click.Context(cli)):
        each = command([name])
        assert each is not None
        if isinstance(each, click.Group):
            yield from (((name, inner), found) for inner, found in each.commands.items())
        else:
            yield (name,), each


PARAMETERS = [parameter for _, each in leaves() for parameter in each.params]
OPTIONS = {option for each in PARAMETERS for option in (*each.opts, *each.secondary_opts)} | {
    "--help",
    "--version",
}


def strangers(text: str) -> list[str]:
    """What a text tells to type and no command or option is."""
    found = [option for option in SAID.findall(text) if option not in OPTIONS]
    for words in re.findall(r"\bloomproof ((?:[a-z]+)(?: [a-z]+)?)(?=[ .:;,)`\n]|$)", text):
        first, *_ = said = words.split()
        told = command([first])
        if told is None or (isinstance(told, click.Group) and command(said) is None):
            found.append(f"loomproof {words}")
    return found


@pytest.mark.parametrize("todo", Todo)
def test_each_thing_to_do_has_its_command(todo: Todo) -> None:
    assert todo in COMMANDS
    assert "{" not in how(Do(todo))
    if "{on:" in COMMANDS[todo]:
        assert "20310504-x" in how(Do(todo, "20310504-x"))


def test_no_text_of_the_library_names_a_command_or_an_option() -> None:
    """A page or a script has neither: what is said to all of them is said in plain words."""
    calls = "|".join(" ".join(words) for words, _ in leaves() if len(words) > 1)
    first = "|".join(cli.list_commands(click.Context(cli)))
    named = re.compile(
        rf"\bloomproof (?:{first})\b|(?<!the )\b(?:{calls})\b|\bselftest\b"
    )  # "the adapter touch" is none
    found, read = [], 0
    for path in sorted(ROOT.rglob("*.py")):
        if path.relative_to(ROOT).parts[0] == "cli":
            continue
        for text in texts(path):
            if " " not in text.strip():
                continue  # a word that a process is started with, or a key; nobody reads it
            read += 1
            if SAID.search(text) or named.search(text):
                found.append(f"{path.relative_to(ROOT)}: {text}")
    assert not found, "\n".join(found)
    assert read > 3000


def test_what_the_test_looks_for_is_found() -> None:
    for text in ("Run loomproof bench zero.", "Say --over to go on.", "(--hook-ups)"):
        assert SAID.search(text) or "loomproof bench" in text
    for text in ("rows 1--3", "a - b -- c", "well-known", "—"):
        assert not SAID.search(text)


def test_every_command_and_option_that_a_message_names_exists() -> None:
    said = [
        (path.name, text)
        for path in (ROOT / "cli").rglob("*.py")
        for text in (*texts(path), *docstrings(path))
    ]
    named = sum(bool(SAID.search(text)) or "loomproof " in text for _, text in said)
    missing = [f"{file}: {each}" for file, text in said for each in strangers(text)]
    assert not missing
    assert named > 80


def test_every_command_and_option_that_the_documentation_names_exists() -> None:
    text = "\n".join(page.read_text(encoding="utf-8") for page in PAGES).replace(
        "`import loomproof as lp`", ""
    )
    typed = "\n".join(re.findall(r"^\$ .+$|`[^`\n]+`", text, re.MULTILINE))
    assert len(SAID.findall(typed)) > 50
    assert not strangers(typed)


@pytest.mark.parametrize(
    ("question", "typed"),
    [
        (Question("length", "", ("mm", "in")), "--answer length=mm or --answer length=in"),
        (Question("ranges", "", ("all names",)), '--answer ranges="all names"'),
        (Question("column net", "", ()), '--column net="…", or --answer kind=pins where nothing is joined'),
        (Question("column to_cavity", "", ()), '--column to_cavity="…"'),
        (
            Question("connector from", "", ()),
            '--from-connector NAME, or --column from_connector="…" where a column says it',
        ),
        (Question("joints X 9", "", ("own",)), '--answer "joints X 9=own"'),
        (Question("separator", "", (" ", "-")), "--separator ' ' or --separator '-'"),
        (Question("colour_code", "", ("BS AU 7",)), '--colour-code "BS AU 7"'),
    ],
)
def test_each_question_about_a_list_can_be_answered_by_an_option(question: Question, typed: str) -> None:
    assert to_answer(question) == typed
    assert not strangers(typed)
