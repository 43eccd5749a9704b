"""What a list leaves open, as typed questions, and a person's answers, kept in ``import.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

from loomproof.errors import DescriptionError, Problem, UsageError, suggestion
from loomproof.loom.identity import toml_text
from loomproof.loom.text import shortened

FILE = "import.toml"
"""The file beside a loom that holds how its list is read."""

CHOICES: dict[str, tuple[str, ...]] = {
    "alike": ("one", "several"),
    "mixed": ("cavity", "name"),
    "ranges": ("expand", "names", "all names"),
    "blank": ("above", "none"),
    "pinless": ("own", "leave out", "each"),
    "joints": ("joined", "own", "leave out", "each"),
    "brackets": ("remark", "name"),
    "twice": ("joined", "leave out"),
    "length": ("mm", "cm", "m", "in", "ft"),
    "size": ("mm2", "awg"),
    "kind": ("wires", "nets", "pins"),
    "parted": ("cavities", "names"),
    "blocks": ("tables", "ends"),
    "sections": ("connectors", "no"),
    "first_row": ("headings", "wire"),
    "unused": ("joined", "none"),
    "variant": ("all",),
    "sheets": ("all",),
    "withdrawn": ("leave out", "keep"),
    "left_over": ("leave out",),
}
"""Questions by name, with the answers that each takes."""

FREE = ("variant", "sheets")
"""Questions that take names of the list's own as well."""


@dataclass(frozen=True, slots=True)
class Question:
    """Something that a list does not say and that the loom depends on.

    ``name`` is a key of `CHOICES` (and of those that are answered one by one, a connector behind it:
    ``joints S1``), or ``colour_code``, ``separator``, ``column ROLE``, ``connector SIDE``;
    ``answers`` are those that there are (a heading or a name may be free).
    ``must`` is false where the list can go in without it (what is left out is then said).
    """

    name: str
    text: str
    answers: tuple[str, ...]
    must: bool = True


