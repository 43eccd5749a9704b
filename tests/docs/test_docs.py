"""The documentation as a whole: no command left out, no dead link, nothing from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

import click
import pytest

from loomproof.cli.cures import COMMANDS
from loomproof.cli.main import cli
from tests.docs import built, pictures, reference, site

ROOT = site.ROOT
BY_HAND = {name: path for name, path in site.by_hand().items() if path.suffix == ".md"}
PAGES = {name: site.page(name, path) for name, path in BY_HAND.items()} | reference.pages()
FILES = {*site.by_hand(), *PAGES, *pictures.looms(), *pictures.CERTIFICATES}
SETTINGS = (ROOT / "mkdocs.yml").read_text(encoding="utf-8")


def walked(group: click.Group, words: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    """Walk the command line as a person does, by what each group lists."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield " ".join((*words, name)), command
        if isinstance(command, click.Group):
            yield from walked(command, (*words, name))


ALL = dict(walked(cli))


def test_the_page_of_commands_has_every_command_with_every_option_and_no_other() -> None:
    page = PAGES["reference/commands.md"]
    sections = dict(
        re.findall(r"^## loomproof ([\w -]+?) \{.*?\n(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL)
    )
    assert sorted(sections) == sorted(ALL)
    for name, command in ALL.items():
        options = [each.opts[0] for each in command.params if isinstance(each, click.Option)]
        assert not [option for option in options if option not in sections[name]], name


@pytest.mark.parametrize("name", ALL)
def test_a_page_that_somebody_wrote_speaks_of_the_command(name: str) -> None:
    told = [page for page in BY_HAND if re.search(rf"loomproof {name}(?![\w-])", PAGES[page])]
    assert told or name in GROUPS, f"no page of docs/ says what loomproof {name} is good for"


GROUPS = {name for name, command in ALL.items() if isinstance(command, click.Group)}
"""A group by itself only lists its commands."""


def anchors(text: str) -> set[str]:
    named = set(re.findall(r"\{ #([\w+-]+) \}", text))
    titles = re.findall(r"^#+ (.+?)(?: \{.*)?$", re.sub(r"^```.*?^```", "", text, flags=re.M | re.S), re.M)
    plain = [re.sub(r"[^\w\s-]", "", title).strip().lower() for title in titles]
    return named | {re.sub(r"[-\s]+", "-", title) for title in plain}


@pytest.mark.parametrize("name", PAGES)
def test_every_link_of_a_page_leads_somewhere(name: str) -> None:
    text = re.sub(r"^```.*?^```", "", PAGES[name], flags=re.MULTILINE | re.DOTALL)
    for link in re.findall(r"\]\(([^)\s]+)\)", text):
        place, _, anchor = link.partition("#")
        assert "://" not in link, f"{name}: {link} leads out of the documentation"
        target = resolved(name, place) if place else name
        assert target in FILES, f"{name}: {link}"
        assert not anchor or anchor in anchors(PAGES[target]), f"{name}: {link}"


@pytest.mark.parametrize("name", BY_HAND)
def test_every_link_of_a_page_leads_somewhere_in_a_clone(name: str) -> None:
    """But for pictures of certificates, which are drawn by the build; the first page says so."""
    path = BY_HAND[name]
    text = re.sub(r"^```.*?^```", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    made = [(ROOT / "docs" / each).resolve() for each in pictures.CERTIFICATES]
    for link in re.findall(r"\]\(([^)#\s]+)", text):
        target = (path.parent / link).resolve()
        assert target.exists() or target in made, f"{path.relative_to(ROOT)}: {link}"


def test_the_first_page_says_what_only_the_build_makes() -> None:
    assert "`make docs`" in PAGES["index.md"]
    assert all(place in PAGES for place in site.MADE_FROM.values())


def resolved(page: str, link: str) -> str:
    parts: list[str] = []
    for part in (PurePosixPath(page).parent / link).parts:
        parts = parts[:-1] if part == ".." else [*parts, part]
    return "/".join(parts)


def test_the_readme_leads_to_what_is_there_and_fits_one_screen() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)]+)\)", readme)
    assert len(links) > 8
    assert not [link for link in links if not (ROOT / link).is_file()]
    assert len(readme) < 5_000


