"""The pages of the reference that are made from the code: commands, tables, profiles, results."""

from __future__ import annotations

import importlib
import json
from importlib import resources
from typing import Any

import click

from loomproof.cli.main import COMMANDS
from loomproof.loom import columns


def pages() -> dict[str, str]:
    """Return each page as Markdown by its place in the site."""
    return {
        "reference/commands.md": commands_page(),
        "reference/tables.md": tables_page(),
        "reference/profiles.md": profiles_page(),
        "reference/results.md": results_page(),
    }


def commands() -> list[tuple[str, str, click.Command]]:
    """Return every command as it is typed after ``loomproof``, with its line in the help, in their order."""
    found: list[tuple[str, str, click.Command]] = []
    for name, entry in COMMANDS.items():
        module, _, attribute = entry.where.partition(":")
        command = getattr(importlib.import_module(module), attribute)
        found.append((name, entry.help, command))
        if isinstance(command, click.Group):
            found += [
                (f"{name} {sub}", each.get_short_help_str(limit=60), each)
                for sub, each in command.commands.items()
            ]
    return found


def commands_page() -> str:
    """Return what every command's ``--help`` says, under a table of all."""
    rows = [f"| [`loomproof {name}`](#{_anchor(name)}) | {line} |" for name, line, _ in commands()]
    parts = [
        "# Commands\n\nMade from the code. `loomproof COMMAND --help` says the same at the terminal. "
        "Results go to standard output, talk to standard error; `NO_COLOR` is honoured.\n",
        "| command | what it does |\n| --- | --- |\n" + "\n".join(rows) + "\n",
    ]
    for name, _, command in commands():
        context = click.Context(
            command, info_name=f"loomproof {name}", max_content_width=80, terminal_width=80
        )
        parts.append(
            f"## loomproof {name} {{ #{_anchor(name)} }}\n\n```text\n{command.get_help(context)}\n```\n"
        )
    return "\n".join(parts)


def _anchor(name: str) -> str:
    return "loomproof-" + name.replace(" ", "-")


def tables_page() -> str:
    """Return every table of a loom with its columns."""
    parts = [
        "# Tables and columns\n\nMade from the code. A loom is a folder with `loom.toml` and these tables as "
        "CSV, or a workbook with a sheet for each. `loom` and `choices` are sheets of a workbook only: in a "
        "folder their keys stand in `loom.toml`. A heading of your own starts with `#` and is left alone.\n"
    ]
    for table, known in columns.SHEETS.items():
        optional = " (may be left out)" if table in columns.OPTIONAL else ""
        rows = [
            f"| `{each.name}` | {'yes' if each.needed else ''} | {_cell(each.help)} | {_cell(_words(each))} |"
            for each in known
        ]
        head = "| column | needed | what stands there | words or kind |\n| --- | --- | --- | --- |\n"
        parts.append(f"## {table}{optional}\n\n{head}" + "\n".join(rows) + "\n")
    return "\n".join(parts)


def _words(column: columns.Column) -> str:
    if column.among:
        return ", ".join(str(word) for word in column.among)
    return {"names": "text, kept as it is", "numbers": "number", "words": "free text"}[column.holds]


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def profiles_page() -> str:
    """Return the instrument profiles that are shipped, each in full."""
    parts = [
        "# Instrument profiles\n\nThe profiles that are shipped, in full. `loomproof bench profiles` lists "
        "them and `loomproof bench profiles NAME` prints one. Every key, with unit and default: "
        "[A switch matrix and a meter](../bench/matrix_bench.md).\n"
    ]
    for path in sorted(_profiles(), key=lambda each: each[0]):
        parts.append(f"## {path[0]}\n\n```toml\n{path[1].rstrip()}\n```\n")
    return "\n".join(parts)


def _profiles() -> list[tuple[str, str]]:
    folder = resources.files("loomproof.bench") / "profiles"
    return [
        (each.name.removesuffix(".toml"), each.read_text(encoding="utf-8"))
        for each in folder.iterdir()
        if each.name.endswith(".toml")
    ]


def results_page() -> str:
    """Return the results document's schema as tables, value by value."""
    schema = json.loads((resources.files("loomproof.results") / "document.schema.json").read_text("utf-8"))
    parts = [
        "# The results document\n\nMade from `loomproof/results/document.schema.json` (JSON Schema), which "
        "every document that `--json FILE` writes is held to.\n",
        _value("Document", schema),
        *(_value(name, each) for name, each in sorted(schema["$defs"].items())),
    ]
    return "\n".join(parts)


def _value(name: str, schema: dict[str, Any]) -> str:
    said = " ".join(schema.get("description", "").replace("``", "`").split())
    lines = [f"## {name}\n", f"{said}\n"] if said else [f"## {name}\n"]
    if "enum" in schema:
        lines.append("One of: " + ", ".join(f"`{word}`" for word in schema["enum"]) + ".\n")
    needed = schema.get("required", ())
    rows = [
        f"| `{key}` | {_cell(_type(each))} | {'yes' if key in needed else ''} |"
        for key, each in schema.get("properties", {}).items()
    ]
    if rows:
        lines.append("| key | type | needed |\n| --- | --- | --- |\n" + "\n".join(rows) + "\n")
    return "\n".join(lines)


def _type(schema: dict[str, Any]) -> str:
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        return f"[{name}](#{name.lower()})"
    if "anyOf" in schema:
        return " or ".join(_type(each) for each in schema["anyOf"])
    if "const" in schema:
        return f"`{schema['const']}`"
    if schema.get("type") == "array":
        return f"list of {_type(schema['items'])}" if "items" in schema else "list"
    return str(schema.get("type", "any"))


if __name__ == "__main__":
    print(commands_page())
