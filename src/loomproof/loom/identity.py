"""``loom.toml``: a loom's name, the code of its colours, its defaults and its choices."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields

from loomproof.errors import Problem, suggestion
from loomproof.loom import colours, columns
from loomproof.loom.model import Answer, Choice, Need, Settings
from loomproof.loom.tables import NO, YES, Table
from loomproof.loom.text import flaw, next_name, quoted

FILE = "loom.toml"
SETTINGS = tuple(known.name for known in fields(Settings) if known.name != "stated")
"""The names of the defaults and limits that ``[defaults]`` may set."""

_BARE = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)


@dataclass(frozen=True, slots=True)
class Identity:
    """What stands in ``loom.toml``, or in the sheets ``loom`` and ``choices`` of a workbook."""

    name: str
    serial: str = ""
    description: str = ""
    colour_code: str = colours.IEC_60757
    decimal: str = "."
    settings: Settings = field(default_factory=Settings)
    choices: tuple[Choice, ...] = ()
    part_number: str = ""
    revision: str = ""
    left_out: tuple[str, ...] = ()
    learned_from: tuple[str, ...] = ()
    traced_in: tuple[str, ...] = ()


TEXTS = ("name", "serial", "part_number", "revision", "description")
"""The texts that ``[loom]`` may hold."""

LISTS = {
    "left_out": '["wire 17"]',
    "learned_from": '["TL-0008"]',
    "traced_in": '["lamp.20310504-100000-3fa2c1"]',
}
"""The lists of texts in ``[loom]``, keys that may stand in several rows of a sheet, each with an example."""


class _Reader:
    """Collects problems while it reads; ``places`` gives the file, sheet and row where a key stands."""

    def __init__(self, places: Callable[[str], tuple[str, str, int | None]]) -> None:
        self.places = places
        self.problems: list[Problem] = []

    def wrong(self, path: str, message: str, cure: str = "") -> None:
        file, sheet, row = self.places(path)
        self.problems.append(Problem(message, file, sheet, row, path, cure))

    def keys(self, table: Mapping[str, object], known: Iterable[str], path: str) -> None:
        for key in table:
            if key not in known:
                near = suggestion(key, known) or f"Known: {', '.join(known)}."
                self.wrong(f"{path}{key}", f"{key!r} is not known here", near)

    def text(self, table: Mapping[str, object], key: str, path: str) -> str:
        value = table.get(key, "")
        if isinstance(value, str):
            return value.strip()
        self.wrong(f"{path}{key}", f"{value!r} is not text", "Put it in double quotes.")
        return ""

    def table(self, value: object, path: str) -> Mapping[str, object]:
        if isinstance(value, dict):
            return value
        self.wrong(path, "a table is expected here", f"Write [{path}].")
        return {}

    def tables(self, value: object, path: str) -> list[Mapping[str, object]]:
        if isinstance(value, list):
            return [self.table(item, path) for item in value]
        self.wrong(path, "a list of tables is expected here", f"Write [[{path}]].")
        return []


def toml_of(data: bytes, file: str) -> tuple[Mapping[str, object] | Problem, list[str]]:
    """Return what the bytes of a TOML file hold, or what is wrong with them, and the file's lines."""
    try:
        text = data.decode("utf-8-sig")
        return tomllib.loads(text), text.splitlines()
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return Problem("it is not UTF-8", file, row=line, cure="Save it again as UTF-8."), []
    except (ValueError, RecursionError) as error:  # A number of 5 000 digits is a plain ValueError.
        found = re.search(r"at line (\d+)", str(error))
        return Problem(f"it is not TOML: {error}", file, row=int(found[1]) if found else None), []


def parse(data: bytes, file: str = FILE) -> tuple[Identity | None, list[Problem]]:
    """Read the bytes of ``loom.toml``; `None` where they give no identity."""
    document, lines = toml_of(data, file)
    if isinstance(document, Problem):
        return None, [document]

    def place(path: str) -> tuple[str, str, int | None]:
        key = re.escape(path.rpartition(".")[2])
        found = (i for i, line in enumerate(lines, 1) if re.match(rf"\s*\[*\"?{key}\"?\s*[=\]]", line))
        return file, "", next(found, None)

    return _identity(document, _Reader(place))


