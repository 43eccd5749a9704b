"""What others build on, read off the program as it is now.

``python -m tests.frozen.surface`` writes it down; that is done for a new major version and for nothing else.
"""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Any

import click

import loomproof as lp
from loomproof import errors
from loomproof.cli.output import EXIT_CODES
from loomproof.loom import columns
from loomproof.records import seal
from loomproof.results.document import SCHEMA_NUMBER
from loomproof.results.schema import SCHEMA_FILE
from tests.docs.reference import commands

ROOT = Path(__file__).parents[2]
KEPT = Path(__file__).with_name("1_0.json")
LINK_PAGE = ROOT / "firmware_notes" / "scanner_link.md"


def surface() -> dict[str, Any]:
    """Return all of it as plain values."""
    return {
        "exit codes": dict(sorted({**EXIT_CODES, **dict(exit_codes_of_errors())}.items())),
        "commands": {name: options(command) for name, _, command in commands()},
        "columns": {table: [each.name for each in known] for table, known in sorted(columns.SHEETS.items())},
        "columns needed": {
            table: [each.name for each in known if each.needed]
            for table, known in sorted(columns.SHEETS.items())
        },
        "python": dict(public()),
        "link": {"version": 1, **link()},
        "record": {"format": seal.FORMAT, "results schema": SCHEMA_NUMBER, "results": results()},
    }


def exit_codes_of_errors() -> Iterator[tuple[str, int]]:
    """Yield the exit code of each error of the tree."""
    for name, value in vars(errors).items():
        if inspect.isclass(value) and issubclass(value, errors.LoomproofError):
            yield name, value.exit_code


def options(command: click.Command) -> list[str]:
    """Return what may be typed behind a command: options by all their spellings, arguments by place."""
    found = [option for each in command.params for option in (*each.opts, *each.secondary_opts)]
    named = [option for option in found if option.startswith("-")]
    places = [
        f"<{place}>" for place, _ in enumerate(p for p in command.params if isinstance(p, click.Argument))
    ]
    return [*places, *sorted(named)]


def public() -> Iterator[tuple[str, list[str] | None]]:
    """Yield each public name, and what is on it, with its `parameters`."""
    for name in sorted(lp.__all__):
        value = getattr(lp, name)
        yield name, parameters(value)
        if inspect.isclass(value) or inspect.ismodule(value):
            for each, member in sorted(vars(value).items()):
                stranger = inspect.ismodule(value) and getattr(member, "__module__", "") != value.__name__
                if not each.startswith(("_", "model_")) and not stranger:
                    yield f"{name}.{each}", parameters(getattr(value, each))


def parameters(value: object) -> list[str] | None:
    """Return what may be given to something that can be called, ``None`` for what can't be.

    ``name=`` may be left out; ``*name`` is given by its name only.
    """
    if not (inspect.isroutine(value) or inspect.isclass(value)):
        return None
    if inspect.isclass(value) and (issubclass(value, Enum) or getattr(value, "_is_protocol", False)):
        return None  # nobody calls it, and what Python says of that differs from one to the next
    try:
        taken = inspect.signature(value).parameters.values()
    except (TypeError, ValueError):
        return None
    by_name = (
        inspect.Parameter.KEYWORD_ONLY,
        inspect.Parameter.VAR_KEYWORD,
        inspect.Parameter.VAR_POSITIONAL,
    )
    return [
        f"{'*' if each.kind in by_name else ''}{each.name}"
        f"{'' if each.default is each.empty and not each.kind.name.startswith('VAR') else '='}"
        for each in taken
    ]


def calls_gone(kept: list[str], now: list[str]) -> Iterator[str]:
    """Yield what is wrong with a call that was right: places that changed, a name gone or newly needed."""
    before, current = ({each.rstrip("=").lstrip("*"): each for each in taken} for taken in (kept, now))
    placed = [name for name, each in before.items() if not each.startswith("*")]
    yield from (name for name in before if name not in current)
    still = [name for name, each in current.items() if not each.startswith("*")]
    if still[: len(placed)] != placed:
        yield f"{placed} were placed so, now {still}"
    for name, each in current.items():
        if not each.endswith("=") and before.get(name, "=").endswith("="):
            yield f"{name} must be given now"


def link() -> dict[str, list[str]]:
    """Return the commands, capabilities and refusals of the link, as its page has them in tables."""
    page = LINK_PAGE.read_text(encoding="utf-8")

    def first(section: str) -> list[str]:
        body = page.partition(f"\n## {section}")[2].partition("\n## ")[0]
        cells = re.findall(r"^\| ([^|]*?) \|", body, re.MULTILINE)[1:]
        return [cell for cell in cells if not cell.startswith("---")]

    return {
        "commands": [spelt for cell in first("6.") for spelt in re.findall(r"`([^`]+)`", cell)],
        "capabilities": [key for cell in first("9.") for key in re.findall(r"`([^`]+)`", cell)],
        "refusals": [code for cell in first("5.") for code in re.findall(r"-\d+", cell)],
    }


def results() -> dict[str, list[str]]:
    """Return each part of the results document with the names of what stands in it."""
    schema = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
    parts = {"": schema, **schema["$defs"]}
    return {
        name: sorted(part.get("properties", part.get("enum", ()))) for name, part in sorted(parts.items())
    }


def gone(kept: Any, now: Any, where: str = "") -> Iterator[str]:
    """Yield what stood in one surface and stands in another no more, or is another value there."""
    if isinstance(kept, dict):
        for key, value in kept.items():
            yield from gone(value, now[key], f"{where} {key}") if key in now else [f"{where} {key}"]
    elif isinstance(kept, list):
        yield from (f"{where} {each}" for each in kept if each not in now)
    elif kept != now:
        yield f"{where} {kept}, now {now}"


if __name__ == "__main__":
    KEPT.write_text(json.dumps(surface(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