@dataclass(frozen=True, slots=True)
class Answers:
    """What a person said of a list: how it is to be read.

    ``columns`` is role to heading, ``Pin#2``, letter or number; ``connectors`` side (``from``, ``to``, or
    ``one`` in a list of pins) to name; ``said`` question to answer. ``headings`` are those that the list had,
    ``about`` what each answer that was kept is about: it is none to what came later.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    connectors: Mapping[str, str] = field(default_factory=dict)
    said: Mapping[str, str] = field(default_factory=dict)
    sheets: tuple[str, ...] = ()
    heading_row: int = 0
    separator: str = ""
    decimal: str = ""
    colour_code: str = ""
    headings: tuple[str, ...] = ()
    digest: str = ""
    about: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def over(self, older: Answers) -> Answers:
        """Return these answers, with the older ones where these say nothing."""
        return Answers(
            {**older.columns, **self.columns},
            {**older.connectors, **self.connectors},
            {**older.said, **self.said},
            self.sheets or older.sheets,
            self.heading_row or older.heading_row,
            self.separator or older.separator,
            self.decimal or older.decimal,
            self.colour_code or older.colour_code,
            self.headings or older.headings,
            self.digest or older.digest,
            {name: about for name, about in older.about.items() if name not in self._given()},
        )

    def _given(self) -> set[str]:
        """Return the names of the questions that are answered here."""
        whole = {name for name in ("separator", "colour_code") if getattr(self, name)}
        return whole | self.said.keys()

    def with_answer(self, question: Question, text: str) -> Answers:
        """Return these answers with one more, to a question that a list left open."""
        name, _, what = question.name.partition(" ")
        now = {key: about for key, about in self.about.items() if key != question.name}
        if now != self.about:
            return replace(self, about=now).with_answer(question, text)
        if name == "column":
            return replace(self, columns={**self.columns, what: text})
        if name == "connector":
            return replace(self, connectors={**self.connectors, what: text})
        if name == "separator":
            return replace(self, separator=text)
        if name == "colour_code":
            return replace(self, colour_code=text)
        return replace(self, said={**self.said, question.name: text})


class OpenQuestionsError(DescriptionError):
    """A list leaves ``questions`` open without whose answers there is no loom.

    A problem for each comes first; behind them stands what refuses the list besides.
    """

    def __init__(self, file: str, questions: Sequence[Question], refused: Sequence[Problem] = ()) -> None:
        count = f"{len(questions)} question{'s' * (len(questions) > 1)}"
        super().__init__(
            f"{file}: the list leaves {count} open",
            problems=[*(Problem(question.text, file) for question in questions), *refused],
        )
        self.questions = tuple(questions)


def refuse_unknown(said: Mapping[str, str]) -> None:
    """Refuse answers to no question that there is, or that it does not take: `UsageError`."""
    for question, answer in said.items():
        name, _, thing = question.partition(" ")
        if name not in CHOICES or (thing and "each" not in CHOICES[name]):
            cure = suggestion(question, CHOICES) or f"Known: {', '.join(CHOICES)}."
            raise UsageError(f"{question}: there is no such question", cure=cure)
        # These are called as the list calls them; whoever reads them refuses one that it does not have.
        if answer not in CHOICES[name] and name not in FREE:
            raise UsageError(
                f"{question}={answer}: that is no answer", cure=f"Known: {', '.join(CHOICES[name])}."
            )


def write(answers: Answers) -> bytes:
    """Return ``import.toml`` for the answers; `parse` reads it back."""
    lines = ["# How the list of this loom is read; the next issue of the list is imported by it as well."]
    for name in ("separator", "decimal", "colour_code", "digest"):
        if text := getattr(answers, name):
            lines.append(f"{name} = {toml_text(text)}")
    if answers.heading_row:
        lines.append(f"heading_row = {answers.heading_row}")
    for name in ("sheets", "headings"):
        if texts := getattr(answers, name):
            lines.append(f"{name} = [{', '.join(map(toml_text, texts))}]")
    for name in ("columns", "connectors", "said"):
        if table := getattr(answers, name):
            lines += ["", f"[{name}]"]
            lines += [f"{toml_text(key)} = {toml_text(value)}" for key, value in table.items()]
    if answers.about:
        lines += ["", "# What each answer is about: what comes later is asked about once more.", "[about]"]
        lines += [
            f"{toml_text(name)} = [{', '.join(map(toml_text, about))}]"
            for name, about in answers.about.items()
        ]
    return ("\n".join(lines) + "\n").encode()


def parse(data: bytes, file: str = FILE) -> Answers:
    """Read ``import.toml``. Raises `DescriptionError` for what it cannot hold."""
    cure = f"Take {file} away and answer once more, or correct it."
    try:
        told = tomllib.loads(data.decode())
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        problem = Problem(f"it cannot be read: {shortened(str(error))}", file, cure=cure)
        raise DescriptionError(f"{file} cannot be read", problems=[problem]) from None
    known = {f.name for f in fields(Answers)}
    wrong = [key for key, value in told.items() if key not in known or not _fits(key, value)]
    if wrong:
        problems = [
            Problem("this key is not known or holds what it can't", file, column=key, cure=cure)
            for key in wrong
        ]
        raise DescriptionError(f"{file} cannot be read", problems=problems)
    for name in ("sheets", "headings"):
        told[name] = tuple(told.get(name, ()))
    told["about"] = {name: tuple(about) for name, about in told.get("about", {}).items()}
    return Answers(**told)


def _fits(key: str, value: object) -> bool:
    if key == "heading_row":
        return isinstance(value, int) and not isinstance(value, bool) and value >= 0
    if key in ("sheets", "headings"):
        return isinstance(value, list) and all(isinstance(text, str) for text in value)
    if key == "about":
        return isinstance(value, dict) and all(_fits("sheets", texts) for texts in value.values())
    if key in ("columns", "connectors", "said"):
        return isinstance(value, dict) and all(isinstance(text, str) for text in value.values())
    return isinstance(value, str)