def _identity(document: Mapping[str, object], reader: _Reader) -> tuple[Identity | None, list[Problem]]:
    reader.keys(document, ("loom", "tables", "defaults", "choice"), "")
    told = reader.table(document.get("loom", {}), "loom")
    reader.keys(told, (*TEXTS, *LISTS), "loom.")
    lists = {key: _texts(reader, key, told.get(key, [])) for key in LISTS}
    texts = {key: reader.text(told, key, "loom.") for key in TEXTS}
    name = texts["name"]
    if not name and not reader.problems:
        reader.wrong("loom.name", "the loom has no name", 'Like name = "Left tail lamp".')
    for key, text in texts.items():
        if flaw(text):
            reader.wrong(f"loom.{key}", f"the text {flaw(text)}")
            return None, reader.problems
    tables = reader.table(document.get("tables", {}), "tables")
    reader.keys(tables, ("colour_code", "decimal"), "tables.")
    colour_code = _colour_code(reader, reader.text(tables, "colour_code", "tables."))
    decimal = reader.text(tables, "decimal", "tables.") or "."
    if decimal not in (".", ","):
        reader.wrong("tables.decimal", f"{decimal!r} parts no decimals", 'Known: "." and ",".')
    settings = _settings(reader, reader.table(document.get("defaults", {}), "defaults"))
    found = [
        _choice(reader, item, i) for i, item in enumerate(reader.tables(document.get("choice", []), "choice"))
    ]
    choices = tuple(choice for choice in found if choice)
    if not name:
        return None, reader.problems
    said = Identity(
        colour_code=colour_code,
        decimal=decimal,
        settings=settings,
        choices=choices,
        left_out=lists["left_out"],
        learned_from=lists["learned_from"],
        traced_in=lists["traced_in"],
        **texts,
    )
    return said, reader.problems


def _texts(reader: _Reader, key: str, said: object) -> tuple[str, ...]:
    if isinstance(said, list) and all(isinstance(text, str) and text and not flaw(text) for text in said):
        return tuple(said)
    reader.wrong(f"loom.{key}", "a list of texts is expected here", f"Like {key} = {LISTS[key]}.")
    return ()


def from_sheets(loom: Table, choices: Table | None) -> tuple[Identity | None, list[Problem]]:
    """Read the sheets ``loom`` and ``choices`` of a workbook; `None` where they give no identity."""
    rows: dict[str, int] = {}
    document: dict[str, dict[str, object]] = {"loom": {}, "tables": {}, "defaults": {}}
    lists: dict[str, list[str]] = {}
    reader = _Reader(
        lambda path: (
            (choices.file, choices.sheet, rows.get(path))
            if choices and path.startswith("choice")
            else (loom.file, loom.sheet, rows.get(path.rpartition(".")[2]))
        )
    )
    for row, (key, said) in _cells(loom, ("key", "value"), columns.LOOM, reader):
        key = key.casefold()
        if key in LISTS:
            lists.setdefault(key, []).append(said)
            rows.setdefault(key, row)
            continue
        if key in rows:
            reader.problems.append(loom.problem(f"the key {key!r} stands there twice", row, "key"))
        rows[key] = row
        if key in SETTINGS:
            document["defaults"][key] = _float(said)
        elif key in ("colour_code", "decimal"):
            document["tables"][key] = said
        else:
            document["loom"][key] = said
    document["loom"] |= lists
    if choices:
        document["choice"] = _choices_of(choices, rows, reader)  # type: ignore[assignment]  # a list of tables
    return _identity(document, reader)


def _cells(
    table: Table, headings: tuple[str, ...], known: tuple[columns.Column, ...], reader: _Reader
) -> Iterator[tuple[int, list[str]]]:
    reader.problems += columns.heading_problems(table, known)
    if not all(column.name in table.headings for column in known if column.needed):
        return
    for row, cells in table.rows:
        by_heading = dict(zip(table.headings, cells, strict=True))
        yield row, [by_heading.get(heading, "") for heading in headings]


def _float(said: str) -> float | str:
    try:
        return float(said)
    except ValueError:
        return said


def _choices_of(table: Table, rows: dict[str, int], reader: _Reader) -> list[dict[str, object]]:
    headings = ("choice", "question", "answer", "says", "makes", "default")
    found: dict[str, dict[str, object]] = {}
    for row, cells in _cells(table, headings, columns.CHOICES, reader):
        name, question, answer, says, makes, default = cells
        choice = found.setdefault(name, {"name": name, "question": question, "answer": []})
        rows.setdefault("choice", row)
        if question and choice["question"] != question:
            message = f"choice {name}: it asks {question!r} here and {choice['question']!r} above"
            reader.problems.append(table.problem(message, row, "question"))
        try:
            made = dict(_makes(makes))
        except ValueError as error:
            reader.problems.append(table.problem(str(error), row, "makes"))
            made = {}
        answers = choice["answer"]
        assert isinstance(answers, list)
        answers.append({"name": answer, "says": says, "makes": made})
        if default.casefold() in YES:
            choice["default"] = answer
        elif default.casefold() not in ("", *NO):
            reader.problems.append(table.problem(f"{default!r} is neither yes nor no", row, "default"))
    return list(found.values())


def _makes(text: str) -> Iterator[tuple[str, str]]:
    rest = text.strip()
    while rest:
        circuit, rest = next_name(rest, text, "=")
        if not circuit or not rest.startswith("="):
            raise ValueError(f"{text!r}: circuits like fan=needed purge=unused are expected")
        need, rest = next_name(rest[1:], text)
        yield circuit, need
        rest = rest.strip()