def test_what_a_shell_reads_as_something_else_stands_in_double_quotes() -> None:
    """zsh takes ``?`` for a pattern, each shell ``&`` for an end; to Windows' cmd a single quote is none."""
    pages = {**PAGES, "README.md": (ROOT / "README.md").read_text(encoding="utf-8")}
    for name, text in {**pages, "cures": "\n".join(COMMANDS.values())}.items():
        assert not re.findall(r"(?:--bench|pip install) '", text), name
        open_to_it = [each for each in re.findall(r"--bench ([^\s`]+)", text) if re.search(r"[?&%]", each)]
        assert not [each for each in open_to_it if not each.startswith('"')], name


def test_every_page_is_in_the_navigation_once() -> None:
    told = re.findall(r"([\w/-]+\.md)$", SETTINGS, re.MULTILINE)
    assert sorted(told) == sorted(PAGES)


def test_the_drawings_that_are_kept_are_those_of_the_tool() -> None:
    drawn = pictures.looms()
    kept = {f"pictures/{path.name}": path.read_bytes() for path in (ROOT / "docs" / "pictures").iterdir()}
    assert kept == drawn, "run: python -m tests.docs.pictures"


def test_every_picture_of_a_certificate_is_shown() -> None:
    shown = " ".join(PAGES.values())
    assert all(name in shown for name in pictures.CERTIFICATES)


def test_what_comes_from_elsewhere_is_seen(tmp_path: Path) -> None:
    (tmp_path / "a.html").write_text(
        '<a href="https://example.org">x</a><link rel="canonical" href="https://example.org/">'
        '<script src="//example.org/a.js"></script><img src="own.png"><link rel="stylesheet" href="b.css">'
    )
    (tmp_path / "b.css").write_text(
        "a { background: url(https://example.org/p.png) } b { background: url(c.svg) }"
    )
    assert list(built.from_elsewhere(tmp_path)) == [
        "a.html: //example.org/a.js",
        "b.css: https://example.org/p.png",
    ]


def test_nothing_is_fetched_by_who_reads_and_the_lock_names_no_host() -> None:
    assert re.search(r"^  font: false", SETTINGS, re.MULTILINE)
    assert "://" not in SETTINGS
    lock = (ROOT / "requirements" / "docs.txt").read_text(encoding="utf-8")
    assert "mkdocs-material==" in lock
    assert "://" not in lock


def test_the_site_is_built_so_that_a_warning_stops_it() -> None:
    """MkDocs counts for ``--strict`` what it logs: ``--quiet`` would let a dead link pass (tried)."""
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    (line,) = re.findall(r"^\t.*mkdocs build.*$", makefile, re.MULTILINE)
    assert "--strict" in line
    assert "--quiet" not in line
    assert all(f"{each}: warn" in SETTINGS for each in ("omitted_files", "not_found", "anchors"))


def running_text(page: str) -> list[str]:
    """The words of a page's sentences: no code, tables, headings and lists of links, and no cautions.

    Cautions stand wherever somebody could be hurt, in the same words.
    """
    text = re.sub(r"^```.*?^```", "", page, flags=re.MULTILINE | re.DOTALL)
    text = re.sub(r"^(?:\||#|>|!!!|    ).*$", "", text, flags=re.MULTILINE)
    text = re.sub(r"\]\([^)]*\)", "]", text)
    sentences = re.split(r"(?<=[.:?])\s", text)
    return re.findall(r"[\w`/-]+", " ".join(each for each in sentences if "battery off" not in each).lower())


def shared(pages: dict[str, str], length: int = 20) -> dict[str, set[str]]:
    """What so many words in a row stand on more than one page, with the pages."""
    found: dict[str, set[str]] = {}
    for name, page in pages.items():
        words = running_text(page)
        for at in range(len(words) - length + 1):
            found.setdefault(" ".join(words[at : at + length]), set()).add(name)
    return {text: names for text, names in found.items() if len(names) > 1}


def test_no_page_repeats_another() -> None:
    assert shared({name: PAGES[name] for name in BY_HAND}) == {}


def test_a_page_that_repeats_another_is_seen() -> None:
    sentence = "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen "
    one = f"# A\n\n{sentence * 2}\n"
    other = f"Something before.\n{sentence}\n{sentence}\n\n| a | b |\n"
    assert shared({"a": one, "b": other})
    assert not shared({"a": one, "b": "```text\n" + one + "```\n> " + sentence * 2})
