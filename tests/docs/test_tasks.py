"""Twelve tasks are found from the first page within three clicks, by links that speak of them.

What is asked is less than a reader: a reader also takes a page that seems to fit and does not.
"""

from __future__ import annotations

import itertools
import posixpath
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.docs.test_docs import PAGES

TASKS = tomllib.loads((Path(__file__).parent / "tasks.toml").read_text(encoding="utf-8"))["task"]
FIRST, CLICKS = "index.md", 3
SAYS_NOTHING = frozenset(
    re.findall(
        r"\w+",
        "a all an and are as at by do does doing for goes has have here how i in is it its me my no nobody "
        "not of on one or that the their them there this to what when where which who why with yet you your "
        "loom loomproof prove say",
    )
)
"""Words that stand in many a link, or in most."""
KNOWN_BY = 5
"""Of a longer word so many letters are compared: repair and repaired."""


class Link(NamedTuple):
    """A link as its reader sees it: where it leads, and the words of it and of its line."""

    to: str
    words: frozenset[str]


def words(text: str) -> frozenset[str]:
    found = re.findall(r"[a-z0-9]+", text.lower())
    return frozenset(word[:KNOWN_BY] for word in found if word not in SAYS_NOTHING)


def title(page: str) -> str:
    return page.partition("\n")[0]


def links(name: str, pages: dict[str, str]) -> Iterator[Link]:
    """Yield a page's links; other links' words in the same line are not a link's own."""
    text = re.sub(r"^```.*?^```", "", pages[name], flags=re.MULTILINE | re.DOTALL)
    for block in re.split(r"\n(?=\n|\||- |\d+\. )", text):
        around = re.sub(r"!?\[[^\]]*\]\([^)]*\)", "", block)
        sentence = around if block.lstrip().startswith("|") else ""
        for said, link in re.findall(r"(?<!!)\[([^\]]+)\]\(([^)#\s]+)", block):
            to = posixpath.normpath(posixpath.join(posixpath.dirname(name), link))
            if to in pages:
                yield Link(to, words(f"{said} {sentence} {title(pages[to])}"))


def clicks(task: str, page: str, pages: dict[str, str]) -> int | None:
    """Return the fewest clicks that lead to a page, all of them on links that speak of the task."""
    wanted, at, seen = words(task), {FIRST}, {FIRST}
    for count in range(1, CLICKS + 1):
        at = {link.to for name in at for link in links(name, pages) if link.words & wanted} - seen
        if page in at:
            return count
        seen |= at
    return None


@pytest.mark.parametrize("each", TASKS, ids=lambda each: each["page"])
def test_the_page_of_a_task_is_found_and_answers(each: dict[str, str]) -> None:
    assert clicks(each["task"], each["page"], PAGES) is not None
    assert each["answer"] in PAGES[each["page"]]


def test_there_are_twelve_for_each_who_comes() -> None:
    assert len(TASKS) == len({each["task"] for each in TASKS}) == 12
    assert {each["who"] for each in TASKS} == {"salvaged loom", "repaired harness", "shop", "contributor"}


def test_a_page_too_far_away_or_behind_links_that_speak_of_else_is_not_found() -> None:
    names = ("index.md", "a.md", "b.md", "c.md", "d.md")
    chain = {name: f"# Fuses\n\nSee [fuses]({after}).\n" for name, after in itertools.pairwise(names)}
    chain["d.md"] = "# Fuses\n"
    assert clicks("pick fuses", "c.md", chain) == 3
    assert clicks("pick fuses", "d.md", chain) is None
    assert clicks("meter a diode", "a.md", chain) is None
    row = {
        "index.md": "# All\n\n| meter a diode | [here](a.md) |\n| else | [there](b.md) |\n",
        "a.md": "# A\n",
    }
    assert clicks("a diode", "a.md", row) == 1
    assert clicks("a diode", "b.md", row | {"b.md": "# B\n"}) is None