def _colour_code(reader: _Reader, said: str) -> str:
    """Return the colour code that was said, IEC 60757 where nothing was."""
    if not said:
        return colours.IEC_60757
    for code in colours.CODES:
        if code.casefold().replace(" ", "") == said.casefold().replace(" ", ""):
            return code
    cure = suggestion(said, colours.CODES) or f"Known: {', '.join(colours.CODES)}."
    reader.wrong("tables.colour_code", f"{said!r} is no colour code", cure)
    return colours.IEC_60757


def _usual(setting: str) -> str:
    return f"Like {setting} = {getattr(Settings(), setting)!r}."


def _settings(reader: _Reader, table: Mapping[str, object]) -> Settings:
    reader.keys(table, SETTINGS, "defaults.")
    values: dict[str, float] = {}
    for key, value in table.items():
        if key not in SETTINGS:
            continue
        if isinstance(value, bool) or not isinstance(value, int | float):
            reader.wrong(f"defaults.{key}", f"{value!r} is not a number", _usual(key))
            continue
        try:
            Settings(**{key: float(value)})  # type: ignore[arg-type]  # every key but "stated" is a number
            values[key] = float(value)
        except (ValueError, OverflowError) as error:
            reader.wrong(f"defaults.{key}", str(error), _usual(key))
    return Settings(**values, stated=frozenset(values))


def _choice(reader: _Reader, table: Mapping[str, object], index: int) -> Choice | None:
    reader.keys(table, ("name", "question", "default", "answer"), "choice.")
    name = reader.text(table, "name", "choice.")
    answers: list[Answer] = []
    for item in reader.tables(table.get("answer", []), "choice.answer"):
        reader.keys(item, ("name", "says", "makes"), "choice.answer.")
        makes: list[tuple[str, Need]] = []
        for circuit, need in reader.table(item.get("makes", {}), "choice.answer.makes").items():
            try:
                makes.append((circuit, Need(str(need))))
            except ValueError:
                reader.wrong(
                    "choice.answer.makes",
                    f"choice {name}: it makes {circuit!r} {need!r}",
                    f"Known: {', '.join(Need)}.",
                )
        try:
            answer = Answer(
                reader.text(item, "name", "choice.answer."),
                reader.text(item, "says", "choice.answer."),
                tuple(makes),
            )
            answers.append(answer)
        except ValueError as error:
            reader.wrong("choice.answer", f"choice {name or index + 1}: {error}")
    try:
        return Choice(
            name,
            reader.text(table, "question", "choice."),
            tuple(answers),
            reader.text(table, "default", "choice."),
        )
    except ValueError as error:
        reader.wrong("choice", str(error))
        return None


def sheets_of(identity: Identity) -> tuple[list[dict[str, str]], list[dict[str, str]]]:
    """Return an identity as the rows of the sheets ``loom`` and ``choices`` of a workbook."""
    stated = [name for name in SETTINGS if name in identity.settings.stated]
    keys = {
        **{key: getattr(identity, key) for key in TEXTS},
        "colour_code": identity.colour_code,
        **{name: repr(getattr(identity.settings, name)) for name in stated},
    }
    choices = [
        {
            "choice": choice.name,
            "question": choice.question,
            "answer": answer.name,
            "says": answer.says,
            "makes": " ".join(f"{quoted(circuit)}={need}" for circuit, need in answer.makes),
            "default": "yes" if answer.name == choice.default else "",
        }
        for choice in identity.choices
        for answer in choice.answers
    ]
    rows = [{"key": key, "value": value} for key, value in keys.items() if value]
    listed = [{"key": key, "value": text} for key in LISTS for text in getattr(identity, key)]
    return [*rows, *listed], choices


def toml_text(text: str) -> str:
    """Return a text as a TOML string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else toml_text(name)


def write(identity: Identity) -> bytes:
    """Return ``loom.toml`` for an identity; `parse` reads it back."""
    lines = ["[loom]"]
    lines += [f"{key} = {toml_text(getattr(identity, key))}" for key in TEXTS if getattr(identity, key)]
    for key in LISTS:
        if texts := getattr(identity, key):
            lines += [f"{key} = [", *(f"  {toml_text(text)}," for text in texts), "]"]
    lines += ["", "[tables]", f"colour_code = {toml_text(identity.colour_code)}"]
    stated = [name for name in SETTINGS if name in identity.settings.stated]
    if stated:
        lines += ["", "[defaults]"]
        lines += [f"{name} = {getattr(identity.settings, name)!r}" for name in stated]
    for choice in identity.choices:
        lines += ["", "[[choice]]", f"name = {toml_text(choice.name)}"]
        lines.append(f"question = {toml_text(choice.question)}")
        if choice.default:
            lines.append(f"default = {toml_text(choice.default)}")
        for answer in choice.answers:
            makes = ", ".join(f"{_key(circuit)} = {toml_text(need)}" for circuit, need in answer.makes)
            lines += ["", "[[choice.answer]]", f"name = {toml_text(answer.name)}"]
            if answer.says:
                lines.append(f"says = {toml_text(answer.says)}")
            lines.append(f"makes = {{ {makes} }}" if makes else "makes = {}")
    return ("\n".join(lines) + "\n").encode()
