"""What contributors are told is there: files, tests and rooms, as `DEVELOPERS.md` names them."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SPANS = [" ".join(span.split()) for span in re.findall(r"`([^`]+)`", PAGE)]
FILES = [span for span in SPANS if re.fullmatch(r"[\w./]+\.(py|md|toml|csv)", span)]
TESTS = [span for span in SPANS if "::" in span]
FOLDERS = [span for span in SPANS if re.fullmatch(r"(tests|docs|electrics|firmware_notes)(/[\w-]+)+", span)]
KNOWN = [
    path.relative_to(ROOT).as_posix()
    for top in ("src", "tests", "docs", "firmware_notes")
    for path in (ROOT / top).rglob("*")
] + [path.name for path in ROOT.iterdir()]

OTHERS = {"workshop.toml"}
"""A person's file, not one of ours."""


@pytest.mark.parametrize("name", sorted({*FILES, *FOLDERS} - OTHERS))
def test_it_is_there(name: str) -> None:
    assert any(path == name or path.endswith(f"/{name}") for path in KNOWN)


@pytest.mark.parametrize("name", sorted(set(TESTS)))
def test_the_test_is_there(name: str) -> None:
    file, _, test = name.partition("::")
    assert f"def {test}(" in (ROOT / file).read_text(encoding="utf-8")


def test_ten_things_and_more_say_where_they_are_changed() -> None:
    table = PAGE.partition("## Where do I change …")[2].partition("\n\n|")[2].partition("\n\n")[0]
    rows = [line for line in table.splitlines() if line.startswith("| a")]
    assert len(rows) >= 10
    for row in rows:
        assert "tests/" in row.split("|")[3], row


def test_the_rooms_are_those_of_the_contract() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers = project["tool"]["importlinter"]["contracts"][0]["layers"]
    floors = [[room.strip().removeprefix("loomproof.") for room in layer.split("|")] for layer in layers]
    told = PAGE.partition("\nFloors: ")[2].partition(" / the rest.")[0]
    assert [re.findall(r"`(\w+)`", floor) for floor in told.split("/")] == floors[: len(told.split("/"))]
    rest = {name for floor in floors[len(told.split("/")) :] for name in floor}
    assert all(f"`{name}.py`" in PAGE for name in rest)
    rooms = re.findall(r"^\| `(\w+)` \| (?!function)", PAGE.partition("## The rooms")[2], re.MULTILINE)
    assert set(rooms) == {name for floor in floors for name in floor} - rest


def test_each_decision_says_what_why_at_what_cost_and_where() -> None:
    """And the files that it names are there; the list has them all in order."""
    pages = sorted((ROOT / "docs" / "decisions").glob("[0-9]*.md"))
    index = (ROOT / "docs" / "decisions" / "index.md").read_text(encoding="utf-8")
    assert re.findall(r"\]\((\S+)\)", index) == [page.name for page in pages]
    for number, page in enumerate(pages, start=1):
        text = page.read_text(encoding="utf-8")
        assert page.name.startswith(f"{number:04}-")
        assert text.startswith(f"# {number}. ")
        heads = re.findall(r"^\*\*(\w+)\.\*\*", text, re.MULTILINE)
        assert heads == ["Asked", "Decided", "Why", "Costs", "Where"], page
        named = re.findall(r"`([\w/]+\.(?:py|md|txt|toml))`", text)
        assert named, page
        for name in named:
            assert any(path == name or path.endswith(f"/{name}") for path in [*KNOWN, *LOCKS]), name


LOCKS = [f"requirements/{path.name}" for path in (ROOT / "requirements").iterdir()]
